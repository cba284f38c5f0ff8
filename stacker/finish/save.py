"""The one way out: a picture that comes in bands becomes a file, whole or not at all."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from stacker.finish.codes import code_table16, to_codes8, to_codes16
from stacker.finish.formats import JPEG, PNG, TIFF, depth_of, format_of
from stacker.finish.jpeg import check_jpeg_size, write_jpeg
from stacker.finish.metadata import Metadata, result_tags
from stacker.finish.place import place_file
from stacker.finish.png import write_png
from stacker.finish.tiff import write_tiff
from stacker.finish.tone import Tone, apply, tone_table
from stacker.light.encoding import CodedLight, Picture, Uint16Array, as_light, look_up
from stacker.light.space import ColourSpace, linear_twin

# pixels finished at a time: their codes stay in the third-level cache on the way to the file
PIECE_PIXELS = 1 << 18

FloatTable = npt.NDArray[np.float64]


def save_picture(
    target: Path,
    bands: Iterable[Picture],
    *,
    size: tuple[int, int],
    space: ColourSpace,
    tone: Tone,
    metadata: Metadata,
    depth: int | None = None,
    overwrite: bool = False,
    sources: Collection[Path] = (),
) -> list[str]:
    """Return warnings as sentences, having written the picture to ``target``.

    Parameters
    ----------
    target : its suffix says the kind of file: .tif, .tiff, .png, .jpg or .jpeg.
    bands : the picture from top to bottom in pieces of full width and any height, each float32
        (h, W, 3) linear light or coded light; not changed.
    size : (width, height) of the whole picture in pixels.
    space : the colour space of the light; its profile goes into the file.
    depth : bits per channel; None for the suffix's usual depth. 32 is float32 linear light,
        which is not clipped, with the profile of the space's linear twin.
    overwrite : replace a file that is there.
    sources : files that must not be replaced in any case.

    Raises
    ------
    OptionError
        The kind of file cannot have that depth.
    OutputError
        The file cannot be written there; see ``check_target``, ``check_jpeg_size`` and
        ``OutputFile.write``.
    ValueError
        The bands do not make up a picture of the given size.
    """
    if min(size) < 1:
        raise ValueError(f"a picture of {size[0]} x {size[1]} pixels")
    depth = depth_of(target, depth)
    file_format = format_of(target)
    if file_format is JPEG:
        check_jpeg_size(target, size)
    written_space = linear_twin(space) if depth == 32 else space
    tags, warnings = result_tags(metadata, size=size, space=written_space)
    with place_file(target, overwrite=overwrite, sources=sources) as file:
        pieces = _pieces(bands, size)
        if file_format is TIFF:
            finished = _light(pieces, tone) if depth == 32 else _codes16(pieces, tone, space)
            write_tiff(file, finished, size=size, depth=depth, icc=written_space.icc, tags=tags)
        elif file_format is PNG:
            codes = _codes16(pieces, tone, space)
            write_png(file, codes, size=size, space=space, tags=tags, metadata=metadata)
        else:
            whole = _codes8(_codes16(pieces, tone, space), size)
            warnings += write_jpeg(file, whole, icc=space.icc, tags=tags)
    return warnings


def _pieces(bands: Iterable[Picture], size: tuple[int, int]) -> Iterator[Picture]:
    """Yield the bands cut to pieces of some hundred thousand pixels, having checked their sizes."""
    width, height = size
    rows = max(1, PIECE_PIXELS // width)
    done = 0
    for band in bands:
        pixels = band.codes if isinstance(band, CodedLight) else band
        if pixels.ndim != 3 or pixels.shape[1:] != (width, 3):
            raise ValueError(f"a band of shape {pixels.shape} in a picture {width} pixels wide")
        done += pixels.shape[0]
        if done > height:
            raise ValueError(f"the bands are higher than the {height} rows of the picture")
        for top in range(0, pixels.shape[0], rows):
            part = pixels[top : top + rows]
            yield CodedLight(part, band.table) if isinstance(band, CodedLight) else part
    if done != height:
        raise ValueError(f"the bands end after {done} of {height} rows")


def _light(pieces: Iterable[Picture], tone: Tone) -> Iterator[npt.NDArray[Any]]:
    for piece in pieces:
        yield as_light(apply(tone, piece))


def _codes16(pieces: Iterable[Picture], tone: Tone, space: ColourSpace) -> Iterator[Uint16Array]:
    """Yield the finished codes; a table that several pieces share is finished once."""
    known: FloatTable | None = None
    table = np.empty(0, np.uint16)
    for piece in pieces:
        if not isinstance(piece, CodedLight):
            yield to_codes16(apply(tone, piece), space)
            continue
        if piece.table is not known:
            known = piece.table
            table = code_table16(tone_table(tone, piece.table), space)
        yield look_up(piece.codes, table)


def _codes8(bands: Iterable[Uint16Array], size: tuple[int, int]) -> npt.NDArray[np.uint8]:
    """Return the whole picture in 8 bits, uint8 (H, W, 3): JPEG is encoded in one go."""
    width, height = size
    whole = np.empty((height, width, 3), np.uint8)
    top = 0
    for band in bands:
        bottom = top + band.shape[0]
        whole[top:bottom] = to_codes8(band, top)
        top = bottom
    return whole
