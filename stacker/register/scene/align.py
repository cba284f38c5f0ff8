"""Gauss-Newton on a motion model, with weights that leave movers out.

Every tile is asked which way it wants to go (a 2 x 2 system), and the motion model is fitted to
the tiles' answers. So gain and offset, robust weights and noise are dealt with per tile, and an
iteration costs little more than sampling the frame.

Sources: S. Baker and I. Matthews, "Lucas-Kanade 20 years on", IJCV 56 (2004),
doi:10.1023/B:VISI.0000011205.11775.fd (inverse compositional); A. E. Beaton and J. W. Tukey,
Technometrics 16 (1974), doi:10.1080/00401706.1974.10489171 (the weights).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from stacker.register.geometry import Motion, Points, normalise, to_reduced
from stacker.register.scene.grey import Grey, GreyArray, doubled_level
from stacker.register.scene.models import Frame, Model
from stacker.register.scene.tiles import Samples, Tiles

Float64Array = npt.NDArray[np.float64]

# residuals this many deviations off count nothing
PIXEL_CUT = 4.0
TILE_CUT = 4.0
# the noise of the residuals is that of the quietest tiles: movers and water are louder
QUIET_PERCENTILE = 20
# A tile may differ from the reference by noise, by what interpolation and focus change (as a shift
# of so many pixels would) and by what coding changes (a share of its contrast); tiles that
# differ by more than this many times that show something else.
SOFT_PX = 0.1
CODING_SHARE = 0.01
LOUDEST = 8.0
# a tile counts from the first of these correlations on, and wholly from the second; where noise
# makes up most of a tile, correlation says nothing
UNLIKE, ALIKE = 0.45, 0.7
LEAST_SIGNAL = 0.3
# weight from which on a tile is said to agree
AGREES = 0.3
# How much more than independent pixels would a tile's wishes scatter at each level: smoothing
# spreads noise over neighbours, and coding errs in blocks. Measured on still scenes.
NEIGHBOURS_ALIKE = (5.0, 2.5, 2.0)
# how the information falls with the share of texture: measured on simulated nights
TEXTURE_POWER = 2.0
# by how much coding and focus lessen it beyond what the tiles show: measured on JPEGs by day
CODING = 2.0
# roots of light: exposure may drift by this factor, in the root, before a tile is mistrusted
LEAST_GAIN, MOST_GAIN = 0.3, 3.3
# an iteration that moves no point by more than this, in pixels of the copy, is the last
SETTLED_PX = 5e-4


@dataclass(frozen=True)
class Stage:
    """Iterations at one level: how far tiles may lie from the motion, first and last, px."""

    level: int
    iterations: int
    first_px: float
    last_px: float


@dataclass(frozen=True, eq=False)
class Answers:
    """What the tiles say of a motion.

    ``matrix`` (T, 2, 2) and ``vector`` (T, 2): the normal equations of each tile's own shift, per
    pixel of the first level squared; ``variance`` (T,) of its residuals; ``inside`` (T,) the
    share of its pixels that lie in the frame; ``alike`` (T,) its correlation with the frame as a
    share of what noise leaves possible.
    """

    matrix: Float64Array
    vector: Float64Array
    variance: Float64Array
    inside: Float64Array
    alike: Float64Array


@dataclass(frozen=True, eq=False)
class Fit:
    """A motion fitted to the tiles' answers.

    ``to_frame`` (3, 3) takes pixels of the reference's copy to the frame's; ``information`` (8, 8)
    is the inverse of the covariance of the homography's parameters about it (see ``models``);
    ``weight`` (T,) of each tile, 1 where it agrees, 0 where it goes its own way; ``noise`` the
    deviation of the quietest tiles' residuals; ``strong`` bool (T,) whether a tile is mostly
    texture.
    """

    to_frame: Motion
    information: Float64Array
    weight: Float64Array
    answers: Answers
    noise: float
    strong: npt.NDArray[np.bool_]

    @property
    def agreeing(self) -> float:
        """The share of the tiles within the frame that agree, of those that noise leaves sure."""
        asked = (self.answers.inside > 0.5) & self.strong
        return float((self.weight[asked] > AGREES).sum() / max(1, asked.sum()))


def sample(
    tiles: Tiles, frame: Grey, to_frame: Motion, doubled: GreyArray | None = None
) -> tuple[Samples, Samples]:
    """Return the frame's grey where the tiles' pixels lie, and 1 where that is in the frame.

    Both float32 (T, K). ``to_frame`` is between first levels. ``doubled`` is the tiles' level of
    the frame at twice the size, to be sampled in its place.
    """
    motion = to_reduced(to_frame, 2**tiles.level).astype(np.float32)
    x, y = tiles.x, tiles.y
    depth = motion[2, 0] * x + motion[2, 1] * y + motion[2, 2]
    mx = (motion[0, 0] * x + motion[0, 1] * y + motion[0, 2]) / depth
    my = (motion[1, 0] * x + motion[1, 1] * y + motion[1, 2]) / depth
    width, height = tiles.size
    inside = (mx >= 2) & (mx <= width - 3) & (my >= 2) & (my <= height - 3)
    source = frame.levels[tiles.level]
    if doubled is not None:
        source = doubled
        mx, my = 2 * mx, 2 * my
    value = cv2.remap(source, mx, my, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(value, np.float32), inside.astype(np.float32) * tiles.use


def ask(tiles: Tiles, value: Samples, use: Samples, noise: float, tolerance_px: float) -> Answers:
    """Return what the tiles say of the motion by which ``value`` was sampled.

    Parameters
    ----------
    value, use : float32 (T, K), as ``sample`` returns them.
    noise : deviation of the residuals that pixels should have.
    tolerance_px : how far pixels may be off, on the level, before they count less.
    """
    rest, alike = _residuals(tiles, value, use)
    slope = tiles.gx * tiles.gx + tiles.gy * tiles.gy
    allowed = np.float32(PIXEL_CUT**2) * (
        np.float32(noise**2) + np.float32(tolerance_px**2) * slope
    )
    kept = np.maximum(1 - rest * rest / allowed, 0)
    weight = kept * kept * use
    wx, wy = weight * tiles.gx, weight * tiles.gy
    count = weight.sum(axis=1)
    matrix = np.empty((tiles.count, 2, 2))
    matrix[:, 0, 0] = np.einsum("tk,tk->t", wx, tiles.gx)
    matrix[:, 0, 1] = matrix[:, 1, 0] = np.einsum("tk,tk->t", wx, tiles.gy)
    matrix[:, 1, 1] = np.einsum("tk,tk->t", wy, tiles.gy)
    vector = np.stack([np.einsum("tk,tk->t", w, rest) for w in (wx, wy)], axis=1).astype(float)
    power = np.einsum("tk,tk->t", weight * rest, rest) / np.maximum(count, 1)
    # pixels that were left out speak of a tile's noise too
    power = power * (use.sum(axis=1) + 1) / (count + 1)
    scale = 2.0**tiles.level
    total = np.maximum(tiles.use.sum(axis=1), 1)
    return Answers(
        matrix / scale**2,
        vector / scale,
        np.asarray(power, np.float64),
        np.asarray(use.sum(axis=1) / total, np.float64),
        alike,
    )


def _residuals(tiles: Tiles, value: Samples, use: Samples) -> tuple[Samples, Float64Array]:
    """Return the frame less the reference where each tile's gain and offset are taken out.

    Beside it stands how alike the two are, (T,), see ``Answers``.

    Noise in the reference makes a tile's gain look too small, and the more so the less there is
    to see in it: tiles lean on the gain of the whole frame, those with little contrast most.
    """
    count = np.maximum(use.sum(axis=1, keepdims=True), 1)
    mean0 = np.einsum("tk,tk->t", tiles.value, use)[:, None] / count
    mean1 = np.einsum("tk,tk->t", value, use)[:, None] / count
    zero, one = (tiles.value - mean0) * use, (value - mean1) * use
    together = np.einsum("tk,tk->t", zero, one)[:, None]
    hidden = count * np.float32(tiles.noise_power)
    whole = np.einsum("tk,tk->t", zero, zero)[:, None]
    power = np.maximum(whole - hidden, 0)
    strong = power > 4 * hidden
    overall = np.float32(1)
    if strong.any():
        overall = np.median(together[strong] / np.maximum(power[strong], np.float32(1e-9)))
    lean = 4 * hidden + np.float32(1e-6)
    gain = (together + lean * overall) / (power + lean)
    gain = np.clip(gain, LEAST_GAIN, MOST_GAIN)
    rest: Samples = one / gain - zero
    both = np.sqrt(whole * np.einsum("tk,tk->t", one, one)[:, None]) + np.float32(1e-9)
    possible = np.maximum(power / (whole + np.float32(1e-9)), np.float32(1e-3))
    return rest, np.asarray(together / both / possible, np.float64)[:, 0]


def tile_weights(answers: Answers, tiles: Tiles, noise: float, tolerance_px: float) -> Float64Array:
    """Return 1 for tiles that agree with the motion down to 0 for those that do not, (T,).

    A tile's wish to move is held against the noise and against ``tolerance_px`` (of the first
    level), each along and across its edges, so that an edge is not asked where it goes along
    itself.
    """
    variance = np.maximum(answers.variance, noise**2)
    variance *= NEIGHBOURS_ALIKE[tiles.level]
    square = answers.matrix @ answers.matrix
    off = surprise(
        answers.vector, variance[:, None, None] * answers.matrix + tolerance_px**2 * square
    )
    kept = np.maximum(1 - off / TILE_CUT**2, 0)
    level_px = np.hypot(tolerance_px / 2**tiles.level, SOFT_PX)
    usual = noise**2 + level_px**2 * tiles.slope + CODING_SHARE * tiles.contrast
    loud = np.clip((LOUDEST - answers.variance / usual) / (LOUDEST - 2), 0, 1)
    alike = np.clip((answers.alike - UNLIKE) / (ALIKE - UNLIKE), 0, 1)
    alike = np.where(tiles.signal > LEAST_SIGNAL, alike, 1.0)
    return np.where(answers.inside > 0.5, kept * kept * loud * loud * alike, 0.0)


def align(
    tiles_by_level: dict[int, Tiles],
    frame: Grey,
    to_frame: Motion,
    model: Model,
    stages: tuple[Stage, ...],
    geometry: Frame,
) -> Fit:
    """Return the motion of ``model`` that the tiles agree on, starting from ``to_frame``."""
    fit: Fit | None = None
    for stage in stages:
        tiles = tiles_by_level[stage.level]
        places = geometry.jacobian(full_places(tiles))
        doubled = doubled_level(frame.levels[0]) if stage.level == 0 else None
        noise = None
        for number in range(stage.iterations):
            share = number / max(1, stage.iterations - 1)
            tolerance = stage.first_px * (stage.last_px / stage.first_px) ** share
            fit, step = _iterate(
                tiles, places, frame, doubled, to_frame, model, tolerance, noise, geometry
            )
            to_frame, noise = fit.to_frame, fit.noise
            if step < SETTLED_PX and share == 1:
                break
    if fit is None:
        raise ValueError("no stages to align in")
    last = stages[-1].level
    sure = texture_share(tiles_by_level[last], fit) ** TEXTURE_POWER / CODING
    sure /= scatter_of(fit, last)
    return replace(fit, information=fit.information * sure)


def texture_share(tiles: Tiles, fit: Fit) -> float:
    """Return the share of what the tiles say that comes from texture and not from noise, 0 to 1.

    Pixels are chosen for their slope, and noise helps to be chosen; where it makes up half of the
    slopes, the tiles agree with each other more than with the truth.
    """
    said = fit.weight * tiles.signal**2 * np.trace(fit.answers.matrix, axis1=1, axis2=2)
    total = float(said.sum())
    return float((said * tiles.signal).sum()) / total if total > 0 else 1.0


def scatter_of(fit: Fit, level: int) -> float:
    """Return how much the agreeing tiles' wishes scatter, as a multiple of what noise explains.

    Smoothing and coding make neighbouring pixels err alike, which the normal equations do not
    know.
    """
    agreeing = fit.weight > AGREES
    if agreeing.sum() < 4:
        return NEIGHBOURS_ALIKE[level]
    answers = fit.answers
    variance = np.maximum(answers.variance, fit.noise**2)[agreeing]
    expected = variance[:, None, None] * answers.matrix[agreeing]
    off = surprise(answers.vector[agreeing], expected) / 2
    return max(1.0, float(np.average(off, weights=fit.weight[agreeing])))


def surprise(vector: Float64Array, covariance: Float64Array) -> Float64Array:
    """Return the squared length of vectors (T, 2) by their covariances (T, 2, 2), (T,)."""
    a, b, c = covariance[:, 0, 0], covariance[:, 0, 1], covariance[:, 1, 1]
    # along a straight edge a tile knows nothing and wishes nothing
    slack = 1e-4 * (a + c) + 1e-15
    a, c = a + slack, c + slack
    x, y = vector.T
    return np.asarray((c * x * x - 2 * b * x * y + a * y * y) / (a * c - b * b))


def full_places(tiles: Tiles) -> Points:
    """Return the tiles' centres in pixels of the first level, (T, 2)."""
    scale = 2**tiles.level
    return np.asarray(scale * tiles.centre + (scale - 1) / 2)


