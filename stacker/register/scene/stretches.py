"""Was the camera still? A likelihood over the whole burst, with the noise known.

One night frame cannot tell a tenth of a pixel from nothing; all of them together can. A burst is
cut into stretches in each of which the camera stood still, at the least cost: the misfit of the
estimates to one motion per stretch, and a price for each stretch. Whether that explains the
burst better than a motion for each frame is a matter of the same sum.

Source: G. Schwarz, "Estimating the dimension of a model", Annals of Statistics 6 (1978),
doi:10.1214/aos/1176344136 (the price); B. Jackson et al., "An algorithm for optimal partitioning
of data on an interval", IEEE Signal Processing Letters 12 (2005), doi:10.1109/LSP.2001.838216.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stacker.register.scene.models import MODELS, PRIOR, Frame, Model

Float64Array = npt.NDArray[np.float64]

# What estimates of equal motions differ by beyond their noise: coding, a swaying branch. A camera
# that moves less, in pixels of the copy, cannot be told from one that stands, nor does it matter.
FLOOR_PX = 0.03
# ... and by which they differ from a simpler motion of a camera that moves
MODEL_FLOOR_PX = 0.003
# A frame full of walkers may be off by more than its noise says; it alone shall not decide.
MOST_MISFIT = 60.0


@dataclass(frozen=True, eq=False)
class Measured:
    """Estimates of a burst's N frames: parameters (N, 8), their information (N, 8, 8)."""

    parameters: Float64Array
    information: Float64Array
    votes: int


def sharing_errors(measured: Measured, reference: int, geometry: Frame) -> Measured:
    """Return the same estimates with half of each one's error laid to the frame itself.

    The other half is the reference's noise, in all estimates alike: a still burst would seem to
    have moved as one, and the more surely the more frames there are. So the reference, whose
    estimate is none, gets an error like that of the others.
    """
    others = np.delete(np.arange(len(measured.information)), reference)
    order = np.argsort([geometry.rms_error(measured.information[n]) for n in others])
    usual = others[order[len(order) // 2]]
    information = 2 * measured.information
    information[reference] = information[usual]
    return Measured(measured.parameters, information, measured.votes)


def with_floor(
    information: Float64Array, geometry: Frame, floor_px: float = FLOOR_PX
) -> Float64Array:
    """Return the information (N, 8, 8) that is left where equal motions differ by the floor."""
    floor = geometry.covariance_of(floor_px)
    prior = np.diag(PRIOR**-2.0)
    return np.asarray(np.linalg.inv(np.linalg.inv(information + prior) + floor))


def price_of(measured: Measured) -> float:
    """Return what a free number costs in a burst of so many votes a frame."""
    return float(np.log(max(measured.votes, 8)))


def simplest_model(
    measured: Measured, geometry: Frame, floor_px: float = FLOOR_PX
) -> tuple[Model, float]:
    """Return the model that explains the burst at the least cost, and that cost."""
    information = with_floor(measured.information, geometry, floor_px)
    costs = []
    for model in MODELS:
        misfit = 0.0
        for p, info in zip(measured.parameters, information, strict=True):
            rest = p - model.nearest(p, info)
            misfit += min(float(rest @ info @ rest), MOST_MISFIT)
        costs.append(misfit + price_of(measured) * model.freedoms * len(measured.parameters))
    best = int(np.argmin(costs))
    return MODELS[best], costs[best]


def cut_into_stretches(measured: Measured, geometry: Frame) -> tuple[list[slice], float]:
    """Return the stretches in which the camera stood still, and what they cost in all."""
    information = with_floor(measured.information, geometry)
    count = len(information)
    price = price_of(measured) * 8
    best = np.full(count + 1, np.inf)
    best[0] = 0.0
    start = np.zeros(count + 1, int)
    for end in range(1, count + 1):
        misfits = _misfits_to(measured.parameters[:end], information[:end])
        costs = best[:end] + misfits + price
        start[end] = int(np.argmin(costs))
        best[end] = costs[start[end]]
    stretches = []
    end = count
    while end:
        stretches.append(slice(int(start[end]), end))
        end = int(start[end])
    # the stretch of the reference has no free motion
    return stretches[::-1], float(best[count]) - price


def _misfits_to(parameters: Float64Array, information: Float64Array) -> Float64Array:
    """Return for each start the misfit of the frames from there to the last to their mean."""
    pull = np.einsum("npq,nq->np", information, parameters)
    # sums over the frames from each start on
    infos = np.cumsum(information[::-1], axis=0)[::-1]
    pulls = np.cumsum(pull[::-1], axis=0)[::-1]
    powers = np.cumsum(np.einsum("np,np->n", parameters, pull)[::-1])[::-1]
    means = np.linalg.solve(infos, pulls[..., None])[..., 0]
    misfits = powers - np.einsum("np,np->n", pulls, means)
    most = MOST_MISFIT * np.arange(len(parameters), 0, -1)
    return np.asarray(np.minimum(np.maximum(misfits, 0), most))


def mean_of(measured: Measured, stretch: slice, geometry: Frame) -> Float64Array:
    """Return the parameters that the frames of a stretch share."""
    information = with_floor(measured.information[stretch], geometry)
    pull = np.einsum("npq,nq->p", information, measured.parameters[stretch])
    return np.asarray(np.linalg.solve(information.sum(axis=0), pull))


def is_nothing(
    parameters: Float64Array,
    measured: Measured,
    stretches: tuple[slice, ...],
    geometry: Frame,
    least_px: float = FLOOR_PX,
) -> bool:
    """Whether a motion cannot be told from none, or is less than ``least_px``.

    It lies between the stretches named, or from a place known for certain to the only one.
    """
    known = [with_floor(measured.information[one], geometry).sum(axis=0) for one in stretches]
    information = np.linalg.inv(sum(np.linalg.inv(one) for one in known))
    unproven = float(parameters @ information @ parameters) < price_of(measured) * 8
    return unproven or geometry.rms(parameters) < least_px
