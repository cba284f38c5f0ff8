"""Copies that figures are made of are averages of light, not of codes."""

import numpy as np
import pytest
import tifffile

import stacker
from stacker.engine.copies import copies_of
from stacker.engine.progress import Silent
from stacker.light.srgb import srgb_to_linear


@pytest.mark.parametrize("in_one_file", [False, True])
def test_lit_windows_on_a_dark_wall_keep_their_light(tmp_path, in_one_file):
    codes = np.full((32, 48, 3), 20, np.uint8)
    codes[::4, ::4] = 200
    if in_one_file:
        tifffile.imwrite(tmp_path / "burst.tif", np.stack([codes] * 3), photometric="rgb")
    else:
        for number in range(3):
            tifffile.imwrite(tmp_path / f"KP_{number}.tif", codes, photometric="rgb")
    burst = stacker.open_burst(tmp_path, interval_s=2.0, frame_shutter_s=1.0)
    truth = float(np.mean(srgb_to_linear(codes[:4, :4, 0] / 255)))
    with copies_of(burst, range(3), 4, 2, Silent(), in_light=True) as copies:
        light = copies(1)
    # float16 on disk holds light to a 2000th
    assert np.allclose(light, truth, rtol=1e-3)
    with copies_of(burst, range(3), 4, 2, Silent()) as copies:
        # of codes a window gives a fourth less and more; that is for places alone
        assert copies(1).mean() < 0.75 * truth
