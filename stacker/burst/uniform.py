"""Whether frames belong to one burst, and which of them do not fit into it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from stacker.errors import BurstError, FrameError
from stacker.light.curves import Curve
from stacker.light.icc import Matrix

# so many odd frames are a slip of the camera or the copying, more are another burst
ODD_SHARE = 0.1
# profiles of one space by different makers differ by less, those of two spaces by far more
COLOUR_ROUNDING = 2e-3
RAMP_STEPS = 64


@dataclass(frozen=True)
class Form:
    """What the frames of a burst have in common.

    ``colour`` are the curve of the codes and the matrix of the space; ``camera`` "" fits any.
    """

    size: tuple[int, int]
    stored: str
    moving: bool
    camera: str
    colour: tuple[Curve, Matrix]

    def said(self) -> str:
        """Return the form in a few words."""
        words = f"{self.size[0]} x {self.size[1]}, {self.stored}"
        words += ", clip" if self.moving else ""
        return f"{words}, {self.camera}" if self.camera else words


def check_uniform(
    paths: Sequence[Path], names: Sequence[str], forms: Sequence[Form | None]
) -> list[FrameError | None]:
    """Return for each frame why it does not fit the burst, None where it does.

    Parameters
    ----------
    forms : None for frames that are bad already.

    Raises
    ------
    BurstError
        Two bursts: frames of another camera, clips beside stills, or so many frames of another
        size or depth that they are no slip.
    """
    sound = [form for form in forms if form is not None]
    cameras = [form.camera for form in sound if form.camera]
    usual_camera = Counter(cameras).most_common(1)[0][0] if cameras else ""
    keys = [None if form is None else _key(form, usual_camera) for form in forms]
    counts = Counter(key for key in keys if key is not None)
    usual, usual_count = counts.most_common(1)[0]
    odd = sum(counts.values()) - usual_count
    slip = odd < usual_count and (odd <= 1 or odd < ODD_SHARE * len(sound))
    strange = [key for key in counts if key != usual]
    if strange and (not slip or any(key[2:] != usual[2:] for key in strange)):
        raise _two_bursts(paths, forms, keys, usual, strange[0])
    colours = Counter(
        form.colour for form, key in zip(forms, keys, strict=True) if form and key == usual
    )
    colour = colours.most_common(1)[0][0]
    example = next(form for form, key in zip(forms, keys, strict=True) if form and key == usual)
    return [
        None if form is None else _misfit(path.with_name(name), form, example, colour)
        for path, name, form in zip(paths, names, forms, strict=True)
    ]


@lru_cache(maxsize=64)
def _same_colour(one: tuple[Curve, Matrix], two: tuple[Curve, Matrix]) -> bool:
    """Whether two spaces are the same but for the rounding of their profiles."""
    if one == two:
        return True
    ramp = np.linspace(0.0, 1.0, RAMP_STEPS)
    off = np.abs(one[0].to_light(ramp) - two[0].to_light(ramp)).max()
    return bool(max(off, np.abs(np.subtract(one[1], two[1])).max()) < COLOUR_ROUNDING)


_Key = tuple[tuple[int, int], str, bool, str]


def _key(form: Form, usual_camera: str) -> _Key:
    return form.size, form.stored, form.moving, form.camera or usual_camera


def _two_bursts(
    paths: Sequence[Path],
    forms: Sequence[Form | None],
    keys: Sequence[_Key | None],
    usual: _Key,
    other: _Key,
) -> BurstError:
    """Return the error that names both bursts and how to choose one."""
    parts = []
    for wanted in (usual, other):
        places = [place for place, key in enumerate(keys) if key == wanted]
        form = forms[places[0]]
        said = form.said() if form else ""
        count = f"{len(places)} frame{'s' if len(places) > 1 else ''}"
        parts.append(f"{count} ({said}) from {paths[places[0]].name}")
    number = "two" if len(set(keys) - {None}) == 2 else "several"
    return BurstError(
        paths[0].parent,
        f"there are {number} bursts here, {parts[0]}, and {parts[1]}",
        remedy="name the frames of one of them by a pattern such as 'IMG_1*.jpg' or by a list",
        code="two-bursts",
    )


def _misfit(
    where: Path, form: Form, example: Form, colour: tuple[Curve, Matrix]
) -> FrameError | None:
    """Return why a frame does not fit, None where it does."""
    if form.size != example.size:
        why = "its size is {} x {}, the burst's {} x {}".format(*form.size, *example.size)
    elif form.stored != example.stored:
        why = f"its pixels are {form.stored}, the burst's {example.stored}"
    elif not _same_colour(form.colour, colour):
        why = "its colour profile is not the burst's"
    else:
        return None
    return FrameError(where, why, remedy="move it out of the burst", code="frame-mismatch")
