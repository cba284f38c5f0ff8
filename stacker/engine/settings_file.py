"""Settings as plain data: what a file holds, what the page sends, what a command is told."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from stacker.engine.balance import BalanceChoice
from stacker.engine.choosing import settings_for
from stacker.engine.region import SPANNING
from stacker.engine.settings import Settings
from stacker.engine.stroke_change import StrokeChange, changes_of
from stacker.errors import OptionError

# how the result leaves, and how the files are opened: their names and usual values
FINISHING: dict[str, Any] = {
    "exposure": 0.0,
    "shoulder": False,
    "warmth": None,
    "gains": None,
    "neutral": None,
    "depth": None,
    "space": None,
    "keep_location": False,
}
OPENING: dict[str, Any] = {
    "interval_s": None,
    "frame_shutter_s": None,
    "highlights": "clip",
    "half": False,
    "strict": False,
}
EXPOSING = {each.name: each.default for each in fields(Settings)}
# a settings file is a page of text; more is none
MOST_BYTES = 4 * 10**6


@dataclass(frozen=True)
class Chosen:
    """Everything that was chosen for one picture.

    Parameters
    ----------
    said : what was said, by the names of ``Settings``, ``FINISHING`` and ``OPENING``.
    subject : what the burst is of, None where that was not said.
    """

    said: Mapping[str, Any] = field(default_factory=dict)
    subject: str | None = None

    @property
    def settings(self) -> Settings:
        """The settings of the exposure.

        Raises
        ------
        OptionError
            They do not make sense.
        """
        given = {name: value for name, value in self.said.items() if name in EXPOSING}
        if isinstance(given.get("passes"), tuple):
            given["passes"] = changes_of(given["passes"])
        return settings_for(self.subject, given)

    @property
    def balance(self) -> BalanceChoice:
        """The choice of the white balance.

        Raises
        ------
        OptionError
            It does not make sense.
        """
        names = ("warmth", "gains", "neutral")
        return BalanceChoice(**{name: self.said.get(name) for name in names})

    @property
    def finishing(self) -> dict[str, Any]:
        """What ``save`` is told besides the white balance and whether to replace a file."""
        said = {name: self.said.get(name, usual) for name, usual in FINISHING.items()}
        return {
            "depth": said["depth"],
            "exposure_ev": said["exposure"],
            "shoulder": said["shoulder"],
            "space": said["space"],
            "keep_location": said["keep_location"],
        }

    @property
    def opening(self) -> dict[str, Any]:
        """What ``open_burst`` is told."""
        return {name: self.said.get(name, usual) for name, usual in OPENING.items()}

    def under(self, said: Mapping[str, Any], subject: str | None) -> Chosen:
        """Return the same with what was said besides, which wins.

        Of settings that exclude each other, those said take the place of those here.
        """
        kept = dict(self.said)
        if said.get("moment") is not None:
            kept = {name: value for name, value in kept.items() if name not in SPANNING}
        elif any(said.get(name) is not None for name in SPANNING):
            kept.pop("moment", None)
        for group in (("last", "shutter_s"), ("warmth", "gains", "neutral")):
            if any(said.get(name) is not None for name in group):
                for name in group:
                    kept.pop(name, None)
        if said.get("hold", "subject") != "subject":
            kept.pop("box", None)
        return Chosen({**kept, **said}, self.subject if subject is None else subject)

    def told(self) -> dict[str, Any]:
        """Return the same as plain data, ready for JSON."""
        said: dict[str, Any] = dict(self.said)
        if self.subject is not None:
            said["subject"] = self.subject
        return {name: list(v) if isinstance(v, tuple) else v for name, v in said.items()}


def chosen_from(data: object, where: str = "the settings") -> Chosen:
    """Return what was chosen from plain data, as ``Chosen.told`` gives it.

    Parameters
    ----------
    where : what an error names.

    Raises
    ------
    OptionError
        The data are no settings, hold an unknown name or a value of the wrong sort.
    """
    if not isinstance(data, Mapping):
        raise _refusal(where, "they are no table of names and values", "option-value")
    said = dict(data)
    subject = said.pop("subject", None)
    if subject is not None and not isinstance(subject, str):
        raise _refusal(f"{where}: subject", "is no word", "option-value")
    known = EXPOSING | FINISHING | OPENING
    for name in said:
        if name not in known:
            raise OptionError(
                f"{where}: {name}",
                "there is no such setting in this version",
                remedy="take it out, or use the version that wrote it",
                code="option-unknown",
            )
    # what equals a default stays said: it wins over what the subject would choose
    plain = {name: _checked(where, name, _frozen(value)) for name, value in said.items()}
    return Chosen(plain, subject)


def read_settings(path: Path) -> Chosen:
    """Return what was chosen, from a file that the page or a person wrote.

    Raises
    ------
    OptionError
        It cannot be read, or holds no settings.
    """
    try:
        with path.open("rb") as file:
            text = file.read(MOST_BYTES + 1)
    except OSError as error:
        why = f"cannot be read ({error.strerror})"
        raise _refusal(f"--settings {path}", why, "option-settings") from error
    try:
        if len(text) > MOST_BYTES:
            raise ValueError("it is too long")
        data = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise OptionError(
            f"--settings {path}",
            "is no file of settings",
            remedy="give one that the page saved, a .stacker.json",
            code="option-settings",
        ) from error
    if isinstance(data, dict) and "settings" in data:
        data = data["settings"]
    chosen = chosen_from(data, f"--settings {path}")
    return Chosen(masks_below(chosen.said, path.parent), chosen.subject)


def masks_below(said: Mapping[str, Any], folder: Path) -> dict[str, Any]:
    """Return settings in which masks that lie in a folder are named by their whole path.

    Names of no file there stay as they are: masks may also be found in the burst.
    """
    found = dict(said)
    if said.get("regions"):
        found["regions"] = tuple(
            {**each, "mask": str(folder / str(each.get("mask")))}
            if (folder / str(each.get("mask"))).is_file()
            else each
            for each in said["regions"]
        )
    return found


def _frozen(value: Any) -> Any:
    """Return lists as tuples."""
    return tuple(_frozen(each) for each in value) if isinstance(value, list) else value


_NUMBER, _WHOLE, _WORD, _YES_NO = (int, float), (int,), (str,), (bool,)


def _of(sorts: tuple[type, ...], names: str) -> dict[str, tuple[type, ...]]:
    """Return the same sorts of value for several names, apart by spaces."""
    return dict.fromkeys(names.split(), sorts)


# what each setting is made of, and those that are lists of it
_SORTS: dict[str, tuple[type, ...]] = {
    **_of(_NUMBER, "shutter_s ramp_in_s ramp_out_s tail_s exposure warmth"),
    **_of(_NUMBER, "interval_s frame_shutter_s"),
    **_of(_WHOLE, "first last workers memory depth"),
    **_of(_YES_NO, "bridge doubts find_passes shoulder keep_location half strict"),
    **_of(_WORD, "hold reference crop floor tail_to even hot_pixels on_bad space highlights"),
    **_of(_WORD, "planes moment glow"),
    "keep_bursts": (int, str),
}
_LISTS: dict[str, tuple[type, ...]] = {
    **_of(_NUMBER, "box weights trim gains neutral"),
    **_of(_WHOLE, "without"),
    **_of(_WORD, "blends darks flats biases masks"),
    # as they are typed, or made already
    **_of((str, StrokeChange), "passes"),
    # each is a table of its own
    **_of((dict,), "regions"),
}


def _checked(where: str, name: str, value: Any) -> Any:
    """Return a value of the right sort; what it has to be besides is checked where it is used."""
    if value is None:
        return value
    if name in _LISTS:
        good = isinstance(value, tuple) and all(_is(each, _LISTS[name]) for each in value)
    else:
        good = _is(value, _SORTS[name])
    if not good:
        raise OptionError(
            f"{where}: {name}",
            f"{value!r} is no value for it",
            remedy="give one such as the page writes",
            code="option-value",
        )
    return value


def _is(value: object, sorts: tuple[type, ...]) -> bool:
    """Whether a value is of one of these sorts; yes and no are no numbers."""
    return isinstance(value, sorts) and (bool in sorts or not isinstance(value, bool))


def _refusal(where: str, why: str, code: str) -> OptionError:
    return OptionError(where, why, remedy="give settings as the page saves them", code=code)
