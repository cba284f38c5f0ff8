"""What a burst is made of: files found, files refused, frames kept with their problem."""

from __future__ import annotations

import subprocess
import sys
import threading
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pillow_heif
import pytest
import tifffile
from dng import write_dng
from PIL import Image

from stacker.burst import Burst, open_burst
from stacker.burst.readers.facts import Reader
from stacker.burst.readers.registry import KINDS, kind_of_content, kind_of_suffix, reader_of
from stacker.errors import BurstError, FrameError
from stacker.light.reduce import reduce_light
from stacker.light.space import SRGB
from tests.burst.made_files import (
    jpeg_bytes,
    picture,
    segment,
    write_clip,
    write_jpeg,
)

NOON = datetime(2024, 6, 1, 12, 0, 0)


def shoot(folder: Path, count: int, *, first: int = 1, camera: str = "M1") -> list[Path]:
    return [
        write_jpeg(
            folder / f"IMG_{first + place:04d}.jpg",
            picture(first + place),
            taken=NOON + timedelta(seconds=2 * (first + place)),
            shutter=(1, 1),
            camera=("Maker", camera),
        )
        for place in range(count)
    ]


def names(burst: Burst) -> list[str]:
    return [frame.name for frame in burst.frames]


def refused(*sources: object) -> BurstError:
    with pytest.raises(BurstError) as caught:
        open_burst(sources[0] if len(sources) == 1 else list(sources))  # type: ignore[arg-type]
    assert str(caught.value).count("\n") == 0 and caught.value.remedy
    return caught.value


def test_a_folder(tmp_path: Path) -> None:
    shoot(tmp_path, 4)
    (tmp_path / "notes.txt").write_text("no picture")
    (tmp_path / ".hidden.jpg").write_text("no picture")
    (tmp_path / "IMG_0009.jpg.part").write_text("no picture")
    (tmp_path / "below").mkdir()
    shoot(tmp_path / "below", 2)
    burst = open_burst(tmp_path)
    assert names(burst) == [f"IMG_000{number}.jpg" for number in range(1, 5)]
    assert burst.passed_over == ("notes.txt",)
    assert burst.sources == {(tmp_path / name).resolve() for name in names(burst)}
    assert burst.runs([2, 0, 1]) == [(0,), (1,), (2,)]
    assert burst.warnings == ()


def test_files_patterns_and_lists_are_sets_of_files(tmp_path: Path) -> None:
    paths = shoot(tmp_path, 4)
    assert names(open_burst(str(tmp_path / "IMG_000[13].jpg"))) == ["IMG_0001.jpg", "IMG_0003.jpg"]
    assert names(open_burst(paths[2])) == ["IMG_0003.jpg"]
    assert names(open_burst(paths[::-1])) == [path.name for path in paths]
    twice = open_burst([*paths, paths[0], str(tmp_path / "IMG_0002.jpg")])
    assert names(twice) == [path.name for path in paths]
    assert len(twice.warnings) == 1 and twice.warnings[0].startswith("2 ")


def test_nothing_there(tmp_path: Path) -> None:
    assert refused(tmp_path).code == "no-frames"
    assert refused(tmp_path / "none").code == "no-such-file"
    assert refused(str(tmp_path / "*.jpg")).code == "no-match"
    (tmp_path / "notes.txt").write_text("words")
    assert refused(tmp_path).code == "no-frames"
    assert refused(tmp_path / "notes.txt").code == "not-a-picture"
    with pytest.raises(BurstError):
        open_burst([])


def test_content_comes_before_the_suffix(tmp_path: Path) -> None:
    path = write_jpeg(tmp_path / "a.png")
    burst = open_burst(path)
    assert burst.frames[0].kind == "JPEG" and len(burst.warnings) == 1
    bare = write_jpeg(tmp_path / "bare")
    assert open_burst(bare).frames[0].kind == "JPEG"
    clip = write_clip(tmp_path / "b.mkv", [picture(1)] * 3)
    odd = clip.rename(tmp_path / "b.tif")
    assert open_burst(odd).frames[0].kind == "clip"


def test_a_picture_under_a_foreign_suffix_is_read_when_named_only(tmp_path: Path) -> None:
    paths = shoot(tmp_path, 3)
    backup = tmp_path / "IMG_0001.jpg_original"
    backup.write_bytes(paths[0].read_bytes())
    assert open_burst(tmp_path).passed_over == (backup.name,)
    assert names(open_burst(backup)) == [backup.name]


