"""The white balance of a run, from the choice to the file."""

import json

import numpy as np
import pytest
import tifffile

import stacker
from stacker.engine import BalanceChoice
from stacker.errors import OptionError
from stacker.light.srgb import linear_to_srgb, srgb_to_linear
from tests.bursts import write_tiffs

# tinted grey with noise, a burnt corner and a black one
TINT = np.array([0.30, 0.20, 0.12])


@pytest.fixture
def burst(tmp_path):
    rng = np.random.default_rng(1)
    frames = []
    for _ in range(4):
        light = np.tile(TINT, (60, 80, 1)) * rng.normal(1, 0.02, (60, 80, 1))
        light[:12, :12] = 1.0
        light[-12:, -12:] = 0.0
        frames.append(np.rint(linear_to_srgb(light) * 65535).astype(np.uint16))
    write_tiffs(tmp_path / "burst", frames)
    return stacker.open_burst(tmp_path / "burst")


@pytest.mark.parametrize("blend", ["mean", "lighten", "sum"])
def test_a_neutral_spot_comes_out_grey(burst, tmp_path, blend):
    shot = stacker.expose(burst, blend=blend)
    balance = BalanceChoice(neutral=(40, 30)).balance_for(shot)
    report = stacker.save(shot, tmp_path / "a.tif", white_balance=balance, depth=32)
    spot = tifffile.imread(tmp_path / "a.tif")[26:35, 36:45].mean(axis=(0, 1))
    assert np.ptp(spot) / spot.mean() < 1e-3
    assert report["settings"]["white_balance"] == {"gains": balance.gains}


def test_the_spot_is_clipped_to_the_picture(burst):
    shot = stacker.expose(burst)
    gains = BalanceChoice(neutral=(79.4, 0)).balance_for(shot).gains
    # noise is the same in the channels of a pixel
    np.testing.assert_allclose(gains, TINT[1] / TINT, rtol=1e-3)


@pytest.mark.parametrize("spot", [(5, 5), (75, 55), (80, 3), (3, -1), (79.5, 3)])
def test_spots_without_a_colour_are_refused_with_the_size_of_the_picture(burst, spot):
    shot = stacker.expose(burst)
    with pytest.raises(OptionError, match="80 x 60 pixels"):
        BalanceChoice(neutral=spot).balance_for(shot)


@pytest.mark.parametrize(
    "wrong",
    [
        {"warmth": 20, "neutral": (1, 1)}, {"warmth": 101}, {"warmth": float("nan")},
        {"gains": (1, 1)}, {"gains": (1, 0, 1)}, {"neutral": (1,)}, {"neutral": (1, np.inf)},
    ],
)  # fmt: skip
def test_choices_that_make_no_sense(wrong):
    with pytest.raises(OptionError) as caught:
        BalanceChoice(**wrong)
    assert caught.value.code == "option-balance"


def test_white_stays_white_and_black_black_in_the_file(burst, tmp_path):
    shot = stacker.expose(burst, blend="lighten")  # codes, not light, until it is saved
    balance = BalanceChoice(warmth=60).balance_for(shot)
    stacker.save(shot, tmp_path / "a.tif", white_balance=balance)
    codes = tifffile.imread(tmp_path / "a.tif")
    assert codes[:12, :12].min() == 65535
    assert codes[-12:, -12:].max() == 0
    gains = np.array(balance.scaled_gains(shot.space))
    light = srgb_to_linear(codes[30, 40] / 65535)
    np.testing.assert_allclose(light, shot.light[30, 40] * gains, rtol=1e-3)


def test_the_shoulder_leaves_room_for_balanced_white(burst, tmp_path):
    shot = stacker.expose(burst)
    balance = stacker.WhiteBalance((2.0, 1.0, 0.5))
    stacker.save(shot, tmp_path / "a.tif", white_balance=balance, shoulder=True)
    codes = tifffile.imread(tmp_path / "a.tif")
    # white, and nothing else, comes out as white
    assert codes[0, 0].tolist() == [65535, 65535, 65535]
    assert codes[30, 40].max() < 65535


def test_no_balance_changes_no_bit(burst, tmp_path):
    shot = stacker.expose(burst)
    stacker.save(shot, tmp_path / "a.tif")
    stacker.save(shot, tmp_path / "b.tif", white_balance=stacker.WhiteBalance((2, 2, 2)))
    one, two = (tifffile.imread(tmp_path / name) for name in ("a.tif", "b.tif"))
    np.testing.assert_array_equal(one, two)


def test_the_description_holds_the_gains(burst, tmp_path):
    shot = stacker.expose(burst)
    stacker.save(shot, tmp_path / "a.tif", white_balance=stacker.WhiteBalance((2, 1, 1)))
    with tifffile.TiffFile(tmp_path / "a.tif") as tiff:
        described = json.loads(tiff.pages[0].tags["ImageDescription"].value)
    assert described["settings"]["white_balance"] == {"gains": [2, 1, 1]}
