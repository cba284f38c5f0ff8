"""Finding the flight and the light of a shell's sparks from the pixels of both frames.

All sparks are fitted at once, so that those that overlap share what is seen: powers by least
squares that allow none below zero, then flight, places and the common law of power by a step of
Gauss and Newton, no longer than the pixels tell of.

Sources: C. L. Lawson and R. J. Hanson, Solving Least Squares Problems, 1974, for the powers (here
by descent along one after the other); K. Levenberg, Quart. Appl. Math. 2 (1944), for the damped
step.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from stacker.bridge.streaks.embers import (
    GLOWS,
    FloatArray,
    Sparks,
    apart_at_gap,
    lay,
    shown,
    strength,
    window_of,
    with_glow,
)
from stacker.bridge.streaks.flight import Flight, Float64Array, flown

# what pixels are uncertain by: times noise, and as a share of their light
NOISE_TIMES, LIGHT_SHARE = 3.0, 0.06
# beyond so many times that, a pixel counts less and less
OUTLIER = 2.5
# pixels within this distance of a flight are looked at, and no more than so many
BESIDE_PX, MOST_PIXELS = 7, 40000
# a spark's powers before and after the gap are drawn together by this share of what is known of
# them; those below this share of the median are none
TOGETHER, LEAST_POWER = 0.15, 0.08
# sparks nearer than this to each other, px, are one
SAME_PX = 0.8
# how much pixels must tell before the law of power bends, until so long after the gap, and then
STIFF, STIFF_UNTIL, LOOSE = 30.0, 0.25, 3.0
# places move by no more than this in a step, px
MOST_MOVED = 0.6
TURNS = 40


@dataclass(frozen=True, eq=False)
class Pixels:
    """One channel of both frames, excess (H, W), which pixels tell nothing, and the noise."""

    excess: tuple[FloatArray, FloatArray]
    bad: tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]
    noise: float


def begun(flight: Flight, speeds: Float64Array, pixels: Pixels) -> Sparks:
    """Return sparks all alike, as bright as is seen in the middle."""
    count = len(Sparks(flight, speeds, np.ones((1, 2)), np.zeros(1), 1.0, np.zeros(1)).knots)
    powers = np.ones((len(speeds), 2))
    sparks = Sparks(flight, speeds, powers, np.zeros(count), 1.0, np.zeros(len(GLOWS)))
    sparks = replace(sparks, law=-(sparks.knots - flight.opened))
    law = sparks.law.copy()
    low, shape, window = _window(sparks, pixels)
    over = sparks.gone_over(sparks.knots)
    for later in (False, True):
        near = _near(sparks, later, low, shape, pixels.bad[later][window])
        light = shown(sparks, *sparks.open_in(later), low, shape)[near]
        seen = pixels.excess[later][window][near]
        if not len(seen):
            continue
        middle = max(float(np.median(light)), 1e-9)
        level = float(np.log(max(float(np.median(seen)) / middle, 1e-9)))
        law += level * (over if later else 1 - over)
    return replace(sparks, law=law)


def fitted(sparks: Sparks, pixels: Pixels, turns: int, damping: float) -> tuple[Sparks, float]:
    """Return sparks after so many turns, and the mean square of what is left, in uncertainties."""
    cost = np.inf
    for turn in range(turns):
        if len(sparks.speeds) < 2:
            return sparks, np.inf
        columns, seen, left = _equations(sparks, pixels, plain=turn == 0 and damping >= 1)
        sparks, columns, left = _powered(sparks, columns, seen, left)
        cost = float(np.mean(left**2)) if len(left) else np.inf
        sparks = _moved(sparks, columns, left, damping)
        sparks = _weeded(sparks, merged=turn > 0)
        damping = max(damping / 2, 0.05)
    return sparks, cost


def _window(
    sparks: Sparks, pixels: Pixels
) -> tuple[npt.NDArray[np.intp], tuple[int, int], tuple[slice, slice]]:
    height, width = pixels.excess[0].shape
    return window_of(sparks, (width, height), 24)


def _near(
    sparks: Sparks, later: bool, low: npt.NDArray[np.intp], shape: tuple[int, int],
    bad: npt.NDArray[np.bool_],
) -> npt.NDArray[np.bool_]:  # fmt: skip
    """Return which pixels of a window lie by a flight and tell something."""
    ages, _ = sparks.stations(*sparks.open_in(later))
    cell = np.rint(sparks.flight.places(sparks.speeds, ages) - low).astype(int).reshape(-1, 2)
    cell = cell[((cell >= 0) & (cell < shape[::-1])).all(axis=1)]
    near = np.zeros(shape, np.uint8)
    near[cell[:, 1], cell[:, 0]] = 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (BESIDE_PX, BESIDE_PX))
    chosen = np.flatnonzero((cv2.dilate(near, disc) > 0) & ~bad)
    out = np.zeros(shape, bool)
    out.ravel()[chosen[:: len(chosen) // MOST_PIXELS + 1]] = True
    return out


def _equations(
    sparks: Sparks, pixels: Pixels, *, plain: bool
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return how the light of pixels changes with each unknown, what of it powers have to
    explain, and what is left, all in uncertainties. ``plain`` lets all pixels count alike."""
    low, shape, window = _window(sparks, pixels)
    parts = []
    for later in (False, True):
        near = _near(sparks, later, low, shape, pixels.bad[later][window])
        excess = np.ascontiguousarray(pixels.excess[later][window])
        narrow = shown(sparks, *sparks.open_in(later), low, shape)
        total = with_glow(sparks, narrow)
        row = np.full(shape, -1)
        row[near] = np.arange(near.sum())
        glows = [cv2.GaussianBlur(narrow, (0, 0), sigma)[near] for sigma in GLOWS]
        floor = [np.full(int(near.sum()), float(later == side), np.float32) for side in (0, 1)]
        columns = np.concatenate([
            _columns(sparks, later, low, shape, row.ravel()), np.stack([*glows, *floor], axis=1)
        ], axis=1)  # fmt: skip
        smooth = cv2.GaussianBlur(np.maximum(excess, 0), (0, 0), 1.2)[near]
        weight = 1 / (NOISE_TIMES * pixels.noise + LIGHT_SHARE * smooth)
        left = (excess - total)[near]
        if not plain:
            weight = weight / np.sqrt(1 + (left * weight / OUTLIER) ** 2)
        seen = (excess - (total - narrow))[near]
        parts.append((columns * weight[:, None], seen * weight, left * weight))
    columns, seen, left = (np.concatenate(part).astype(np.float32)
                           for part in zip(*parts, strict=True))  # fmt: skip
    return columns, seen, left


