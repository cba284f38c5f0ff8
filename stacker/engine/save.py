"""Writing an exposure, and its report, to files."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from stacker.engine.shot import Shot
from stacker.finish import Metadata, Tone, leaving_space, place_file, save_picture
from stacker.light.encoding import CodedLight, Picture
from stacker.light.white_balance import WhiteBalance
from stacker.version import PROGRAM

# of the report, what it takes to make the picture again
HOW_IT_RAN = ("workers", "memory")
DESCRIBED = ("program", "settings", "frames_used", "open_s", "elapsed_s", "reference")


def save(
    shot: Shot,
    target: str | Path,
    *,
    depth: int | None = None,
    exposure_ev: float = 0.0,
    shoulder: bool = False,
    space: str | None = None,
    white_balance: WhiteBalance | None = None,
    keep_location: bool = False,
    overwrite: bool = False,
) -> dict[str, Any]:
    """Return the shot's report with the file's name in it, having written the picture.

    Parameters
    ----------
    target : the suffix says the kind: .tif (16 bit), .png (16 bit) or .jpg (8 bit).
    depth : bits per channel; 32 makes a .tif of linear light in floating point.
    exposure_ev : stops by which the light is made brighter.
    shoulder : bend highlights so that light above 1.0 keeps its shades.
    space : srgb, display-p3, adobe-rgb or rec2020: the colour space of the file; the burst's own
        if None.
    white_balance : gains of the channels in linear light, applied before all else.
    keep_location : keep the place and the owner's name that the first frame carries.
    overwrite : replace a file that is there; never one of the sources.

    Raises
    ------
    OutputError
        The file cannot be written there.
    OptionError
        That kind of file cannot have that depth, or there is no such space.
    """
    target = Path(target)
    tone = Tone(exposure_ev=exposure_ev, shoulder=shoulder, brightest=shot.brightest)
    leaving = leaving_space(shot.space, space)
    finishing = {
        "exposure_ev": exposure_ev,
        "shoulder": shoulder,
        "white_balance": asdict(white_balance) if white_balance else None,
        "depth": depth,
        # asking for the burst's own space is asking for nothing
        "space": None if leaving is shot.space else space,
    }
    report = {**shot.report, "output": str(target), "colour_space": leaving.name}
    report["settings"] = {**report["settings"], **finishing}
    described = {key: report[key] for key in DESCRIBED}
    # how it ran does not change the picture, nor shall it change the file
    described["settings"] = {
        key: value for key, value in report["settings"].items() if key not in HOW_IT_RAN
    }
    warnings = save_picture(
        target,
        _from_black_up(shot.bands())
        if shot.report.get("calibration") or shot.glow
        else shot.bands(),
        size=shot.size,
        space=shot.space,
        target_space=leaving,
        unbounded=bool(shot.report["converted"]),
        tone=tone,
        white_balance=white_balance,
        metadata=Metadata(
            exif=shot.exif,
            exposure_s=shot.open_s,
            description=json.dumps(described),
            software=PROGRAM,
            keep_location=keep_location,
        ),
        depth=depth,
        overwrite=overwrite,
        sources=shot.sources,
    )
    report["warnings"] = [*report["warnings"], *warnings]
    return report


def _from_black_up(bands: Iterable[Picture]) -> Iterator[Picture]:
    """Yield the picture with no light below 0.

    What lay below black was noise, kept until the blend had averaged it. No reader of pictures,
    ours included, knows of light below none.
    """
    for band in bands:
        yield band if isinstance(band, CodedLight) else np.maximum(band, np.float32(0))


def save_report(
    report: object, target: Path, *, overwrite: bool, sources: Collection[Path] = ()
) -> None:
    """Write a report as JSON, whole or not at all.

    Raises
    ------
    OutputError
        The file cannot be written there.
    """
    # a name that is no text at all is escaped, as JSON escapes
    text = json.dumps(report, indent=1, ensure_ascii=False) + "\n"
    with place_file(target, overwrite=overwrite, sources=sources) as file:
        file.write(text.encode("utf-8", "backslashreplace"))
