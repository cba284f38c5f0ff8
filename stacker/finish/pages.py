"""Several pictures as the pages of one TIFF."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from pathlib import Path

from stacker.finish.codes import to_codes16
from stacker.finish.place import place_file
from stacker.finish.tiff import CLASSIC_BYTES_MAX
from stacker.finish.tone import Tone, apply
from stacker.light.encoding import LightArray, as_light
from stacker.light.space import ColourSpace

# TIFF 6.0, section 12: the name of the page, ASCII
PAGE_NAME, ASCII = 285, 2


def save_pages(
    target: Path,
    pages: Iterable[tuple[str, LightArray]],
    *,
    count: int,
    size: tuple[int, int],
    space: ColourSpace,
    tone: Tone,
    overwrite: bool = False,
    sources: Collection[Path] = (),
) -> int:
    """Return how many pages were written, 16-bit codes with the profile of their space.

    Parameters
    ----------
    pages : the name of each page and its light, float32 (H, W, 3), in the order of the file.
    count : how many there are at most.
    size : (width, height) of each in pixels.
    space : the colour space of the light.
    overwrite : replace a file that is there.
    sources : files that must not be replaced in any case.

    Raises
    ------
    OutputError
        The file cannot be written there.
    """
    import tifffile

    written = 0
    with (
        place_file(target, overwrite=overwrite, sources=sources) as file,
        file.told(),
        tifffile.TiffWriter(file.temporary, bigtiff=_is_large(count, size)) as writer,
    ):
        for name, light in pages:
            writer.write(
                to_codes16(as_light(apply(tone, light)), space),
                photometric="rgb",
                iccprofile=space.icc,
                metadata=None,
                description=name,
                extratags=[(PAGE_NAME, ASCII, 0, name, True)],
            )
            written += 1
    return written


def _is_large(count: int, size: tuple[int, int]) -> bool:
    """Return whether pages of 16-bit colour do not fit into a TIFF of less than 4 GB."""
    return count * size[0] * size[1] * 6 > CLASSIC_BYTES_MAX
