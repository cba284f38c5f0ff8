"""The simplest motion of a subject that explains what was found in a burst.

Source: G. Schwarz, "Estimating the dimension of a model", Annals of Statistics 6 (1978),
doi:10.1214/aos/1176344136.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from stacker.register.geometry import Motion
from stacker.register.scene.models import SHIFT, SIMILARITY, Model
from stacker.register.subject.template import Template

Float64Array = npt.NDArray[np.float64]

# What fits of equal motions differ by beyond their noise, root mean square over the box, px: a
# surface that is not flat, light that changes. Less is not worth a turn of the picture.
FLOOR_PX = 0.03
# By how much the variance of fits exceeds what the normal equations of a small subject say: noise
# and coding are alike in neighbouring pixels. Measured on simulated rides.
SCATTER = 6.0
# one frame alone shall not decide
MOST_MISFIT = 60.0


def needs_similarity(
    template: Template, motions: Sequence[Motion], information: Sequence[Float64Array], votes: int
) -> bool:
    """Whether turn and size of the subject change more than a shift explains.

    Parameters
    ----------
    motions : from the template to each frame, fitted as similarities.
    information : (8, 8) of each, see ``align.Fit``.
    votes : tiles that had a say in each.
    """
    turns = np.array([_turn_of(motion) for motion in motions])
    floor = _floor(template, SIMILARITY)
    precision = np.array(
        [
            np.linalg.inv((covariance_of(template, info, SIMILARITY) + floor)[2:, 2:])
            for info in information
        ]
    )
    # the template's own turn and size mean nothing: what counts is how frames differ
    turns -= np.linalg.solve(precision.sum(axis=0), np.einsum("nij,nj->i", precision, turns))
    misfits = np.einsum("ni,nij,nj->n", turns, precision, turns)
    gain = float(np.minimum(misfits, MOST_MISFIT).sum())
    return gain > 2 * _price(votes) * len(motions)


def needs_shift(
    template: Template, shifts: Sequence[Float64Array], information: Sequence[Float64Array],
    votes: int,
) -> bool:  # fmt: skip
    """Whether the subject moves at all.

    Parameters
    ----------
    shifts : (2,) of each frame from the reference, px.
    information, votes : as for ``needs_similarity``.
    """
    gain = 0.0
    # a shift's numbers are pixels as a share of half the template's diagonal
    unit = float(np.hypot(*template.outline.size)) / 2
    floor = _floor(template, SHIFT)
    for shift, info in zip(shifts, information, strict=True):
        covariance = covariance_of(template, info, SHIFT) + floor
        p = shift / unit
        gain += min(float(p @ np.linalg.solve(covariance, p)), MOST_MISFIT)
    return gain > 2 * _price(votes) * len(shifts)


def _price(votes: int) -> float:
    """Return what a free number costs in a burst of so many votes a frame."""
    return float(np.log(max(votes, 8)))


def covariance_of(template: Template, information: Float64Array, model: Model) -> Float64Array:
    """Return the covariance of the numbers that a motion of the model takes, (n, n)."""
    reduced = model.basis.T @ information @ model.basis
    # a frame of which nothing is known stays finite, and what float32 leaves of nothing above it
    known = 1e-6 + 1e-8 * float(np.trace(reduced))
    return np.asarray(SCATTER * np.linalg.inv(reduced + known * np.eye(model.freedoms)))


def error_px(template: Template, information: Float64Array, model: Model) -> float:
    """Return the root mean square error over the box that an information implies, px."""
    spread = _spread(template, model)
    return float(np.sqrt(np.trace(spread @ covariance_of(template, information, model))))


def _spread(template: Template, model: Model) -> Float64Array:
    """Return the mean over the box of J^T J for the numbers of a model, (n, n)."""
    jacobian = template.geometry.jacobian(template.outline.points()) @ model.basis
    return np.asarray(np.einsum("nip,niq->pq", jacobian, jacobian) / len(jacobian))


def _floor(template: Template, model: Model) -> Float64Array:
    return np.asarray(np.linalg.inv(_spread(template, model)) * FLOOR_PX**2 / model.freedoms)


def _turn_of(motion: Motion) -> Float64Array:
    """Return what a similarity adds to a shift, as the model's last two numbers."""
    # the model's second of them is p1 = -p3 = -turn
    return np.array([motion[0, 0] - 1, motion[1, 0]])
