"""The subjects that can be named: one list for plans and for exposures."""

from __future__ import annotations

import difflib

from stacker.errors import OptionError

# what is typed after --for, and the same in words
SUBJECT_TITLES = {
    "water": "Silky water",
    "clouds": "Drawn-out clouds",
    "traffic": "Light trails of traffic",
    "star-trails": "Star trails",
    "stars": "Stars as points",
    "fireworks": "Fireworks",
    "dusk": "Buildings at dusk",
    "light-painting": "Light painting",
    "crowd": "An empty square",
    "pan": "A moving subject, the world streaked",
    "ghosts": "One person many times, seen through",
    "many-of-one": "One person many times, as solid as you like",
}


def check_subject(name: str) -> None:
    """Refuse what is no subject.

    Raises
    ------
    OptionError
        There is none of that name; the sentence names those that exist, and the nearest.
    """
    if name in SUBJECT_TITLES:
        return
    near = difflib.get_close_matches(name.lower(), SUBJECT_TITLES, n=1, cutoff=0.6)
    guess = f"did you mean {near[0]}? There" if near else "there"
    raise OptionError(
        f"--for {name}",
        "no such subject",
        remedy=f"{guess} are {', '.join(SUBJECT_TITLES)}",
        code="option-choice",
    )