def _columns(
    sparks: Sparks, later: bool, low: npt.NDArray[np.intp], shape: tuple[int, int],
    row: npt.NDArray[np.intp],
) -> FloatArray:  # fmt: skip
    """Return the change of the pixels' light with both powers and both places of each spark, the
    five numbers of the flight, sigma, and the law of power; ``row`` numbers the pixels."""
    flight, count = sparks.flight, len(sparks.speeds)
    ages, spans = sparks.stations(*sparks.open_in(later))
    places = flight.places(sparks.speeds, ages)
    hats, over = sparks.hats(ages), sparks.gone_over(ages)
    shared = np.exp(hats @ sparks.law) * spans
    weight = strength(sparks, ages) * shared
    carried = flown(ages, flight.drag) / flown(flight.age, flight.drag)
    changes = [change.astype(np.float32) for change in flight.changed_by(sparks.speeds, ages)]
    size, common = int(row.max()) + 1, 4 * count
    out = np.zeros((size, common + 6 + hats.shape[1]), np.float32)
    for number in range(count):
        laid = lay(places[number : number + 1], low, shape, sparks.sigma)
        rows = row[laid.pixel[0]]
        inside = rows >= 0
        if not inside.any():
            continue
        at, light = rows[inside], laid.light[0]
        dx, dy = laid.dx[0][:, None, :], laid.dy[0][:, :, None]

        def put(
            column: int, factor: Float64Array, values: FloatArray,
            at: npt.NDArray[np.intp] = at, inside: npt.NDArray[np.bool_] = inside,
        ) -> None:  # fmt: skip
            some = (values * factor.astype(np.float32)[:, None, None])[inside]
            out[:, column] += np.bincount(at, some, minlength=size)

        own = weight[number]
        x, y = light * dx / sparks.sigma**2, light * dy / sparks.sigma**2
        put(number, shared * (1 - over), light)
        put(count + number, shared * over, light)
        put(2 * count + number, own * carried, x)
        put(3 * count + number, own * carried, y)
        for i, change in enumerate(changes):
            moved = x * change[number, :, 0, None, None] + y * change[number, :, 1, None, None]
            put(common + i, own, moved)
        wider = (dx**2 + dy**2) / sparks.sigma**3 - 2 / sparks.sigma
        put(common + 5, own, light * wider)
        for knot in np.flatnonzero(hats.max(axis=0) > 0).tolist():
            put(common + 6 + knot, own * hats[:, knot], light)
    return out


