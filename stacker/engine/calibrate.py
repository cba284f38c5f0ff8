"""Attaching to a burst what takes the camera's own faults out of its frames."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import Any, get_args

import numpy as np

from stacker.burst import Burst, Frame
from stacker.burst.as_stored import HALF_RAW, as_stored, is_raw, stored_size
from stacker.burst.orientation import turn_upright
from stacker.burst.readers.mosaic import read_mosaic, unpack
from stacker.engine.masters import FRAMES, Found, check_fits, obtain_master, same, warnings_of
from stacker.engine.progress import Progress
from stacker.engine.settings import Settings
from stacker.errors import FrameError, OptionError
from stacker.light.calibration import (
    LightCalibration,
    MosaicCalibration,
    above_black,
    dark_signal,
    response,
)
from stacker.light.encoding import LightArray, PixelArray, decode
from stacker.light.fixed_points import FEWEST_FRAMES, FixedPoints
from stacker.light.hot_pixels import Grid, outliers, unresponsive
from stacker.light.master import Master, MasterKind, Mosaic
from stacker.light.mending import BadMask, Mending, as_blobs

# frames looked at to find hot pixels
LOOKED_AT = 16
# more bad pixels than this share of the picture are no bad pixels
MANY_BAD = 0.01
# what to look into where one source tells of many
ASKED = {
    "darks": "were the darks taken in the dark, with the lens cap on?",
    "flats": "were the flats taken of something even and bright?",
    "burst": "--hot-pixels keep leaves them",
}
# where a hot pixel of a finished picture and its blob have ended
BLOB_PERIOD = 3
# rounding of a sensor's codes; and half of the first step of 8 bits in sRGB
LEAST_SIGMA_CODES, LEAST_SIGMA_LIGHT = 0.5, 0.5 / 255 / 12.92


@dataclass(frozen=True)
class Calibrated:
    """A burst whose frames come calibrated, what was found, and the files that were used."""

    burst: Burst
    found: dict[str, Any] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    sources: frozenset[Path] = frozenset()
    held_bytes: int = 0


@dataclass(frozen=True, eq=False)
class _Turned:
    """A calibration of upright light, made for every way that frames lie in their files."""

    by_orientation: dict[int, LightCalibration]
    orientations: tuple[int, ...]

    def __call__(self, light: LightArray, index: int) -> None:
        self.by_orientation[self.orientations[index]].apply(light)


def calibrate(
    burst: Burst, settings: Settings, weights: Sequence[float], progress: Progress
) -> Calibrated:
    """Return the burst with darks, flats and hot pixels attended to, as far as asked for.

    Parameters
    ----------
    weights : one per frame of the burst; frames of weight 0 take no part.

    Raises
    ------
    OptionError
        Masters and frames do not fit together.
    StackerError
        Calibration frames cannot be used.
    """
    masters = _masters(burst, settings, progress)
    if not masters and settings.hot_pixels != "mend":
        return Calibrated(burst)
    if _sound(burst).kind == HALF_RAW:
        raise OptionError(
            "--half",
            "darks, flats and mending work on whole frames",
            remedy="leave out --half, or the calibration for a quick look",
            code="option-value",
        )
    burst = _lying_alike(burst)
    frame = _sound(burst)
    mosaic = read_mosaic(frame.path) if is_raw(burst) else None
    grid = _grid(burst, mosaic)
    dark, flat, bias = (
        masters[kind].master if kind in masters else None for kind in get_args(MasterKind)
    )
    offset, scale = dark_signal(dark, bias, shutter_s=frame.shutter_s)
    gain = _gain(flat, dark, bias, settings.flats) if flat is not None else None
    bad, counts, warnings = _bad_places(burst, dark, gain, grid, settings, weights, progress)
    for each in masters.values():
        warnings += [*each.warnings, *_shared(each, burst)]
        warnings += warnings_of(each.master, burst, scaled=dark is not None and bias is not None)
    found: dict[str, Any] = {kind: _told(each) for kind, each in masters.items()}
    if scale != 1.0:
        found["dark"]["scaled_by"] = scale
    found["hot_pixels"] = {"mended": int(bad.sum()), "found_in": counts}
    if mosaic is not None:
        mending = Mending(bad, grid.period) if bad.any() else None
        calibrated = _developed_with(burst, MosaicCalibration(mosaic, offset, gain, mending))
    else:
        calibrated = _corrected_by(burst, offset, gain, bad)
    sources = frozenset[Path]().union(*(each.sources for each in masters.values()))
    held = sum(each.nbytes for each in (offset, gain) if each is not None)
    return Calibrated(calibrated, {"calibration": found}, tuple(warnings), sources, held)


def _masters(burst: Burst, settings: Settings, progress: Progress) -> dict[MasterKind, Found]:
    """Return the masters asked for, by kind, after checking that they fit."""
    asked: dict[MasterKind, tuple[str, ...]] = {
        "dark": settings.darks,
        "flat": settings.flats,
        "bias": settings.biases,
    }
    masters: dict[MasterKind, Found] = {}
    for kind, sources in asked.items():
        if not sources:
            continue
        found = obtain_master(
            kind,
            sources,
            on_bad=settings.on_bad,
            memory=settings.memory,
            workers=settings.workers,
            progress=progress,
        )
        check_fits(found.master, burst, found.names)
        masters[kind] = found
    return masters


def _shared(found: Found, burst: Burst) -> list[str]:
    """Return a sentence if frames are to be taken out of themselves."""
    shared = len(found.sources & burst.sources)
    if not shared:
        return []
    files = f"{shared} file{'s' if shared > 1 else ''}"
    return [f"the {FRAMES[found.master.kind]} and the burst share {files}: is that meant?"]


def _lying_alike(burst: Burst) -> Burst:
    """Return the burst with a problem for frames that no one master fits: those stored otherwise.

    They are of one size when upright, but portraits in the file where the first is a landscape.
    """
    size = stored_size(_sound(burst))
    return replace(
        burst,
        frames=tuple(
            replace(frame, problem=_lies_otherwise(frame))
            if frame.problem is None and stored_size(frame) != size
            else frame
            for frame in burst.frames
        ),
    )


def _lies_otherwise(frame: Frame) -> FrameError:
    return FrameError(
        frame.path.with_name(frame.name),
        "it lies in its file at a right angle to the first frame: no calibration fits both",
        remedy="give the file as the camera wrote it",
        code="frame-mismatch",
    )


def _sound(burst: Burst) -> Frame:
    return next(each for each in burst.frames if each.problem is None)


def _grid(burst: Burst, mosaic: Mosaic | None) -> Grid:
    """Return how colours lie in the frames as they are stored."""
    if mosaic is None:
        return Grid(BLOB_PERIOD, LEAST_SIGMA_LIGHT)
    assert burst.development is not None
    factors = burst.development.white_balance
    balance = tuple(tuple(factors[colour] for colour in row) for row in mosaic.pattern)
    return Grid(mosaic.period, LEAST_SIGMA_CODES, balance)


def _gain(
    flat: Master, dark: Master | None, bias: Master | None, names: Sequence[str]
) -> LightArray:
    """Return the response that the flats show, less what they gathered without light."""
    base = bias
    if base is None and dark is not None and same(flat.shutter_s, dark.shutter_s):
        base = dark
    try:
        return response(flat, above_black(base) if base is not None else None)
    except ValueError as error:
        raise OptionError(
            f"--flat {' '.join(names)}",
            "the flats hold no light",
            remedy="take them of something even and bright, exposed to half of white",
            code="flat-dark",
        ) from error


def _bad_places(
    burst: Burst,
    dark: Master | None,
    gain: LightArray | None,
    grid: Grid,
    settings: Settings,
    weights: Sequence[float],
    progress: Progress,
) -> tuple[BadMask, dict[str, int], list[str]]:
    """Return the photosites to mend, bool (H, W) as stored, how many each source told, warnings."""
    bad = np.zeros(stored_size(_sound(burst))[::-1], bool)
    counts: dict[str, int] = {}
    warnings: list[str] = []
    if settings.hot_pixels == "keep":
        return bad, counts, warnings
    told: dict[str, BadMask] = {}
    if dark is not None:
        told["darks"] = outliers(dark.pixels, grid)
    if gain is not None:
        told["flats"] = unresponsive(gain, grid)
    if settings.hot_pixels == "mend":
        told["burst"], warnings = _standing_out(burst, grid, weights, progress)
    for source, places in told.items():
        counts[source] = int(places.sum())
        bad |= places
    count = int(bad.sum())
    if count > MANY_BAD * bad.size:
        warnings.append(
            f"{count} hot or dead pixels are mended, {count / bad.size:.1%} of the picture, which "
            f"is suspiciously many: {ASKED[max(counts, key=lambda source: counts[source])]}"
        )
    return bad, counts, warnings


def _standing_out(
    burst: Burst, grid: Grid, weights: Sequence[float], progress: Progress
) -> tuple[BadMask, list[str]]:
    """Return where something stands alone in the frames themselves, and warnings."""
    stored = as_stored(burst)
    width = stored_size(_sound(burst))[0]
    usable = [
        place
        for place, frame in enumerate(stored.frames)
        if weights[place] > 0 and frame.problem is None
    ]
    chosen = sorted({usable[k * len(usable) // LOOKED_AT] for k in range(LOOKED_AT)})
    raw = is_raw(burst)
    points = FixedPoints(grid, _codes if raw else partial(decode, encoding=stored.encoding))
    progress.start("looking for hot pixels", len(chosen))
    for place in chosen:
        # a frame that cannot be read is told about when it is blended
        with contextlib.suppress(FrameError):
            for _, pixels in stored.decode([place]):
                points.add(unpack(pixels, width) if raw else pixels)
        progress.advance()
    if points.frames < FEWEST_FRAMES:
        return np.zeros(stored_size(_sound(burst))[::-1], bool), [
            f"hot pixels are not looked for in the burst: in {points.frames} "
            f"frame{'s' if points.frames != 1 else ''} they cannot be told from stars; "
            f"{FEWEST_FRAMES} or more can tell, and so can --dark"
        ]
    return points.found(), []


def _codes(pixels: PixelArray) -> LightArray:
    return pixels.astype(np.float32)


def _told(found: Found) -> dict[str, Any]:
    """Return what the report says about a master."""
    return {"from": list(found.names), **found.master.facts()}


def _developed_with(burst: Burst, calibration: MosaicCalibration) -> Burst:
    """Return a raw burst whose codes are calibrated before they are developed."""
    return replace(
        burst,
        frames=tuple(
            replace(frame, development=replace(frame.development, calibration=calibration))
            if frame.development
            else frame
            for frame in burst.frames
        ),
    )


def _corrected_by(
    burst: Burst, offset: LightArray | None, gain: LightArray | None, bad: BadMask
) -> Burst:
    """Return a burst of finished pictures whose light is calibrated."""
    blobs = as_blobs(bad)
    by_orientation = {}
    for turn in {frame.orientation for frame in burst.frames}:
        turned = np.ascontiguousarray(turn_upright(blobs.view(np.uint8), turn)).view(bool)
        by_orientation[turn] = LightCalibration(
            None if offset is None else turn_upright(offset, turn),
            None if gain is None else turn_upright(gain, turn),
            Mending(turned, BLOB_PERIOD) if bad.any() else None,
        )
    orientations = tuple(frame.orientation for frame in burst.frames)
    return burst.corrected(_Turned(by_orientation, orientations))
