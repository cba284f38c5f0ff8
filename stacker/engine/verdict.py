"""What the figures of a ladder mean, in words, and which rung suits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

# blends whose point is the length of streaks; in the others it is what becomes of texture
STREAK_BLENDS = ("lighten", "max")
# blends in which what moves vanishes instead of being smeared
EMPTYING_BLENDS = ("median", "darken")
# below this share of a single frame's contrast water reads as silk
SILK = 0.10
# up to which share each word holds
WORDS = ((SILK, "silk"), (0.30, "smooth"), (0.70, "softened"))
# what single frames differ by among themselves
UNTOUCHED = 0.95
# streaks this near to the longest are as long
AS_LONG = 0.95


@dataclass(frozen=True)
class Measure:
    """What was measured in a rung.

    Parameters
    ----------
    contrast_left : contrast of the moving texture as a share of one frame's; None where nothing
        moves or streaks are what counts.
    streak_px : length of the longest streak in pixels; None where texture is what counts.
    vanishing : whether what moves is meant to vanish, as in a median.
    """

    contrast_left: float | None = None
    streak_px: float | None = None
    vanishing: bool = False

    @property
    def words(self) -> str:
        """The figure as a label."""
        if self.streak_px is not None:
            return f"longest streak {self.streak_px:.0f} px" if self.streak_px else "no streak"
        if self.contrast_left is None:
            return "nothing moves"
        if self.vanishing:
            return f"{min(1.0, self.contrast_left):.0%} of what moves left"
        if self.contrast_left >= UNTOUCHED:
            return "all of the texture left"
        return f"{self.contrast_left:.0%} of the texture left: {texture_word(self.contrast_left)}"


def texture_word(contrast_left: float) -> str:
    """Return what a share of a single frame's contrast looks like."""
    return next((word for limit, word in WORDS if contrast_left < limit), "textured")


def suits_best(measures: Sequence[Measure]) -> tuple[int, str]:
    """Return which rung suits, counted from 0, and why, as a clause; rungs come in rising time."""
    last = len(measures) - 1
    streaks = [m.streak_px for m in measures if m.streak_px is not None]
    if streaks:
        return _longest_streak(streaks)
    contrasts = [m.contrast_left for m in measures if m.contrast_left is not None]
    if not contrasts:
        return last, "nothing moves, so the longest is the one with the least noise"
    vanishing = measures[0].vanishing
    number = next((k for k, contrast in enumerate(contrasts) if contrast < SILK), None)
    if number is None:
        number = min(range(len(contrasts)), key=lambda k: contrasts[k])
        if vanishing:
            return number, f"it is the emptiest here ({contrasts[number]:.0%} of what moves left)"
        left = f"{contrasts[number]:.0%} of the texture left, silk has under {SILK:.0%}"
        return number, f"it is the smoothest here ({left})"
    if vanishing:
        return (
            number,
            f"it is the shortest in which what moves is gone ({contrasts[number]:.0%} left)",
        )
    return number, f"it is the shortest that reads as silk ({contrasts[number]:.0%} left)"


def _longest_streak(streaks: Sequence[float]) -> tuple[int, str]:
    longest = max(streaks)
    if longest == 0:
        return len(streaks) - 1, "no streak was found in any"
    number = next(k for k, length in enumerate(streaks) if length >= AS_LONG * longest)
    if number == len(streaks) - 1:
        return number, f"its streaks are the longest ({longest:.0f} px), and still growing"
    return number, (
        f"it is the shortest whose streaks are as long as they get here ({streaks[number]:.0f} px)"
    )