def _powered(
    sparks: Sparks, columns: FloatArray, seen: FloatArray, left: FloatArray
) -> tuple[Sparks, FloatArray, FloatArray]:
    """Return sparks with new powers, the columns of all else, and what is left."""
    count = len(sparks.speeds)
    own = columns[:, : 2 * count]
    matrix, side = (own.T @ own).astype(float), (own.T @ seen).astype(float)
    known = matrix.diagonal()
    drawn = TOGETHER * (known[:count] + known[count:]) + 3
    one = np.arange(count)
    two = one + count
    for i, j, sign in ((one, one, 1), (two, two, 1), (one, two, -1), (two, one, -1)):
        matrix[i, j] += sign * drawn
    # no power where nothing tells of one
    matrix[np.diag_indices(2 * count)] += 1
    before = sparks.powers.T.ravel()
    powers = not_negative(matrix, side - 2, before)
    left = left - own @ (powers - before).astype(np.float32)
    grown = np.where(before > 0, powers / np.maximum(before, 1e-6), 1)
    grown = grown.reshape(2, count).mean(axis=0)
    rest = columns[:, 2 * count :].copy()
    rest[:, : 2 * count] *= np.tile(grown, 2).astype(np.float32)
    return replace(sparks, powers=powers.reshape(2, count).T), rest, left


def not_negative(matrix: Float64Array, side: Float64Array, start: Float64Array) -> Float64Array:
    """Return the least squares of normal equations (N, N) and (N,) among values of 0 and more."""
    values, slope = start.copy(), matrix @ start - side
    steps = np.maximum(matrix.diagonal(), 1e-12)
    for _ in range(TURNS):
        for i in range(len(values)):
            step = max(values[i] - slope[i] / steps[i], 0.0) - values[i]
            if step:
                slope += matrix[:, i] * step
                values[i] += step
    return values


def stiffness(sparks: Sparks, before: float, after: float) -> Float64Array:
    """Return second differences of the law of power at its knots, (K - 2, K), weighted."""
    knots = sparks.knots
    far = np.maximum(np.diff(knots), 1e-3)
    out = np.zeros((len(knots) - 2, len(knots)))
    for i in range(len(out)):
        weight = before if knots[i + 1] < sparks.flight.later + STIFF_UNTIL else after
        out[i, i : i + 3] = weight * np.array([1 / far[i], -1 / far[i] - 1 / far[i + 1],
                                               1 / far[i + 1]])  # fmt: skip
    return out


