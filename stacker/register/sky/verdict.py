"""Whether a frame of the sky belongs in the picture, and if not, why, in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

# light, as a share of the burst's, below which a frame is black
BLACK_SHARE = 0.15
# share of the expected stars, times the share of their light that comes through, below which a
# frame hides more than it shows
CLOUDED = 0.3
# stars longer or wider than the burst's by this factor, and by so many px, are not points
LONGER, LONGER_PX = 1.5, 0.35
# share of the usual number of stars that a frame turned away shows all the same
PLENTY = 0.5
# stars that a turn of a frame's own is made from at least, or a word about their shape
LEAST_OWN = 5


@dataclass(frozen=True)
class SkyLook:
    """What is known of a frame before the verdict.

    ``background`` the light of its sky; ``stars`` how many move with the sky or might; ``known``
    how many of them the burst knows, ``expected`` how many it should show; ``clear`` how bright
    those are against the other frames; ``long`` and ``wide`` the standard deviations of its
    stars, px; ``placed`` whether its motion is known.
    """

    background: float
    stars: int
    known: int
    expected: float
    clear: float
    long: float
    wide: float
    placed: bool

    @property
    def agreement(self) -> float:
        """The share of the expected stars that it shows, 0 to 1."""
        return min(1.0, self.known / self.expected) if self.expected > 0 else 0.0


def sky_verdicts(looks: Sequence[SkyLook]) -> list[str | None]:
    """Return for each frame of a burst why it is left out, or None where it is used."""
    placed = [look for look in looks if look.placed] or list(looks)
    background = float(np.median([look.background for look in looks]))
    stars = float(np.median([look.stars for look in placed]))
    long = float(np.median([look.long for look in placed]))
    wide = float(np.median([look.wide for look in placed]))
    return [_verdict(look, background, stars, long, wide) for look in looks]


def _verdict(
    look: SkyLook, background: float, stars: float, long: float, wide: float
) -> str | None:
    if look.background < BLACK_SHARE * background and look.known < LEAST_OWN:
        return "it is black"
    drawn = look.stars >= LEAST_OWN
    if drawn and look.long > max(LONGER * long, long + LONGER_PX):
        if look.wide > max(LONGER * wide, wide + LONGER_PX):
            return "it is out of focus"
        return "its stars are trailed: the camera was moved while the shutter was open"
    lost = not look.placed or look.agreement < CLOUDED
    if lost and drawn and look.stars >= PLENTY * stars:
        return "it shows other stars: the camera was bumped or turned away"
    if (lost and look.stars < CLOUDED * stars) or look.agreement * look.clear < CLOUDED:
        return "clouds hide most of its stars"
    return "it shows too few of the stars" if lost else None
