"""Bursts on disk: the same for a seed, with Exif, truth and nothing left behind."""

from __future__ import annotations

import hashlib
import json
import struct
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest
import tifffile
from PIL import ExifTags, Image

from stacker.errors import OptionError, OutputError
from stacker.light.srgb import srgb_to_linear
from stacker.scenes import SCENES, render_scene
from stacker.scenes import files as scene_files

SMALL = (90, 60)


def digests(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@pytest.mark.parametrize("name", SCENES)
def test_same_seed_same_bytes_whatever_the_workers(name: str, tmp_path: Path) -> None:
    for folder, workers, seed in (("one", 1, 4), ("two", 2, 4), ("other", 2, 5)):
        render_scene(name, tmp_path / folder, frames=3, size=SMALL, seed=seed, workers=workers)
    assert digests(tmp_path / "one") == digests(tmp_path / "two")
    same = digests(tmp_path / "one").items() & digests(tmp_path / "other").items()
    assert not same


def test_layout_and_record(tmp_path: Path) -> None:
    seen: list[tuple[int, int]] = []
    made = render_scene(
        "quay", tmp_path, frames=3, size=SMALL, on_frame=lambda done, of: seen.append((done, of))
    )
    assert seen == [(1, 3), (2, 3), (3, 3)]
    assert [path.name for path in made.frame_paths] == ["KP_0001.jpg", "KP_0002.jpg", "KP_0003.jpg"]
    assert set(made.truth_paths) == {"exposure", "lighten", "empty", "scene"}
    everything = {path for path in tmp_path.rglob("*") if path.is_file()}
    assert everything == {*made.frame_paths, *made.truth_paths.values()}
    record = json.loads(made.truth_paths["scene"].read_text())
    assert record["size"] == list(SMALL)
    assert [frame["start_s"] for frame in record["frames"]] == pytest.approx([0, 2, 4])
    assert record["frames"][1]["to_first"] == np.eye(3).tolist()
    for key in ("exposure", "lighten", "empty"):
        light = tifffile.imread(made.truth_paths[key])
        assert light.dtype == np.float32
        assert light.shape == (60, 90, 3)


def test_lightest_is_clipped_and_no_frame_exceeds_it_by_more_than_noise(tmp_path: Path) -> None:
    made = render_scene("road", tmp_path, frames=4, size=(300, 200), file_format="tif")
    lightest = tifffile.imread(made.truth_paths["lighten"]).astype(np.float64)
    assert lightest.max() == 1.0
    for path in made.frame_paths:
        frame = srgb_to_linear(tifffile.imread(path) / 65_535)
        # Shot noise at ISO 100: six sigmas, and how finely the sliding shutter is sampled.
        assert (frame <= lightest * 1.04 + 6 * np.sqrt(lightest / 48_000) + 6 * 3 / 48_000).all()


def test_mean_of_many_frames_comes_nearer_the_truth_as_noise_predicts(tmp_path: Path) -> None:
    """The still sky of the harbour: the error of a mean falls with the root of the number."""
    made = render_scene("harbour", tmp_path, frames=16, size=SMALL, file_format="png")
    sky = np.s_[2:20, 40:]
    truth = tifffile.imread(made.truth_paths["exposure"])[sky].astype(np.float64)
    frames = np.stack(
        [
            srgb_to_linear(cv2.imread(str(path), cv2.IMREAD_UNCHANGED)[sky][..., ::-1] / 65_535)
            for path in made.frame_paths
        ]
    )
    variance = (truth / 48_000 + (3 / 48_000) ** 2).mean()
    for count in (1, 4, 16):
        error = np.sqrt(np.mean((frames[:count].mean(axis=0) - truth) ** 2))
        # Some 2700 values: their root mean square is known to about 1.4 %.
        assert error == pytest.approx(np.sqrt(variance / count), rel=0.06)


def exif_of(path: Path) -> dict[int, object]:
    with Image.open(path) as picture:
        exif = picture.getexif()
        return dict(exif) | dict(exif.get_ifd(ExifTags.IFD.Exif))


@pytest.mark.parametrize("file_format", ["jpg", "png", "tif"])
def test_exif_tells_when_and_how(file_format: str, tmp_path: Path) -> None:
    made = render_scene(
        "harbour", tmp_path, frames=3, size=(34, 20), file_format=file_format,
        shutter_s=0.05, interval_s=0.625,
    )  # fmt: skip
    tags = exif_of(made.frame_paths[2])
    base = ExifTags.Base
    assert tags[base.Make] == "Kestrel Point Instruments"
    assert tags[base.Model] == "Simulated 24"
    assert tags[base.DateTime] == "2031:06:14 20:31:01"
    assert tags[base.DateTimeOriginal] == "2031:06:14 20:31:01"
    assert tags[base.SubsecTimeOriginal] == "250"
    assert tags[base.OffsetTimeOriginal] == "+01:00"
    assert tags[base.ExposureTime] == pytest.approx(1 / 20)
    assert tags[base.FNumber] == pytest.approx(11.0)
    assert tags[base.ISOSpeedRatings] == 100
    assert tags[base.FocalLength] == pytest.approx(35.0)
    assert tags[base.ColorSpace] == 1


def test_frames_have_the_depth_of_their_format(tmp_path: Path) -> None:
    for file_format, depth in (("jpg", np.uint8), ("png", np.uint16), ("tif", np.uint16)):
        folder = tmp_path / file_format
        made = render_scene("stars", folder, frames=1, size=(33, 50), file_format=file_format)
        code = cv2.imread(str(made.frame_paths[0]), cv2.IMREAD_UNCHANGED)
        assert code.dtype == depth
        assert code.shape == (50, 33, 3)
    jpeg = (tmp_path / "jpg" / "KP_0001.jpg").read_bytes()
    place = jpeg.index(b"\xff\xc0")
    sampling = struct.unpack(">B", jpeg[place + 11 : place + 12])[0]
    assert sampling == 0x11  # no colour subsampling


def test_tremor_shows_no_border_and_is_recorded(tmp_path: Path) -> None:
    made = render_scene("quay", tmp_path, frames=4, size=SMALL, tremor_px=2.0, file_format="png")
    record = json.loads(made.truth_paths["scene"].read_text())
    motion = np.array([frame["to_first"] for frame in record["frames"]])
    assert np.array_equal(motion[0], np.eye(3))
    assert np.abs(motion[1:, :2, 2]).max() > 0.3
    # The sky is bright up to every border.
    for path in made.frame_paths:
        code = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
        assert code.shape == (60, 90, 3)
        assert code[0].min() > 4000


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"frames": 0}, "frames-impossible"),
        ({"size": (15, 200)}, "size-impossible"),
        ({"shutter_s": 0.0}, "shutter-impossible"),
        ({"shutter_s": float("nan")}, "shutter-impossible"),
        ({"shutter_s": 2.0, "interval_s": 1.0}, "interval-impossible"),
        ({"tremor_px": -1.0}, "tremor-impossible"),
        ({"file_format": "gif"}, "format-impossible"),
        ({"workers": 0}, "workers-impossible"),
    ],
)
def test_nonsense_is_refused(change: dict[str, object], code: str, tmp_path: Path) -> None:
    with pytest.raises(OptionError) as caught:
        render_scene("stars", tmp_path / "new", **change)  # type: ignore[arg-type]
    assert caught.value.code == code
    assert not (tmp_path / "new").exists()


