"""Master frames written to files."""

from __future__ import annotations

import io
import json
from collections.abc import Collection
from pathlib import Path

from stacker.errors import OutputError
from stacker.finish.formats import TIFF, format_of
from stacker.finish.place import place_file
from stacker.light.master import FORMAT, MARK, Master


def save_master(
    target: Path,
    master: Master,
    *,
    software: str,
    overwrite: bool = False,
    sources: Collection[Path] = (),
) -> None:
    """Write a master as a TIFF in floating point, with its facts in the description.

    Raises
    ------
    OutputError
        The file cannot be written there, or is to be no TIFF.
    """
    import tifffile

    check_master_name(target)
    facts = {MARK: FORMAT, **master.facts()}
    # it is one frame, however many it was made from: it is laid out in memory
    whole = io.BytesIO()
    tifffile.imwrite(
        whole,
        master.pixels,
        photometric="minisblack" if master.mosaic else "rgb",
        description=json.dumps(facts),
        metadata=None,
        software=software,
    )
    with place_file(target, overwrite=overwrite, sources=sources) as file:
        file.write(whole.getbuffer())


def check_master_name(target: Path) -> None:
    """Refuse a name under which no master can be written.

    Raises
    ------
    OutputError
        ``output-suffix``.
    """
    if format_of(target) is not TIFF:
        raise OutputError(
            target,
            "a master is a TIFF",
            remedy="give it a name that ends in .tif",
            code="output-suffix",
        )
