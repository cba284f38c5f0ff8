"""Planes of YCbCr to RGB against float arithmetic from the standards."""

import numpy as np
import pytest

from stacker.light.ycbcr import PlanesToRgb, YcbcrCodes

SHARES = {1: (0.2126, 0.0722), 5: (0.299, 0.114), 7: (0.212, 0.087), 9: (0.2627, 0.0593)}
# half a code by rounding, and half a unit of three factors of ten bits behind the point, each
# times the distance from the middle of its codes
EXACT_8, BIAS_8 = 0.5 + (110 + 112 + 112) / 2048, 0.03
# half a code by rounding and what float32 cannot tell of numbers up to 2^18
EXACT_16, BIAS_16 = 0.6, 0.03


def in_floats(planes, matrix, bits, full):
    """R, G, B in [0, 1] by BT.2100-2 table 9 and the definitions of Y, Cb and Cr."""
    y, cb, cr = (plane.astype(np.float64) for plane in planes)
    if full:
        y, cb, cr = (x / (2**bits - 1) for x in (y, cb - 2 ** (bits - 1), cr - 2 ** (bits - 1)))
    else:
        unit = 2 ** (bits - 8)
        y, cb, cr = (y / unit - 16) / 219, (cb / unit - 128) / 224, (cr / unit - 128) / 224
    red, blue = SHARES[matrix]
    r, b = y + 2 * (1 - red) * cr, y + 2 * (1 - blue) * cb
    g = (y - red * r - blue * b) / (1 - red - blue)
    return np.clip(np.stack([r, g, b], -1), 0, 1)


def convert(planes, codes):
    out = np.empty((*planes[0].shape, 3), planes[0].dtype)
    PlanesToRgb()(planes, codes.to_rgb(), out)
    return out


@pytest.mark.parametrize("full", [False, True])
@pytest.mark.parametrize("matrix", SHARES)
@pytest.mark.parametrize("bits", [8, 10, 12, 16])
def test_each_matrix_range_and_depth(bits, matrix, full):
    rng = np.random.default_rng(bits)
    dtype = np.uint8 if bits == 8 else np.uint16
    planes = [rng.integers(0, 1 << bits, (200, 301)).astype(dtype) for _ in range(3)]
    top, exact, bias = (255, EXACT_8, BIAS_8) if bits == 8 else (65535, EXACT_16, BIAS_16)
    wanted = in_floats(planes, matrix, bits, full) * top
    off = convert(planes, YcbcrCodes(matrix, bits, full)) - wanted
    assert np.abs(off).max() <= exact
    inside = (wanted > 0) & (wanted < top)
    # of at least 40 000 values that are off by 0.29 each, the mean is off by 0.0015
    assert np.abs(off[inside].mean()) <= bias


@pytest.mark.parametrize("full", [False, True])
@pytest.mark.parametrize("bits", [8, 10])
def test_grays_come_out_gray_and_black_and_white_whole(bits, full):
    unit = 2 ** (bits - 8)
    low, high = (0, 2**bits - 1) if full else (16 * unit, 235 * unit)
    luma = np.linspace(low, high, high - low + 1).astype(np.uint8 if bits == 8 else np.uint16)[None]
    chroma = np.full_like(luma, 128 * unit)
    for matrix in SHARES:
        pixels = convert([luma, chroma, chroma], YcbcrCodes(matrix, bits, full))[0]
        # in 16 bits float32 may round a tie of two channels either way
        spread = pixels.max(axis=1).astype(int) - pixels.min(axis=1)
        assert spread.max() <= (0 if bits == 8 else 1)
        assert pixels[0, 0] == 0 and pixels[-1, 0] == (255 if bits == 8 else 65535)


@pytest.mark.parametrize("bits", [8, 10])
@pytest.mark.parametrize("full", [False, True])
def test_rgb_in_planes(bits, full):
    rng = np.random.default_rng(3)
    dtype = np.uint8 if bits == 8 else np.uint16
    planes = [rng.integers(0, 1 << bits, (30, 40)).astype(dtype) for _ in range(3)]
    unit, top = 2 ** (bits - 8), 255 if bits == 8 else 65535
    stacked = np.stack(planes, -1).astype(float)
    scaled = stacked / (2**bits - 1) if full else (stacked / unit - 16) / 219
    off = convert(planes, YcbcrCodes(0, bits, full)) - np.clip(scaled, 0, 1) * top
    assert np.abs(off).max() <= EXACT_8


@pytest.mark.parametrize(("across", "down"), [(1, 1), (2, 1), (2, 2), (1, 2), (4, 1), (4, 4)])
@pytest.mark.parametrize("size", [(64, 48), (67, 51)])
def test_a_chroma_sample_stands_for_its_block(across, down, size, monkeypatch):
    monkeypatch.setattr("stacker.light.ycbcr.BLOCK_SAMPLES", 640)
    rng = np.random.default_rng(4)
    width, height = size
    luma = rng.integers(16, 236, (height, width)).astype(np.uint8)
    small = (-(-height // down), -(-width // across))
    chroma = [rng.integers(100, 156, small).astype(np.uint8) for _ in range(2)]
    whole = [x.repeat(down, 0).repeat(across, 1)[:height, :width] for x in chroma]
    codes = YcbcrCodes(1, 8, full_range=False)
    np.testing.assert_array_equal(convert([luma, *chroma], codes), convert([luma, *whole], codes))
