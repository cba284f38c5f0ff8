"""What became of each gap between frames, and the words for it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from stacker.engine.laid import LaidLight

NO_CLOCK = (
    "the gaps are left as they are: the frames do not say how long they were open; "
    "give it with --frame-shutter"
)
NOTHING_MOVES = "no moving light was found there"
LIGHT_DIGITS = 6
# why these bridges are tried: the blend alone chooses
TRIED = {
    "greater": "the blend keeps the greatest light: stars and lamps leave trails with gaps",
    "added": "the blend adds light up: what moves shows in steps",
}


@dataclass(frozen=True)
class Gap:
    """What became of a gap.

    Parameters
    ----------
    by : the words for the bridges that have light for it.
    light : how much that is, as a share of the light of the frame before it.
    why : why there is none; None where there is.
    """

    by: tuple[str, ...] = ()
    light: float = 0.0
    why: str | None = None

    @property
    def bridged(self) -> bool:
        """Whether light was laid into it."""
        return self.why is None

    def told(self) -> dict[str, Any]:
        """Return what the report says."""
        told: dict[str, Any] = {"bridged": self.bridged, "why": self.why}
        if self.bridged:
            told |= {"by": list(self.by), "light": round(self.light, LIGHT_DIGITS)}
        return told


@dataclass(frozen=True, eq=False)
class BridgedBlend:
    """What was bridged in one picture.

    Parameters
    ----------
    laid : the light of its gaps; None where there is none.
    gaps : those that were looked at, by the place of the frame before them.
    found : what the report says of the whole.
    warnings : sentences for a person.
    """

    laid: LaidLight | None = None
    gaps: Mapping[int, Gap] = field(default_factory=dict)
    found: Mapping[str, Any] = field(default_factory=dict)
    warnings: Sequence[str] = ()


def left_alone(places: Sequence[int], why: str) -> BridgedBlend:
    """Return what is told where nothing could be tried.

    Parameters
    ----------
    places : of the frames that made the picture.
    """
    gaps = dict.fromkeys(places[:-1], Gap(why=why))
    told = {"by": {}, "bridged": 0, "gaps": len(gaps), "light": 0.0, "words": why}
    return BridgedBlend(None, gaps, {"bridge": told}, [why])


def told_of_gaps(
    laid: LaidLight, gaps: Mapping[int, Gap], tried: Mapping[str, str | None], why_tried: str
) -> BridgedBlend:
    """Return what was bridged, with the words for it.

    Parameters
    ----------
    tried : the words for the bridges that looked at the burst, and why they have no light for the
        first gap; None where they have.
    why_tried : why these.
    """
    by = {words: sum(words in gap.by for gap in gaps.values()) for words in tried}
    bridged = sum(gap.bridged for gap in gaps.values())
    words = _words(gaps, [each for each, count in by.items() if count])
    found = {
        "by": by,
        "bridged": bridged,
        "gaps": len(gaps),
        "light": round(sum(gap.light for gap in gaps.values()), LIGHT_DIGITS),
        "why": why_tried,
        "of_no_use": {words: tried[words] for words, count in by.items() if not count},
        "words": words,
    }
    warnings = [words] if bridged < len(gaps) else []
    return BridgedBlend(laid, gaps, {"bridge": found}, warnings)


def _words(gaps: Mapping[int, Gap], by: Sequence[str]) -> str:
    """Return the sentence for a person about all gaps."""
    left = [gap.why for gap in gaps.values() if gap.why is not None]
    bridged = len(gaps) - len(left)
    if not bridged:
        return f"no gap was bridged: {left[0]}"
    joined = " and ".join(by)
    if not left:
        which = "the gap was" if len(gaps) == 1 else f"all {len(gaps)} gaps were"
        return f"{which} bridged, by {joined}"
    return (
        f"{bridged} of {len(gaps)} gaps were bridged, by {joined}; "
        f"of the first that was not: {left[0]}"
    )
