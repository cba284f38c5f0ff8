"""Painted masks: gray pictures in the output folder."""

from __future__ import annotations

import re
from pathlib import Path

import cv2
import numpy as np

from stacker.engine import Settings
from stacker.engine.found_masks import find_masks
from stacker.engine.progress import Silent
from stacker.engine.region import NAMED_MASKS
from stacker.finish import place_file
from stacker.finish.grey import gray_png
from stacker.page.answers import PageError
from stacker.page.folder import Served
from stacker.page.opened import Opened

NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,40}")
# of a burst's name: a folder of its own, so that nobody's pictures are taken for masks
SUFFIX = ".masks"
PNG_MARK = b"\x89PNG\r\n\x1a\n"


def keep_mask(served: Served, opened: Opened, name: str, body: bytes) -> str:
    """Return the file's name, having kept a painted mask at the size of the frames.

    Parameters
    ----------
    body : a PNG of the preview's size; of its channels the first counts.

    Raises
    ------
    StackerError
        It is no such picture, or cannot be written.
    """
    stem = name.removesuffix(".png")
    if not NAME.fullmatch(stem):
        raise _refusal("its name is made of small letters, numbers and dashes")
    width, height = opened.plain.fine.burst.size
    # the size is looked at before room is made for the picture
    said = (int.from_bytes(body[16:20], "big"), int.from_bytes(body[20:24], "big"))
    if not body.startswith(PNG_MARK) or said != (width, height):
        raise _refusal(f"it is no PNG of {width} x {height} pixels")
    found = cv2.imdecode(np.frombuffer(body, np.uint8), cv2.IMREAD_GRAYSCALE)
    if found is None:
        raise _refusal("it cannot be read")
    whole = cv2.resize(found, opened.burst.size, interpolation=cv2.INTER_LINEAR)
    folder = _folder(served, opened)
    folder.mkdir(exist_ok=True)
    target = folder / f"{stem}.png"
    with place_file(target, overwrite=True, sources=opened.burst.sources) as file:
        file.write(gray_png(np.asarray(whole, np.uint8)))
    return f"{folder.name}/{target.name}"


def mask_at_preview(served: Served, opened: Opened, name: str) -> bytes:
    """Return a mask that was kept, as a PNG of the preview's size.

    Parameters
    ----------
    name : as ``keep_mask`` returned it.

    Raises
    ------
    PageError
        There is none.
    """
    folder = _folder(served, opened)
    stem = name.removeprefix(f"{folder.name}/").removesuffix(".png")
    path = folder / f"{stem}.png"
    found = None
    if NAME.fullmatch(stem) and path.is_file() and not path.is_symlink():
        found = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    if found is None:
        raise PageError(
            "the mask",
            "there is none of that name",
            remedy="paint it again",
            code="no-such-mask",
        )
    size = opened.plain.fine.burst.size
    return gray_png(np.asarray(cv2.resize(found, size, interpolation=cv2.INTER_AREA), np.uint8))


def found_mask(opened: Opened, name: object) -> bytes:
    """Return a mask that is found in the burst, as a PNG of the preview's size.

    Parameters
    ----------
    name : one of ``NAMED_MASKS``.

    Raises
    ------
    PageError
        There is no such mask, or the burst does not tell.
    """
    if name not in NAMED_MASKS:
        raise PageError(
            f"a mask of {name!r}",
            "is not found by itself",
            remedy=f"ask for {', '.join(NAMED_MASKS)}, or paint it",
            code="no-such-mask",
        )
    if not opened.is_ready:
        raise PageError(
            opened.path.name, "its frames are still being read", remedy="ask again", code="not-yet"
        )
    name = str(name)
    found = find_masks(opened.plain.fine.burst, {name}, Settings(on_bad="skip"), Silent())
    if name not in found.masks:
        raise PageError(
            f"the {name}",
            f"was not found with certainty: {found.why.get(name, 'the burst does not tell')}",
            remedy="paint it",
            code="mask-not-found",
        )
    return gray_png(np.asarray(found.masks[name] >> 8, np.uint8))


def _folder(served: Served, opened: Opened) -> Path:
    return served.target(f"{opened.path.name.lstrip('.') or 'burst'}{SUFFIX}")


def _refusal(why: str) -> PageError:
    return PageError("the mask", why, remedy="paint it again", code="bad-mask")
