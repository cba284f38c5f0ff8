"""Motion and verdict of each frame, once the sky is known."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from stacker.register.geometry import identity
from stacker.register.motion import FrameMotion
from stacker.register.sky.nearness import nearest
from stacker.register.sky.paths import motion_of, uncertain_px
from stacker.register.sky.points import BoolArray, Float64Array
from stacker.register.sky.search import Sky
from stacker.register.sky.sky_model import FITTED_STARS
from stacker.register.sky.stars import StarList
from stacker.register.sky.tracks import visible
from stacker.register.sky.verdict import SkyLook, sky_verdicts

# points that stand for all of a frame when asking whether there is a sky at all; few, and more of
# them: the brightest few may be the flashes of a plane
BRIGHTEST = (12, 40)
SAME_PX = 0.01


def judged(sky: Sky, moving: Sequence[StarList]) -> list[FrameMotion]:
    """Return motion and verdict of each frame.

    ``local`` is there where the lens bends straight lines; ``agreement`` is the share of the stars
    expected in the frame that it shows, ``sharpness`` the reference's width of stars by its own.

    ``moving`` are the points of each frame that do not stand still.
    """
    turns = [sky.turn(number) for number in range(len(moving))]
    looks = _looks(sky, moving, turns)
    why = sky_verdicts(looks)
    why[sky.reference] = None
    sharpest = looks[sky.reference].long
    frames = []
    for number, (look, turn, reason) in enumerate(zip(looks, turns, why, strict=True)):
        motion, local, residual = identity(), None, 0.0
        if turn is not None and number != sky.reference:
            motion, local = motion_of(sky.model.lens, turn)
            residual = _uncertain(sky, number, turn)
        frames.append(
            FrameMotion(
                to_reference=motion,
                residual_px=residual,
                used=reason is None,
                why=reason,
                agreement=look.agreement,
                sharpness=sharpest / look.long,
                local=local,
            )
        )
    return frames


def brightest_known(sky: Sky, moving: Sequence[StarList]) -> float:
    """Return which share of the brightest moving points of the usual frame the sky explains."""
    return max(_known_of(sky, moving, most) for most in BRIGHTEST)


def _known_of(sky: Sky, moving: Sequence[StarList], most: int) -> float:
    """Return which share of so many points of the usual frame the sky explains."""
    shares = []
    for points, every, known in zip(moving, sky.lists, sky.known, strict=True):
        if known is None or len(points) == 0:
            continue
        # only the surest are in the catalogue, and those of trails are not the brightest
        surest = np.argsort(points.error_px, kind="stable")[:FITTED_STARS]
        bright = points.place[np.sort(surest)][:most]
        _, distance = nearest(bright, every.place[known.own])
        # the same point of the list, or none
        shares.append(float((distance < SAME_PX).mean()))
    return float(np.median(shares)) if shares else 0.0


def _looks(
    sky: Sky, moving: Sequence[StarList], turns: Sequence[Float64Array | None]
) -> list[SkyLook]:
    """Return what is known of each frame before the verdict."""
    count = len(sky.stars)
    inside, seen = np.zeros((len(moving), count), bool), np.zeros((len(moving), count), bool)
    for number, (turn, known) in enumerate(zip(turns, sky.known, strict=True)):
        if turn is not None:
            inside[number] = visible(sky.stars, sky.model.lens, turn)
        if turn is not None and known is not None:
            seen[number, known.which] = True
    clear = _clearness(sky, seen)
    # a star near the threshold is not expected in every frame
    rate = seen.sum(axis=0) / np.maximum(inside.sum(axis=0), 1)
    looks = []
    for number, (points, every) in enumerate(zip(moving, sky.lists, strict=True)):
        looks.append(
            SkyLook(
                background=every.background,
                stars=len(points),
                known=int((seen[number] & inside[number]).sum()),
                expected=float(rate[inside[number]].sum()),
                clear=clear[number],
                long=every.typical[0],
                wide=every.typical[1],
                placed=turns[number] is not None,
            )
        )
    return looks


def _clearness(sky: Sky, seen: BoolArray) -> list[float]:
    """Return how bright each frame's known stars are against what they usually are, about 1."""
    height = np.full(seen.shape, np.nan)
    for number, (points, known) in enumerate(zip(sky.lists, sky.known, strict=True)):
        if known is not None:
            height[number, known.which] = points.height[known.own]
    height[~seen] = np.nan
    # a star that is never seen has no usual height
    often = seen.any(axis=0)
    relative = height[:, often] / np.nanmedian(height[:, often], axis=0)
    return [float(np.nanmedian(row)) if np.isfinite(row).any() else 1.0 for row in relative]


def _uncertain(sky: Sky, number: int, turn: Float64Array) -> float:
    own, model = sky.own[number], sky.model
    if own is not None:
        return uncertain_px(model.lens, turn, np.eye(3), own.covariance)
    turning = model.found.turning
    slopes, covariance = turning.slopes()[number], model.found.covariance
    return uncertain_px(model.lens, turn, slopes, covariance, model.free)
