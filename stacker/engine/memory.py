"""How much memory may be used, and what fits into it."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path

from stacker.blend import Blend, Intake
from stacker.bridge import Joins
from stacker.errors import OptionError
from stacker.light.encoding import Stored

UNITS = {"": 1, "k": 10**3, "m": 10**6, "g": 10**9, "t": 10**12}
# of the memory that is free, unless the user says otherwise
SHARE_OF_FREE = 0.5
# what any machine has: not worth asking how much is free
MODEST_BYTES = 800 * 10**6
# the interpreter with the libraries that are loaded for one exposure
PROGRAM_BYTES = 110 * 10**6
# a file while it is decoded, and the band that is being written, as shares of a decoded frame
FILE_SHARE = 0.25
BAND_BYTES = 32 * 10**6
# what a raw frame takes besides while it is developed: its mosaic, and four channels of each pixel
DEVELOPING_PIXEL_BYTES = 10
# a frame as it is stored, 16 bits of three channels, while its light is corrected
STORED_PIXEL_BYTES = 6
# finished light that waits for the other bands: float32 of three channels
RESULT_PIXEL_BYTES = 12
# frames of float32 light that whoever looks at pairs keeps
KEPT_FRAMES = 2
LIGHT_PIXEL_BYTES = 12
# what a bridge takes per pixel beside the frames it is given, measured at 0.75 to 12 megapixels: to
# look at a burst, for the finds that it keeps, and for a gap. Flow works on copies of so many cells
# at the most, and takes as much for each of these
LOOKING_PIXEL_BYTES: dict[Joins, int] = {"greater": 40, "added": 3}
LOOKING_CELL_BYTES: dict[Joins, int] = {"greater": 0, "added": 260}
FOUND_PIXEL_BYTES = 9
GAP_PIXEL_BYTES: dict[Joins, int] = {"greater": 24, "added": 16}
GAP_CELL_BYTES: dict[Joins, int] = {"greater": 0, "added": 120}
MOST_CELLS = 800_000
# light that was laid, three channels of it, and the confidence
LAID_PIXEL_BYTES: dict[Joins, int] = {"greater": 3 * 4 + 4, "added": 3 * 8 + 4}


def parse_size(text: str) -> int:
    """Return bytes from a size such as ``800MB``, ``1.2G`` or ``64000000``.

    Raises
    ------
    OptionError
        The text is no size, or none above 0.
    """
    match = re.fullmatch(r"\s*([0-9]*\.?[0-9]+)\s*([kmgt]?)i?b?\s*", text, re.IGNORECASE)
    size = round(float(match[1]) * UNITS[match[2].lower()]) if match else 0
    if size <= 0:
        raise OptionError(
            f"--memory {text}",
            "is no size",
            remedy="give one such as 800MB or 2GB",
            code="option-memory",
        )
    return size


@dataclass(frozen=True)
class PassPlan:
    """How the picture is worked on: rows at a time, threads, and what that takes.

    ``bands`` are ranges of rows; each needs one pass over the files.
    """

    bands: tuple[range, ...]
    workers: int
    peak_bytes: int


def plan_passes(
    blends: Sequence[Blend],
    intake: Intake,
    rows: range,
    width: int,
    *,
    workers: int,
    memory: int | None,
    frame: int,
    held: int = 0,
    align: int = 1,
) -> PassPlan:
    """Return the fewest passes over the files that keep within the memory.

    Parameters
    ----------
    blends : the blends that share the passes.
    rows, width : the rows to make, each of so many pixels.
    workers : threads wished for; fewer are used where their frames would not fit.
    memory : bytes allowed; half of what is free if None.
    frame : bytes that a worker takes for the frame that it works on: see ``frame_bytes``.
    held : bytes that are taken by what all frames share.
    align : bands but the first begin at whole multiples of this.

    Raises
    ------
    OptionError
        Not even one row fits.
    """
    height = len(rows)
    row = sum(blend.row_bytes(intake, width) for blend in blends)
    whole = PROGRAM_BYTES + BAND_BYTES + held + workers * frame + height * row
    if memory is None and whole <= MODEST_BYTES:
        return PassPlan((rows,), workers, whole)
    allowed = memory if memory is not None else round(SHARE_OF_FREE * free_memory())
    if whole <= allowed:
        return PassPlan((rows,), workers, whole)
    # what a band leaves behind: a result, or an accumulator that needs the other bands
    results = height * sum(
        blend.row_bytes(intake, width) if blend.whole else width * RESULT_PIXEL_BYTES
        for blend in blends
    )
    row = sum(blend.row_bytes(intake, width) for blend in blends if not blend.whole)
    for threads in sorted({workers, min(workers, 2), 1}, reverse=True):
        fixed = PROGRAM_BYTES + BAND_BYTES + held + threads * frame + results
        fitting = (allowed - fixed) // row // align * align if row else 0
        # rather fewer threads than many passes that decode everything again
        if fitting * 8 >= height or (threads == 1 and fitting >= 1):
            return PassPlan(_cut(rows, fitting, align), threads, fixed + fitting * row)
    raise _too_small(allowed, fixed + row * align)


def _cut(rows: range, fitting: int, align: int) -> tuple[range, ...]:
    """Return the rows in the fewest bands of at most ``fitting`` rows, evenly where they may be."""
    passes = math.ceil(len(rows) / fitting)
    even = math.ceil(len(rows) / passes / align) * align
    edges = [rows.start]
    while edges[-1] < rows.stop:
        edges.append(min((edges[-1] + even) // align * align, rows.stop))
    return tuple(range(top, bottom) for top, bottom in itertools.pairwise(edges))


def frame_bytes(size: tuple[int, int], stored: Stored, *, developed: bool, corrected: bool) -> int:
    """Return what one frame takes while it is worked on, in bytes.

    Parameters
    ----------
    size : (width, height) in pixels.
    developed : whether the frames are raw.
    corrected : whether something is done to their light, besides the numbers as stored.
    """
    width, height = size
    itemsize = {"uint8": 1, "uint16": 2, "float32": 4}[stored]
    frame = math.ceil(width * height * 3 * itemsize * (1 + FILE_SHARE))
    frame += width * height * DEVELOPING_PIXEL_BYTES if developed else 0
    frame += width * height * STORED_PIXEL_BYTES if corrected else 0
    return frame


@dataclass(frozen=True)
class BridgePlan:
    """How gaps are bridged: threads that look at the burst, threads for gaps, what they take."""

    looking: int
    workers: int
    peak_bytes: int


def plan_bridge(
    pixels: int,
    joins: Collection[Joins],
    *,
    workers: int,
    memory: int | None,
    frame: int,
    held: int,
) -> BridgePlan:
    """Return how many threads, of those wished for, bridge gaps within the memory.

    Parameters
    ----------
    pixels : of a frame.
    joins : the way in which light joins each picture; at least one.
    memory : bytes allowed; half of what is free if None.
    frame : bytes that a thread takes for the frame that it decodes: see ``frame_bytes``.
    held : bytes of what waits meanwhile, such as the pictures without the bridge.

    Raises
    ------
    OptionError
        Not even one thread can. Where nobody named a limit, one always may try.
    """
    cells = min(pixels, MOST_CELLS)
    fixed = PROGRAM_BYTES + held
    look = max(pixels * LOOKING_PIXEL_BYTES[way] + cells * LOOKING_CELL_BYTES[way] for way in joins)
    look += fixed + frame + KEPT_FRAMES * pixels * LIGHT_PIXEL_BYTES
    # a frame more is on its way, or a thread more looks at one
    looker = frame + (LIGHT_PIXEL_BYTES + GAP_PIXEL_BYTES["greater"]) * pixels
    lay = fixed + _laid_bytes(pixels, joins)
    gap = frame + _gap_bytes(pixels, joins)
    peak = max(look + (workers - 1) * looker, lay + workers * gap)
    if memory is None and peak <= MODEST_BYTES:
        return BridgePlan(workers, workers, peak)
    allowed = memory if memory is not None else round(SHARE_OF_FREE * free_memory())
    if memory is not None and max(look, lay + gap) > allowed:
        needed = max(look, lay + gap)
        raise _too_small(
            allowed, needed, what="to bridge gaps, frames", remedy="leave --bridge out"
        )
    looking = min(workers, max(1, 1 + (allowed - look) // looker))
    laying = min(workers, max(1, (allowed - lay) // gap))
    return BridgePlan(looking, laying, max(look + (looking - 1) * looker, lay + laying * gap))


def laying_bytes(pixels: int, joins: Collection[Joins]) -> int:
    """Return what it takes to lay the light of one gap after the other, beside the frame's own."""
    return _laid_bytes(pixels, joins) + _gap_bytes(pixels, joins)


