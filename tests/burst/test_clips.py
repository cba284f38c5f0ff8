"""Clips: times, turns, depth, damage; each frame is the one that was asked for."""

from __future__ import annotations

import wave
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from stacker.burst import open_burst
from stacker.errors import FrameError
from tests.burst.made_files import picture, turn_clip, write_clip

Pixels = np.typing.NDArray[Any]

# codes lost on the way through YCbCr, whose own codes are coarser than those of RGB, and back
YCBCR_CODES = 4


def levels(count: int, *, size: tuple[int, int] = (64, 48)) -> list[Pixels]:
    """Return gray frames, each of a level of its own."""
    return [
        np.full((size[1], size[0], 3), 20 + place * 200 // count, np.uint8)
        for place in range(count)
    ]


def h264(path: Path, frames: list[Pixels], **more: Any) -> Path:
    options = {"crf": "1", "g": "10", "bf": "2", **more.pop("options", {})}
    return write_clip(
        path, frames, codec="libx264", pixel_format="yuv420p", options=options, **more
    )


def test_lossless_frames_come_back_bit_for_bit(tmp_path: Path) -> None:
    wanted = [picture(seed) for seed in range(6)]
    burst = open_burst(write_clip(tmp_path / "a.mkv", wanted))
    assert [frame.name for frame in burst.frames][:2] == ["a.mkv#0001", "a.mkv#0002"]
    assert burst.runs(range(6)) == [(0, 1, 2, 3, 4, 5)]
    found = dict(burst.decode([1, 2, 5]))
    assert list(found) == [1, 2, 5]
    for index, pixels in found.items():
        np.testing.assert_array_equal(pixels, wanted[index])


def test_a_given_array_is_filled_again_and_again(tmp_path: Path) -> None:
    wanted = [picture(seed) for seed in range(4)]
    burst = open_burst(write_clip(tmp_path / "a.mkv", wanted))
    out = np.zeros((16, 24, 3), np.uint8)
    for index, pixels in burst.decode(range(4), out=out):
        assert pixels is out
        np.testing.assert_array_equal(out, wanted[index])


@pytest.mark.parametrize("picks", [[0], [39], [35, 36, 39], [30], list(range(40)), [11, 38]])
def test_frames_far_inside_are_the_right_ones(tmp_path: Path, picks: list[int]) -> None:
    frames = levels(40)
    burst = open_burst(h264(tmp_path / "a.mp4", frames))
    assert len(burst.frames) == 40
    found = {index: pixels.copy() for index, pixels in burst.decode(picks)}
    assert list(found) == picks
    for index, pixels in found.items():
        off = np.abs(pixels.astype(int) - frames[index])
        assert off.max() <= YCBCR_CODES - 1, index


def test_variable_frame_rate(tmp_path: Path) -> None:
    stamps = [0, 40, 80, 500, 540, 1000, 1001, 3000]
    path = h264(tmp_path / "a.mp4", levels(8), stamps=stamps)
    burst = open_burst(path)
    starts = [frame.start_s for frame in burst.frames]
    assert starts == pytest.approx([stamp / 1000 for stamp in stamps], abs=1e-3)
    # open all the time at the usual spacing
    assert burst.frames[0].shutter_s == pytest.approx(0.04, abs=1e-3)
    assert burst.gaps_s()[2] == pytest.approx(0.38, abs=2e-3)
    assert burst.warnings == ()


def test_equal_frames_are_all_kept(tmp_path: Path) -> None:
    same = levels(1) * 7
    burst = open_burst(h264(tmp_path / "a.mp4", same))
    assert len(list(burst.decode(range(7)))) == len(burst.frames) == 7


@pytest.mark.parametrize(
    ("matrix", "orientation"),
    [
        ((1, 0, 0, 1), 1),
        ((-1, 0, 0, 1), 2),
        ((-1, 0, 0, -1), 3),
        ((1, 0, 0, -1), 4),
        ((0, 1, 1, 0), 5),
        ((0, 1, -1, 0), 6),
        ((0, -1, -1, 0), 7),
        ((0, -1, 1, 0), 8),
    ],
)
def test_turned_clips(tmp_path: Path, matrix: tuple[int, int, int, int], orientation: int) -> None:
    corner = np.zeros((48, 64, 3), np.uint8)
    corner[:24, :32] = 255
    path = h264(tmp_path / "a.mp4", [corner] * 3)
    turn_clip(path, matrix)
    burst = open_burst(path)
    assert burst.frames[0].orientation == orientation
    # the matrix takes (x, y) from the picture's middle to (a x + c y, b x + d y)
    a, b, c, d = matrix
    x, y = -a - c, -b - d
    out = np.zeros((burst.size[1], burst.size[0], 3), np.uint8)
    for _, pixels in burst.decode(range(3), out=out):
        height, width = pixels.shape[:2]
        assert (width, height) == burst.size == ((48, 64) if a == 0 else (64, 48))
        assert pixels[height // 2 + y * height // 4, width // 2 + x * width // 4].min() > 240
        assert pixels[height // 2 - y * height // 4, width // 2 - x * width // 4].max() < 15


def test_deep_clips_keep_more_than_eight_bits(tmp_path: Path) -> None:
    wanted = [picture(seed, dtype="uint16") & 0xFFC0 for seed in range(3)]
    path = write_clip(tmp_path / "a.mkv", wanted, pixel_format="gbrp10le")
    burst = open_burst(path)
    assert burst.encoding.stored == "uint16"
    for index, pixels in burst.decode(range(3)):
        # ten bits of the sixteen are stored
        assert np.abs(pixels.astype(int) - wanted[index]).max() <= 128
        assert len(np.unique(pixels)) > 256


@pytest.mark.parametrize(("height", "red"), [(480, (0.299, 0.114)), (720, (0.2126, 0.0722))])
def test_untagged_clips_are_undone_by_the_matrix_of_their_size(
    tmp_path: Path, height: int, red: tuple[float, float]
) -> None:
    import av

    # one colour given in YCbCr, so that the answer is known by arithmetic
    y, cb, cr = 120, 100, 160
    path = tmp_path / "a.mp4"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=25, options={"crf": "0"})
        assert isinstance(stream, av.VideoStream)
        stream.width, stream.height, stream.pix_fmt = 64, height, "yuv420p"
        planes = [np.full((height, 64), y), np.full((height // 4, 64), cb)]
        planes.append(np.full((height // 4, 64), cr))
        frame = av.VideoFrame.from_ndarray(np.vstack(planes).astype(np.uint8), format="yuv420p")
        container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    kr, kb = red
    luma, blue, crimson = (y - 16) / 219, (cb - 128) / 224, (cr - 128) / 224
    r, b = luma + 2 * (1 - kr) * crimson, luma + 2 * (1 - kb) * blue
    g = (luma - kr * r - kb * b) / (1 - kr - kb)
    ((_, pixels),) = open_burst(path).decode([0])
    wanted = np.array([r, g, b]) * 255
    assert np.abs(pixels - wanted).max() <= 3


def test_creation_time(tmp_path: Path) -> None:
    when = "2024-05-01T20:30:15.000000Z"
    path = h264(tmp_path / "a.mp4", levels(3), metadata={"creation_time": when})
    assert open_burst(path).frames[0].taken == datetime(2024, 5, 1, 20, 30, 15, tzinfo=UTC)


def test_a_clip_without_video(tmp_path: Path) -> None:
    import av

    path = tmp_path / "a.mp4"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("aac", rate=48000)
        frame = av.AudioFrame.from_ndarray(
            np.zeros((1, 1024), np.float32), format="fltp", layout="mono"
        )
        frame.sample_rate = 48000
        container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    with pytest.raises(FrameError, match="no video") as caught:
        open_burst(path)
    assert caught.value.code == "no-video"


def test_sound_named_as_a_clip(tmp_path: Path) -> None:
    path = tmp_path / "a.mp4"
    with wave.open(str(path), "wb") as file:
        file.setparams((1, 2, 8000, 0, "NONE", ""))
        file.writeframes(b"\0" * 100)
    with pytest.raises(FrameError):
        open_burst(path)


def test_a_cut_clip_gives_its_whole_frames_and_then_says_which_is_missing(tmp_path: Path) -> None:
    wanted = [picture(seed, size=(64, 48)) for seed in range(12)]
    path = write_clip(tmp_path / "a.mkv", wanted)
    data = path.read_bytes()
    for cut in range(1200, len(data), 4001):
        short = tmp_path / "short.mkv"
        short.write_bytes(data[:cut])
        try:
            burst = open_burst(short)
            for index, pixels in burst.decode(range(len(burst.frames))):
                np.testing.assert_array_equal(pixels, wanted[index])
        except FrameError as error:
            assert "short.mkv" in error.where


def test_a_clip_that_breaks_off_says_so(tmp_path: Path) -> None:
    frames = [picture(seed, size=(64, 48)) for seed in range(30)]
    path = h264(tmp_path / "a.mp4", frames, container_options={"movflags": "faststart"})
    assert open_burst(path).warnings == ()
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])
    burst = open_burst(path)
    assert 5 < len(burst.frames) < 25
    told = f"the last {30 - len(burst.frames)} of its 30 frames cannot be had"
    assert len(burst.warnings) == 1 and told in burst.warnings[0]


def test_damage_inside_is_named_and_the_rest_can_still_be_read(tmp_path: Path) -> None:
    rng = np.random.default_rng(0)
    frames = [picture(seed, size=(64, 48)) for seed in range(30)]
    path = h264(tmp_path / "a.mp4", frames, options={"bf": "0"})
    whole = {index: pixels.copy() for index, pixels in open_burst(path).decode(range(30))}
    data = bytearray(path.read_bytes())
    middle = len(data) // 2
    data[middle : middle + 400] = rng.integers(0, 256, 400).astype(np.uint8).tobytes()
    path.write_bytes(bytes(data))
    burst = open_burst(path)
    got: list[int] = []
    with pytest.raises(FrameError) as caught:
        got.extend(index for index, _ in burst.decode(range(30)))
    first_bad = got[-1] + 1
    assert caught.value.where.endswith(f"a.mp4#{first_bad + 1:04d}")
    # behind the next key frame all is well again
    ((_, last),) = burst.decode([29])
    np.testing.assert_array_equal(last, whole[29])


def test_two_clips_follow_each_other(tmp_path: Path) -> None:
    for name in "ab":
        h264(tmp_path / f"{name}.mp4", levels(5))
    burst = open_burst(tmp_path)
    assert len(burst.frames) == 10
    assert burst.runs(range(10)) == [(0, 1, 2, 3, 4), (5, 6, 7, 8, 9)]
    starts = [frame.start_s for frame in burst.frames]
    assert np.diff(starts) == pytest.approx([0.04] * 9, abs=1e-3)
    assert len(burst.warnings) == 1


def test_a_clip_without_time_stamps_of_its_own(tmp_path: Path) -> None:
    frames = levels(6)
    path = write_clip(tmp_path / "a.avi", frames, codec="mjpeg", pixel_format="yuvj420p")
    burst = open_burst(path)
    assert np.diff([frame.start_s for frame in burst.frames]) == pytest.approx([0.04] * 5, abs=1e-3)
    for index, pixels in burst.decode([2, 4]):
        assert np.abs(pixels.astype(int) - frames[index]).max() <= YCBCR_CODES


def test_an_avi_with_frames_coded_out_of_order(tmp_path: Path) -> None:
    """B-frames in an AVI bear the stamps of their decoding; every frame must come all the same."""
    frames = levels(20)
    path = write_clip(tmp_path / "b.avi", frames, options={"bf": "2", "b-pyramid": "none"})
    burst = open_burst(path)
    assert len(burst.frames) == 20
    for index, pixels in burst.decode(range(20)):
        assert np.abs(pixels.astype(int) - frames[index]).max() <= YCBCR_CODES


def test_a_matroska_file_that_breaks_off_is_told(tmp_path: Path) -> None:
    path = write_clip(tmp_path / "a.mkv", levels(100), options={"g": "10"})
    assert not open_burst(path).warnings
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])
    assert any("breaks off" in warning for warning in open_burst(path).warnings)