def test_unknown_scene_names_those_there_are_and_the_nearest(tmp_path: Path) -> None:
    with pytest.raises(OptionError) as caught:
        render_scene("lighthose", tmp_path)
    assert caught.value.code == "scene-unknown"
    assert "did you mean lighthouse" in str(caught.value)
    assert all(name in str(caught.value) for name in SCENES)


def test_files_are_not_replaced_unless_allowed(tmp_path: Path) -> None:
    render_scene("stars", tmp_path, frames=2, size=SMALL)
    before = digests(tmp_path)
    with pytest.raises(OutputError) as caught:
        render_scene("stars", tmp_path, frames=2, size=SMALL, seed=2)
    assert caught.value.code == "output-exists"
    assert digests(tmp_path) == before
    render_scene("stars", tmp_path, frames=2, size=SMALL, seed=2, overwrite=True)
    assert digests(tmp_path).keys() == before.keys()
    assert not digests(tmp_path).items() & before.items()


def test_one_old_truth_is_enough_to_refuse(tmp_path: Path) -> None:
    (tmp_path / "truth").mkdir()
    (tmp_path / "truth" / "scene.json").write_text("mine")
    with pytest.raises(OutputError):
        render_scene("stars", tmp_path, frames=1, size=SMALL)
    assert [path.name for path in tmp_path.rglob("*.*")] == ["scene.json"]


@pytest.mark.parametrize("fault", [OSError(28, "no space"), KeyboardInterrupt()])
def test_no_temporary_is_left_after_a_failure(
    fault: BaseException, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(handle: int) -> None:
        raise fault

    monkeypatch.setattr(scene_files.os, "fsync", fail)
    expected = OutputError if isinstance(fault, OSError) else KeyboardInterrupt
    with pytest.raises(expected):
        render_scene("stars", tmp_path, frames=2, size=SMALL)
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []


def test_interruption_while_reporting_stops_the_rest(tmp_path: Path) -> None:
    def interrupt(done: int, of: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        render_scene("stars", tmp_path, frames=40, size=SMALL, workers=1, on_frame=interrupt)
    files = [path for path in tmp_path.rglob("*") if path.is_file()]
    assert not [path for path in files if path.suffix == ".part"]
    assert len(files) < 40


def test_listing_the_scenes_loads_nothing_heavy() -> None:
    program = (
        "import sys, stacker.scenes; assert 'cv2' not in sys.modules; "
        "assert 'numpy' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", program], check=True)
