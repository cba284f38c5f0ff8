"""From turns of the camera to motions of pixels, with what no homography can say put beside."""

from __future__ import annotations

import numpy as np

from stacker.register.geometry import Motion, apply, grid_of, identity, invert, normalise
from stacker.register.local import LocalCorrection
from stacker.register.sky.lens import Lens
from stacker.register.sky.points import BoolArray, Float64Array

# interpolation between nodes may be off by this much, px; under what any star's place is known to
GRID_ERROR_PX = 0.005
COARSEST_PX, FINEST_PX = 128.0, 16.0
# corrections below this are not worth resampling by a grid, px
NO_CORRECTION_PX = 0.002
# nodes per side of the places that motions are fitted and judged at
SAMPLES = 24
LEAST_SAMPLES = 30
# sub-pixel accuracy of a step by which slopes are taken
SLOPE_STEP = 1e-6


def led_by(place: Float64Array, lens: Lens, turn: Float64Array) -> Float64Array:
    """Return where pixels (N, 2) of a frame lie in the reference; ``turn`` takes the reference's
    rays to the frame's."""
    return lens.project(lens.rays(place) @ turn)


def motion_of(lens: Lens, turn: Float64Array) -> tuple[Motion, LocalCorrection | None]:
    """Return a frame's ``to_reference`` (3, 3), and the correction that a bending lens needs.

    Through a pinhole the motion is K R K^-1 exactly. Otherwise it is the homography that comes
    nearest to the truth over what frame and reference share.
    """
    if np.array_equal(turn, np.eye(3)):
        return identity(), None
    pinhole = normalise(lens.matrix @ turn.T @ np.linalg.inv(lens.matrix))
    if lens.is_pinhole:
        return pinhole, None
    place = _shared(lens, turn)
    motion = _nearest_homography(place, led_by(place, lens, turn), pinhole)
    local = _correction(lens, turn, motion)
    return motion, local


def uncertain_px(
    lens: Lens,
    turn: Float64Array,
    slopes: Float64Array,
    covariance: Float64Array,
    free: BoolArray | None = None,
) -> float:
    """Return the root mean square error of a frame's motion over what it shares, px.

    Parameters
    ----------
    slopes : (3, U) small turn of the frame's rays per unit of each unknown.
    covariance : (U, U) of the unknowns, followed by those of the lens that ``free`` names.
    free : bool (6,), which of ``Lens.unknowns`` were fitted too. Rate and focal length may each be
        hardly known where together they say exactly how pixels move.
    """
    place = _shared(lens, turn)
    ray = lens.rays(place)
    here = lens.project(ray @ turn)
    columns = []
    for k in range(3):
        # a turn w of the frame's rays, undone, moves them by -w x ray
        step = np.zeros(3)
        step[k] = SLOPE_STEP
        there = lens.project((ray - np.cross(step, ray)) @ turn)
        columns.append((there - here) / SLOPE_STEP)
    by_unknown = np.stack(columns, axis=2) @ slopes
    for number in np.flatnonzero(free) if free is not None else ():
        unknowns = lens.unknowns
        unknowns[number] += SLOPE_STEP
        there = led_by(place, lens.with_unknowns(unknowns), turn)
        slope = (there - here)[:, :, None] / SLOPE_STEP
        by_unknown = np.concatenate([by_unknown, slope], axis=2)
    variance = np.einsum("nku,uv,nkv->n", by_unknown, covariance, by_unknown)
    return float(np.sqrt(max(variance.mean(), 0.0)))


def _shared(lens: Lens, turn: Float64Array) -> Float64Array:
    """Return places of a frame that the reference sees too; all over it where these are few."""
    place = grid_of(lens.size, SAMPLES)
    there = led_by(place, lens, turn)
    ahead = (lens.rays(place) @ turn)[:, 2] > 0.05
    inside = ((there >= 0) & (there <= np.array(lens.size) - 1)).all(axis=1) & ahead
    return place[inside] if inside.sum() >= LEAST_SAMPLES else place[ahead]


def _nearest_homography(place: Float64Array, there: Float64Array, start: Motion) -> Motion:
    """Return the homography that leads places nearest to where they lie, from a near start."""
    # centred and scaled unknowns keep the equations well posed
    middle, size = there.mean(axis=0), np.ptp(there, axis=0).max() / 2
    to = np.array([[1 / size, 0, -middle[0] / size], [0, 1 / size, -middle[1] / size], [0, 0, 1]])
    target = apply(to, there)
    motion = normalise(to @ start)
    for _ in range(6):
        x, y = apply(motion, place).T
        # a small homography of the unit square after the motion, eight unknowns
        one, none = np.ones_like(x), np.zeros_like(x)
        by_x = np.stack([x, y, one, none, none, none, -x * x, -x * y], axis=1)
        by_y = np.stack([none, none, none, x, y, one, -x * y, -y * y], axis=1)
        slopes = np.concatenate([by_x, by_y])
        rest = np.concatenate([target[:, 0] - x, target[:, 1] - y])
        step, *_ = np.linalg.lstsq(slopes, rest, rcond=None)
        motion = normalise((np.eye(3) + np.append(step, 0).reshape(3, 3)) @ motion)
    return normalise(invert(to) @ motion)


def _correction(lens: Lens, turn: Float64Array, motion: Motion) -> LocalCorrection | None:
    """Return what the homography leaves, on a grid as fine as interpolation needs."""
    spacing = COARSEST_PX
    back = invert(motion)
    while True:
        x, y = (_nodes(side, spacing) for side in lens.size)
        rest = _rest(lens, turn, motion, back, x, y)
        if np.abs(rest).max() < NO_CORRECTION_PX:
            return None
        # the error of linear interpolation is an eighth of the second difference
        bend = max(float(np.abs(np.diff(rest, 2, axis=axis)).max()) for axis in (0, 1)) / 8
        if bend <= GRID_ERROR_PX or spacing <= FINEST_PX:
            return LocalCorrection(x, y, rest[..., 0], rest[..., 1])
        spacing = max(FINEST_PX, spacing * min(0.7, float(np.sqrt(GRID_ERROR_PX / bend))))


def _nodes(side: int, spacing: float) -> Float64Array:
    return np.linspace(0, side - 1, max(3, int(np.ceil((side - 1) / spacing)) + 1))


def _rest(
    lens: Lens, turn: Float64Array, motion: Motion, back: Motion, x: Float64Array, y: Float64Array
) -> Float64Array:
    """Return the corrections (R, C, 2) at nodes of the reference."""
    nodes = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    place = apply(back, nodes)
    # beyond the frame nothing is shown: its border's correction goes on, so that the grid is calm
    margin = 0.02 * max(lens.size)
    near = np.clip(place, -margin, np.array(lens.size) - 1 + margin)
    rest = led_by(near, lens, turn) - apply(motion, near)
    return rest.reshape(len(y), len(x), 2)
