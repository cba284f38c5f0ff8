"""A sheet holds its pictures unchanged, and labels that can be read."""

import numpy as np
import pytest

from stacker.finish.contact_sheet import SheetCell, cell_size, contact_sheet, shrunk
from stacker.light.space import SRGB


def cells(count: int, size: tuple[int, int] = (300, 200)) -> list[SheetCell]:
    width, height = size
    return [
        SheetCell(
            np.full((height, width, 3), 0.02 * (k + 1), np.float32),
            f"{k + 1} s",
            f"{k + 1} frames",
            "31% of the texture left: smooth",
            chosen=k == 1,
        )
        for k in range(count)
    ]


@pytest.mark.parametrize("count", [1, 2, 5, 7, 10])
def test_every_picture_stands_whole_on_the_sheet(count):
    sheet = contact_sheet(cells(count), title="Kestrel Point", footer="words " * 60, space=SRGB)
    for k in range(count):
        assert np.count_nonzero(sheet[:, :, 1] == np.float32(0.02 * (k + 1))) == 300 * 200


def test_labels_are_white_on_a_neutral_grey():
    sheet = contact_sheet(cells(4), title="Kestrel Point", footer="", space=SRGB)
    grey = sheet[2, 2]
    assert grey[0] == grey[1] == grey[2]
    # contrast of text, WCAG 2.2: at least 4.5 to 1
    assert 1.05 / (grey[0] + 0.05) > 4.5
    assert np.count_nonzero(sheet[:, :, 0] == 1.0) > 2000


def test_long_words_wrap_within_the_sheet():
    short = contact_sheet(cells(2), title="t", footer="words", space=SRGB)
    long = contact_sheet(cells(2), title="t", footer="words " * 80, space=SRGB)
    assert long.shape[1] == short.shape[1]
    assert long.shape[0] > short.shape[0]
    assert np.ptp(long[:, -20:]) == 0


def test_cells_are_never_larger_than_the_picture():
    assert cell_size((160, 96), 6) == (160, 96)
    width, height = cell_size((6000, 4000), 6)
    assert 600 < width < 900
    assert height == pytest.approx(width * 2 / 3, abs=1)


def test_shrinking_averages_light_whatever_the_bands():
    rng = np.random.default_rng(1)
    picture = rng.random((60, 80, 3), dtype=np.float32)
    whole = shrunk(iter([picture]), (20, 15))
    bands = shrunk(iter([picture[:7], picture[7:40], picture[40:]]), (20, 15))
    assert np.array_equal(whole, bands)
    cells_of_16 = picture.reshape(15, 4, 20, 4, 3).mean(axis=(1, 3))
    assert np.abs(whole - cells_of_16).max() < 1e-6
