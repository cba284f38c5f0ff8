"""Planes of video against the recommendation's own numbers, and the way back."""

import numpy as np
import pytest

from stacker.light.space import BT709, DISPLAY_P3, REC2020, SRGB
from stacker.light.video import video_planes
from stacker.light.ycbcr import PlanesToRgb, YcbcrCodes

SIZE = (8, 12)


def flat(light: tuple[float, float, float]) -> np.ndarray:
    return np.broadcast_to(np.float32(light), (*SIZE, 3)).copy()


def parts(planes: np.ndarray) -> list[np.ndarray]:
    height, width = SIZE
    rest = planes[height:].reshape(2, height // 2, width // 2)
    return [planes[:height], rest[0], rest[1]]


@pytest.mark.parametrize(
    ("light", "codes"),
    [
        ((0, 0, 0), (16, 128, 128)),
        ((1, 1, 1), (235, 128, 128)),
        # the bars of Recommendation ITU-R BT.709 at full level
        ((1, 0, 0), (63, 102, 240)),
        ((0, 1, 0), (173, 42, 26)),
        ((0, 0, 1), (32, 240, 118)),
        ((2, 2, 2), (235, 128, 128)),
    ],
)
def test_colours_have_the_codes_of_the_recommendation(light, codes):
    for plane, code in zip(parts(video_planes(flat(light), BT709)), codes, strict=True):
        assert np.ptp(plane) == 0
        assert plane[0, 0] == code


def test_other_spaces_are_converted():
    white = parts(video_planes(flat((0.5, 0.5, 0.5)), REC2020))
    same = parts(video_planes(flat((0.5, 0.5, 0.5)), SRGB))
    assert [p[0, 0] for p in white] == [p[0, 0] for p in same]
    # the red of P3 lies outside BT.709: clipped to that red at the most
    assert parts(video_planes(flat((1, 0, 0)), DISPLAY_P3))[2][0, 0] >= 240 - 1


def test_chroma_lies_on_even_columns_between_two_rows():
    """A ramp of blue over columns and rows: its value at a site is that of the place."""
    light = np.zeros((*SIZE, 3), np.float32)
    codes = np.linspace(0, 1, SIZE[1])
    light[:, :, 2] = BT709.curve.to_light(codes)
    cb = parts(video_planes(light, BT709))[1]
    wanted = 128 + 112 * codes[2::2]
    # rounded; the first site has no neighbour on its left
    assert np.abs(cb[0, 1:] - wanted).max() <= 0.51


def test_our_own_reader_gets_the_codes_back():
    rng = np.random.default_rng(3)
    codes = np.repeat(np.repeat(rng.integers(40, 216, (4, 6, 3)), 2, 0), 2, 1)[:, :, :1]
    grey = np.broadcast_to(codes, (*SIZE, 3)).astype(np.float64)
    light = BT709.curve.to_light(grey / 255).astype(np.float32)
    back = np.empty((*SIZE, 3), np.uint8)
    PlanesToRgb()(parts(video_planes(light, BT709)), YcbcrCodes(1, 8, False).to_rgb(), back)
    # 219 codes for 256
    assert np.abs(back.astype(int) - grey).max() <= 1
