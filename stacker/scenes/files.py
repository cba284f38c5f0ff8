"""Files of frames and of truth: encoded whole, then put in their place at one stroke."""

from __future__ import annotations

import contextlib
import io
import os
import re
from collections.abc import Iterable
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
import simplejpeg
import tifffile

from stacker.errors import OutputError
from stacker.scenes.camera import to_bytes, to_words
from stacker.scenes.exif import Stamp, into_jpeg, into_png, into_tiff
from stacker.scenes.scene import Light

JPEG_QUALITY = 95
# of the frames of a scene, in any of the formats
FRAME_NAME = r"KP_\d{4,}\.(jpg|png|tif)"
# tifffile does not write the tag that points to Exif. A private one next to it, a 32-bit whole
# number, keeps its place in the directory.
PLACE_KEPT_TAG, LONG = 34664, 4


def encode_frame(light: Light, stamp: Stamp, file_format: str) -> bytes:
    """Return a file of ``light`` (H, W, 3) in [0, 1], with its Exif.

    ``"jpg"`` is 8-bit sRGB, 4:4:4, quality 95; ``"png"`` and ``"tif"`` are 16-bit sRGB.
    """
    if file_format == "jpg":
        code = np.ascontiguousarray(to_bytes(light))
        jpeg: bytes = simplejpeg.encode_jpeg(
            code, quality=JPEG_QUALITY, colorspace="RGB", colorsubsampling="444"
        )
        return into_jpeg(jpeg, stamp)
    if file_format == "png":
        done, png = cv2.imencode(".png", to_words(light)[..., ::-1])
        assert done
        return into_png(png.tobytes(), stamp)
    return _encode_tiff(to_words(light), stamp)


def _encode_tiff(code: npt.NDArray[np.uint16], stamp: Stamp) -> bytes:
    """Return a 16-bit TIFF; a place is kept for the Exif pointer and filled in after."""
    tags: list[tuple[int, str | int, int, object, bool]] = [
        (tag, "s", 0, value, True) for tag, value in sorted(stamp.main_tags().items())
    ]
    tags.append((PLACE_KEPT_TAG, LONG, 1, 0, True))
    buffer = io.BytesIO()
    tifffile.imwrite(
        buffer, code, photometric="rgb", metadata=None, extratags=tags, byteorder="<",
        software="",
    )  # fmt: skip
    tiff = buffer.getvalue()
    with tifffile.TiffFile(io.BytesIO(tiff)) as opened:
        kept = opened.series[0].keyframe.tags[PLACE_KEPT_TAG].offset
    return into_tiff(tiff, stamp, kept)


def encode_light(light: Light) -> bytes:
    """Return a float32 TIFF of linear light (H, W, 3), unclipped."""
    buffer = io.BytesIO()
    tifffile.imwrite(
        buffer,
        np.ascontiguousarray(light, np.float32),
        photometric="rgb",
        compression="zlib",
        compressionargs={"level": 1},
        predictor=True,
        metadata=None,
        description="linear light, sRGB primaries, 1.0 is white",
        software="",
    )
    return buffer.getvalue()


def encode_cover(cover: Light) -> bytes:
    """Return shares of 0 to 1, float32 (H, W), as a gray PNG of 16 bits."""
    codes = np.rint(np.clip(cover, 0, 1) * 65_535).astype(np.uint16)
    return bytes(cv2.imencode(".png", codes)[1].tobytes())


def refuse_existing(paths: Iterable[Path]) -> None:
    """Refuse to replace files.

    Raises
    ------
    OutputError
        One of ``paths`` exists.
    """
    for path in paths:
        if path.exists():
            raise OutputError(
                path, "already exists", remedy="choose another folder or give --overwrite",
                code="output-exists",
            )  # fmt: skip


def remove_frames(folder: Path) -> None:
    """Remove an earlier burst, so that none of its frames stays among the new ones.

    Raises
    ------
    OutputError
        A frame cannot be removed.
    """
    for path in folder.iterdir():
        if re.fullmatch(FRAME_NAME, path.name):
            try:
                path.unlink()
            except OSError as cause:
                raise _cannot_write(path, cause) from cause


def make_folder(folder: Path) -> None:
    """Make ``folder`` and those above it.

    Raises
    ------
    OutputError
        It cannot be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as cause:
        raise _cannot_write(folder, cause) from cause


def write_whole(path: Path, content: bytes) -> None:
    """Put ``content`` at ``path``, whole or not at all.

    It is written to a temporary beside it, flushed to the disk and renamed. The temporary is
    removed if anything goes wrong, the user's interruption included.

    Raises
    ------
    OutputError
        The disk refuses.
    """
    temporary = path.with_name(path.name + ".part")
    try:
        with temporary.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        temporary.replace(path)
    except OSError as cause:
        _remove(temporary)
        raise _cannot_write(path, cause) from cause
    except BaseException:
        _remove(temporary)
        raise


def _remove(path: Path) -> None:
    with contextlib.suppress(OSError):
        path.unlink(missing_ok=True)


def _cannot_write(path: Path, cause: OSError) -> OutputError:
    why = f"cannot be written ({cause.strerror or cause})"
    return OutputError(
        path, why, remedy="check the folder and the space left", code="output-unwritable"
    )
