"""Painting the missing piece of a trail: a cross section of light swept along a smooth curve."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from stacker.bridge.streaks.background import Background
from stacker.bridge.streaks.canvas import Painted, mean_light, own_parts
from stacker.bridge.streaks.streak import GROWS, FloatArray, Streak, even_steps, look_across
from stacker.light.encoding import LightArray

# the curve begins this many widths inside both streaks, where their rounding is over
INSIDE_WIDTHS, INSIDE_PX = 1.5, 2.0
# the cross section is the mean over so many widths of streak
SECTION_WIDTHS, SECTION_PX = 4.0, 8.0
# how far it reaches to both sides, in widths, and how finely it is known
SIDE_WIDTHS, SIDE_PX, OFFSET_STEP = 4.0, 4.0, 0.5
# light below this share of the section's greatest is left out, fading from so many times that
LEAST_SHARE, FADES_FROM = 0.01, 3.0
# a section is no more than so many times brighter where the curve begins than in its mean
MOST_TREND = 2.0
# steepness of a step rounded as a Gaussian of a full width at half of one: 4 / sqrt(2 pi) * 2.355
STEP = 3.76
# a streak hardly longer than wide is made no brighter than 1 / this
LEAST_SEEN = 0.4
# pieces are laid along the curve in pieces of about this length, so that none is large
PIECE_PX = 96


@dataclass(frozen=True, eq=False)
class Section:
    """Light across a streak near one of its ends.

    Parameters
    ----------
    start : where the curve leaves the streak's line, and ``heading``, out of the streak.
    light : excess over the background at ``offsets``, (m, 3), in multiples of ``width``.
    tip : how far beyond ``start`` the streak ends, and ``length``, how far it comes from, px.
    """

    start: FloatArray
    heading: FloatArray
    light: FloatArray
    offsets: FloatArray
    width: float
    tip: float
    length: float


def section_of(streak: Streak, end: int, light: LightArray, background: Background) -> Section:
    """Return the cross section of a streak near its end."""
    line, width = streak.leaving_by(end), streak.ends[end].width
    count = len(line)
    inside = int(min(INSIDE_WIDTHS * width + INSIDE_PX, (count - 1) / 2))
    start = count - 1 - inside
    long = int(min(SECTION_WIDTHS * width + SECTION_PX, count / 2))
    stations = line[max(0, start - long) : start + 1]
    if len(stations) < 2:
        stations = line
    side = SIDE_WIDTHS * width + SIDE_PX
    offsets = np.arange(-np.ceil(side), np.ceil(side) + OFFSET_STEP / 2, OFFSET_STEP)
    low = np.maximum(np.floor(stations.min(axis=0) - side - 2), 0).astype(int)
    high = np.ceil(stations.max(axis=0) + side + 3).astype(int)
    window = (slice(low[1], high[1]), slice(low[0], high[0]))
    excess = background.excess(light, window)
    # a line's normals point to the right of its way: out of the streak, as the curve goes on
    look = look_across(excess, stations - low.astype(np.float32), offsets.astype(np.float32))
    # stations so near to the other end are rounded by it
    first = max(0, start - long)
    rounded = max(0, inside - first)
    # short streaks are rounded by both ends all along, which is not to make the trail darker
    at: FloatArray = np.arange(first, first + len(stations), dtype=np.float32)
    seen = _seen_of(at, count - 1.0, width, cut=streak.ends[1 - end].cut)
    mean = look.sum(axis=0) / float(seen.sum())
    section = _falling(mean) * _trend(look / seen[:, None, None], offsets, width, rounded)
    # heading where the curve leaves, from the line about there
    about = line[max(0, start - max(inside, 4)) : start + max(inside, 4) // 2 + 1]
    heading = _heading(about, line[start])
    # curve and light agree on where the middle is
    total = section.sum(axis=1)
    core = np.maximum(total - total.max() / 2, 0)
    middle = float((core * offsets).sum() / max(float(core.sum()), 1e-9))
    right = np.array([-heading[1], heading[0]], np.float32)
    offsets = ((offsets - middle) / width).astype(np.float32)
    place = line[start] + np.float32(middle) * right
    return Section(place, heading, section, offsets, width, count - 1.0 - start, float(start))


def _seen_of(at: FloatArray, length: float, width: float, *, cut: bool) -> FloatArray:
    """Return the share of its greatest light that a streak has at places from its first end on, px:
    both ends are rounded steps, but for a first one that is ``cut``.

    As an exposure slides along the way, its middle comes by everywhere: that is the trail's light.
    """
    first, last, middle = (
        1 / (1 + np.exp(-STEP * far / width)) for far in (at, length - at, length / 2)
    )
    share = last if cut else (first + last - 1) / (2 * middle - 1)
    return np.asarray(np.maximum(share, LEAST_SEEN), np.float32)


def _trend(look: FloatArray, offsets: FloatArray, width: float, rounded: int) -> float:
    """Return how many times brighter a streak is at the last station of looks across it (n, m, 3)
    than in their mean: a spark fades and slows down. The first ``rounded`` tell nothing of it."""
    core = np.maximum(look[:, np.abs(offsets) <= width / 2].mean(axis=(1, 2)), 0)
    told = core[rounded:]
    if len(told) < 3 or core.mean() <= 0:
        return 1.0
    slope, level = np.polyfit(np.arange(len(told)), told, 1)
    last = slope * (len(told) - 1) + level
    return float(np.clip(last / core.mean(), 1 / MOST_TREND, MOST_TREND))


def _heading(line: FloatArray, place: FloatArray) -> FloatArray:
    """Return the unit vector along a piece of line at ``place``."""
    chord = line[-1] - line[0]
    chord = chord / max(float(np.hypot(*chord)), 1e-6)
    x = (line - place) @ chord
    y = (line - place) @ np.array([-chord[1], chord[0]])
    slope = float(np.polyfit(x, y, 2 if len(line) > 8 else 1)[-2])
    heading = chord + slope * np.array([-chord[1], chord[0]])
    return np.asarray(heading / np.hypot(*heading), np.float32)


def _falling(section: FloatArray) -> FloatArray:
    """Return the section falling from its middle to both sides, and to nothing at its feet.

    Where light grows again, another lamp's streak begins. The glow that both stand in would end
    at an edge: the nearer to the foot, the more of it is taken away.
    """
    out = section.copy()
    centre = len(out) // 2
    near = slice(max(centre - 2, 0), centre + 3)
    middle = near.start + int(out[near].sum(axis=1).argmax())
    for side in (out[middle:], out[middle::-1]):
        foot = _foot(side.sum(axis=1))
        np.minimum.accumulate(side, axis=0, out=side)
        share = np.minimum(np.arange(len(side)) / max(foot, 1), 1)[:, None]
        side -= share * side[foot]
        side[foot + 1 :] = 0
    out = np.maximum(out, 0)
    total = out.sum(axis=1)
    least = LEAST_SHARE * float(total.max())
    fade = np.clip((total / max(least, 1e-9) - 1) / (FADES_FROM - 1), 0, 1)
    return np.asarray(out * fade[:, None], np.float32)


def _foot(side: FloatArray) -> int:
    """Return where one side of a section, from its middle outwards, has its foot: before light
    grows again by ``GROWS`` of the greatest, or at the end."""
    lowest = np.minimum.accumulate(side)
    grown = np.flatnonzero(side > lowest + GROWS * side[0])
    return int(side[: grown[0]].argmin()) if len(grown) else len(side) - 1


def hermite(one: Section, two: Section) -> FloatArray:
    """Return places about half a px apart on the cubic from one section to another, (n, 2).

    The second section's heading points back, out of its own streak.

    Source: C. Hermite's interpolation of places and derivatives; speed along it is the chord's.
    """
    chord = float(np.hypot(*(two.start - one.start)))
    t = np.linspace(0, 1, max(4, int(2 * chord) + 2))[:, None]
    leave, arrive = one.heading * chord, -two.heading * chord
    curve = (
        (2 * t**3 - 3 * t**2 + 1) * one.start
        + (t**3 - 2 * t**2 + t) * leave
        + (3 * t**2 - 2 * t**3) * two.start
        + (t**3 - t**2) * arrive
    )
    return even_steps(curve.astype(np.float32), 0.5)


def share_light(sections: Sequence[Section]) -> list[Section]:
    """Return sections of streaks of one frame, the light of each without its neighbours'."""
    if len(sections) < 2:
        return list(sections)
    parts = own_parts(
        np.array([one.start for one in sections], np.float32),
        np.array([one.heading for one in sections], np.float32),
        np.array([one.width for one in sections], np.float32),
        np.array([one.length for one in sections], np.float32),
        np.array([one.tip for one in sections], np.float32),
        mean_light([one.light for one in sections]),
    )
    return [replace(one, light=one.light * part) for one, part in zip(sections, parts, strict=True)]


