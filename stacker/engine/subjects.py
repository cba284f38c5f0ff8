"""What each subject asks of an exposure, with the reasons. One table."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from stacker.engine.region import USUAL, Region
from stacker.subjects import check_subject


@dataclass(frozen=True)
class Choice:
    """One choice: the option without its dashes, the value, and why, as a clause."""

    option: str
    value: str | bool | tuple[Region, ...]
    why: str

    def told(self) -> str | bool | list[str]:
        """Return the value as it is typed."""
        if isinstance(self.value, tuple):
            return [region.told() for region in self.value]
        return self.value


@dataclass(frozen=True)
class Preset:
    """What a subject asks for, and that in one line."""

    name: str
    summary: str
    choices: tuple[Choice, ...]


@dataclass(frozen=True)
class ChosenFor:
    """What of an exposure's settings its subject chose.

    Parameters
    ----------
    name : of the subject.
    choices : those that count.
    explicit : options that the subject would have chosen but for an explicit word.
    """

    name: str
    choices: tuple[Choice, ...]
    explicit: tuple[str, ...] = ()

    def chose(self, option: str) -> bool:
        """Return whether an option was chosen by the subject."""
        return any(choice.option == option for choice in self.choices)

    def told(self) -> dict[str, Any]:
        """Return what the report says."""
        return {
            "name": self.name,
            "chose": {choice.option: choice.told() for choice in self.choices},
            "why": [f"{choice.option}: {choice.why}" for choice in self.choices],
            "explicit": list(self.explicit),
        }


_LIGHT_ADDS = Choice("blend", "mean", "light adds up as under one long shutter")
_FLOWING_GAPS = Choice("bridge", True, "what flowed on between two frames fills its steps")
_NIGHT_FLOOR = Choice("floor", "true", "the brightest of many noisy values would lift the dark")
_QUIET_GROUND = Region(mask="ground", blend="mean", bridge=False)
_SHARP_GROUND = Region(mask="ground", hold=USUAL)

PRESETS = {
    preset.name: preset
    for preset in (
        Preset(
            "water",
            "mean, gaps bridged",
            (_LIGHT_ADDS, _FLOWING_GAPS),
        ),
        Preset(
            "clouds",
            "mean, gaps bridged",
            (_LIGHT_ADDS, _FLOWING_GAPS),
        ),
        Preset(
            "traffic",
            "lighten with a true floor, gaps bridged",
            (
                Choice("blend", "lighten", "lamps leave their trails"),
                _NIGHT_FLOOR,
                Choice("bridge", True, "trails are whole where cars drove on between two frames"),
            ),
        ),
        Preset(
            "star-trails",
            "lighten with a true floor over a mean of the ground, even light, gaps bridged, planes "
            "out, frames as they lie",
            (
                Choice("blend", "lighten", "each star leaves its trail"),
                _NIGHT_FLOOR,
                Choice("bridge", True, "the sky turned on between two frames"),
                Choice("hold", "still", "held stars would leave no trails"),
                Choice("even", "auto", "one brighter frame would win everywhere"),
                Choice("regions", (_QUIET_GROUND,), "what does not turn is quietest as a mean"),
                Choice("planes", "out", "planes and satellites would draw lines across the trails"),
            ),
        ),
        Preset(
            "stars",
            "mean, the sky held, and the ground beside it",
            (
                Choice("blend", "mean", "noise averages away"),
                Choice("hold", "sky", "stars stay points"),
                Choice("regions", (_SHARP_GROUND,), "where stars are held, the ground would smear"),
            ),
        ),
        Preset(
            "fireworks",
            "lighten",
            (Choice("blend", "lighten", "each burst keeps its light"),),
        ),
        Preset(
            "dusk",
            "mean",
            (Choice("blend", "mean", "noise averages away, and the light of some minutes mixes"),),
        ),
        Preset(
            "light-painting",
            "lighten, gaps bridged, frames as they lie, passes of the lamp told",
            (
                # no true floor: it takes soft light that swept over everything for noise
                Choice("blend", "lighten", "each stroke keeps its light"),
                Choice("bridge", True, "strokes are whole where the lamp went on between frames"),
                Choice("hold", "still", "in the dark the lamp moves, and the camera stands"),
                Choice(
                    "find_passes", True, "each pass of the lamp can be dimmed, tinted or left out"
                ),
            ),
        ),
        Preset(
            "crowd",
            "median, with a word on who stays",
            (
                Choice("blend", "median", "who is there in fewer than half of the frames vanishes"),
                Choice("doubts", True, "who is there in more of them stays, and that is told"),
            ),
        ),
        Preset(
            "pan",
            "mean, the subject held in its --box",
            (
                Choice("blend", "mean", "the world streaks as under one long shutter"),
                Choice("hold", "subject", "the subject stays sharp"),
            ),
        ),
        Preset(
            "ghosts",
            "mean",
            (Choice("blend", "mean", "a pose shows as much as its share of the time"),),
        ),
        Preset(
            "many-of-one",
            "poses over the place they share, even light; --weights 1,0.4,1 makes ghosts",
            (
                Choice("blend", "poses", "each frame's person is laid over what all share"),
                Choice("even", "level", "a frame of another light would differ everywhere"),
            ),
        ),
    )
}


def chosen_for(name: str, explicit: Collection[str]) -> ChosenFor:
    """Return what a subject chooses beside the options that were said.

    Raises
    ------
    OptionError
        There is no such subject.
    """
    check_subject(name)
    choices = PRESETS[name].choices
    return ChosenFor(
        name,
        tuple(choice for choice in choices if choice.option not in explicit),
        tuple(choice.option for choice in choices if choice.option in explicit),
    )
