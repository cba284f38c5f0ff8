"""The main job on nothing but itself: bursts of Kestrel Point, and pictures made from them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import tifffile

from stacker.burst import open_burst
from stacker.engine import Progress, Settings, Silent, expose_burst, save
from stacker.engine.settings import Floor
from stacker.errors import OutputError
from stacker.scenes import render_scene
from stacker.survey.likeness import psnr

SIZE = (720, 480)


@dataclass(frozen=True)
class DemoPicture:
    """One thing to make: the scene, the blend, the truth it is held against, its file."""

    scene: str
    blend: str
    truth: str
    file: str
    title: str
    floor: Floor = "plain"


PICTURES = (
    DemoPicture("harbour", "mean", "exposure", "silky-water.jpg", "silky water in the harbour"),
    DemoPicture("road", "lighten", "lighten", "light-trails.jpg", "light trails on the coast road"),
    DemoPicture(
        "stars",
        "lighten",
        "lighten",
        "star-trails.jpg",
        "star trails over the headland",
        floor="true",
    ),
    DemoPicture("quay", "median", "empty", "empty-quay.jpg", "the quay with nobody on it"),
)


@dataclass(frozen=True)
class DemoResult:
    """What came of one picture.

    ``psnr_db`` compares the result with the truth, ``frame_psnr_db`` the burst's first frame.
    """

    picture: DemoPicture
    path: Path
    frames: int
    open_s: float
    psnr_db: float
    frame_psnr_db: float


def make_demo(
    folder: Path, *, overwrite: bool = False, progress: Progress | None = None
) -> Iterator[DemoResult]:
    """Yield each picture as it is made, with how far it lies from the truth in decibels.

    Parameters
    ----------
    folder : is made if needed; the bursts go into one folder each, the pictures beside them.

    Raises
    ------
    OutputError
        Something of the same name is there, or the folder cannot be written to.
    """
    progress = progress or Silent()
    for picture in PICTURES:
        for taken in (folder / picture.file, folder / picture.scene):
            if taken.exists() and not overwrite:
                raise OutputError(
                    taken,
                    "it exists already",
                    remedy="give --overwrite or choose another folder",
                    code="output-exists",
                )
    for picture in PICTURES:
        yield _make(picture, folder, overwrite=overwrite, progress=progress)


def _make(picture: DemoPicture, folder: Path, *, overwrite: bool, progress: Progress) -> DemoResult:
    progress.start(f"rendering {picture.scene}", 1)
    scene = render_scene(picture.scene, folder / picture.scene, size=SIZE, overwrite=overwrite)
    progress.advance()
    burst = open_burst(scene.frame_paths)
    settings = Settings(blends=(picture.blend,), floor=picture.floor)
    shot = expose_burst(burst, settings, progress=progress)[picture.blend]
    path = folder / picture.file
    save(shot, path, overwrite=overwrite)
    truth = tifffile.imread(scene.truth_paths[picture.truth])
    return DemoResult(
        picture=picture,
        path=path,
        frames=shot.report["frames_used"],
        open_s=shot.open_s or 0.0,
        psnr_db=psnr(shot.light, truth),
        frame_psnr_db=psnr(burst.reduced_light(0, 1), truth),
    )
