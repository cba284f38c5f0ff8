"""Colour profiles written tag by tag: such as our own writer never makes.

Source: ICC.1:2022, clauses 7.2 (header), 10.6 (curv), 10.10 (lut16), 10.12 (lutAToB), 10.18 (para).
"""

from __future__ import annotations

import itertools
import struct
from collections.abc import Sequence

import numpy as np

from stacker.light.curves import Curve
from stacker.light.icc import D50, Matrix
from stacker.light.space import ADOBE_RGB

# in tables, XYZ of 1.0 is stored as this
XYZ_ONE = 32768


def fixed(*values: float) -> bytes:
    """Return numbers of 16 bits before and behind the point."""
    return struct.pack(f">{len(values)}i", *(round(value * 65536) for value in values))


def curv(values: Sequence[int]) -> bytes:
    """Return a sampled curve of 16-bit values; one value is a gamma in 256ths, none is straight."""
    return struct.pack(f">4sII{len(values)}H", b"curv", 0, len(values), *values)


def sampled(curve: Curve, count: int) -> bytes:
    """Return a curve as so many samples."""
    light = np.asarray(curve.to_light(np.linspace(0, 1, count)))
    return curv(np.round(light * 65535).astype(int).tolist())


def para(kind: int, *numbers: float) -> bytes:
    """Return a parametric curve of one of the kinds 0 to 4."""
    return struct.pack(">4sIHH", b"para", 0, kind, 0) + fixed(*numbers)


def xyz(*values: float) -> bytes:
    """Return the type that colorants and white points have."""
    return b"XYZ \0\0\0\0" + fixed(*values)


def desc(text: str) -> bytes:
    """Return a description as version 2 has it."""
    data = text.encode() + b"\0"
    return struct.pack(">4sII", b"desc", 0, len(data)) + data + b"\0" * 78


def profile(
    tags: dict[bytes, bytes],
    *,
    numbers: bytes = b"RGB ",
    pcs: bytes = b"XYZ ",
    device: bytes = b"mntr",
    version: int = 2,
    name: str = "Made at Kestrel Point",
) -> bytes:
    """Return a profile with these tags, a name and a white point."""
    tags = {b"desc": desc(name), b"wtpt": xyz(*D50), **tags}
    start = 132 + 12 * len(tags)
    table, body = b"", b""
    for tag, data in tags.items():
        table += struct.pack(">4sII", tag, start + len(body), len(data))
        body += data + b"\0" * (-len(data) % 4)
    size = start + len(body)
    header = struct.pack(">I4sI4s4s4s", size, b"\0" * 4, version << 24, device, numbers, pcs)
    header += struct.pack(">6H", 2031, 6, 14, 22, 0, 0) + b"acsp" + b"\0" * 28 + fixed(*D50)
    return header.ljust(128, b"\0") + struct.pack(">I", len(tags)) + table + body


def matrix_tags(to_xyz: Matrix, *curves: bytes) -> dict[bytes, bytes]:
    """Return the tags of a matrix profile with one curve, or one for each channel."""
    red, green, blue = curves * 3 if len(curves) == 1 else curves
    columns = np.asarray(to_xyz).T
    return {
        b"rXYZ": xyz(*columns[0]),
        b"gXYZ": xyz(*columns[1]),
        b"bXYZ": xyz(*columns[2]),
        b"rTRC": red,
        b"gTRC": green,
        b"bTRC": blue,
    }


def lut16(to_xyz: Matrix, curve: Curve, entries: int = 4096) -> bytes:
    """Return a table that does what a curve and a matrix do: a straight cube behind the curve."""
    corners = np.array(list(itertools.product((0, 1), repeat=3))) @ np.asarray(to_xyz).T
    cube = np.clip(np.round(corners * XYZ_ONE), 0, 65535).astype(int).reshape(-1)
    ramp = np.round(np.asarray(curve.to_light(np.linspace(0, 1, entries))) * 65535).astype(int)
    data = struct.pack(">4sI4B", b"mft2", 0, 3, 3, 2, 0) + fixed(1, 0, 0, 0, 1, 0, 0, 0, 1)
    data += struct.pack(">HH", entries, 2)
    data += struct.pack(f">{3 * entries}H", *(ramp.tolist() * 3))
    return data + struct.pack(f">{cube.size}H", *cube) + struct.pack(">6H", *(0, 65535) * 3)


def lut_a_to_b(to_xyz: Matrix, curve: bytes) -> bytes:
    """Return version 4's way of a curve, then a matrix, in one tag."""
    straight = curv(()).ljust(12, b"\0") * 3
    rows = np.asarray(to_xyz) * XYZ_ONE / 65535
    curves = curve.ljust(-(-len(curve) // 4) * 4, b"\0") * 3
    places = (32, 32 + len(straight), 32 + len(straight) + 48, 0, 0)
    head = struct.pack(">4sI4B5I", b"mAB ", 0, 3, 3, 0, 0, *places)
    return head + straight + fixed(*rows.reshape(-1), 0, 0, 0) + curves


def table_profile(*, device: bytes = b"scnr", **tags: bytes) -> bytes:
    """Return a profile whose tables say what Adobe RGB is, with other tags as given."""
    a2b0 = lut16(ADOBE_RGB.to_xyz, ADOBE_RGB.curve)
    extra = {tag.encode(): data for tag, data in tags.items()}
    return profile({b"A2B0": a2b0, **extra}, device=device, name="Scanner of the harbour office")
