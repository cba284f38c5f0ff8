"""What tells one subject from another: figures of what moves, shines and changes in a burst."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from stacker.survey.movers import Movers

RootArray = npt.NDArray[np.float32]
BoolArray = npt.NDArray[np.bool_]

# the root of light above what stands still from which on something shines, and below which the
# place is dark without it
SHINES, DARK = 0.12, 0.5
# pixels that are compared at most where the changes of the whole are looked at
MOST_PIXELS = 20_000
LEAST_SPREAD = 1e-4


@dataclass(frozen=True)
class Traits:
    """Figures of a burst.

    Parameters
    ----------
    light : the light that half of the picture stays below, without what moves, 0 to 1.
    moving, touched, never_empty : as in ``Movers``.
    sparse : how much more values scatter than the middle half of them tells: about 1 where a
        place changes all the time, as water does, 5 and more where things come and go.
    in_step : the share of all changes that one pattern explains, growing and fading as a whole:
        near 1 where lamps or the sky change, small where things move.
    lit : the share of the picture in which something shines in the dark at some time.
    lit_again : how often such a place is lit anew.
    lit_parts : separate lights in the middle frame of those that have any.
    lit_varies : how much the lit share differs from frame to frame, as a share of itself.
    lit_height : how far the lights rise above what is dark, root of light.
    """

    light: float
    moving: float
    touched: float
    never_empty: float
    sparse: float
    in_step: float
    lit: float
    lit_again: float
    lit_parts: float
    lit_varies: float
    lit_height: float


def traits_of(roots: RootArray, movers: Movers, aside: BoolArray | None = None) -> Traits:
    """Return the traits of frames held to one view.

    Parameters
    ----------
    roots : float32 (M, h, w), root of light evened over the frames; NaN where not seen.
    movers : what moves in them.
    aside : bool (h, w), where something soft drifts, which is no lamp: looked at for ``light``
        and for what shines, and for nothing else.
    """
    known = np.isfinite(movers.still) & np.isfinite(roots).all(axis=0)
    still = np.where(known, movers.still, 0.0)
    light = float(np.median(still[known] ** 2)) if known.any() else 0.0
    away = np.where(known, roots - still, 0.0).astype(np.float32)
    shining = (away > SHINES) & (still < DARK)
    seen = max(1, int(known.sum()))
    moving, touched_share = movers.moving, movers.touched
    if aside is not None:
        known &= ~aside
        moving = float(movers.cover[known].sum()) / seen
        touched_share = float((movers.cover[known] > 0).sum()) / seen
    touched = known & (movers.cover > 0)
    ever = shining.any(axis=0)
    per_frame = shining.mean(axis=(1, 2))
    begun = (shining[1:] & ~shining[:-1]).sum(axis=0) + shining[0]
    parts = [_parts(mask) for mask in shining if mask.any()]
    return Traits(
        light=light,
        moving=moving,
        touched=touched_share,
        never_empty=movers.never_empty,
        sparse=_sparseness(away, touched, movers.noise),
        in_step=_in_step(away, touched),
        lit=float(ever.sum()) / seen,
        lit_again=float(begun[ever].mean()) if ever.any() else 0.0,
        lit_parts=float(np.median(parts)) if parts else 0.0,
        lit_varies=float(per_frame.std() / per_frame.mean()) if ever.any() else 0.0,
        lit_height=float(away.max(axis=0)[ever].mean()) if ever.any() else 0.0,
    )


def _parts(mask: BoolArray) -> int:
    count, _ = cv2.connectedComponents(mask.astype(np.uint8))
    return count - 1


def _sparseness(away: RootArray, touched: BoolArray, noise: float) -> float:
    """Return the spread over the robust spread, at the middle of all that changes."""
    if not touched.any():
        return 1.0
    values = away[:, touched]
    spread = np.sqrt(np.mean(np.square(values), axis=0))
    middle = np.median(values, axis=0)
    robust = 1.4826 * np.median(np.abs(values - middle), axis=0)
    ratio = spread / np.maximum(robust, noise + LEAST_SPREAD)
    order = np.argsort(ratio)
    weight = np.cumsum(np.square(spread[order]))
    return float(ratio[order][np.searchsorted(weight, weight[-1] / 2)])


def _in_step(away: RootArray, touched: BoolArray) -> float:
    """Return the share of the changes that their greatest principal component explains."""
    places = np.flatnonzero(touched)
    if not len(places):
        return 0.0
    step = max(1, len(places) // MOST_PIXELS)
    values = away.reshape(len(away), -1)[:, places[::step]].astype(np.float64)
    values -= values.mean(axis=0)
    strengths = np.linalg.eigvalsh(values @ values.T)
    return float(strengths[-1] / max(strengths.sum(), 1e-12))
