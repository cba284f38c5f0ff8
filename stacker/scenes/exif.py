"""The Exif that the simulated camera writes, and how each kind of file carries it.

Source: CIPA DC-008 (Exif 2.32), sections 4.6.4 to 4.6.6; PNG third edition, chunk eXIf.
"""

from __future__ import annotations

import io
import struct
import zlib
from dataclasses import dataclass
from datetime import datetime, timedelta
from fractions import Fraction

from PIL import ExifTags, Image, TiffImagePlugin

from stacker.scenes.camera import Camera

MAKE = "Kestrel Point Instruments"
MODEL = "Simulated 24"
DAY = "2031-06-14"
ZONE = "+01:00"
SRGB = 1
EXIF_HEADER = b"Exif\x00\x00"
# A fraction of a second is stored with at most this denominator, as cameras do.
FINEST_SHUTTER = 10_000
PNG_SIGNATURE_AND_IHDR = 8 + 25
TIFF_LONG = 4


@dataclass(frozen=True)
class Stamp:
    """When a frame was taken and with which figures."""

    camera: Camera
    start_s: float
    shutter_s: float

    @property
    def opened(self) -> datetime:
        """Local time at which the shutter opened, to the millisecond."""
        first = datetime.fromisoformat(f"{DAY}T{self.camera.clock}")
        return first + timedelta(milliseconds=round(self.start_s * 1000))

    def main_tags(self) -> dict[int, object]:
        """Return the tags of the picture itself."""
        base = ExifTags.Base
        return {
            base.Make: MAKE,
            base.Model: MODEL,
            base.DateTime: self.opened.strftime("%Y:%m:%d %H:%M:%S"),
        }

    def exif_tags(self) -> dict[int, object]:
        """Return the tags of the Exif directory."""
        base = ExifTags.Base
        shutter = Fraction(self.shutter_s).limit_denominator(FINEST_SHUTTER)
        return {
            base.ExposureTime: _rational(shutter),
            base.FNumber: _rational(Fraction(self.camera.f_number).limit_denominator(10)),
            base.ISOSpeedRatings: self.camera.iso,
            base.DateTimeOriginal: self.opened.strftime("%Y:%m:%d %H:%M:%S"),
            base.OffsetTimeOriginal: ZONE,
            base.SubsecTimeOriginal: f"{self.opened.microsecond // 1000:03d}",
            base.FocalLength: _rational(Fraction(self.camera.focal_mm).limit_denominator(10)),
            base.ColorSpace: SRGB,
        }

    def block(self) -> bytes:
        """Return the Exif block without a header: a small TIFF of both directories."""
        exif = Image.Exif()
        exif.update(self.main_tags())
        exif.get_ifd(ExifTags.IFD.Exif).update(self.exif_tags())
        block: bytes = exif.tobytes()
        return block.removeprefix(EXIF_HEADER)


def _rational(value: Fraction) -> TiffImagePlugin.IFDRational:
    return TiffImagePlugin.IFDRational(value.numerator, value.denominator)


def into_jpeg(jpeg: bytes, stamp: Stamp) -> bytes:
    """Return ``jpeg`` with the stamp as its first segment (APP1)."""
    payload = EXIF_HEADER + stamp.block()
    return jpeg[:2] + b"\xff\xe1" + struct.pack(">H", len(payload) + 2) + payload + jpeg[2:]


def into_png(png: bytes, stamp: Stamp) -> bytes:
    """Return ``png`` with the stamp as an eXIf chunk after its header."""
    body = b"eXIf" + stamp.block()
    chunk = struct.pack(">I", len(body) - 4) + body + struct.pack(">I", zlib.crc32(body))
    head = PNG_SIGNATURE_AND_IHDR
    return png[:head] + chunk + png[head:]


def into_tiff(tiff: bytes, stamp: Stamp, entry_at: int) -> bytes:
    """Return ``tiff`` (little-endian) with the Exif directory appended.

    ``entry_at`` is the byte of the directory entry kept for it: a tag, its type, a count of one
    and its value, which become those of the pointer to the new directory.
    """
    directory = TiffImagePlugin.ImageFileDirectory_v2(prefix=b"II")
    for tag, value in stamp.exif_tags().items():
        directory[tag] = value
    whole = io.BytesIO(tiff)
    place = whole.seek(0, io.SEEK_END)
    if place % 2:  # directories start at even bytes
        whole.write(b"\0")
        place += 1
    whole.write(directory.tobytes(place))
    whole.seek(entry_at)
    whole.write(struct.pack("<HHII", ExifTags.IFD.Exif, TIFF_LONG, 1, place))
    return whole.getvalue()