def _iterate(
    tiles: Tiles,
    places: Float64Array,
    frame: Grey,
    doubled: GreyArray | None,
    to_frame: Motion,
    model: Model,
    tolerance_px: float,
    noise: float | None,
    geometry: Frame,
) -> tuple[Fit, float]:
    """Return the fit after one step from ``to_frame``, and how far points moved, px."""
    value, use = sample(tiles, frame, to_frame, doubled)
    if noise is None:
        noise = _quiet(_residuals(tiles, value, use)[0], use)
    answers = ask(tiles, value, use, noise, tolerance_px / 2**tiles.level)
    inside = answers.inside > 0.5
    strong = tiles.signal > LEAST_SIGNAL
    if inside.sum() < 4:
        return Fit(to_frame, np.zeros((8, 8)), np.zeros(tiles.count), answers, noise, strong), 0.0
    fitting = inside & (answers.alike > UNLIKE)
    heard = fitting if fitting.sum() >= 4 else inside
    noise = float(np.sqrt(np.percentile(answers.variance[heard], QUIET_PERCENTILE))) + 1e-6
    weight = tile_weights(answers, tiles, noise, tolerance_px)
    information, wish = normal_equations(answers, tiles, weight, places, noise)
    step = model.solve(information, wish)
    update = geometry.motion_of(step)
    moved = normalise(to_frame @ np.linalg.inv(update))
    length = geometry.rms(step)
    return Fit(moved, information, weight, answers, noise, strong), length


