"""Which kinds of file there are, how each is recognised, and what reads it.

To add a kind: write a file beside this one with a ``Reader`` in it, and name it in ``KINDS``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import cast

from stacker.burst.readers.facts import DevelopingReader, Development, Reader

# enough for every signature below, two packets of a transport stream among them
HEAD_BYTES = 512
_RAW_SUFFIXES = (
    "3fr arw cr2 cr3 dng erf iiq kdc mef mos mrw nef nrw orf pef raf raw rw2 rwl sr2 srw x3f"
)
_CLIP_SUFFIXES = "mp4 m4v mov avi mkv webm mts m2ts ts mpg mpeg 3gp 3g2 wmv flv ogv y4m mxf"
_TIFF_MARKS = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
_HEIF_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")
_AVIF_BRANDS = (b"avif", b"avis")
_QUICKTIME_ATOMS = (b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot")


@dataclass(frozen=True)
class Kind:
    """One kind of file.

    Parameters
    ----------
    reader : "module:object" of its reader.
    suffixes : in lower case with the point.
    matches : whether a file's first bytes are of this kind.
    moving : whether it is a clip, not a still.
    developed : whether its reader is a ``DevelopingReader``.
    """

    name: str
    reader: str
    suffixes: frozenset[str]
    matches: Callable[[bytes], bool]
    moving: bool = False
    developed: bool = False


def _suffixes(words: str) -> frozenset[str]:
    return frozenset(f".{word}" for word in words.split())


def _is_tiff(head: bytes) -> bool:
    return head.startswith(_TIFF_MARKS)


def _brand(head: bytes) -> bytes:
    """Return the main brand of an ISO media file, b"" for other files."""
    return head[8:12] if head[4:8] == b"ftyp" else b""


def _is_heif(head: bytes) -> bool:
    return _brand(head) in _HEIF_BRANDS


def _is_avif(head: bytes) -> bool:
    return _brand(head) in _AVIF_BRANDS


def _is_raw(head: bytes) -> bool:
    """Whether it may be raw: most are TIFF inside, and only the suffix tells them apart."""
    marks = (*_TIFF_MARKS, b"IIU\0", b"IIRO", b"IIRS", b"MMOR", b"FUJIFILMCCD", b"\0MRM", b"FOVb")
    return head.startswith(marks) or _brand(head) == b"crx "


def _is_clip(head: bytes) -> bool:
    if _brand(head):
        return not (_is_heif(head) or _is_avif(head) or _brand(head) == b"crx ")
    if head[4:8] in _QUICKTIME_ATOMS or (head[:4] == b"RIFF" and head[8:12] == b"AVI "):
        return True
    starts = (b"\x1aE\xdf\xa3", b"\0\0\1\xba", b"\0\0\1\xb3", b"FLV\1", b"OggS", b"YUV4MPEG2 ")
    if head.startswith((*starts, b"0&\xb2u\x8ef\xcf\x11", b"\x06\x0e+4\x02\x05\x01\x01")):
        return True
    return any(
        len(head) > first + 2 * step and head[first] == head[first + step] == 0x47
        for first, step in ((0, 188), (4, 192))
    )


def _is_other(head: bytes) -> bool:
    if head[:4] == b"RIFF":
        return head[8:12] == b"WEBP"
    return head.startswith((b"GIF8", b"BM"))


_HERE = "stacker.burst.readers"
KINDS: tuple[Kind, ...] = (
    Kind(
        "JPEG",
        f"{_HERE}.jpeg:READER",
        _suffixes("jpg jpeg jpe jfif"),
        lambda head: head.startswith(b"\xff\xd8\xff"),
    ),
    Kind("TIFF", f"{_HERE}.tiff:READER", _suffixes("tif tiff btf"), _is_tiff),
    Kind(
        "PNG",
        f"{_HERE}.png:READER",
        _suffixes("png apng"),
        lambda head: head.startswith(b"\x89PNG\r\n\x1a\n"),
    ),
    Kind("raw", f"{_HERE}.raw:READER", _suffixes(_RAW_SUFFIXES), _is_raw, developed=True),
    Kind("HEIC", f"{_HERE}.heif:READER", _suffixes("heic heif hif"), _is_heif),
    Kind("clip", f"{_HERE}.clip:READER", _suffixes(_CLIP_SUFFIXES), _is_clip, moving=True),
    Kind("AVIF", f"{_HERE}.avif:READER", _suffixes("avif"), _is_avif),
    Kind("other", f"{_HERE}.other:READER", _suffixes("webp bmp gif"), _is_other),
)
# raw files once more, as their sensor's codes; no file is found to be one
_MOSAIC = Kind("mosaic", f"{_HERE}.mosaic:READER", frozenset(), lambda _: False)
# and as pictures of half the size
_HALF_RAW = Kind(
    "raw, half", f"{_HERE}.raw:HALF_READER", frozenset(), lambda _: False, developed=True
)
_BY_NAME = {kind.name: kind for kind in (*KINDS, _MOSAIC, _HALF_RAW)}


def halved(kind: Kind) -> Kind:
    """Return the kind by which a file is read at half its size: another for raw files alone."""
    return _HALF_RAW if kind.name == "raw" else kind


def kind_of_suffix(path: Path) -> Kind | None:
    """Return the kind that a file's suffix stands for, None where it is no picture's."""
    suffix = path.suffix.lower()
    return next((kind for kind in KINDS if suffix in kind.suffixes), None)


def kind_of_content(path: Path) -> Kind | None:
    """Return the kind that a file's first bytes show, None where they show none.

    Where they fit several kinds, as TIFF and raw, the suffix decides among those.

    Raises
    ------
    OSError
        The file cannot be opened.
    """
    with path.open("rb") as file:
        head = file.read(HEAD_BYTES)
    fitting = [kind for kind in KINDS if kind.matches(head)]
    named = kind_of_suffix(path)
    if named in fitting:
        return named
    return fitting[0] if fitting else None


@cache
def reader_of(name: str) -> Reader:
    """Return the reader of a kind, importing it when first asked for."""
    module, _, thing = _BY_NAME[name].reader.partition(":")
    return cast(Reader, getattr(import_module(module), thing))


def development_of(name: str, path: Path) -> Development | None:
    """Return how a frame wants to be developed, None for kinds that need no such choice.

    Raises
    ------
    FrameError
        The frame cannot be used.
    """
    if not _BY_NAME[name].developed:
        return None
    return cast(DevelopingReader, reader_of(name)).development(path)


def reader_for(name: str, development: Development | None) -> Reader:
    """Return the reader of a kind, set to develop in the given way if any."""
    reader = reader_of(name)
    if development is None:
        return reader
    return cast(DevelopingReader, reader).developing(development)
