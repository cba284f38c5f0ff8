"""A frame that has little in common with the reference, held by way of frames seen before it.

Where half of the picture moves, a quarter of it stands still in two frames, and less the further
apart they are. A frame has most in common with its neighbour: from there it is led to where the
reference's tiles can be found, and where both ways lead to the same place that is no accident.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from stacker.register.geometry import Motion, compose, grid_of, identity, invert, rms_difference
from stacker.register.scene.align import Fit
from stacker.register.scene.grey import Grey
from stacker.register.scene.models import PRIOR, Float64Array, Frame
from stacker.register.scene.pair import Estimate, Reference, estimate, estimate_near, prepare

# agreement below which a frame is held by way of its neighbours too
DOUBTFUL = 0.2
# two ways that lead to places nearer than this, px, or than so many times their error, confirm
# each other
CONFIRMED_PX = 0.5
ERRORS = 4.0
# a way less certain than this, px of the copy, adds nothing to a frame that is sure
NOISY_PX = 0.03


@dataclass(frozen=True, eq=False)
class Known:
    """A frame that is held: its picture, the motion from the reference to it, and how sure."""

    grey: Grey
    to_frame: Motion
    information: Float64Array

    @cached_property
    def prepared(self) -> Reference:
        """The frame made ready to hold others against."""
        return prepare(self.grey)


def is_doubtful(found: Estimate) -> bool:
    """Whether a frame should be looked for by way of its neighbours too."""
    return found.sure is False or found.agreement.share < DOUBTFUL


def held_by(known: Sequence[Known], reference: Reference, frame: Grey, found: Estimate) -> Estimate:
    """Return where a doubtful frame looked, by way of frames that are known, the nearest first.

    Parameters
    ----------
    found : what the reference alone says; returned where the neighbours say nothing.
    """
    for neighbour in known:
        one = neighbour.prepared
        guess = compose(found.to_frame, invert(neighbour.to_frame))
        step = estimate(one, frame, [identity(), guess], None)
        if step.sure is False or step.agreement.share < one.least_if_sure:
            continue
        led = compose(step.to_frame, neighbour.to_frame)
        information = _chained(neighbour.information, step.fit.information)
        best = found
        near = estimate_near(reference, frame, led)
        if near.fit.weight.sum() > found.fit.weight.sum() or _confirm(
            near.fit, led, information, reference.geometry
        ):
            best = near
        if _confirm(best.fit, led, information, reference.geometry):
            # by night a way errs by more than it tells, and what is sure by itself gains nothing
            if best.sure and reference.geometry.rms_error(information) > NOISY_PX:
                return replace(best, confirmed=True)
            fit = _between(best.fit, led, information, reference.geometry)
            return replace(best, fit=fit, sure=True, confirmed=True)
        if best.sure is not True:
            # hardly anything of the reference is seen: the neighbour alone is believed
            fit = replace(best.fit, to_frame=led, information=information)
            return replace(near, fit=fit, sure=True, confirmed=True)
        if best is near:
            return near
    return found


def _confirm(fit: Fit, led: Motion, information: Float64Array, geometry: Frame) -> bool:
    """Whether a fit and a way by a neighbour lead to the same place."""
    apart = rms_difference(fit.to_frame, led, grid_of(geometry.size))
    error = np.hypot(geometry.rms_error(fit.information), geometry.rms_error(information))
    return apart < max(CONFIRMED_PX, min(2.0, ERRORS * float(error)))


def _chained(one: Float64Array, other: Float64Array) -> Float64Array:
    """Return the information (8, 8) about two motions one after the other."""
    prior = np.diag(PRIOR**-2.0)
    if not one.any():
        return other
    return np.asarray(np.linalg.inv(np.linalg.inv(one + prior) + np.linalg.inv(other + prior)))


def _between(fit: Fit, led: Motion, information: Float64Array, geometry: Frame) -> Fit:
    """Return the fit moved towards ``led`` by what is known of each."""
    away = geometry.parameters_of(compose(invert(fit.to_frame), led))
    total = fit.information + information
    wish = information @ away
    share = np.asarray(np.linalg.solve(total + np.diag(PRIOR**-2.0), wish), np.float64)
    to_frame = compose(fit.to_frame, geometry.motion_of(share))
    return replace(fit, to_frame=to_frame, information=total)
