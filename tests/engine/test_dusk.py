"""A dusk of files: the moment of balance is told by name, clock and frames."""

from datetime import datetime

import numpy as np
import tifffile

import stacker


def write_dusk(folder) -> None:
    """Write twenty frames a minute apart; the sky halves in four minutes and meets 0.1 at eight."""
    folder.mkdir()
    rng = np.random.default_rng(7)
    for minute in range(20):
        light = np.full((64, 96), 0.4 * 2 ** -(minute / 4))
        light[32:] *= 0.1
        light[40:54, 8:30] += 0.1
        light *= rng.normal(1, 0.01, light.shape)
        codes = np.rint(65535 * np.clip(np.dstack([light] * 3), 0, 1) ** (1 / 2.2))
        tifffile.imwrite(
            folder / f"KP_{minute + 1:04d}.tif",
            codes.astype(np.uint16),
            datetime=datetime(2025, 10, 4, 18, 20 + minute),
        )


def test_the_moment_is_told_by_the_clock(tmp_path):
    write_dusk(tmp_path / "dusk")
    burst = stacker.open_burst(tmp_path / "dusk", frame_shutter_s=1.0)
    shot = stacker.expose(burst, subject="dusk")
    balance = shot.report["balance"]
    # sRGB's curve is not quite a power of 2.2: light is off by a twentieth of a stop
    assert abs(balance["at_s"] - 480) < 20
    assert balance["frame"] == "KP_0009.tif"
    assert balance["first"] <= 9 <= balance["last"]
    (note,) = [words for words in shot.report["warnings"] if "sky and lamps" in words]
    assert f"--first {balance['first']} --last {balance['last']}" in note
    if burst.frames[0].taken is not None:
        assert balance["clock"].startswith(("18:27", "18:28"))


def test_a_chosen_span_is_not_judged(tmp_path):
    write_dusk(tmp_path / "dusk")
    burst = stacker.open_burst(tmp_path / "dusk", frame_shutter_s=1.0)
    shot = stacker.expose(burst, subject="dusk", first=7, last=11)
    assert "balance" not in shot.report
    assert not [words for words in shot.report["warnings"] if "lamps" in words]
