"""Painted masks: gray pictures in the output folder."""

from __future__ import annotations

import re

import cv2
import numpy as np

from stacker.finish import place_file
from stacker.page.answers import PageError
from stacker.page.folder import Served
from stacker.page.opened import Opened

NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,40}")
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
    if not NAME.fullmatch(name):
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
    good, data = cv2.imencode(".png", whole)
    assert good
    target = served.target(f"{opened.path.stem}-{name}.png")
    with place_file(target, overwrite=True, sources=opened.burst.sources) as file:
        file.write(data.tobytes())
    return target.name


def _refusal(why: str) -> PageError:
    return PageError("the mask", why, remedy="paint it again", code="bad-mask")