def sweep(
    one: Section, two: Section, background: Background, confidence: float
) -> Iterator[Painted]:
    """Yield the pieces of the trail between two sections."""
    curve = hermite(one, two)
    # the later section looks back: its right is the curve's left
    later = replace(two, light=two.light[::-1], offsets=-two.offsets[::-1])
    side = max(
        float(np.abs(section.offsets[section.light.sum(axis=1) > 0]).max(initial=0.5))
        for section in (one, later)
    ) * max(one.width, two.width)
    step = 2 * PIECE_PX
    for first in range(0, len(curve) - 1, step):
        last = min(first + step, len(curve) - 1)
        piece = _piece(curve, first, last, side, one, later, background, confidence)
        if piece is not None:
            yield piece


def _piece(
    curve: FloatArray, first: int, last: int, side: float,
    one: Section, two: Section, background: Background, confidence: float,
) -> Painted | None:  # fmt: skip
    """Return the light of the curve from one place to another, or None off the picture."""
    height, width = background.unrest.shape
    own = curve[first : last + 1]
    low = np.maximum(np.floor(own.min(axis=0) - side - 1), 0).astype(int)
    high = np.minimum(np.ceil(own.max(axis=0) + side + 2), [width, height]).astype(int)
    if (high <= low).any():
        return None
    # neighbours of the piece take part, so that each pixel finds its own nearest place
    more = int(2 * side) + 4
    begin, end = max(first - more, 0), min(last + more, len(curve) - 1)
    near = curve[begin : end + 1]
    at, off = _along_and_across(near, low, high)
    at += begin
    inside = (at >= first - 1e-3) & (at < last) & (np.abs(off) <= side)
    if last == len(curve) - 1:
        inside |= (at >= first) & (at <= last) & (np.abs(off) <= side)
    if not inside.any():
        return None
    share = at[inside] / (len(curve) - 1)
    excess = _light_at(share.astype(np.float32), off[inside], one, two)
    lights = [np.zeros((*inside.shape, 3), np.float32) for _ in range(3)]
    # places of the curve are about half a px apart
    gone = np.asarray(at[inside] / 2, np.float32)
    left = np.asarray((len(curve) - 1) / 2 - gone, np.float32)
    parts: tuple[FloatArray, ...] = (
        np.ones_like(gone), _still_in(gone, one), _still_in(left, two),
    )  # fmt: skip
    for light, part in zip(lights, parts, strict=True):
        light[inside] = excess * part[:, None]
    return Painted(int(low[1]), int(low[0]), lights[0], (lights[1], lights[2]), confidence)


