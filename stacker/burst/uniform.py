"""Whether frames belong to one burst, and which of them do not fit into it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from stacker.errors import BurstError, FrameError

# so many odd frames are a slip of the camera or the copying, more are another burst
ODD_SHARE = 0.1


@dataclass(frozen=True)
class Form:
    """What the frames of a burst have in common.

    ``camera`` "" fits any.
    """

    size: tuple[int, int]
    stored: str
    moving: bool
    camera: str

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
    example = next(form for form, key in zip(forms, keys, strict=True) if form and key == usual)
    return [
        None if form is None else _misfit(path.with_name(name), form, example)
        for path, name, form in zip(paths, names, forms, strict=True)
    ]


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


def _misfit(where: Path, form: Form, example: Form) -> FrameError | None:
    """Return why a frame does not fit, None where it does."""
    if form.size != example.size:
        why = "its size is {} x {}, the burst's {} x {}".format(*form.size, *example.size)
    elif form.stored != example.stored:
        why = f"its pixels are {form.stored}, the burst's {example.stored}"
    else:
        return None
    return FrameError(where, why, remedy="move it out of the burst", code="frame-mismatch")
