"""How far the world streaks behind a subject that is held, on rides whose motion is known."""

import itertools

import numpy as np
import pytest
import tifffile

import stacker
from stacker.light.srgb import linear_to_srgb
from tests.register.subject.rides import ride_of


def write_ride(folder, ride):
    folder.mkdir()
    for number, light in enumerate(ride.frames):
        codes = np.rint(65535 * linear_to_srgb(np.clip(light, 0, 1))).astype(np.uint16)
        tifffile.imwrite(folder / f"KP_{number:04d}.tif", codes, photometric="rgb")


def true_span_px(ride):
    """Return the way of the world against the subject, from the ride's own figures."""
    corners = [
        np.array([ride.ride.pan_px * n, 3 * np.sin(n)]) for n in range(len(ride.to_reference))
    ]
    # what the world's origin is in frame n, brought to the first frame
    places = [
        (motion @ np.append(-corner, 1))[:2]
        for motion, corner in zip(ride.to_reference, corners, strict=True)
    ]
    return sum(float(np.hypot(*(b - a))) for a, b in itertools.pairwise(places))


@pytest.mark.parametrize("name", ["pan", "fast pan", "fast subject"])
def test_the_streak_is_as_long_as_the_world_moved(tmp_path, name):
    ride = ride_of(name)
    write_ride(tmp_path / "ride", ride)
    burst = stacker.open_burst(tmp_path / "ride", interval_s=0.1, frame_shutter_s=0.02)
    shot = stacker.expose(burst, subject="pan", box=ride.box, hold="subject")
    streak = shot.report["streak"]
    # a pixel of the copies, which are of full size here, at each step
    assert streak["span_px"] == pytest.approx(true_span_px(ride), abs=len(ride.frames) - 1)
    assert streak["frame_px"] == pytest.approx(streak["step_px"] / 5, abs=0.2)
    assert any("while each was open" in words for words in shot.report["warnings"])


def test_nothing_is_told_without_a_clock_or_a_subject(tmp_path):
    ride = ride_of("pan")
    write_ride(tmp_path / "ride", ride)
    burst = stacker.open_burst(tmp_path / "ride")
    shot = stacker.expose(burst, subject="pan", box=ride.box, hold="subject")
    assert shot.report["streak"]["frame_px"] is None
    assert "while each was open" not in " ".join(shot.report["warnings"])
    assert "streak" not in stacker.expose(burst, hold="subject", box=ride.box).report
    # where the box is not told it is found, and the streak with it
    assert stacker.expose(burst, subject="pan").report["streak"]["span_px"] == pytest.approx(
        true_span_px(ride), rel=0.1
    )
