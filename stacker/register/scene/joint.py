"""Where noise rules, frames are held against the mean of the others, which has less of it.

In one dark frame hardly a slope can be told from noise, neither which pixels have one nor how
steep it is. So the frames of a burst are laid over each other by what is known of them, in two
halves, and each frame is held against the mean of the half that it is not in: its own noise
would pull it to where it lies already. Where the halves lie to each other is measured alike.

Source: as bundle adjustment against a common model: C. Clement, M. Bierbaum and J. P. Sethna,
"Image registration and super resolution from first principles", arXiv:1809.05583 (2018).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import replace

import cv2
import numpy as np

from stacker.light.encoding import LightArray
from stacker.light.luminance import luminance
from stacker.register.geometry import (
    Motion,
    compose,
    grid_of,
    identity,
    invert,
    is_identity,
    rms_difference,
)
from stacker.register.scene.align import Fit, Stage, align
from stacker.register.scene.grey import ClearMask, Grey, GreyArray, grey_of, grey_of_mean
from stacker.register.scene.models import HOMOGRAPHY, Frame
from stacker.register.scene.pair import LEAST_TILES, Reference
from stacker.register.scene.settle import Seen
from stacker.register.scene.tiles import NOISY_STRONGEST, TILE_PX, Tiles, cut_tiles

# motions less certain than this, px of the copy, are worth a second look: it decodes all again
NOISY_PX = 0.1
# fewer frames have a mean that is hardly better than one of them
LEAST_FRAMES = 6
ROUNDS = 2
# Tiles of the means, all of whose pixels count: small ones among walkers, large ones at half the
# size where detail is lost in noise. The kind that promises less error is used.
KINDS = ((0, TILE_PX, NOISY_STRONGEST), (1, TILE_PX, TILE_PX * TILE_PX))
ITERATIONS, FIRST_PX, LAST_PX = 5, 0.4, 0.1
# further than so many times its error from where it was, a frame has gone astray
ERRORS = 5.0
LEAST_PX = 0.5
# frames laid over each other at a time: each takes as much memory as a copy
CHUNK = 8

Source = Callable[[int], LightArray]
Weights = tuple[float, float, float]


def refine(
    source: Source, weights: Weights, seen: dict[int, Seen], held: Reference, pool: Executor
) -> dict[int, Seen]:
    """Return the same with truer motions, where noise is what they err by.

    Parameters
    ----------
    source, weights : as for ``register_frames``.
    seen : what is known of each frame, by its number.
    held : the reference.
    """
    good = [n for n in sorted(seen) if _is_good(seen[n])]
    reference = next(n for n in good if is_identity(seen[n].to_frame) and seen[n].stays is None)
    errors = [seen[n].uncertain_px for n in good if n != reference]
    if len(good) < LEAST_FRAMES or float(np.median(errors)) < NOISY_PX:
        return seen
    if 2 * sum(seen[n].local is not None for n in good) >= len(good):
        return seen
    motions = {n: seen[n].to_frame for n in good}
    information = {n: seen[n].information for n in good}
    for _ in range(ROUNDS):
        found = _round(source, weights, motions, reference, held, pool)
        if found is None:
            return seen
        fits, whole = found
        own = np.linalg.inv(fits[reference].information + 1e-6 * np.eye(8))
        for n in good:
            moved = rms_difference(whole[n], seen[n].to_frame, grid_of(held.grey.size))
            if n != reference and moved < max(LEAST_PX, ERRORS * seen[n].uncertain_px):
                motions[n] = whole[n]
                of_frame = np.linalg.inv(fits[n].information + 1e-6 * np.eye(8))
                information[n] = np.linalg.inv(own + of_frame)
    return {
        n: one
        if n not in motions or n == reference
        else replace(
            one,
            to_frame=motions[n],
            information=information[n],
            uncertain_px=held.geometry.rms_error(information[n]),
        )
        for n, one in seen.items()
    }


def _is_good(seen: Seen) -> bool:
    look = seen.look
    return not look.lost and look.sure is not False and look.uncertain_px < 1.0


def _round(
    source: Source,
    weights: Weights,
    motions: dict[int, Motion],
    reference: int,
    held: Reference,
    pool: Executor,
) -> tuple[dict[int, Fit], dict[int, Motion]] | None:
    """Return each frame's fit to the half that it is not in, and its motion from the reference."""
    numbers = sorted(motions)
    halves = numbers[::2], numbers[1::2]
    if reference in halves[1]:
        halves = halves[::-1]
    means = [_mean_of(source, weights, half, motions, held, pool) for half in halves]
    tiles = _likelier_tiles(means, held.geometry)
    if tiles is None:
        return None

    def fit(one: Tiles, frame: Grey, guess: Motion) -> Fit:
        return _fit(one, frame, guess, held.geometry)

    fits: dict[int, Fit] = {}
    for half, other in zip(halves, tiles[::-1], strict=True):

        def look(number: int, other: Tiles = other) -> Fit:
            return fit(other, grey_of(source(number), weights), motions[number])

        fits.update(zip(half, pool.map(look, half), strict=True))
    # The reference was found in the coordinates of the second mean, as was all of the first half;
    # the second half was found in those of the first.
    across = fit(tiles[1], means[0], identity()).to_frame
    back = invert(fits[reference].to_frame)
    whole = {n: compose(fits[n].to_frame, back) for n in halves[0]}
    onward = compose(across, back)
    whole.update({n: compose(fits[n].to_frame, onward) for n in halves[1]})
    return fits, whole


def _likelier_tiles(means: Sequence[Grey], geometry: Frame) -> list[Tiles] | None:
    """Return the tiles of both means of the kind that promises less error; None without any."""
    best, least = None, np.inf
    for level, side, strongest in KINDS:
        if level >= len(means[0].levels):
            continue
        tiles = [cut_tiles(mean, level, side=side, strongest=strongest) for mean in means]
        if min(one.count for one in tiles) < LEAST_TILES:
            continue
        error = geometry.rms_error(_fit(tiles[1], means[0], identity(), geometry).information)
        if error < least:
            best, least = tiles, error
    return best


def _fit(tiles: Tiles, frame: Grey, guess: Motion, geometry: Frame) -> Fit:
    stages = (Stage(tiles.level, ITERATIONS, FIRST_PX, LAST_PX),)
    return align({tiles.level: tiles}, frame, guess, HOMOGRAPHY, stages, geometry)


def _mean_of(
    source: Source,
    weights: Weights,
    numbers: Sequence[int],
    motions: dict[int, Motion],
    held: Reference,
    pool: Executor,
) -> Grey:
    """Return the mean of frames laid over the reference, clear where all of them are."""
    width, height = held.grey.size
    total = np.zeros((height, width), np.float32)
    clear = held.grey.clear.copy()

    def lay(number: int) -> tuple[GreyArray, ClearMask]:
        bright = luminance(source(number), weights)
        motion = motions[number]
        flags = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
        laid = cv2.warpPerspective(
            bright, motion, (width, height), flags=flags, borderMode=cv2.BORDER_REPLICATE
        )
        inside = cv2.warpPerspective(
            np.ones_like(clear), motion, (width, height), flags=cv2.WARP_INVERSE_MAP
        )
        return np.asarray(laid, np.float32), np.asarray(inside, np.uint8)

    for start in range(0, len(numbers), CHUNK):
        for laid, inside in pool.map(lay, numbers[start : start + CHUNK]):
            total += laid
            clear &= inside
    total /= len(numbers)
    return grey_of_mean(total, clear, held.grey.noise / np.sqrt(len(numbers)))