def _laid_bytes(pixels: int, joins: Collection[Joins]) -> int:
    """Return what is found of a burst, and the light laid for the pictures, in bytes."""
    return pixels * (sum(LAID_PIXEL_BYTES[way] for way in joins) + FOUND_PIXEL_BYTES)


def _gap_bytes(pixels: int, joins: Collection[Joins]) -> int:
    """Return what a thread takes for a gap: the light of two frames, and the bridge's own."""
    cells = min(pixels, MOST_CELLS)
    own = max(pixels * GAP_PIXEL_BYTES[way] + cells * GAP_CELL_BYTES[way] for way in joins)
    return own + KEPT_FRAMES * pixels * LIGHT_PIXEL_BYTES


def waiting_bytes(blends: Sequence[Blend], intake: Intake, rows: int, width: int) -> int:
    """Return what pictures take that are complete: finished, or still to be settled as a whole."""
    row = 0
    for blend in blends:
        held = blend.row_bytes(intake, width)
        row += held if blend.whole else min(held, width * RESULT_PIXEL_BYTES)
    return rows * row


def workers_within(
    memory: int | None, wished: int, frame: int, *, held: int = 0
) -> tuple[int, int]:
    """Return how many threads, of those wished for, can hold a frame each, and what that takes.

    Parameters
    ----------
    memory : bytes allowed; half of what is free if None.
    frame : bytes that a thread takes for the frame that it works on.
    held : bytes that are taken by what all frames share.

    Raises
    ------
    OptionError
        Not even one can. Where nobody named a limit, one always may try.
    """
    fixed = PROGRAM_BYTES + held
    if memory is None and fixed + wished * frame <= MODEST_BYTES:
        return wished, fixed + wished * frame
    allowed = memory if memory is not None else round(SHARE_OF_FREE * free_memory())
    workers = min(wished, (allowed - fixed) // frame)
    if workers < 1 and memory is not None:
        raise _too_small(allowed, fixed + frame)
    workers = max(1, workers)
    return workers, fixed + workers * frame


def _too_small(
    allowed: int, needed: int, *, what: str = "frames", remedy: str = "close other programs"
) -> OptionError:
    return OptionError(
        f"--memory {allowed / 1e6:.{0 if allowed >= 1e7 else 2}f}MB",
        f"{what} of this size need at least {math.ceil(needed / 1e6)} MB",
        remedy=f"allow more, or {remedy}",
        code="option-memory",
    )


def free_memory() -> int:
    """Return the memory that can be had without swapping, in bytes.

    A container's own limit counts where there is one (Linux control groups, version 2).
    """
    import psutil

    free = int(psutil.virtual_memory().available)
    group = Path("/sys/fs/cgroup")
    try:
        limit = (group / "memory.max").read_text().strip()
        taken = int((group / "memory.current").read_text())
    except (OSError, ValueError):
        return free
    return min(free, max(0, int(limit) - taken)) if limit.isdigit() else free
