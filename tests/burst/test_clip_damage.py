"""Damaged and cut clips: no doubtful frame is given, and what is lost is told."""

from __future__ import annotations

import pickle
import struct
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np
import pytest

import stacker
from stacker.burst import FILE_ENDS, Burst, open_burst
from stacker.burst.readers.facts import LostFramesError
from stacker.errors import FrameError
from tests.burst.made_files import write_clip

Pixels = np.typing.NDArray[Any]
COUNT, GROUP = 40, 12
H264 = {"g": str(GROUP), "sc_threshold": "0"}


def moving(count: int = COUNT) -> list[Pixels]:
    """Return frames that move, so that each one is made from the one before."""
    rng = np.random.default_rng(0)
    coarse = rng.integers(0, 256, (12, 20, 3)).astype(np.uint8)
    view = cv2.resize(coarse, (256, 96), interpolation=cv2.INTER_CUBIC)
    return [np.ascontiguousarray(view[:, 3 * k : 3 * k + 128]) for k in range(count)]


def write(path: Path, codec: str = "libx264", **more: Any) -> Path:
    options = {**H264, "bf": "0", **more.pop("options", {})}
    return write_clip(path, moving(), codec=codec, pixel_format="yuv420p", options=options, **more)


def packets(path: Path) -> list[tuple[int, int]]:
    """Return where each packet lies in the file, in the order of decoding: place and size."""
    with av.open(str(path)) as clip:
        return [(packet.pos, packet.size) for packet in clip.demux(video=0) if packet.size]


