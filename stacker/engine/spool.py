"""Finished pictures that wait on disk, so that memory stays bounded."""

from __future__ import annotations

import tempfile
import threading
import weakref
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import numpy as np

from stacker.errors import OutputError
from stacker.light.curves import Float64Array
from stacker.light.encoding import CodedLight, Picture, PixelArray


@contextmanager
def telling_temporary() -> Iterator[None]:
    """Turn the system's errors into a sentence about temporary files."""
    try:
        yield
    except OSError as error:
        raise OutputError(
            "temporary files",
            f"what has to wait cannot be kept there ({error.strerror or error})",
            remedy="free some space, or name another folder in the environment variable TMPDIR",
            code="temporary-file",
        ) from error


class Spool:
    """A temporary file of pieces of pictures; gone with the last piece that knows of it."""

    def __init__(self) -> None:
        with telling_temporary():
            # it lives as long as the pieces that wait in it, not as long as this block
            self._file = tempfile.TemporaryFile(buffering=0)  # noqa: SIM115
        weakref.finalize(self, self._file.close)
        self._end = 0
        self._turn = threading.Lock()

    def put(self, picture: Picture) -> SpooledPiece:
        """Return where a piece of a picture can be had from now on."""
        table = picture.table if isinstance(picture, CodedLight) else None
        pixels: PixelArray = np.ascontiguousarray(
            picture.codes if isinstance(picture, CodedLight) else picture
        )
        # written, not mapped: a mapped file on a full disk kills the program without a word
        rest = pixels.data.cast("B")
        with self._turn, telling_temporary():
            start = self._end
            self._file.seek(start)
            while rest:
                rest = rest[self._file.write(rest) :]
            self._end += pixels.nbytes
        return SpooledPiece(self, start, pixels.shape, pixels.dtype, table)

    def read_into(self, start: int, pixels: PixelArray) -> None:
        """Fill an array with what was put at ``start``."""
        rest = pixels.data.cast("B")
        with self._turn, telling_temporary():
            self._file.seek(start)
            while rest:
                rest = rest[self._file.readinto(rest) :]


@dataclass(frozen=True, eq=False)
class SpooledPiece:
    """A piece of a picture that waits in a spool; a ``Finishing``."""

    spool: Spool
    start: int
    shape: tuple[int, ...]
    dtype: np.dtype[Any]
    table: Float64Array | None

    def result(self) -> Picture:
        """Return the piece."""
        pixels = np.empty(self.shape, self.dtype)
        self.spool.read_into(self.start, pixels)
        return pixels if self.table is None else CodedLight(pixels, self.table)
