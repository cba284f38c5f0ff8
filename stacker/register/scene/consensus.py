"""What the tiles follow, each asked by itself: the way out where walkers outnumber the ground.

Gauss-Newton slides into the nearest motion that explains something, and with half of the picture
on the move that may be a bent mixture of ground and walkers. So each tile is looked for on its
own near a guess, and a motion is sought that as many of them as possible follow exactly.

Source: M. A. Fischler and R. C. Bolles, "Random sample consensus", CACM 24 (1981),
doi:10.1145/358669.358692; O. Chum, J. Matas and J. Kittler, "Locally optimized RANSAC", DAGM
(2003), doi:10.1007/978-3-540-45243-0_31.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from stacker.register.geometry import Motion, Points, apply, compose, invert, to_reduced
from stacker.register.scene.grey import Grey, GreyArray
from stacker.register.scene.models import HOMOGRAPHY, Frame
from stacker.register.scene.tiles import Tiles

Float64Array = npt.NDArray[np.float64]

# so many tiles are looked for at most, spread over the picture
MOST_TILES = 400
# a tile is looked for within so many pixels of the level either way: near a guess, or far from it
NEAR, FAR = 6, 20
# side of what is looked for, pixels of the level
PATCH = 16
# correlation from which on a tile counts as found, as a share of what noise leaves possible
FOUND = 0.6
# pairs of tiles that suggest a similarity, and how many of those are pursued, best first
PAIRS = 800
PURSUED = 10
# a pair nearer together than this share of the diagonal suggests nothing
LEAST_APART = 0.15
# beyond the guess, a similarity may turn and stretch by this
MOST_TURN = 0.03
# how far tiles may lie from a similarity, and then, step by step, from a homography, px
ROUGH_PX = 3.0
NARROWING_PX = (4.0, 3.0, 2.0, 1.5, 1.0, 1.0)
# fewer tiles than this prove nothing, nor does a smaller share of those found
LEAST_FOLLOWERS = 14
LEAST_SHARE = 0.08


@dataclass(frozen=True)
class Consensus:
    """A motion that many tiles follow: how many, and of how many that were found."""

    to_frame: Motion
    followers: float
    found: int

    @property
    def sure(self) -> bool:
        """Whether so many tiles cannot follow one motion by accident."""
        return self.followers >= max(LEAST_FOLLOWERS, LEAST_SHARE * self.found)


def consensus(
    reference: Grey,
    tiles: Tiles,
    frame: Grey,
    guess: Motion,
    geometry: Frame,
    reach: int = NEAR,
) -> Consensus | None:
    """Return the motion that most tiles follow near a guess; None where too few were found.

    Parameters
    ----------
    tiles : of the reference's first level.
    guess : from the reference to the frame, right to twice ``reach`` all over the picture.
    """
    places, shifts = tile_shifts(reference, tiles, frame, guess, reach)
    if len(places) < LEAST_FOLLOWERS:
        return None
    best, most = np.zeros(8), -1.0
    for start in _similarities(places, shifts, geometry):
        found, followers = _narrowed(places, shifts, start, geometry)
        if followers > most:
            best, most = found, followers
    return Consensus(compose(guess, geometry.motion_of(best)), most, len(places))


def tile_shifts(
    reference: Grey, tiles: Tiles, frame: Grey, guess: Motion, reach: int = NEAR
) -> tuple[Points, Points]:
    """Return where tiles lie in the reference and how far beyond the guess they went, px.

    Both (N, 2); only tiles that were found, good to some tenths of a pixel.
    """
    level = min(1, len(reference.levels) - 1)
    scale = 2**level
    one = reference.levels[level]
    height, width = one.shape
    seen = cv2.warpPerspective(
        frame.levels[level],
        to_reduced(guess, scale),
        (width, height),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_CONSTANT,
    )
    border = (reach,) * 4
    around = np.asarray(cv2.copyMakeBorder(seen, *border, cv2.BORDER_CONSTANT, value=0), np.float32)
    places, shifts = [], []
    for column, row in _spread(tiles, scale):
        if not (0 <= column < width - PATCH and 0 <= row < height - PATCH):
            continue
        window = around[row : row + PATCH + 2 * reach, column : column + PATCH + 2 * reach]
        shift = _looked_for(one[row : row + PATCH, column : column + PATCH], window, tiles, scale)
        if shift is not None:
            middle = np.array([column, row]) + (PATCH - 1) / 2
            places.append(scale * middle + (scale - 1) / 2)
            shifts.append(scale * shift)
    return np.reshape(places, (-1, 2)), np.reshape(shifts, (-1, 2))


def _spread(tiles: Tiles, scale: int) -> list[tuple[int, int]]:
    """Return the upper left corners, (column, row) of the level, of what is to be looked for.

    Of neighbouring tiles the one with the most distinct corner stands for all.
    """
    a = np.einsum("tk,tk->t", tiles.gx, tiles.gx)
    b = np.einsum("tk,tk->t", tiles.gx, tiles.gy)
    c = np.einsum("tk,tk->t", tiles.gy, tiles.gy)
    weakest = (a + c) / 2 - np.hypot((a - c) / 2, b)
    block = max(1, round(np.sqrt(tiles.count / MOST_TILES)))
    row, column = np.divmod(tiles.place, tiles.shape[1])
    cell = (row // block) * tiles.shape[1] + column // block
    order = np.lexsort((-weakest, cell))
    first = np.append(True, np.diff(cell[order]) != 0)
    chosen = order[first]
    middle = (tiles.centre[chosen] - (scale - 1) / 2) / scale
    corner = np.rint(middle - (PATCH - 1) / 2).astype(int)
    return [(int(x), int(y)) for x, y in corner]


def _looked_for(
    patch: GreyArray, window: GreyArray, tiles: Tiles, scale: int
) -> Float64Array | None:
    """Return how far a patch went from the middle of a window, px of the level; None if lost."""
    reach = (window.shape[0] - PATCH) // 2
    power = float(patch.var())
    possible = 1 - tiles.noise_power / max(power, 1e-12)
    alike = cv2.matchTemplate(window, patch, cv2.TM_CCOEFF_NORMED)
    _, most, _, (x, y) = cv2.minMaxLoc(alike)
    at_border = not (0 < x < 2 * reach and 0 < y < 2 * reach)
    if possible <= 0 or at_border or most < FOUND * possible:
        return None
    left, right = alike[y, x - 1], alike[y, x + 1]
    above, below = alike[y - 1, x], alike[y + 1, x]
    dx = (right - left) / (2 * max(2 * most - left - right, 1e-6))
    dy = (below - above) / (2 * max(2 * most - above - below, 1e-6))
    shift = np.array([x - reach, y - reach]) + np.clip([dx, dy], -0.5, 0.5)
    return np.asarray(shift, np.float64)


def _similarities(places: Points, shifts: Points, geometry: Frame) -> list[Float64Array]:
    """Return the parameters of the likeliest similarities beyond the guess, best first."""
    rng = np.random.default_rng(0)
    one, other = rng.integers(0, len(places), (2, PAIRS))
    z = places @ np.array([1, 1j])
    apart = z[other] - z[one]
    far = np.abs(apart) > LEAST_APART * np.hypot(*geometry.size)
    one, other, apart = one[far], other[far], apart[far]
    went = shifts @ np.array([1, 1j])
    # z goes to z + s (z - middle) + t
    s = (went[other] - went[one]) / apart
    usual = np.abs(s) < MOST_TURN
    s, one = s[usual], one[usual]
    middle = complex((geometry.size[0] - 1) / 2, (geometry.size[1] - 1) / 2)
    t = went[one] - s * (z[one] - middle)
    off = np.abs(went - s[:, None] * (z - middle) - t[:, None])
    followers = np.maximum(1 - (off / ROUGH_PX) ** 2, 0).sum(axis=1)
    best = np.argsort(-followers, kind="stable")[:PURSUED]
    unit = np.hypot(*geometry.size) / 2
    starts = [np.zeros(8)]
    for number in best:
        a, shift = s[number], t[number] / unit
        starts.append(np.array([a.real, -a.imag, shift.real, a.imag, a.real, shift.imag, 0, 0]))
    return starts


def _narrowed(
    places: Points, shifts: Points, start: Float64Array, geometry: Frame
) -> tuple[Float64Array, float]:
    """Return the homography beyond the guess that tiles near ``start`` follow, and how many do."""
    motion = geometry.motion_of(start)
    goals = places + shifts
    followers = 0.0
    jacobian = geometry.jacobian(places)
    for reach in NARROWING_PX:
        rest = apply(invert(motion), goals) - places
        off = np.sum(rest**2, axis=1) / reach**2
        weight = np.maximum(1 - off, 0) ** 2
        followers = float(np.maximum(1 - off, 0).sum())
        strength = weight / (reach / 4) ** 2
        information = np.einsum("nip,niq,n->pq", jacobian, jacobian, strength, optimize=True)
        wish = np.einsum("nip,ni,n->p", jacobian, rest, strength, optimize=True)
        step = HOMOGRAPHY.solve(information, wish)
        motion = compose(motion, geometry.motion_of(step))
    return geometry.parameters_of(motion), followers