def overwrite(path: Path, number: int, *, upto: int | None = None) -> None:
    """Write noise over the later half of a packet, or of all packets from it to another."""
    data = bytearray(path.read_bytes())
    rng = np.random.default_rng(number)
    for place, size in packets(path)[number : (upto or number) + 1]:
        noise = rng.integers(0, 256, size // 3).astype(np.uint8).tobytes()
        data[place + size // 2 : place + size // 2 + len(noise)] = noise
    path.write_bytes(bytes(data))


def pictures(burst: Burst) -> dict[int, Pixels]:
    """Return what can be had of a burst, going on behind each frame that cannot."""
    found: dict[int, Pixels] = {}
    left = list(range(len(burst.frames)))
    while left:
        try:
            for index, pixels in burst.decode(left):
                found[index] = pixels.copy()
            break
        except FrameError:
            left = [index for index in left if index > max([left[0], *found])]
    return found


@pytest.mark.parametrize(
    ("name", "codec", "options"),
    [
        ("a.mp4", "libx264", {}),
        ("b.mp4", "libx264", {"bf": "2"}),
        ("c.avi", "mpeg4", {"q": "3"}),
        ("d.mp4", "mpeg4", {"bf": "2", "q": "3"}),
    ],
)
def test_no_doubtful_frame_is_given(
    tmp_path: Path, name: str, codec: str, options: dict[str, str]
) -> None:
    """Frames behind a damaged one are made from it, and decoders often do not say so."""
    path = write(tmp_path / name, codec, options=options)
    whole = pictures(open_burst(path))
    assert len(whole) == COUNT
    overwrite(path, 15)
    found = pictures(open_burst(path))
    for index, pixels in found.items():
        np.testing.assert_array_equal(pixels, whole[index], err_msg=str(index))
    # all before the damage but for frames coded out of order, and all from the next key frame on
    lost = sorted(set(whole) - set(found))
    assert lost and lost[0] >= 13 and lost[-1] < 2 * GROUP


def test_damage_in_the_middle_stops_or_is_skipped(tmp_path: Path) -> None:
    path = write(tmp_path / "a.mp4")
    overwrite(path, 15)
    burst = open_burst(path)
    with pytest.raises(FrameError, match=r"a\.mp4#0016: the clip is damaged here") as caught:
        stacker.expose(burst)
    assert "--on-bad skip" in caught.value.remedy
    report = stacker.expose(burst, on_bad="skip").report
    assert report["frames_used"] == COUNT - 9
    left_out = [frame["number"] for frame in report["frames"] if not frame["used"]]
    assert left_out == list(range(16, 25))


@pytest.mark.parametrize(
    ("name", "codec"), [("a.mp4", "libx264"), ("a.mkv", "libx264"), ("a.avi", "mpeg4")]
)
def test_a_damaged_tail_is_told_and_the_rest_used(tmp_path: Path, name: str, codec: str) -> None:
    path = write(tmp_path / name, codec)
    whole = stacker.expose(open_burst(path), last=37)
    overwrite(path, 37, upto=39)
    shot = stacker.expose(open_burst(path))
    assert shot.report["frames_used"] == 37
    told = f"{name}: the clip is damaged at its end; 3 of 40 frames, the last ones, cannot be had"
    assert any(told in warning for warning in shot.report["warnings"])
    np.testing.assert_array_equal(shot.light, whole.light)


@pytest.mark.parametrize(
    ("name", "codec"),
    [("a.mp4", "libx264"), ("a.mkv", "libx264"), ("a.ts", "libx264"), ("a.avi", "mpeg4")],
)
def test_a_cut_clip_is_used_as_far_as_it_goes(tmp_path: Path, name: str, codec: str) -> None:
    movflags = {"movflags": "faststart"} if name.endswith("mp4") else {}
    path = write(tmp_path / name, codec, container_options=movflags)
    whole = pictures(open_burst(path))
    place, size = packets(path)[30]
    path.write_bytes(path.read_bytes()[: place + size // 2])
    burst = open_burst(path)
    shot = stacker.expose(burst)
    assert shot.report["frames_used"] == 30
    found = pictures(burst)
    assert sorted(found) == list(range(30))
    for index, pixels in found.items():
        np.testing.assert_array_equal(pixels, whole[index])
    said = " ".join(shot.report["warnings"])
    # a transport stream says nowhere how much there should be
    assert ("the last 10 of its 40 frames cannot be had" in said) == (not name.endswith("ts"))


def test_a_whole_avi_with_pauses_is_not_called_cut(tmp_path: Path) -> None:
    """An AVI counts units of time: a pause is no lost frame."""
    stamps = [0, 40, 80, 120, 400, 440]
    path = write_clip(tmp_path / "a.avi", moving(6), codec="mpeg4", pixel_format="yuv420p",
                      stamps=stamps)  # fmt: skip
    assert open_burst(path).warnings == ()


def test_a_clip_of_which_nothing_is_left_is_an_error(tmp_path: Path) -> None:
    path = write(tmp_path / "a.mp4")
    overwrite(path, 30, upto=39)
    with pytest.raises(stacker.StackerError, match="no frame of 5 can be used"):
        stacker.expose(open_burst(path), first=36)


def test_frames_that_an_edit_list_hides_are_left_out(tmp_path: Path) -> None:
    path = write(tmp_path / "a.mp4")
    whole = pictures(open_burst(path))
    data = bytearray(path.read_bytes())
    place = data.index(b"elst") + 4 + 8
    duration, start = struct.unpack_from(">Ii", data, place)
    step = 16000 // 25
    hidden = 5
    shorter = duration * (COUNT - hidden) // COUNT
    struct.pack_into(">Ii", data, place, shorter, start + hidden * step)
    path.write_bytes(bytes(data))
    burst = open_burst(path)
    assert len(burst.frames) == COUNT - hidden and burst.warnings == ()
    assert burst.frames[0].start_s == 0
    found = pictures(burst)
    for index in range(COUNT - hidden):
        np.testing.assert_array_equal(found[index], whole[index + hidden])


def test_interlaced_frames_are_told(tmp_path: Path) -> None:
    path = write(tmp_path / "a.mp4", options={"x264-params": "interlaced=1"})
    (warning,) = open_burst(path).warnings
    assert "interlaced" in warning


def test_the_error_for_lost_frames_travels(tmp_path: Path) -> None:
    error = LostFramesError("a.mp4#0003", "gone", remedy="copy", code=FILE_ENDS, resumes=7)
    again = pickle.loads(pickle.dumps(error))
    assert (str(again), again.code, again.resumes) == (str(error), FILE_ENDS, 7)
