"""Points on ridges strung together to lines."""

from __future__ import annotations

from itertools import pairwise

import cv2
import numpy as np
import numpy.typing as npt

from stacker.bridge.streaks.ridges import RidgePoints

FloatArray = npt.NDArray[np.float32]

# the next point lies within this reach, px, ahead and to the side by no more than this share
REACH_PX = 2.5
MOST_SIDE = 0.7
LEAST_COSINE = 0.8
# how many times a step to the side counts as much as a step ahead
SIDEWAYS = 2.0
# a line that turns by more than this, radians, between so many points goes on as another
KINK_RAD, KINK_WINDOW = 0.25, 5
# lines are joined over so many px, where the light between them is at least this share of theirs
JOIN_PX, JOIN_SIDE_PX, JOIN_COSINE, JOIN_LIGHT = 14.0, 1.5, 0.9, 0.8
# tips looked at about each, itself among them
NEIGHBOURS = 10
# a line's end curls round the end of the light where ridges are weaker than this share of those
# about so many points inside
LEAST_AT_END, INSIDE = 0.5, 10


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
        if len(line) < least_points:
            continue
        first_kept, last_kept = _steady(points.strength[line])
        parts = _without_kinks(points.place[line[first_kept:last_kept]])
        lines += [part for part in parts if len(part) >= least_points]
    return lines


def _without_kinks(line: FloatArray) -> list[FloatArray]:
    """Return the parts of a line between sudden turns, where it changes to another streak."""
    count = len(line)
    at = np.arange(count)
    before = line - line[np.maximum(at - KINK_WINDOW, 0)]
    after = line[np.minimum(at + KINK_WINDOW, count - 1)] - line
    turn = np.abs(
        np.arctan2(
            before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0], (before * after).sum(axis=1)
        )
    )
    turn[:2] = turn[-2:] = 0
    kinks = [i for i in np.flatnonzero(turn > KINK_RAD).tolist()
             if turn[i] >= turn[max(i - 3, 0) : i + 4].max()]  # fmt: skip
    edges = [0, *kinks, count]
    return [line[a + (a > 0) : b] for a, b in pairwise(edges)]


def _steady(strength: FloatArray) -> tuple[int, int]:
    """Return the part of a line without the weak points at its ends."""
    count = len(strength)
    inside = min(INSIDE, max(1, count // 2))
    first, last = 0, count
    while first < count // 3 and strength[first] < LEAST_AT_END * np.median(
        strength[first : first + inside]
    ):
        first += 1
    while last > count - count // 3 and strength[last - 1] < LEAST_AT_END * np.median(
        strength[max(last - inside, 0) : last]
    ):
        last -= 1
    return first, last


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
                    elif ahead > 0 and side <= MOST_SIDE * ahead and aligned > LEAST_COSINE:
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


def join(lines: list[FloatArray], light: FloatArray) -> list[FloatArray]:
    """Return lines, those made one whose light goes on from one to the other.

    Parameters
    ----------
    lines : (n, 2) places in px of ``light``, float32 (h, w).
    """
    if len(lines) < 2:
        return lines
    tips = np.array([end for line in lines for end in (line[0], line[-1])])
    back = np.array([end for line in lines for end in (_inside(line[::-1]), _inside(line))])
    heading = (tips - back) / np.maximum(np.hypot(*(tips - back).T)[:, None], 1e-6)
    # the nearest tips first; each is joined once
    partner: dict[int, int] = {}
    for a, b in _facing(tips, heading):
        if a in partner or b in partner or not _is_lit(tips[a], tips[b], light):
            continue
        if _far_tip(a, partner) != b:
            partner[a], partner[b] = b, a
    return _joined(lines, partner)


def _facing(tips: FloatArray, heading: FloatArray) -> list[tuple[int, int]]:
    """Return pairs of tips of different lines that point at each other, the nearest first."""
    near = min(NEIGHBOURS, len(tips))
    places = np.ascontiguousarray(tips, np.float32)
    distance, number = cv2.batchDistance(places, places, cv2.CV_32F, K=near, normType=cv2.NORM_L2)
    one, two = np.repeat(np.arange(len(tips)), near), number.ravel().astype(np.intp)
    kept = (one // 2 < two // 2) & (distance.ravel() < JOIN_PX)
    one, two = one[kept], two[kept]
    across = tips[two] - tips[one]
    far = np.hypot(*across.T)

    def side(of: FloatArray) -> FloatArray:
        return np.abs(across[:, 0] * of[:, 1] - across[:, 1] * of[:, 0])

    fits = (side(heading[one]) < JOIN_SIDE_PX) & (side(heading[two]) < JOIN_SIDE_PX)
    fits &= ((across * heading[one]).sum(axis=1) > 0) & ((across * heading[two]).sum(axis=1) < 0)
    fits &= (heading[one] * heading[two]).sum(axis=1) < -JOIN_COSINE
    order = np.lexsort((two, one, far))
    return [(int(one[k]), int(two[k])) for k in order if fits[k]]


def _far_tip(tip: int, partner: dict[int, int]) -> int:
    """Return the other end of the joined lines that a tip is in; line n has tips 2n and 2n + 1."""
    end = tip ^ 1
    while end in partner:
        end = partner[end] ^ 1
    return end


def _joined(lines: list[FloatArray], partner: dict[int, int]) -> list[FloatArray]:
    """Return the lines, those with partners laid end to end."""
    out, done = [], set[int]()
    for number in range(len(lines)):
        if number in done:
            continue
        tip = _far_tip(2 * number, partner) if 2 * number + 1 in partner else 2 * number + 1
        # from the free end at the one side to that at the other
        parts, end = [], tip
        while True:
            owner = end // 2
            done.add(owner)
            parts.append(lines[owner][::-1] if end % 2 else lines[owner])
            if end ^ 1 not in partner:
                break
            end = partner[end ^ 1]
        out.append(np.concatenate(parts))
    return out


def _inside(line: FloatArray) -> FloatArray:
    """Return the place of a line that lies a little inside its last."""
    return np.asarray(line[max(0, len(line) - 1 - INSIDE // 2)], np.float32)


def _is_lit(one: FloatArray, two: FloatArray, light: FloatArray) -> bool:
    """Return whether the light between two places nowhere falls far below theirs."""
    share = np.linspace(0, 1, 2 + int(np.hypot(*(two - one))))[:, None]
    cell = np.rint(one + share * (two - one)).astype(int)
    cell = np.clip(cell, 0, [light.shape[1] - 1, light.shape[0] - 1])
    way = light[cell[:, 1], cell[:, 0]]
    return bool(way.min() >= JOIN_LIGHT * min(way[0], way[-1]))