def _still_in(gone: FloatArray, section: Section) -> FloatArray:
    """Return the share of a streak's light that its frame has, so far beyond its section, px: a
    rounded step of the streak's width."""
    beyond = np.clip(STEP * (gone - section.tip) / section.width, -30, 30)
    return np.asarray(1 / (1 + np.exp(beyond)), np.float32)


def _along_and_across(
    curve: FloatArray, low: FloatArray, high: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return for each pixel of a rectangle its place along the curve, in places, and how far to
    the right of it the pixel lies, px; both float32 (h, w)."""
    w, h = (high - low).tolist()
    border = 2
    canvas = np.full((h + 2 * border, w + 2 * border), 255, np.uint8)
    local = curve - low + border
    cell = np.rint(local).astype(int)
    seen = ((cell >= 0) & (cell < [w + 2 * border, h + 2 * border])).all(axis=1)
    canvas[cell[seen, 1], cell[seen, 0]] = 0
    if not seen.any():
        far = np.full((h, w), -1e6, np.float32)
        return far, far
    _, label = cv2.distanceTransformWithLabels(
        canvas, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    # the place of the curve that each label stands for
    place = np.zeros(int(label.max()) + 1, np.int32)
    place[label[cell[seen, 1], cell[seen, 0]]] = np.flatnonzero(seen)
    nearest = place[label[border:-border, border:-border]]
    y, x = np.mgrid[0:h, 0:w].astype(np.float32) + border
    along = np.gradient(curve, axis=0)
    pace = np.hypot(*along.T)
    along /= np.maximum(pace, 1e-6)[:, None]
    at = nearest.astype(np.float32)
    # a step or two along the tangent bring the foot of the perpendicular
    for _ in range(2):
        i = np.clip(np.rint(at), 0, len(curve) - 1).astype(int)
        dx, dy = x - local[i, 0], y - local[i, 1]
        at = i + (dx * along[i, 0] + dy * along[i, 1]) / pace[i]
    off = dy * along[i, 0] - dx * along[i, 1]
    return at.astype(np.float32), off.astype(np.float32)


def _light_at(share: FloatArray, off: FloatArray, one: Section, two: Section) -> FloatArray:
    """Return the excess, (N, 3), at shares of the way and offsets in px to the right of it."""
    width = one.width ** (1 - share) * two.width**share
    parts = []
    for section in (one, two):
        step = float(section.offsets[1] - section.offsets[0])
        place = (off / width - section.offsets[0]) / step
        rows = np.arange(len(section.light))
        parts.append(
            np.stack([np.interp(place, rows, section.light[:, c], 0, 0) for c in range(3)], axis=1)
        )
    return np.asarray((1 - share)[:, None] * parts[0] + share[:, None] * parts[1], np.float32)
