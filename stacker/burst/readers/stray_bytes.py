"""JPEG files with bytes between their segments that belong to nothing.

Some cameras and editors leave such bytes; the picture is whole without them. libjpeg skips them
but warns in the same way as over damage, and of several warnings tells only the last. So the
bytes are taken out and the file is decoded again as strictly as any other.
"""

from __future__ import annotations

import io
import re
from pathlib import Path

from stacker.burst.readers.jpeg_header import SOS, segments
from stacker.errors import FrameError

# The only message of any library whose text is looked at: no other sign tells it from damage.
_WARNING = re.compile(r"(\d+) extraneous bytes before marker 0x([0-9a-f]{2})", re.IGNORECASE)
EOI = b"\xff\xd9"


def without_stray_bytes(path: Path, data: bytes, warning: str) -> bytes | None:
    """Return a JPEG without the bytes that a warning of libjpeg is about.

    Parameters
    ----------
    data : the whole file.
    warning : what libjpeg said.

    Returns
    -------
    None where the warning is another one, or the bytes lie within the picture's own data, where
    they are more likely damage.
    """
    found = _WARNING.search(warning)
    if found is None:
        return None
    if found[2].lower() == "d9":
        end = data.rfind(EOI)
        return data[: end - int(found[1])] + data[end:] if end > int(found[1]) else None
    try:
        head, rest = _header_alone(path, data)
    except FrameError:
        return None
    return head + rest if len(head) + len(rest) < len(data) else None


def _header_alone(path: Path, data: bytes) -> tuple[bytes, bytes]:
    """Return the segments before the first scan joined together, and the file from there on."""
    stream = io.BytesIO(data)
    parts = [b"\xff\xd8"]
    for marker, body in segments(path, stream):
        parts.append(bytes([0xFF, marker]) + (len(body) + 2).to_bytes(2, "big") + body)
    return b"".join(parts), bytes([0xFF, SOS]) + data[stream.tell() :]
