"""Writing a ladder: as one labelled sheet, and each rung as a picture of its own."""

from __future__ import annotations

import json
from collections.abc import Collection
from pathlib import Path
from typing import Any

import numpy as np

from stacker.engine.ladder import Ladder, Rung
from stacker.engine.save import save
from stacker.engine.verdict import SILK
from stacker.finish import Metadata, Tone, leaving_space, save_picture
from stacker.finish.contact_sheet import SheetCell, cell_size, contact_sheet, shrunk
from stacker.finish.tone import apply
from stacker.light.encoding import LightArray, as_light
from stacker.version import PROGRAM


def save_sheet(
    ladder: Ladder,
    target: str | Path,
    *,
    title: str = "",
    exposure_ev: float = 0.0,
    shoulder: bool = False,
    space: str | None = None,
    overwrite: bool = False,
) -> dict[str, Any]:
    """Return the ladder's report with the file's name in it, having written the sheet.

    Parameters
    ----------
    target : the suffix says the kind: .jpg, .png or .tif.
    title : a line above the pictures; the blend and the frames if empty.
    exposure_ev, shoulder, space : as in ``save``.
    overwrite : replace a file that is there; never one of the sources.

    Raises
    ------
    OutputError
        The file cannot be written there.
    """
    target = Path(target)
    first = ladder.rungs[0].shot
    size = cell_size(first.size, len(ladder.rungs))
    cells = [
        SheetCell(
            _small(rung, size, exposure_ev=exposure_ev, shoulder=shoulder),
            rung.label,
            "" if "frame" in rung.label else _frames(rung.frames),
            rung.measure.words,
            chosen=number == ladder.proposed,
        )
        for number, rung in enumerate(ladder.rungs)
    ]
    sheet = contact_sheet(
        cells, title=title or _title(ladder), footer=_footer(ladder), space=first.space
    )
    described = {key: ladder.report[key] for key in ("program", "rungs", "proposed")}
    save_picture(
        target,
        [sheet],
        size=(sheet.shape[1], sheet.shape[0]),
        space=first.space,
        target_space=leaving_space(first.space, space),
        unbounded=bool(first.report["converted"]),
        tone=Tone(),
        metadata=Metadata(description=json.dumps(described), software=PROGRAM),
        overwrite=overwrite,
        sources=first.sources,
    )
    return {**ladder.report, "output": str(target)}


def _small(rung: Rung, size: tuple[int, int], *, exposure_ev: float, shoulder: bool) -> LightArray:
    """Return a rung's picture in its tone, averaged to (width, height)."""
    tone = Tone(exposure_ev=exposure_ev, shoulder=shoulder, brightest=rung.shot.brightest)
    bands = (np.clip(as_light(apply(tone, band)), 0, 1) for band in rung.shot.bands())
    return shrunk(bands, size)


def _frames(count: int) -> str:
    return f"{count} frame{'s' if count > 1 else ''}"


def _title(ladder: Ladder) -> str:
    shortest, longest = ladder.rungs[0], ladder.rungs[-1]
    blend = longest.shot.report["settings"]["blend"].capitalize()
    first = next(frame["name"] for frame in longest.shot.report["frames"] if frame["used"])
    return f"{blend} of {shortest.frames} to {_frames(longest.frames)} from {first} on"


def _footer(ladder: Ladder) -> str:
    proposed = ladder.rungs[ladder.proposed]
    words = f"{proposed.label} suits: {ladder.why}."
    measure = proposed.measure
    if measure.streak_px is not None:
        return f"{words} Streaks are measured from end to end, as far as they are connected."
    if measure.contrast_left is None:
        return words
    return (
        f"{words} What is left: the contrast of what moves against that of one frame, in linear "
        f"light; under {SILK:.0%} water reads as silk."
    )


def rung_file(files: Path, label: str, frames: int, *, most: int) -> Path:
    """Return where a rung goes: ``water.tif`` becomes ``water-08-4s.tif``, which sorts by time.

    Parameters
    ----------
    most : the frames of the longest rung.
    """
    number = f"{frames:0{len(str(most))}d}"
    time = "" if "frame" in label else "-" + label.replace("/", "_").replace(" ", "")
    return files.with_name(f"{files.stem}-{number}{time}{files.suffix}")


def save_rungs(
    ladder: Ladder,
    files: Path,
    *,
    exposure_ev: float = 0.0,
    shoulder: bool = False,
    space: str | None = None,
    depth: int | None = None,
    keep_location: bool = False,
    overwrite: bool = False,
) -> list[Path]:
    """Return the files, having written each rung as a picture; see ``rung_file`` for the names.

    Parameters and errors are those of ``save``. The ladder's report is told the names.
    """
    written = []
    for rung, told in zip(ladder.rungs, ladder.report["rungs"], strict=True):
        target = rung_file(files, rung.label, rung.frames, most=ladder.rungs[-1].frames)
        save(
            rung.shot,
            target,
            depth=depth,
            exposure_ev=exposure_ev,
            shoulder=shoulder,
            space=space,
            keep_location=keep_location,
            overwrite=overwrite,
        )
        told["file"] = str(target)
        written.append(target)
    return written


def check_rung_files(
    files: Path,
    rungs: Collection[tuple[str, int]],
    *,
    overwrite: bool,
    sources: Collection[Path],
) -> None:
    """Refuse names under which rungs cannot be written; to be asked before the work begins.

    Parameters
    ----------
    rungs : label and number of frames of each.

    Raises
    ------
    OutputError
        As ``check_target``.
    """
    from stacker.finish import check_target

    most = max(frames for _, frames in rungs)
    for label, frames in rungs:
        target = rung_file(files, label, frames, most=most)
        check_target(target, overwrite=overwrite, sources=sources)