@pytest.mark.parametrize("content", [b"", b"no picture at all", b"\xff\xd8\xff"])
def test_a_bad_file_keeps_its_place(tmp_path: Path, content: bytes) -> None:
    paths = shoot(tmp_path, 5)
    paths[2].write_bytes(content)
    burst = open_burst(tmp_path)
    assert names(burst) == [path.name for path in paths]
    bad = burst.frames[2]
    assert bad.problem is not None and paths[2].name in str(bad.problem)
    assert bad.size == burst.size and bad.shutter_s == 1.0
    assert [frame.start_s for frame in burst.frames] == pytest.approx([0, 2, 4, 6, 8], abs=0.01)
    with pytest.raises(FrameError) as caught:
        list(burst.decode([2]))
    assert caught.value is bad.problem
    for index in (0, 1, 3, 4):
        assert len(list(burst.decode([index]))) == 1


def test_bad_files_alone_are_the_first_ones_problem(tmp_path: Path) -> None:
    for name in ("a.jpg", "b.jpg"):
        (tmp_path / name).write_bytes(b"")
    with pytest.raises(FrameError) as caught:
        open_burst(tmp_path)
    assert caught.value.code == "frame-empty" and "a.jpg" in str(caught.value)


def test_one_frame_of_another_size_is_a_bad_frame(tmp_path: Path) -> None:
    paths = shoot(tmp_path, 5)
    write_jpeg(paths[3], picture(size=(32, 16)), taken=NOON + timedelta(seconds=8))
    burst = open_burst(tmp_path)
    problem = burst.frames[3].problem
    assert problem is not None and problem.code == "frame-mismatch"
    assert "32 x 16" in problem.why and "24 x 16" in problem.why
    assert burst.size == (24, 16)


def test_another_depth_is_a_bad_frame(tmp_path: Path) -> None:
    for number in range(4):
        pixels = picture(dtype="uint16" if number == 1 else "uint8")
        tifffile.imwrite(tmp_path / f"{number}.tif", pixels, photometric="rgb")
    problems = [frame.problem for frame in open_burst(tmp_path).frames]
    codes = [problem.code if problem else "" for problem in problems]
    assert codes == ["", "frame-mismatch", "", ""]


def test_equal_profiles_in_other_bytes_are_one_colour(tmp_path: Path) -> None:
    shoot(tmp_path, 3)
    body = b"ICC_PROFILE\0\1\1" + SRGB.icc
    (tmp_path / "IMG_0009.jpg").write_bytes(jpeg_bytes(picture(), segment(0xE2, body)))
    burst = open_burst(tmp_path)
    # numbers in a profile are rounded: near, but not the same
    assert all(frame.problem is None for frame in burst.frames)
    assert len({id(frame.encoding.space) for frame in burst.frames}) == 1


def test_two_sizes_are_two_bursts(tmp_path: Path) -> None:
    shoot(tmp_path, 4)
    for number in range(5, 8):
        write_jpeg(tmp_path / f"IMG_000{number}.jpg", picture(size=(32, 16)))
    error = refused(tmp_path)
    assert error.code == "two-bursts"
    for words in ("4 frames", "3 frames", "24 x 16", "32 x 16", "IMG_0001.jpg", "IMG_0005.jpg"):
        assert words in error.why


def test_two_cameras_are_two_bursts(tmp_path: Path) -> None:
    shoot(tmp_path, 12, camera="M1")
    shoot(tmp_path, 1, first=13, camera="M2")
    error = refused(tmp_path)
    assert error.code == "two-bursts" and "Maker M2" in error.why


def test_a_clip_beside_stills_is_another_burst(tmp_path: Path) -> None:
    shoot(tmp_path, 4)
    write_clip(tmp_path / "clip.mkv", [picture(1)] * 9)
    assert refused(tmp_path).code == "two-bursts"
    assert len(open_burst(tmp_path / "*.jpg").frames) == 4


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.arw", b"II*\0" + b"\0" * 40),
        ("a.dng", b"MM\0*" + b"\0" * 40),
        ("a.cr3", b"\0\0\0\x18ftypcrx " + b"\0" * 40),
        ("a.raf", b"FUJIFILMCCD-RAW " + b"\0" * 40),
        ("a.heic", b"\0\0\0\x18ftypheic" + b"\0" * 40),
        ("a.jpg", b"\0\0\0\x18ftypmif1" + b"\0" * 40),
    ],
)
def test_broken_raw_and_heic_stay_in_the_burst_as_bad(
    tmp_path: Path, name: str, content: bytes
) -> None:
    (tmp_path / name).write_bytes(content)
    shoot(tmp_path, 2)
    (bad,) = (frame for frame in open_burst(tmp_path).frames if frame.problem is not None)
    assert bad.problem is not None and name in bad.problem.where


