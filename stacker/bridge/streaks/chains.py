"""Points on ridges strung together to lines."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stacker.bridge.streaks.ridges import RidgePoints

FloatArray = npt.NDArray[np.float32]

# the next point lies within this reach, px, ahead and no further to the side than it is ahead
REACH_PX = 2.3
LEAST_COSINE = 0.75
# how many times a step to the side counts as much as a step ahead
SIDEWAYS = 2.0


def string_together(points: RidgePoints, *, seed: float, least_points: int) -> list[FloatArray]:
    """Return lines, each (n, 2) places in order, from points on ridges.

    Parameters
    ----------
    seed : strength from which a point may begin a line; weaker ones only continue it.
    least_points : shorter lines are left out.
    """
    cells: dict[tuple[int, int], list[int]] = {}
    corner = np.floor(points.place).astype(int)
    for index, (x, y) in enumerate(corner.tolist()):
        cells.setdefault((x, y), []).append(index)
    place, along = points.place.tolist(), points.along.tolist()
    taken = np.zeros(len(points), bool)
    lines = []
    for first in np.argsort(-points.strength, kind="stable").tolist():
        if points.strength[first] < seed:
            break
        if taken[first]:
            continue
        taken[first] = True
        ahead = _follow(first, tuple(along[first]), place, along, cells, taken)
        back = _follow(first, (-along[first][0], -along[first][1]), place, along, cells, taken)
        line = [*back[::-1], first, *ahead]
        if len(line) >= least_points:
            lines.append(points.place[line])
    return lines


def _follow(
    start: int,
    heading: tuple[float, float],
    place: list[list[float]],
    along: list[list[float]],
    cells: dict[tuple[int, int], list[int]],
    taken: npt.NDArray[np.bool_],
) -> list[int]:
    """Return the points that follow one in the direction of ``heading``, marking them taken."""
    line: list[int] = []
    here = start
    hx, hy = heading
    while True:
        x, y = place[here]
        best, cost, beside = -1, np.inf, []
        cx, cy = int(np.floor(x)), int(np.floor(y))
        for j in range(cy - 2, cy + 3):
            for i in range(cx - 2, cx + 3):
                for other in cells.get((i, j), ()):
                    if taken[other]:
                        continue
                    dx, dy = place[other][0] - x, place[other][1] - y
                    far = (dx * dx + dy * dy) ** 0.5
                    ahead = dx * hx + dy * hy
                    if far > REACH_PX:
                        continue
                    aligned = abs(along[other][0] * hx + along[other][1] * hy)
                    side = abs(dx * hy - dy * hx)
                    if aligned > LEAST_COSINE and side < 0.8 and abs(ahead) < 0.5:
                        # a second point of the same piece of ridge
                        beside.append(other)
                    elif ahead > 0 and side <= ahead and aligned > LEAST_COSINE:
                        worth = ahead + SIDEWAYS * side + 2 * (1 - aligned)
                        if worth < cost:
                            best, cost = other, worth
        for other in beside:
            taken[other] = True
        if best < 0:
            return line
        taken[best] = True
        line.append(best)
        ax, ay = along[best]
        sign = 1 if ax * hx + ay * hy > 0 else -1
        hx, hy = sign * ax, sign * ay
        here = best
