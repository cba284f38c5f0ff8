"""Faults of JPEG files that lie beside the picture and do it no harm.

Some cameras and editors leave bytes between two segments that belong to nothing, or lose a part
of the colour profile. The picture is whole, but libjpeg warns in the same way as over damage, and
of several warnings tells only the last. So what is at fault is taken out, and the file is decoded
again as strictly as any other.
"""

from __future__ import annotations

import io
import re
from pathlib import Path

from stacker.burst.readers.jpeg_header import APP2, ICC_PREFIX, SOS, segments
from stacker.errors import FrameError

# The only message of any library whose text is looked at: nothing else tells how many of the last
# bytes are no part of the picture.
_STRAY_AT_END = re.compile(r"(\d+) extraneous bytes before marker 0xd9", re.IGNORECASE)
END = b"\xff\xd9"


def without_faults(path: Path, data: bytes, warning: str) -> bytes | None:
    """Return a JPEG without stray bytes and without its profile; None where nothing is to take out.

    Parameters
    ----------
    data : the whole file.
    warning : what libjpeg said about it. Stray bytes within the picture's own data stay: they are
        more likely damage.
    """
    found = _STRAY_AT_END.search(warning)
    if found is not None:
        end = data.rfind(END)
        stray = int(found[1])
        return data[: end - stray] + data[end:] if 0 < stray < end else None
    try:
        rest = _bare(path, data)
    except FrameError:
        return None
    return rest if len(rest) < len(data) else None


def _bare(path: Path, data: bytes) -> bytes:
    """Return a file with its segments joined without a gap, those of the profile left out."""
    stream = io.BytesIO(data)
    parts = [b"\xff\xd8"]
    for marker, body in segments(path, stream):
        if marker != APP2 or not body.startswith(ICC_PREFIX):
            parts.append(bytes([0xFF, marker]) + (len(body) + 2).to_bytes(2, "big") + body)
    return b"".join(parts) + bytes([0xFF, SOS]) + data[stream.tell() :]