def test_a_counter_that_begins_again(tmp_path: Path) -> None:
    for place, number in enumerate([9998, 9999, 1, 2]):
        taken = NOON + timedelta(seconds=place // 2)
        write_jpeg(tmp_path / f"DSC_{number:04d}.JPG", taken=taken)
    assert names(open_burst(tmp_path)) == [
        "DSC_9998.JPG",
        "DSC_9999.JPG",
        "DSC_0001.JPG",
        "DSC_0002.JPG",
    ]


def test_warnings_are_said_once_with_their_count(tmp_path: Path) -> None:
    for number in range(5):
        Image.fromarray(picture()).convert("RGBA").save(tmp_path / f"{number}.png")
    burst = open_burst(tmp_path, interval_s=1)
    assert len(burst.warnings) == 1
    assert "0.png and 4 more" in burst.warnings[0]


@pytest.mark.parametrize("orientation", range(1, 9))
def test_stills_come_out_upright(tmp_path: Path, orientation: int) -> None:
    plain = write_jpeg(tmp_path / "plain.jpg")
    turned = write_jpeg(tmp_path / "turned.jpg", orientation=orientation)
    ((_, stored),) = open_burst(plain).decode([0])
    wanted = Image.fromarray(stored)
    ways = {
        2: Image.Transpose.FLIP_LEFT_RIGHT,
        3: Image.Transpose.ROTATE_180,
        4: Image.Transpose.FLIP_TOP_BOTTOM,
        5: Image.Transpose.TRANSPOSE,
        6: Image.Transpose.ROTATE_270,
        7: Image.Transpose.TRANSVERSE,
        8: Image.Transpose.ROTATE_90,
    }
    if orientation in ways:
        wanted = wanted.transpose(ways[orientation])
    burst = open_burst(turned)
    assert burst.size == wanted.size
    out = np.zeros((burst.size[1], burst.size[0], 3), np.uint8)
    for given in (None, out):
        ((_, pixels),) = burst.decode([0], out=given)
        np.testing.assert_array_equal(pixels, np.asarray(wanted))


def test_reduced_light(tmp_path: Path) -> None:
    burst = open_burst(shoot(tmp_path, 1)[0])
    ((_, pixels),) = burst.decode([0])
    for factor in (1, 2, 4, 8):
        light = burst.reduced_light(0, factor)
        np.testing.assert_array_equal(light, reduce_light(pixels, burst.encoding, factor))


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("factor", [1, 2, 3, 4])
def test_small_copies_are_the_frame_averaged(tmp_path: Path, orientation: int, factor: int) -> None:
    y, x = np.mgrid[:32, :48]
    soft = 120 + 60 * np.sin(x / 9) + 40 * np.cos(y / 7)
    path = tmp_path / "a.jpg"
    exif = Image.Exif()
    exif[0x0112] = orientation
    picture = Image.fromarray(np.repeat(soft[..., None], 3, axis=2).astype(np.uint8))
    picture.save(path, quality=98, exif=exif)
    burst = open_burst(path)
    small = burst.small_copy(0, factor)
    width, height = burst.size
    assert small.shape == (height // factor, width // factor, 3)
    ((_, pixels),) = burst.decode([0])
    h, w = small.shape[:2]
    cells = pixels[: h * factor, : w * factor].reshape(h, factor, w, factor, 3)
    # a scaled inverse transform is no plain average: two codes where the light is soft
    np.testing.assert_allclose(small, cells.mean(axis=(1, 3)), atol=2.5)


def test_what_does_not_fit_is_a_fault_of_the_caller(tmp_path: Path) -> None:
    shoot(tmp_path, 2)
    burst = open_burst(tmp_path)
    with pytest.raises(ValueError, match="several runs"):
        list(burst.decode([0, 1]))
    with pytest.raises(ValueError, match="C-contiguous"):
        list(burst.decode([0], out=np.zeros((16, 24, 3), np.uint16)))
    assert list(burst.decode([])) == []


def test_a_frame_that_changed_since_is_refused(tmp_path: Path) -> None:
    (path,) = shoot(tmp_path, 1)
    burst = open_burst(path)
    write_jpeg(path, picture(size=(32, 16)))
    with pytest.raises(FrameError):
        list(burst.decode([0]))
    path.unlink()
    with pytest.raises(FrameError):
        list(burst.decode([0]))


def test_corrections_change_the_light_of_each_frame(tmp_path: Path) -> None:
    shoot(tmp_path, 3)
    burst = open_burst(tmp_path)
    plain = [burst.reduced_light(place, 1) for place in range(3)]

    def brighten(light: np.typing.NDArray[np.float32], index: int) -> None:
        light *= np.float32(index + 1)

    def lift(light: np.typing.NDArray[np.float32], index: int) -> None:
        light += np.float32(0.5)

    corrected = burst.corrected(brighten).corrected(lift)
    assert corrected.encoding.is_light and not burst.encoding.is_light
    assert corrected.encoding.space == burst.encoding.space
    out = np.empty(plain[0].shape, np.float32)
    for place in (2, 0, 1):
        ((index, light),) = corrected.decode([place], out=out)
        assert index == place and light is out
        # to the last bit: the same float32 arithmetic
        assert np.array_equal(light, plain[place] * np.float32(place + 1) + np.float32(0.5))
        assert np.array_equal(corrected.reduced_light(place, 1), light)


def test_threads_get_what_one_alone_gets(tmp_path: Path) -> None:
    shoot(tmp_path, 12)
    stills = open_burst(tmp_path)
    write_clip(tmp_path / "a.mkv", [picture(seed) for seed in range(12)])
    clip = open_burst(tmp_path / "a.mkv")
    wanted = {
        (place, index): pixels.copy()
        for place, burst in enumerate((stills, clip))
        for run in burst.runs(range(12))
        for index, pixels in burst.decode(run)
    }
    found: dict[tuple[int, int, int], np.typing.NDArray[np.uint8]] = {}
    barrier = threading.Barrier(6)

    def work(thread: int) -> None:
        barrier.wait()
        for place, burst in enumerate((stills, clip)):
            for index in range(12):
                ((_, pixels),) = burst.decode([index])
                found[thread, place, index] = pixels

    threads = [threading.Thread(target=work, args=(number,)) for number in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(found) == 6 * 2 * 12
    for (_, place, index), pixels in found.items():
        np.testing.assert_array_equal(pixels, wanted[place, index])


def _example(kind: str, folder: Path) -> Path:
    if kind == "JPEG":
        return write_jpeg(folder / "a.jpg")
    if kind == "clip":
        return write_clip(folder / "a.mkv", [picture()])
    if kind == "raw":
        return write_dng(folder / "a.dng", np.full((32, 48), 4000, np.uint16))
    if kind == "HEIC":
        pillow_heif.from_pillow(Image.fromarray(picture())).save(folder / "a.heic")
        return folder / "a.heic"
    suffix = {"TIFF": "tif", "PNG": "png", "other": "webp", "AVIF": "avif"}[kind]
    path = folder / f"a.{suffix}"
    Image.fromarray(picture()).save(path)
    return path


@pytest.mark.parametrize("kind", [kind.name for kind in KINDS])
def test_every_kind_is_recognised_and_read(tmp_path: Path, kind: str) -> None:
    path = _example(kind, tmp_path)
    found = kind_of_content(path)
    assert found is not None and found.name == kind
    assert kind_of_suffix(path) is found
    reader: Reader = reader_of(kind)
    facts = reader.inspect(path)
    ((number, pixels),) = reader.decode(path, [0], out=None)
    # no sensor is as small as the other pictures
    width, height = (48, 32) if kind == "raw" else (24, 16)
    assert number == 0 and pixels.shape == (height, width, 3)
    assert facts[0].size == (width, height) and facts[0].encoding.stored == str(pixels.dtype)


def test_suffixes_belong_to_one_kind_each() -> None:
    suffixes = [suffix for kind in KINDS for suffix in kind.suffixes]
    assert len(suffixes) == len(set(suffixes))


def test_heavy_modules_are_imported_when_used(tmp_path: Path) -> None:
    shoot(tmp_path, 2)
    program = (
        "import sys\n"
        "from stacker.burst import open_burst\n"
        "light = set(sys.modules)\n"
        "burst = open_burst(sys.argv[1])\n"
        "list(burst.decode([0]))\n"
        "heavy = {'av', 'tifffile', 'imagecodecs', 'imageio', 'PIL', 'rawpy', 'pillow_heif'}\n"
        "print(*sorted(heavy & set(sys.modules)), 'simplejpeg' in light)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, str(tmp_path)], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "False"
