"""ICC profiles: read what those of a matrix and tone curves say, tell the others, write our own.

Source: ICC.1:2022 (profile version 4.4), clauses 7 (header), 8 (which tags count), 9.2 (tags) and
10 (types).
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np

from stacker.light.curves import LINEAR, Curve, ForwardCurve, ParametricCurve, SampledCurve

Matrix = tuple[tuple[float, float, float], ...]

HEADER_SIZE = 128
D50 = (0.9642, 1.0, 0.8249)
# input, display, output, colour space; not links between two devices, effects or named colours
DEVICE_CLASSES = (b"scnr", b"mntr", b"prtr", b"spac")
TABLE_TAGS = ("A2B0", "A2B1", "A2B2", "D2B0", "D2B1", "D2B2", "D2B3")
# the volume of the primaries' parallelepiped: that of sRGB is 0.2, this is one flat by rounding
LEAST_VOLUME = 1e-4
CURVE_STEPS = 1025
CURVE_ROUNDING = 1e-4
LEAST_RISE = 1e-3
# a fixed date keeps equal pictures equal to the byte
PROFILE_DATE = (2026, 1, 1, 0, 0, 0)


class ProfileError(ValueError):
    """The bytes are no profile of the kind that can be read here; the text says why."""


@dataclass(frozen=True)
class MatrixProfile:
    """An RGB profile of one curve per channel and a matrix.

    ``to_xyz`` takes linear RGB to CIE XYZ under D50, row by row X, Y, Z, as the profile states it:
    what its tag ``chad`` did to the colorants is in them already.
    """

    description: str
    curves: tuple[Curve, Curve, Curve]
    to_xyz: Matrix


@dataclass(frozen=True)
class GrayProfile:
    """A profile for gray pictures: one curve, from gray to light."""

    description: str
    curve: Curve


@dataclass(frozen=True)
class TableProfile:
    """An RGB profile that works by tables, which count even where it has a matrix as well."""

    description: str


def parse_profile(icc: bytes) -> MatrixProfile | GrayProfile | TableProfile:
    """Return what a profile for RGB or gray numbers says.

    Raises
    ------
    ProfileError
        The bytes are broken, or the profile is of another kind.
    """
    try:
        return _parse(icc)
    except (struct.error, IndexError, UnicodeDecodeError) as error:
        raise ProfileError("the profile is cut short or damaged") from error


def _parse(icc: bytes) -> MatrixProfile | GrayProfile | TableProfile:
    if len(icc) < HEADER_SIZE + 4 or icc[36:40] != b"acsp":
        raise ProfileError("the bytes are no ICC profile")
    if icc[12:16] not in DEVICE_CLASSES:
        raise ProfileError("the profile is not that of a device or a colour space")
    tags = _tags(icc)
    description = _text(tags.get("desc", b""))
    if icc[16:20] == b"GRAY":
        return GrayProfile(description, _gray_curve(icc, tags))
    if icc[16:20] != b"RGB ":
        raise ProfileError(f"the profile is for {_said(icc[16:20])}, not RGB")
    if any(tag in tags for tag in TABLE_TAGS):
        return TableProfile(description)
    wanted = ("rXYZ", "gXYZ", "bXYZ", "rTRC", "gTRC", "bTRC")
    if any(tag not in tags for tag in wanted) or icc[20:24] != b"XYZ ":
        raise ProfileError("the profile has neither a matrix with curves nor tables")
    columns = [_xyz(tags[tag]) for tag in wanted[:3]]
    rows = tuple((columns[0][i], columns[1][i], columns[2][i]) for i in range(3))
    if abs(np.linalg.det(rows)) < LEAST_VOLUME:
        raise ProfileError("the profile's three primaries lie on one line")
    red, green, blue = (_curve(tags[tag]) for tag in wanted[3:])
    return MatrixProfile(description, (red, green, blue), rows)


def _said(signature: bytes) -> str:
    """Return a signature of four letters as it can be shown."""
    return signature.decode("ascii", "replace").strip()


def _gray_curve(icc: bytes, tags: dict[str, bytes]) -> Curve:
    if "kTRC" not in tags or icc[20:24] != b"XYZ ":
        raise ProfileError("the profile for gray has no tone curve of light")
    return _curve(tags["kTRC"])


def _tags(icc: bytes) -> dict[str, bytes]:
    (count,) = struct.unpack_from(">I", icc, HEADER_SIZE)
    tags = {}
    for number in range(count):
        name, offset, size = struct.unpack_from(">4sII", icc, HEADER_SIZE + 4 + 12 * number)
        tags[name.decode("ascii")] = icc[offset : offset + size]
    return tags


def _xyz(tag: bytes) -> tuple[float, float, float]:
    x, y, z = struct.unpack_from(">iii", tag, 8)
    return x / 65536, y / 65536, z / 65536


def _curve(tag: bytes) -> Curve:
    kind = tag[:4]
    if kind == b"para":
        curve = _parametric(tag)
    elif kind == b"curv":
        curve = _sampled(tag)
    else:
        raise ProfileError(f"the profile has a tone curve of the unknown type {kind!r}")
    with np.errstate(all="ignore"):
        light = curve.to_light(np.linspace(0.0, 1.0, CURVE_STEPS))
    # a step down no larger than the numbers' rounding is where foot and power law meet
    if not np.isfinite(light).all() or np.diff(light).min() < -CURVE_ROUNDING:
        raise ProfileError("the profile has a tone curve that falls")
    if light[-1] - light[0] < LEAST_RISE:
        raise ProfileError("the profile has a tone curve that does not rise")
    return curve


def _sampled(tag: bytes) -> Curve:
    (count,) = struct.unpack_from(">I", tag, 8)
    if count == 0:
        return LINEAR
    if len(tag) < 12 + 2 * count:
        raise ProfileError("the profile is cut short or damaged")
    values = np.frombuffer(tag, ">u2", count, 12)
    if count == 1:
        return ParametricCurve(float(values[0]) / 256)
    if np.any(np.diff(values.astype(np.int64)) < 0):
        raise ProfileError("the profile has a tone curve that falls")
    return SampledCurve(tuple((values / 65535).tolist()))


def _parametric(tag: bytes) -> Curve:
    (kind,) = struct.unpack_from(">H", tag, 8)
    counts = (1, 3, 4, 5, 7)
    if kind >= len(counts):
        raise ProfileError(f"the profile has a parametric curve of the unknown type {kind}")
    numbers = [v / 65536 for v in struct.unpack_from(f">{counts[kind]}i", tag, 12)]
    if kind == 0:
        return ParametricCurve(numbers[0])
    g, a, b = numbers[:3]
    if g <= 0 or a <= 0:
        raise ProfileError("the profile has a tone curve that falls")
    if kind == 1:
        return ParametricCurve(g, a, b, 0.0, -b / a)
    if kind == 2:
        return ParametricCurve(g, a, b, 0.0, -b / a, numbers[3], numbers[3])
    return ParametricCurve(g, a, b, *numbers[3:])


def _text(tag: bytes) -> str:
    if tag[:4] == b"desc":
        (size,) = struct.unpack_from(">I", tag, 8)
        return tag[12 : 12 + size].split(b"\0")[0].decode("latin-1")
    if tag[:4] == b"mluc":
        size, offset = struct.unpack_from(">II", tag, 20)
        return tag[offset : offset + size].decode("utf-16-be")
    return ""


def build_profile(
    description: str,
    curve: ForwardCurve,
    to_xyz: Matrix,
    *,
    numbers: tuple[int, int] | None = None,
) -> bytes:
    """Return a version 4 matrix profile as bytes, the same for the same arguments.

    Parameters
    ----------
    description : the name that programs show.
    curve : one tone curve for the three channels; the straight line is written as such.
    to_xyz : linear RGB to CIE XYZ under D50; its columns become the colorants.
    numbers : of primaries and transfer curve in ITU-T H.273, for programs that go by them (tag
        ``cicp``, clause 9.2.17); the others go by the curve.
    """
    trc = _curve_tag(curve)
    tags = {
        b"desc": _text_tag(description),
        b"cprt": _text_tag("No copyright, use freely"),
        b"wtpt": _xyz_tag(D50),
        b"rXYZ": _xyz_tag(tuple(row[0] for row in to_xyz)),
        b"gXYZ": _xyz_tag(tuple(row[1] for row in to_xyz)),
        b"bXYZ": _xyz_tag(tuple(row[2] for row in to_xyz)),
        b"rTRC": trc,
        b"gTRC": trc,
        b"bTRC": trc,
    }
    if numbers:
        # RGB of full range
        tags[b"cicp"] = struct.pack(">4sI4B", b"cicp", 0, *numbers, 0, 1)
    table, body = b"", b""
    start = HEADER_SIZE + 4 + 12 * len(tags)
    placed: dict[bytes, int] = {}
    for name, data in tags.items():
        if data not in placed:
            placed[data] = start + len(body)
            body += data + b"\0" * (-len(data) % 4)
        table += struct.pack(">4sII", name, placed[data], len(data))
    size = start + len(body)
    return _header(size) + struct.pack(">I", len(tags)) + table + body


def _header(size: int) -> bytes:
    header = struct.pack(">I4sI4s4s4s", size, b"\0" * 4, 0x04400000, b"mntr", b"RGB ", b"XYZ ")
    header += struct.pack(">6H", *PROFILE_DATE) + b"acsp"
    header += b"\0" * 28 + _s15f16(D50)
    return header + b"\0" * (HEADER_SIZE - len(header))


def _s15f16(values: tuple[float, ...]) -> bytes:
    return struct.pack(f">{len(values)}i", *(round(v * 65536) for v in values))


def _xyz_tag(values: tuple[float, ...]) -> bytes:
    return b"XYZ \0\0\0\0" + _s15f16(values)


def _text_tag(text: str) -> bytes:
    data = text.encode("utf-16-be")
    return struct.pack(">4sIII2s2sII", b"mluc", 0, 1, 12, b"en", b"US", len(data), 28) + data


def _curve_tag(curve: ForwardCurve) -> bytes:
    if curve == LINEAR:
        # no samples at all: the straight line, which goes on below 0 as the others do not
        return struct.pack(">4sII", b"curv", 0, 0)
    if isinstance(curve, ParametricCurve):
        numbers = (curve.g, curve.a, curve.b, curve.c, curve.d, curve.e, curve.f)
        return struct.pack(">4sIHH", b"para", 0, 4, 0) + _s15f16(numbers)
    samples = np.round(curve.to_light(np.linspace(0, 1, 4096)) * 65535).astype(int)
    return struct.pack(f">4sII{len(samples)}H", b"curv", 0, len(samples), *samples)
