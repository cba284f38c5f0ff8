"""Openings and shutters: what is trusted, what is assumed, what is said."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from stacker.burst import open_burst
from stacker.errors import OptionError
from tests.burst.made_files import write_jpeg

NOON = datetime(2024, 6, 1, 12, 0, 0)


def shoot(folder: Path, seconds: list[float], **exif: Any) -> None:
    """Write frames taken at the given seconds, stamped to the whole second."""
    for number, second in enumerate(seconds):
        taken = NOON + timedelta(seconds=math.floor(second))
        write_jpeg(folder / f"IMG_{number + 1:04d}.jpg", taken=taken, **exif)


def test_whole_seconds_are_seen_through(tmp_path: Path) -> None:
    true = 0.3 + 2.37 * np.arange(40)
    shoot(tmp_path, list(true), shutter=(2, 1))
    burst = open_burst(tmp_path)
    starts = np.array([frame.start_s for frame in burst.frames])
    assert np.abs(starts - (true - true[0])).max() < 0.2
    assert burst.gaps_s() == pytest.approx([0.37] * 39, abs=0.03)
    assert burst.warnings == ()


def test_parts_of_a_second_are_used_as_they_are(tmp_path: Path) -> None:
    for number, (second, part) in enumerate([(0, "25"), (1, "50"), (5, "00")]):
        taken = NOON + timedelta(seconds=second)
        write_jpeg(tmp_path / f"{number}.jpg", taken=taken, subsec=part)
    assert [frame.start_s for frame in open_burst(tmp_path).frames] == [0.0, 1.25, 4.75]


def test_parts_that_are_always_nothing_count_as_whole_seconds(tmp_path: Path) -> None:
    shoot(tmp_path, list(0.3 + 1.5 * np.arange(30)), subsec="00")
    starts = [frame.start_s for frame in open_burst(tmp_path).frames]
    assert np.diff(starts) == pytest.approx([1.5] * 29, abs=0.02)


def test_no_times_but_a_shutter(tmp_path: Path) -> None:
    for number in range(3):
        write_jpeg(tmp_path / f"{number}.jpg", shutter=(1, 2))
    burst = open_burst(tmp_path)
    assert [frame.start_s for frame in burst.frames] == [0.0, 0.5, 1.0]
    assert burst.gaps_s() == [0.0, 0.0]
    assert len(burst.warnings) == 1


def test_no_times_and_no_shutter(tmp_path: Path) -> None:
    for number in range(3):
        write_jpeg(tmp_path / f"{number}.jpg")
    burst = open_burst(tmp_path)
    assert [frame.start_s for frame in burst.frames] == [0.0, 1.0, 2.0]
    assert burst.gaps_s() == [None, None]
    assert len(burst.warnings) == 1


def test_overrides_come_first_and_need_no_warning(tmp_path: Path) -> None:
    for number in range(3):
        write_jpeg(tmp_path / f"{number}.jpg")
    burst = open_burst(tmp_path, interval_s=4, frame_shutter_s=3.5)
    assert [frame.start_s for frame in burst.frames] == [0.0, 4.0, 8.0]
    assert burst.gaps_s() == [0.5, 0.5]
    assert burst.warnings == ()


def test_equal_times(tmp_path: Path) -> None:
    shoot(tmp_path, [0.0, 0.0, 0.0], shutter=(1, 8))
    burst = open_burst(tmp_path)
    assert [frame.start_s for frame in burst.frames] == [0.0, 0.125, 0.25]
    assert burst.warnings


def test_overlap_is_no_negative_gap(tmp_path: Path) -> None:
    for number in range(4):
        write_jpeg(tmp_path / f"{number}.jpg")
    burst = open_burst(tmp_path, interval_s=1, frame_shutter_s=2)
    assert burst.gaps_s() == [0.0] * 3
    assert len(burst.warnings) == 1
    # a nominal 30 s is 32 s: rounding is no overlap
    assert open_burst(tmp_path, interval_s=1, frame_shutter_s=1.05).warnings == ()


def test_a_frame_without_shutter_takes_the_usual_one(tmp_path: Path) -> None:
    shoot(tmp_path, [0, 2, 4, 6], shutter=(1, 1))
    write_jpeg(tmp_path / "IMG_0002.jpg", taken=NOON + timedelta(seconds=2))
    assert [frame.shutter_s for frame in open_burst(tmp_path).frames] == [1.0] * 4


@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
@pytest.mark.parametrize("name", ["interval_s", "frame_shutter_s"])
def test_times_that_cannot_be(tmp_path: Path, name: str, value: float) -> None:
    write_jpeg(tmp_path / "a.jpg")
    with pytest.raises(OptionError):
        open_burst(tmp_path, **{name: value})


def test_one_frame_alone_needs_no_warning(tmp_path: Path) -> None:
    burst = open_burst(write_jpeg(tmp_path / "a.jpg"))
    assert burst.frames[0].start_s == 0.0 and burst.warnings == () and burst.gaps_s() == []


def test_zones_are_taken_into_account(tmp_path: Path) -> None:
    write_jpeg(tmp_path / "b.jpg", taken=NOON, offset="+02:00")
    write_jpeg(tmp_path / "a.jpg", taken=NOON - timedelta(minutes=59), offset="+01:00")
    burst = open_burst(tmp_path)
    assert [frame.name for frame in burst.frames] == ["b.jpg", "a.jpg"]
    assert burst.frames[1].start_s == pytest.approx(60.0)


def test_a_clock_set_back_is_mended_and_said(tmp_path: Path) -> None:
    shoot(tmp_path, [7200, 7203, 7206, 3609, 3612], shutter=(1, 1))
    burst = open_burst(tmp_path)
    assert [frame.start_s for frame in burst.frames] == pytest.approx([0, 3, 6, 9, 12], abs=0.01)
    assert len(burst.warnings) == 1
