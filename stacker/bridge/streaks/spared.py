"""Streaks that are not to be bridged: the dashes of lights that blink, and stars."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stacker.bridge.base import Exposed
from stacker.bridge.streaks.ridges import RidgePoints
from stacker.bridge.streaks.streak import FloatArray, Streak

# takes points (N, 2), px, of frame i to where the sky's turning brings them in frame j
SkyTurn = Callable[[int, int, npt.NDArray[np.float64]], npt.NDArray[np.float64]]

# dashes of one light: off its line by no more, px and share of the distance; cosine of headings
OFF_PX, OFF_SHARE, SAME_COSINE = 1.5, 0.03, 0.97
# their lengths and light differ by no more than these factors
MOST_LONGER, MOST_BRIGHTER = 1.6, 2.5
# a light blinks when so many dashes in one frame are evenly spaced, to a share and px
LEAST_DASHES, EVEN_SHARE, EVEN_PX = 3, 0.2, 2.0
# a star's streak is the sky's turning in one shutter, to so many px and a share
STAR_PX, STAR_SHARE = 1.5, 0.12
# a ridge lies along the sky's turning to this sine, where that is so far in a shutter, px
ALONG_SKY, LEAST_TURN_PX = 0.18, 2.0
# a lamp's is so many times stronger than nearly all of those
USUAL_PERCENT, MUCH_BRIGHTER = 95, 4.0
# before stars a light of its own leaves a streak so many times longer than theirs, or so bright
LONGER_THAN_STARS, LEAST_LONG = 0.5, 5.0


def without_dashes(streaks: Sequence[Streak]) -> list[Streak]:
    """Return the streaks of a frame without those of lights that blink.

    Dashes that follow each other evenly within one exposure are the light's own: no shutter was
    closed between them. Those cut short at both ends of the row, where it goes on into the gaps,
    belong to it.
    """
    blinking = set[int]()
    if len(streaks) >= LEAST_DASHES:
        looks = _Looks(
            np.array([_middle(streak) for streak in streaks]),
            np.array([_chord(streak) for streak in streaks]),
            np.array([streak.length for streak in streaks]),
            np.array([_light(streak) for streak in streaks]),
        )
        for number in range(len(streaks)):
            blinking |= looks.row_through(number)
    return [streak for number, streak in enumerate(streaks) if number not in blinking]


@dataclass(frozen=True, eq=False)
class _Looks:
    """What is compared of the streaks of a frame: middles (N, 2), unit chords (N, 2), lengths (N,)
    and light (N,)."""

    middle: npt.NDArray[np.floating]
    chord: npt.NDArray[np.floating]
    length: npt.NDArray[np.floating]
    light: npt.NDArray[np.floating]

    def row_through(self, number: int) -> set[int]:
        """Return the dashes of the evenly spaced row that a streak is in, or none."""
        along = self.chord[number]
        away = self.middle - self.middle[number]
        far = away @ along
        off = np.abs(away[:, 0] * along[1] - away[:, 1] * along[0])
        alike = (off < OFF_PX + OFF_SHARE * np.abs(far)) & (
            np.abs(self.chord @ along) > SAME_COSINE
        )
        alike &= np.abs(np.log(self.light / self.light[number])) < np.log(MOST_BRIGHTER)
        longer = self.length / self.length[number]
        row = np.flatnonzero(alike & (longer < MOST_LONGER) & (longer > 1 / MOST_LONGER))
        row = row[np.argsort(far[row], kind="stable")]
        if len(row) < LEAST_DASHES:
            return set()
        steps = np.diff(far[row])
        period = float(np.median(steps))
        even = np.abs(steps - period) < EVEN_SHARE * period + EVEN_PX
        if even.sum() < LEAST_DASHES - 1 or period < self.length[number] + 2:
            return set()
        cut = alike & (longer <= 1 / MOST_LONGER)
        cut &= (far > far[row[0]] - period) & (far < far[row[-1]] + period)
        return set(row.tolist()) | set(np.flatnonzero(cut).tolist())


def stars_ridges(number: int, exposed: Sequence[Exposed], sky: SkyTurn) -> Callable[
    [RidgePoints, int], npt.NDArray[np.bool_]
]:  # fmt: skip
    """Return what tells of points on ridges of frame ``number``, at a scale, which are stars'.

    Points that lie along the sky's turning are, but for those much brighter than nearly all of
    them: a lamp that goes the same way.
    """
    other = number + 1 if number + 1 < len(exposed) else number - 1
    share = exposed[number].shutter_s / (exposed[other].start_s - exposed[number].start_s)

    def are_stars(points: RidgePoints, scale: int) -> npt.NDArray[np.bool_]:
        place = (points.place.astype(np.float64) + 0.5) * scale - 0.5
        way = (sky(number, other, place) - place) * share
        far = np.hypot(way[:, 0], way[:, 1])
        side = np.abs(points.along[:, 0] * way[:, 1] - points.along[:, 1] * way[:, 0])
        # what is not known compares as false
        along = (side < ALONG_SKY * far) & (far > LEAST_TURN_PX)
        if not along.any():
            return along
        usual = np.percentile(points.strength[along], USUAL_PERCENT)
        return np.asarray(along & (points.strength < MUCH_BRIGHTER * usual), bool)

    return are_stars


def without_stars(
    streaks: Sequence[Streak], number: int, exposed: Sequence[Exposed], sky: SkyTurn
) -> list[Streak]:
    """Return the streaks of frame ``number`` that are long and do not go as the sky turns."""
    if not streaks:
        return []
    other = number + 1 if number + 1 < len(exposed) else number - 1
    middles = np.array([_middle(streak) for streak in streaks], np.float64)
    turned = sky(number, other, middles) - middles
    share = exposed[number].shutter_s / (exposed[other].start_s - exposed[number].start_s)
    kept = []
    for streak, way in zip(streaks, turned * share, strict=True):
        chord = _chord(streak) * streak.length
        off = min(float(np.hypot(*(chord - way))), float(np.hypot(*(chord + way))))
        if off < STAR_PX + STAR_SHARE * float(np.hypot(*way)):
            continue
        # pieces where star trails touch are short and thick
        if streak.length > LEAST_LONG * streak.width and not (
            streak.length < LONGER_THAN_STARS * float(np.hypot(*way))
        ):
            kept.append(streak)
    return kept


def _middle(streak: Streak) -> FloatArray:
    """Return the middle of a streak's ends."""
    return np.asarray((streak.ends[0].place + streak.ends[1].place) / 2, np.float32)


def _chord(streak: Streak) -> FloatArray:
    """Return the unit vector from one end to the other."""
    chord = streak.ends[1].place - streak.ends[0].place
    return np.asarray(chord / max(float(np.hypot(*chord)), 1e-6), np.float32)


def _light(streak: Streak) -> float:
    """Return the mean light of both ends."""
    return max(float(np.mean([end.light.mean() for end in streak.ends])), 1e-6)
