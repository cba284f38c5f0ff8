"""A master: the median of frames that show what the camera adds by itself, with its facts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, get_args

from stacker.light.encoding import LightArray

MasterKind = Literal["dark", "flat", "bias"]
# the key by which a file says that it is one of these, and the version of what it says
MARK, FORMAT = "stacker_master", 1
Pattern = tuple[tuple[int, ...], ...]


@dataclass(frozen=True)
class Mosaic:
    """What a sensor's numbers mean.

    Parameters
    ----------
    pattern : the number of the colour of each photosite, by row and column until it repeats.
    black : the code of no light for each number of a colour.
    white : the code of the most light.
    """

    pattern: Pattern
    black: tuple[float, ...]
    white: float

    @property
    def period(self) -> int:
        """Steps to the next photosite of the same place in the pattern."""
        return len(self.pattern)

    @property
    def black_tile(self) -> tuple[tuple[float, ...], ...]:
        """The code of no light by row and column within a period."""
        return tuple(tuple(self.black[colour] for colour in row) for row in self.pattern)


@dataclass(frozen=True, eq=False)
class Master:
    """The median of calibration frames.

    Parameters
    ----------
    pixels : as the frames lie in their files: float32 (H, W), codes of the sensor with black in
        them, or float32 (H, W, 3), linear light of finished pictures.
    kind : what the frames show: the dark, an even light, or the electronics alone.
    frames : how many there were.
    camera : maker and model, "" where unknown.
    iso, shutter_s : how they were taken; None where unknown.
    space : the name of the colour space of finished pictures.
    mosaic : what the codes of the sensor mean, None for finished pictures.
    """

    pixels: LightArray
    kind: MasterKind
    frames: int
    camera: str = ""
    iso: float | None = None
    shutter_s: float | None = None
    space: str = ""
    mosaic: Mosaic | None = None

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) in pixels as the file lies."""
        return self.pixels.shape[1], self.pixels.shape[0]

    def facts(self) -> dict[str, Any]:
        """Return all but the pixels as plain data, ready for JSON."""
        facts: dict[str, Any] = {
            "kind": self.kind,
            "frames": self.frames,
            "size": list(self.size),
            "camera": self.camera,
            "iso": self.iso,
            "shutter_s": self.shutter_s,
        }
        if self.mosaic is None:
            return {**facts, "colour_space": self.space}
        return {
            **facts,
            "pattern": [list(row) for row in self.mosaic.pattern],
            "black": list(self.mosaic.black),
            "white": self.mosaic.white,
        }


def master_of_facts(facts: dict[str, Any], pixels: LightArray) -> Master:
    """Return the master that ``facts`` describe.

    Parameters
    ----------
    pixels : float32 (H, W) or (H, W, 3).

    Raises
    ------
    ValueError
        The facts do not belong to these pixels, or make no sense.
    """
    try:
        mosaic = None
        if "pattern" in facts:
            pattern = tuple(tuple(int(colour) for colour in row) for row in facts["pattern"])
            black = tuple(float(level) for level in facts["black"])
            mosaic = Mosaic(pattern, black, float(facts["white"]))
            sound = pattern and all(len(row) == len(pattern) for row in pattern)
            if not sound or not 0 <= min(map(min, pattern)) <= max(map(max, pattern)) < len(black):
                raise ValueError("a pattern that is none")
        master = Master(
            pixels,
            facts["kind"],
            int(facts["frames"]),
            camera=str(facts["camera"]),
            iso=None if facts["iso"] is None else float(facts["iso"]),
            shutter_s=None if facts["shutter_s"] is None else float(facts["shutter_s"]),
            space=str(facts.get("colour_space", "")),
            mosaic=mosaic,
        )
    except (KeyError, TypeError) as error:
        raise ValueError(f"a fact is missing or of another type: {error}") from error
    if master.kind not in get_args(MasterKind) or pixels.ndim != (2 if mosaic else 3):
        raise ValueError("the pixels are not of the kind that the facts tell")
    return master
