"""The boxes of ISO media files at their top: whether the last of them ends within the file.

Source: ISO/IEC 14496-12:2022 clause 4.2.
"""

from __future__ import annotations

import os
import struct
from typing import IO


def boxes_are_whole(file: IO[bytes]) -> bool:
    """Whether every box at the top of a file lies within it, by what the boxes say.

    Raises
    ------
    struct.error
        The head of a box is cut short.
    """
    size = file.seek(0, os.SEEK_END)
    place = 0
    while place < size:
        file.seek(place)
        (length,) = struct.unpack(">I4x", file.read(8))
        if length == 1:
            (length,) = struct.unpack(">Q", file.read(8))
        if length == 0:
            # up to the end of the file, wherever that is
            return True
        if length < 8:
            raise struct.error("no box")
        place += length
    return place == size
