"""Clips of known YCbCr codes and tags, against arithmetic from the standards."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

import stacker
from stacker.burst import Burst, open_burst
from stacker.burst.readers.clip_picture import Converter
from stacker.light.encoding import decode
from stacker.light.h273 import numbered_space
from stacker.light.space import BT709, SRGB
from tests.light.test_ycbcr import EXACT_8, EXACT_16, in_floats

Planes = list[np.typing.NDArray[Any]]
SIDE = 64
LIMITED, FULL = 1, 2


def patches(bits: int, subsampling: str = "444", *, seed: int = 0) -> Planes:
    """Return planes of 8 x 8 patches of one colour each, within the limited range."""
    rng = np.random.default_rng(seed)
    unit = 1 << (bits - 8)
    dtype = np.uint8 if bits == 8 else np.uint16
    luma = rng.integers(50 * unit, 200 * unit, (8, 8)).astype(dtype)
    chroma = [rng.integers(110 * unit, 146 * unit, (8, 8)).astype(dtype) for _ in range(2)]
    across, down = {"444": (8, 8), "422": (4, 8), "420": (4, 4)}[subsampling]
    return [luma.repeat(8, 0).repeat(8, 1)] + [x.repeat(down, 0).repeat(across, 1) for x in chroma]


def frame_of(planes: Planes, pixel_format: str) -> av.VideoFrame:
    """Return a frame that holds the planes as they are."""
    frame = av.VideoFrame(planes[0].shape[1], planes[0].shape[0], pixel_format)
    for plane, codes in zip(frame.planes, planes, strict=True):
        rows = np.zeros((plane.height, plane.line_size), np.uint8)
        rows[:, : codes.shape[1] * codes.itemsize] = codes.view(np.uint8)
        plane.update(rows.tobytes())
    return frame


def write_planes(
    path: Path,
    planes: Planes,
    pixel_format: str,
    *,
    codec: str = "ffv1",
    options: dict[str, str] | None = None,
    tags: dict[str, int] | None = None,
    count: int = 2,
) -> Path:
    """Write a clip of equal frames without loss; tags are attributes of the codec's context."""
    with av.open(str(path), "w") as clip:
        stream = clip.add_stream(codec, rate=25, options=options or {})
        assert isinstance(stream, av.VideoStream)
        stream.width, stream.height, stream.pix_fmt = SIDE, SIDE, pixel_format
        for name, value in (tags or {}).items():
            setattr(stream.codec_context, name, value)
        for place in range(count):
            frame = frame_of(planes, pixel_format)
            frame.pts, frame.time_base = place, Fraction(1, 25)
            for name, value in (tags or {}).items():
                if hasattr(frame, name):
                    setattr(frame, name, value)
            clip.mux(stream.encode(frame))
        clip.mux(stream.encode(None))
    return path


def first_picture(burst: Burst) -> np.typing.NDArray[Any]:
    return next(pixels.copy() for _, pixels in burst.decode([0]))