def _moved(sparks: Sparks, columns: FloatArray, left: FloatArray, damping: float) -> Sparks:
    """Return sparks after a damped step of everything but powers."""
    count, knots, flight = len(sparks.speeds), len(sparks.law), sparks.flight
    matrix, side = (columns.T @ columns).astype(float), (columns.T @ left).astype(float)
    numbers = 2 * count
    law = slice(numbers + 6, numbers + 6 + knots)
    damp = np.full(len(side), 1e-2)
    damp[:numbers] = 30 * damping
    damp[numbers : numbers + 2] = 5 * damping
    steps = np.array([0.05 * min(flight.age, 1), 0.1 * flight.drag, max(0.1 * flight.fall, 1.0)])
    damp[numbers + 2 : numbers + 5] = 10 * damping / steps**2
    damp[numbers + 5], damp[law] = 500 * damping, 5 * damping
    matrix[np.diag_indices(len(side))] += damp
    stiff = stiffness(sparks, STIFF, LOOSE)
    matrix[law, law] += stiff.T @ stiff
    side[law] -= stiff.T @ stiff @ sparks.law
    step = np.linalg.solve(matrix, side)
    flight, speeds = _flown_on(sparks, step[:numbers].reshape(2, count).T,
                               step[numbers : numbers + 5])  # fmt: skip
    return replace(
        sparks, flight=flight, speeds=speeds,
        sigma=float(np.clip(sparks.sigma + np.clip(step[numbers + 5], -0.1, 0.1), 0.5, 4)),
        law=sparks.law + np.clip(step[law], -0.5, 0.5),
        glow=np.clip(sparks.glow + step[law.stop : law.stop + len(GLOWS)], 0, 0.5),
    )  # fmt: skip


def _flown_on(
    sparks: Sparks, away: Float64Array, change: Float64Array
) -> tuple[Flight, Float64Array]:
    """Return flight and speeds after a step, shortened to what derivatives are good for."""
    flight = sparks.flight
    left = flight.leaving(sparks.speeds)
    ages = np.concatenate([np.linspace(max(flight.opened, 0.3 * flight.age), flight.age, 5),
                           flight.later + np.array([0, 0.1, 0.2])])  # fmt: skip
    before = flight.places(sparks.speeds, ages)
    other, speeds, share = flight, sparks.speeds, 1.0
    for _ in range(12):
        step = share * away
        far = np.maximum(np.hypot(*step.T), 1e-9)
        step *= np.minimum(1, MOST_MOVED / far)[:, None]
        other = flight.with_numbers(flight.numbers + share * change)
        speeds = other.speeds(left + step, other.age)
        moved = other.places(speeds, ages + other.age - flight.age) - before
        if np.percentile(np.hypot(moved[..., 0], moved[..., 1]), 80) < MOST_MOVED:
            break
        share *= 0.6
    return other, speeds


def _weeded(sparks: Sparks, *, merged: bool) -> Sparks:
    """Return sparks without those of no power and, if asked, with those at one place made one."""
    powers, speeds = sparks.powers, sparks.speeds
    some = powers[powers > 0]
    if not len(some):
        return replace(sparks, powers=powers[:0], speeds=speeds[:0])
    kept = powers.max(axis=1) > LEAST_POWER * np.median(some)
    powers, speeds = powers[kept], speeds[kept]
    level = float(powers.mean())
    powers = powers / level
    if merged:
        scale, numbers = apart_at_gap(sparks), list[int]()
        for number in np.argsort(-powers.sum(axis=1), kind="stable").tolist():
            far = scale * np.hypot(*(speeds[numbers] - speeds[number]).T)
            if numbers and far.min() < SAME_PX:
                powers[numbers[int(far.argmin())]] += powers[number]
            else:
                numbers.append(number)
        powers, speeds = powers[numbers], speeds[numbers]
    return replace(sparks, powers=powers, speeds=speeds, law=sparks.law + np.log(level))