def normal_equations(
    answers: Answers, tiles: Tiles, weight: Float64Array, places: Float64Array, noise: float
) -> tuple[Float64Array, Float64Array]:
    """Return the homography's information (8, 8) and right-hand side (8,) from all tiles.

    Noise in the reference's own gradients makes a tile's matrix too large; ``tiles.signal`` is
    the share of it that is texture.
    """
    share = weight * tiles.signal / np.maximum(answers.variance, noise**2)
    strength = (share * tiles.signal)[:, None, None]
    # written out: finding out in which order to multiply took longer than multiplying
    stacked = places.reshape(-1, places.shape[2])
    pulled = (answers.matrix * strength) @ places
    information: Float64Array = stacked.T @ pulled.reshape(stacked.shape)
    wish: Float64Array = stacked.T @ (answers.vector * share[:, None]).ravel()
    return information, wish


def quiet_noise(tiles: Tiles, frame: Grey, to_frame: Motion, tolerance_px: float) -> float:
    """Return the deviation of the quietest tiles' residuals under a motion, as a fit finds it."""
    value, use = sample(tiles, frame, to_frame)
    noise = _quiet(_residuals(tiles, value, use)[0], use)
    answers = ask(tiles, value, use, noise, tolerance_px)
    heard = answers.inside > 0.5
    if heard.sum() < 4:
        return noise
    return float(np.sqrt(np.percentile(answers.variance[heard], QUIET_PERCENTILE))) + 1e-6


def _quiet(rest: Samples, use: Samples) -> float:
    """Return a first guess of the residuals' deviation."""
    power = (rest * rest * use).sum(axis=1) / np.maximum(use.sum(axis=1), 1)
    inside = use.sum(axis=1) > 0.5 * use.shape[1]
    if not inside.any():
        return 1.0
    return float(np.sqrt(np.percentile(power[inside], QUIET_PERCENTILE))) + 1e-6