def full_size(planes: Planes) -> Planes:
    return [x.repeat(SIDE // x.shape[0], 0).repeat(SIDE // x.shape[1], 1) for x in planes]


@pytest.mark.parametrize(("matrix", "full"), [(1, False), (5, True), (9, False), (9, True)])
@pytest.mark.parametrize(
    ("pixel_format", "bits", "subsampling"),
    [
        ("yuv420p", 8, "420"),
        ("yuv444p", 8, "444"),
        ("yuv422p10le", 10, "422"),
        ("yuv420p10le", 10, "420"),
        ("yuv444p12le", 12, "444"),
    ],
)
def test_matrix_range_and_depth(
    tmp_path: Path, pixel_format: str, bits: int, subsampling: str, matrix: int, full: bool
) -> None:
    planes = patches(bits, subsampling, seed=matrix)
    tags = {"colorspace": matrix, "color_range": FULL if full else LIMITED}
    burst = open_burst(write_planes(tmp_path / "a.mkv", planes, pixel_format, tags=tags))
    top, exact = (255, EXACT_8) if bits == 8 else (65535, EXACT_16)
    assert burst.encoding.top == top
    wanted = in_floats(full_size(planes), matrix, bits, full) * top
    assert np.abs(first_picture(burst) - wanted).max() <= exact
    assert burst.warnings == ()


@pytest.mark.parametrize(
    ("suffix", "codec", "options", "pixel_format"),
    [
        ("mp4", "libx264", {"qp": "0"}, "yuv420p"),
        ("mov", "libx264", {"qp": "0"}, "yuv420p10le"),
        ("mkv", "libvpx-vp9", {"lossless": "1"}, "yuv420p"),
    ],
)
def test_tags_come_through_the_usual_codecs_and_containers(
    tmp_path: Path, suffix: str, codec: str, options: dict[str, str], pixel_format: str
) -> None:
    bits = 10 if "10" in pixel_format else 8
    planes = patches(bits, "420", seed=5)
    tags = {"colorspace": 9, "color_range": LIMITED, "color_primaries": 9, "color_trc": 14}
    path = tmp_path / f"a.{suffix}"
    write_planes(path, planes, pixel_format, codec=codec, options=options, tags=tags)
    burst = open_burst(path)
    assert burst.encoding.space is numbered_space(9, 14)
    wanted = in_floats(full_size(planes), 9, bits, full=False) * burst.encoding.top
    assert np.abs(first_picture(burst) - wanted).max() <= EXACT_8


@pytest.mark.parametrize(
    ("primaries", "curve"),
    [(1, 1), (5, 6), (6, 6), (1, 4), (5, 5), (1, 8), (12, 13), (9, 14), (9, 16), (9, 18)],
)
def test_primaries_and_curve_by_their_tags(tmp_path: Path, primaries: int, curve: int) -> None:
    tags = {"color_primaries": primaries, "color_trc": curve}
    burst = open_burst(write_planes(tmp_path / "a.mkv", patches(10), "yuv444p10le", tags=tags))
    assert burst.encoding.space is numbered_space(primaries, curve)
    assert [("high dynamic range" in each) for each in burst.warnings] == [True] * (
        curve in (16, 18)
    )


def test_what_is_not_tagged_is_taken_as_srgb(tmp_path: Path) -> None:
    burst = open_burst(write_planes(tmp_path / "a.mkv", patches(8), "yuv444p"))
    assert burst.encoding.space is SRGB and burst.warnings == ()


def test_unknown_numbers_are_told(tmp_path: Path) -> None:
    tags = {"colorspace": 14, "color_primaries": 10, "color_trc": 17}
    burst = open_burst(write_planes(tmp_path / "a.mkv", patches(10), "yuv444p10le", tags=tags))
    assert burst.encoding.space is SRGB
    said = " ".join(burst.warnings)
    for words in ("primaries (number 10)", "curve (number 17)", "matrix (number 14)"):
        assert words in said


def test_light_of_a_tagged_clip_is_what_the_camera_saw(tmp_path: Path) -> None:
    """BT.709-6 item 1.2: 18 % gray is written as 1.099 * 0.18^0.45 - 0.099 of the range."""
    code = round(16 + 219 * (1.099 * 0.18**0.45 - 0.099))
    planes = [np.full((SIDE, SIDE), value, np.uint8) for value in (code, 128, 128)]
    tags = {"colorspace": 1, "color_primaries": 1, "color_trc": 1, "color_range": LIMITED}
    burst = open_burst(write_planes(tmp_path / "a.mkv", planes, "yuv444p", tags=tags))
    assert burst.encoding.space is BT709
    light = decode(first_picture(burst), burst.encoding)
    # half a code of 219, at a slope of 1.2 in light per range
    assert np.abs(light - 0.18).max() <= 0.5 / 219 * 1.2


@pytest.mark.parametrize(
    ("pixel_format", "bits", "curve"),
    [("yuv444p", 8, 1), ("yuv444p", 8, 18)]
    + [("yuv444p10le", 10, curve) for curve in (1, 8, 16, 18)],
)
def test_the_mean_of_a_still_clip_is_its_frame(
    tmp_path: Path, pixel_format: str, bits: int, curve: int
) -> None:
    """Within half an 8-bit code, whatever the curve; in 16 bits far nearer."""
    tags = {"color_primaries": 9, "color_trc": curve, "colorspace": 9, "color_range": LIMITED}
    path = write_planes(tmp_path / "a.mkv", patches(bits), pixel_format, tags=tags, count=3)
    burst = open_burst(path)
    stacker.save(stacker.expose(burst), tmp_path / "out.tif")
    (result,) = open_burst(tmp_path / "out.tif").decode([0])
    codes = first_picture(burst).astype(int) * (257 if bits == 8 else 1)
    assert np.abs(result[1].astype(int) - codes).max() <= 1


def test_the_mean_adds_light_of_the_scene(tmp_path: Path) -> None:
    """Two grays in HLG: their mean is that of the light before the camera."""
    grays = (300, 700)
    path = tmp_path / "a.mkv"
    tags = {"color_primaries": 9, "color_trc": 18, "colorspace": 9, "color_range": LIMITED}
    clips = []
    for place, gray in enumerate(grays):
        planes = [np.full((SIDE, SIDE), value, np.uint16) for value in (gray, 512, 512)]
        path = tmp_path / f"{place}.mkv"
        clips.append(write_planes(path, planes, "yuv444p10le", tags=tags, count=1))
    shot = stacker.expose(open_burst(clips))
    light = [float(numbered_space(9, 18).curve.to_light((gray - 64) / 876)) for gray in grays]
    # 16-bit codes, at a slope of less than 1 in light per range
    assert np.abs(shot.light - np.mean(light)).max() <= 1 / 65535


@pytest.mark.parametrize(
    ("pixel_format", "tolerance"),
    # how far RGB in and out of a format may be off in codes of 255, by its depth and subsampling
    [
        ("nv12", 2),
        ("nv21", 2),
        ("yuyv422", 2),
        ("p010le", 1),
        ("yuv420p10be", 1),
        ("yuv444p", 2),
        ("gbrp", 0),
        ("bgr0", 0),
        ("rgb24", 0),
        ("rgb48le", 1),
        ("gbrap", 0),
        ("yuva420p", 2),
    ],
)
def test_every_arrangement_of_samples(pixel_format: str, tolerance: int) -> None:
    """One colour: a plane too many, too few or in the wrong order would show."""
    colour = np.array([180, 90, 40], np.uint8)
    rgb = np.ascontiguousarray(np.broadcast_to(colour, (48, 66, 3)))
    frame = av.VideoFrame.from_ndarray(rgb, format="rgb24").reformat(format=pixel_format)
    pixels = Converter(Path("a"))(frame, 0, None)
    scale = 257 if pixels.dtype == np.uint16 else 1
    assert np.abs(pixels / scale - colour).max() <= tolerance


@pytest.mark.parametrize(
    ("pixel_format", "bits"), [("gray", 8), ("gray10le", 10), ("gray12be", 12)]
)
def test_gray_clips(pixel_format: str, bits: int) -> None:
    order = ">u2" if "be" in pixel_format else "<u2"
    codes = np.arange(48 * 64).reshape(48, 64) % (1 << bits)
    codes = codes.astype(np.uint8 if bits == 8 else order)
    pixels = Converter(Path("a"))(frame_of([codes], pixel_format), 0, None)
    top = 255 if bits == 8 else 65535
    wanted = codes[..., None] / ((1 << bits) - 1) * top
    # FFmpeg's scaler, which swaps the bytes, repeats a code's first bits behind its last
    assert np.abs(pixels - wanted).max() <= (0.5 if "be" not in pixel_format else 16)
