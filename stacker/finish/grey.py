"""Grey pictures of figures, such as how sure a pixel is: no colours, no profile."""

from __future__ import annotations

import io
from collections.abc import Collection
from pathlib import Path

import numpy as np
import numpy.typing as npt

from stacker.errors import OutputError
from stacker.finish.formats import PNG, TIFF, format_of
from stacker.finish.place import check_place, place_file

TOP = 65535


def check_grey(target: Path, *, overwrite: bool = False, sources: Collection[Path] = ()) -> None:
    """Return if a grey picture may be written to ``target``; to be asked before the work begins.

    Raises
    ------
    OutputError
        ``output-suffix``: it is to be neither PNG nor TIFF; and what ``check_place`` raises.
    """
    if format_of(target) not in (PNG, TIFF):
        raise OutputError(
            target,
            "such a map has 16 bits",
            remedy="give it a name that ends in .png or .tif",
            code="output-suffix",
        )
    check_place(target, overwrite=overwrite, sources=sources)


def save_grey(
    target: Path,
    figures: npt.NDArray[np.float32],
    *,
    overwrite: bool = False,
    sources: Collection[Path] = (),
) -> None:
    """Write figures of 0 to 1 as 16-bit grey; any above 0 comes out above 0.

    Parameters
    ----------
    figures : float32 (H, W).

    Raises
    ------
    OutputError
        As ``check_grey``, and what stands in the way of writing.
    """
    check_grey(target, overwrite=overwrite, sources=sources)
    grey = np.rint(np.clip(figures, 0, 1) * np.float32(TOP)).astype(np.uint16)
    grey[(grey == 0) & (figures > 0)] = 1
    whole = _png(grey) if format_of(target) is PNG else _tiff(grey)
    with place_file(target, overwrite=overwrite, sources=sources) as file:
        file.write(whole)


def gray_png(grey: npt.NDArray[np.uint8]) -> bytes:
    """Return a grey picture, uint8 (H, W), as the bytes of a PNG."""
    return bytes(_png(grey))


def _png(grey: npt.NDArray[np.uint8] | npt.NDArray[np.uint16]) -> memoryview:
    import cv2

    _, whole = cv2.imencode(".png", grey)
    return memoryview(whole.tobytes())


def _tiff(grey: npt.NDArray[np.uint16]) -> memoryview:
    import tifffile

    whole = io.BytesIO()
    tifffile.imwrite(whole, grey, photometric="minisblack", metadata=None)
    return whole.getbuffer()
