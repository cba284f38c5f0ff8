"""Which rung of a ladder suits a subject, and why."""

from __future__ import annotations

from collections.abc import Sequence

from stacker.engine.settings import Settings
from stacker.engine.subjects import chosen_for
from stacker.engine.verdict import Measure, suits_best

# open times that read well, in seconds, where texture and streaks do not tell
SPANS = {
    "fireworks": (2.0, 8.0, "a few bursts fill the sky in"),
    "pan": (1 / 60, 1 / 8, "the world streaks and the subject stays sharp in"),
    "dusk": (0.0, 60.0, "sky and lamps stay in balance for"),
}
# subjects of which every frame adds something
EVERYTHING = {
    "stars": "noise falls with every frame",
    "light-painting": "every pass of the lamp is in it",
    "ghosts": "every pose is in it",
}


def ladder_settings(subject: str | None, given: dict[str, object]) -> Settings:
    """Return the settings of a ladder: its subject chooses the blend and what is held.

    Parameters
    ----------
    given : settings that were said; they win.

    Raises
    ------
    OptionError
        There is no such subject.
    """
    if subject is None:
        return Settings(**given)  # type: ignore[arg-type]  # checked by the settings themselves
    explicit = {"blend" if name == "blends" else name for name in given}
    chosen = {each.option: each.value for each in chosen_for(subject, explicit).choices}
    settings = dict(given)
    if "blend" in chosen:
        settings["blends"] = (chosen["blend"],)
    # what a ladder's one plain blend does not know is left to the exposure
    if chosen.get("hold") in ("still", "sky"):
        settings["hold"] = chosen["hold"]
    return Settings(**settings)  # type: ignore[arg-type]  # checked by the settings themselves


def suits_subject(
    subject: str | None, measures: Sequence[Measure], open_s: Sequence[float | None]
) -> tuple[int, str]:
    """Return which rung suits, counted from 0, and why, as a clause; rungs come in rising time.

    Parameters
    ----------
    open_s : the open time of each rung, None where it is not known.
    """
    last = len(measures) - 1
    if subject in EVERYTHING:
        return last, f"{EVERYTHING[subject]}, so it is the longest here"
    known = [each for each in open_s if each is not None]
    if subject not in SPANS or len(known) < len(open_s):
        return suits_best(measures)
    low, high, words = SPANS[subject]
    inside = [k for k, each in enumerate(known) if low <= each <= high]
    span = f"{_said(low)} to {_said(high)}" if low else f"up to {_said(high)}"
    if inside:
        return inside[-1], f"it is the longest of those that suit: {words} {span}"
    nearest = min(range(len(known)), key=lambda k: min(abs(known[k] - low), abs(known[k] - high)))
    return nearest, f"none suits, and it comes nearest: {words} {span}"


def _said(seconds: float) -> str:
    return f"{seconds:g} s" if seconds >= 1 or seconds == 0 else f"1/{round(1 / seconds)} s"
