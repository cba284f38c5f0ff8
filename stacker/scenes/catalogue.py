"""The list of scenes and their usual figures, without the machinery that draws them.

Nothing heavy is imported here, so that a command can list the scenes at once.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

from stacker.errors import OptionError

SMALLEST_SIDE_PX = 16
LARGEST_PIXELS = 100 * 10**6
FILE_FORMATS = ("jpg", "png", "tif")


@dataclass(frozen=True)
class SceneInfo:
    """What a scene is called, which blend suits it and how its burst is usually shot."""

    name: str
    title: str
    blend: str
    frames: int
    shutter_s: float
    interval_s: float


@dataclass(frozen=True)
class RenderedScene:
    """Where a burst and its truth were written.

    ``truth_paths`` maps ``"exposure"``, ``"lighten"``, ``"scene"`` and, where the scene has people
    or cars to take away, ``"empty"``, where it knows what is sky, ``"ground"``, to their files.
    """

    name: str
    folder: Path
    frame_paths: tuple[Path, ...]
    truth_paths: Mapping[str, Path]
    interval_s: float
    shutter_s: float


def _catalogue() -> Mapping[str, SceneInfo]:
    entries = (
        SceneInfo("harbour", "Tide water between quay and headland", "mean", 24, 0.5, 0.6),
        SceneInfo("road", "The coast road at dusk", "lighten", 24, 1.0, 1.2),
        SceneInfo("lighthouse", "The light of Kestrel Point, and a boat", "lighten", 24, 0.4, 0.5),
        SceneInfo("quay", "People on the quay by day", "median", 24, 1 / 30, 2.0),
        SceneInfo("stars", "Stars about the pole over the headland", "lighten", 24, 120.0, 126.0),
        SceneInfo("fireworks", "Fireworks over the harbour", "lighten", 24, 1.0, 1.1),
        SceneInfo("dusk", "Lit windows while the sky fades", "mean", 24, 2.0, 60.0),
    )
    return MappingProxyType({entry.name: entry for entry in entries})


SCENES: Mapping[str, SceneInfo] = _catalogue()


def find_scene(name: str) -> SceneInfo:
    """Return the entry called ``name``.

    Raises
    ------
    OptionError
        No scene has that name; the text lists those that exist and the nearest.
    """
    if name in SCENES:
        return SCENES[name]
    remedy = "choose one of " + ", ".join(SCENES)
    nearest = difflib.get_close_matches(name, SCENES, n=1, cutoff=0.6)
    if nearest:
        remedy = f"did you mean {nearest[0]}? {remedy}"
    raise OptionError(
        "scene", f"there is no scene called {name!r}", remedy=remedy, code="scene-unknown"
    )


def check_burst(
    *,
    frames: int,
    size: tuple[int, int],
    shutter_s: float,
    interval_s: float,
    tremor_px: float,
    file_format: str,
    workers: int,
    seed: int,
) -> None:
    """Refuse figures that no burst can have.

    Raises
    ------
    OptionError
        The first figure that makes no sense, with the bound it breaks.
    """
    smallest = SMALLEST_SIDE_PX
    demands = (
        (frames >= 1, "frames", f"{frames} frames make no burst", "ask for 1 or more"),
        (seed >= 0, "seed", f"{seed} is below 0", "give a whole number from 0 on"),
        (
            size[0] * size[1] <= LARGEST_PIXELS,
            "size",
            f"{size[0]} x {size[1]} px is too large to draw",
            f"stay below {LARGEST_PIXELS // 10**6} megapixels",
        ),
        (
            min(size) >= smallest,
            "size",
            f"{size[0]} x {size[1]} px is too small to draw in",
            f"make each side at least {smallest} px",
        ),
        (
            0 < shutter_s < float("inf"),
            "shutter",
            f"a shutter of {shutter_s} s lets no light in",
            "give a positive number of seconds",
        ),
        (
            shutter_s <= interval_s < float("inf"),
            "interval",
            f"frames cannot start every {interval_s} s with a shutter of {shutter_s} s",
            "make the interval at least as long as the shutter",
        ),
        (
            0 <= tremor_px <= min(size) / 4,
            "tremor",
            f"a tremor of {tremor_px} px cannot be drawn",
            "give a number from 0 to a quarter of the shorter side",
        ),
        (
            file_format in FILE_FORMATS,
            "format",
            f"frames cannot be written as {file_format!r}",
            "choose one of " + ", ".join(FILE_FORMATS),
        ),
        (workers >= 1, "workers", f"{workers} workers do no work", "ask for 1 or more"),
    )
    for holds, where, why, remedy in demands:
        if not holds:
            raise OptionError(f"--{where}", why, remedy=remedy, code=f"{where}-impossible")
