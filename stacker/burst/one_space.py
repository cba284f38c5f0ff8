"""In which colour space a burst lives, and how frames in others come into it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from stacker.burst.readers.facts import FrameFacts
from stacker.errors import FrameError
from stacker.light.convert import IntoOneSpace, conversion
from stacker.light.correction import Correction
from stacker.light.encoding import Encoding
from stacker.light.icc import Matrix
from stacker.light.space import same_colour

LEAVE_STRICT = "mend it, or leave out --strict"


@dataclass(frozen=True)
class OneSpace:
    """The colours of a burst, settled.

    Parameters
    ----------
    encodings : of each frame, one object for all that agree; None for frames without facts.
    problems : of each frame, why it cannot be used where nothing may be guessed.
    corrections : brings the light of the others into the burst's space; empty if all agree.
    warnings : whole sentences.
    """

    encodings: tuple[Encoding | None, ...]
    problems: tuple[FrameError | None, ...]
    corrections: tuple[Correction, ...] = ()
    warnings: tuple[str, ...] = ()


def settle_colours(
    paths: Sequence[Path], facts: Sequence[FrameFacts | None], *, strict: bool
) -> OneSpace:
    """Return the space of the first frame that says its own, and what it takes to get there.

    Parameters
    ----------
    paths : named as the frames are.
    facts : in shot order, None for frames that cannot be used; at least one is there.
    strict : refuse frames whose profile cannot be used, and those in another space than the first
        one's, in place of guessing and converting.
    """
    there = [place for place, each in enumerate(facts) if each is not None]
    known = [place for place in there if not _facts(facts, place).guesses]
    burst = _facts(facts, (known or there)[0]).encoding
    encodings = [each.encoding if each else None for each in facts]
    problems: list[FrameError | None] = [None] * len(facts)
    guessed: dict[str, list[int]] = {}
    others: dict[str, list[int]] = {}
    matrices: dict[int, Matrix] = {}
    for place in there:
        encoding = _facts(facts, place).encoding
        for why in _facts(facts, place).guesses:
            guessed.setdefault(why, []).append(place)
            problems[place] = _refused(paths[place], why)
        if place not in known or _agree(encoding, burst):
            # equal in numbers; one object, whatever the profile's other bytes say
            encodings[place] = burst
            continue
        others.setdefault(encoding.name, []).append(place)
        problems[place] = _refused(paths[place], "its colour profile is not the burst's")
        if not _same_primaries(encoding, burst):
            matrices[place] = conversion(encoding.space, burst.space)
    if strict:
        return OneSpace(tuple(encodings), tuple(problems))
    names = [path.name for path in paths]
    warnings = [
        f"{_said(names, places)}: {why}; taken as {burst.name}." for why, places in guessed.items()
    ]
    for name, places in others.items():
        warnings.append(
            f"{_said(names, places)}: in {name}, other than the burst's first frame; converted to "
            f"{burst.space.name}."
        )
    return OneSpace(
        tuple(encodings),
        (None,) * len(facts),
        (IntoOneSpace(matrices),) if others else (),
        tuple(warnings),
    )


def _facts(facts: Sequence[FrameFacts | None], place: int) -> FrameFacts:
    found = facts[place]
    assert found is not None
    return found


def _agree(one: Encoding, two: Encoding) -> bool:
    """Whether two frames' numbers mean the same but for the rounding of profiles."""
    if one is two:
        return True
    if one.device is not None or two.device is not None:
        return one.device == two.device
    return same_colour((one.curve, one.space.to_xyz), (two.curve, two.space.to_xyz))


def _same_primaries(one: Encoding, two: Encoding) -> bool:
    return same_colour((one.space.curve, one.space.to_xyz), (one.space.curve, two.space.to_xyz))


def _refused(path: Path, why: str) -> FrameError:
    return FrameError(path, why, remedy=LEAVE_STRICT, code="frame-colour")


def _said(names: Sequence[str], places: Sequence[int]) -> str:
    more = f" and {len(places) - 1} more" if len(places) > 1 else ""
    return f"{names[places[0]]}{more}"
