"""A burst, or one still, under a lens that moved while the shutter was open."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from stacker.burst import Burst
from stacker.engine.memory import frame_bytes, workers_within
from stacker.engine.progress import Progress, Silent
from stacker.errors import OptionError
from stacker.finish import Metadata, Tone, save_picture
from stacker.light.buffers import zeros
from stacker.light.encoding import Encoding, LightArray, PixelArray, decode
from stacker.light.lens_move import moved_channel
from stacker.light.lens_path import LensPath
from stacker.version import PROGRAM

# a path longer than this many longer sides of the picture shows nothing but one colour
FARTHEST = 4.0
# the largest disc, as a share of the shorter side
WIDEST = 0.25
# what a channel takes while it is moved: itself with a margin, its mean, and what is carried on
WORKING_PIXEL_BYTES = 4 * 4 * 2
RESULT_PIXEL_BYTES = 12


@dataclass(frozen=True, kw_only=True)
class LensMove:
    """What the lens does; see ``LensPath``.

    ``centre`` in px is the middle of the picture if None.
    """

    zoom: float = 1.0
    turn_deg: float = 0.0
    drift_px: tuple[float, float] = (0.0, 0.0)
    focus_px: tuple[float, float] = (0.0, 0.0)
    centre: tuple[float, float] | None = None
    halts: int = 0
    rest: float = 0.0

    def __post_init__(self) -> None:
        numbers = {"--turn": self.turn_deg, "--drift": max(map(abs, self.drift_px))}
        for option, value in numbers.items():
            if not math.isfinite(value):
                raise _nonsense(f"{option} {value:g}", "give a number")
        if not (math.isfinite(self.zoom) and 0.1 <= self.zoom <= 10):
            raise _nonsense(f"--zoom {self.zoom:g}", "give what the picture grows to, 0.1 to 10")
        if not all(math.isfinite(each) and each >= 0 for each in self.focus_px):
            words = ",".join(f"{each:g}" for each in self.focus_px)
            raise _nonsense(f"--focus {words}", "give radii of 0 or more pixels, such as 0,20")
        if self.halts < 0 or self.halts == 1:
            raise _nonsense(f"--halts {self.halts}", "give 2 or more, or leave it out")
        if not 0 <= self.rest < 1:
            raise _nonsense(f"--rest {self.rest:g}", "give a share from 0 to below 1, such as 0.5")

    def path(self, size: tuple[int, int]) -> LensPath:
        """Return the path over pictures of a size (width, height).

        Raises
        ------
        OptionError
            Nothing moves, or so much that nothing would be left.
        """
        middle = ((size[0] - 1) / 2, (size[1] - 1) / 2)
        path = LensPath(**{**asdict(self), "centre": self.centre or middle})
        if not path.moves and not path.pulls_focus:
            raise OptionError(
                "stacker move",
                "nothing moves",
                remedy="give one or more of --zoom, --turn, --drift and --focus",
                code="option-move",
            )
        if path.farthest_px(size) > FARTHEST * max(size):
            raise _nonsense(
                "stacker move",
                f"give less: this would move places by {path.farthest_px(size):.0f} px",
            )
        if max(path.focus_px) > WIDEST * min(size):
            raise _nonsense(
                f"--focus {max(path.focus_px):g}", f"give up to {WIDEST * min(size):.0f} px"
            )
        return path


def move_burst(
    burst: Burst,
    target: Path,
    move: LensMove,
    *,
    exposure_ev: float = 0.0,
    depth: int | None = None,
    memory: int | None = None,
    overwrite: bool = False,
    progress: Progress | None = None,
) -> dict[str, Any]:
    """Return what was done, having written the picture.

    Each frame takes its part of the path, one after the other, and all count alike.

    Raises
    ------
    StackerError
        A frame, an option or the target does not allow it.
    """
    path = move.path(burst.size)
    _check_memory(burst, memory)
    light = moved(burst, path, progress or Silent())
    shutters = [frame.shutter_s for frame in burst.frames]
    told = {
        "program": PROGRAM,
        "move": asdict(path),
        "frames_used": len(burst.frames),
        "farthest_px": round(path.farthest_px(burst.size), 1),
        "exposure_ev": exposure_ev,
    }
    open_s = None if None in shutters else sum(each or 0.0 for each in shutters)
    warnings = save_picture(
        target,
        _bands(light),
        size=burst.size,
        space=burst.encoding.space,
        tone=Tone(exposure_ev=exposure_ev),
        metadata=Metadata(
            exif=burst.frames[0].exif,
            exposure_s=open_s,
            description=json.dumps(told),
            software=PROGRAM,
        ),
        depth=depth,
        overwrite=overwrite,
        sources=burst.sources,
    )
    return {**told, "output": str(target), "warnings": [*burst.warnings, *warnings]}


def moved(burst: Burst, path: LensPath, progress: Progress) -> LightArray:
    """Return the mean light of a burst whose frames go along a path, float32 (H, W, 3)."""
    width, height = burst.size
    count = len(burst.frames)
    total: LightArray = zeros((height, width, 3), np.float32)
    pixels = zeros((height, width, 3), burst.encoding.stored)
    progress.start("moving the lens", count)
    number = 0
    for run in burst.runs(range(count)):
        for _, frame in burst.decode(run, out=pixels):
            for channel in range(3):
                light = _channel(frame, channel, burst.encoding)
                # a cubic may overshoot below black
                part = moved_channel(light, path, number / count, (number + 1) / count)
                total[..., channel] += np.maximum(part, 0) / np.float32(count)
            number += 1
            progress.advance()
    return total


def _channel(pixels: PixelArray, channel: int, encoding: Encoding) -> npt.NDArray[np.float32]:
    """Return the light of one channel, float32 (H, W): a third of the memory of all."""
    return decode(np.ascontiguousarray(pixels[..., channel]), encoding)


def _bands(light: LightArray) -> Iterator[LightArray]:
    yield light


def _check_memory(burst: Burst, memory: int | None) -> None:
    pixels = burst.size[0] * burst.size[1]
    frame = frame_bytes(
        burst.size,
        burst.encoding.stored,
        developed=burst.development is not None,
        corrected=burst.by_light,
    )
    held = pixels * (WORKING_PIXEL_BYTES + RESULT_PIXEL_BYTES)
    workers_within(memory, 1, frame, held=held)


def _nonsense(where: str, remedy: str) -> OptionError:
    return OptionError(where, "makes no sense here", remedy=remedy, code="option-value")
