"""Painting the missing piece of a trail: a cross section of light swept along a smooth curve."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np

from stacker.bridge.base import Patch
from stacker.bridge.streaks.background import Background
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
# patches are laid along the curve in pieces of about this length, so that none is large
PIECE_PX = 96


@dataclass(frozen=True, eq=False)
class Section:
    """Light across a streak near one of its ends.

    Parameters
    ----------
    start : where the curve leaves the streak's line, and ``heading``, out of the streak.
    light : excess over the background at ``offsets``, (m, 3), in multiples of ``width``.
    """

    start: FloatArray
    heading: FloatArray
    light: FloatArray
    offsets: FloatArray
    width: float


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
    section = _falling(look.mean(axis=0))
    # heading where the curve leaves, from the line about there
    about = line[max(0, start - max(inside, 4)) : start + max(inside, 4) // 2 + 1]
    heading = _heading(about, line[start])
    # curve and light agree on where the middle is
    total = section.sum(axis=1)
    core = np.maximum(total - total.max() / 2, 0)
    middle = float((core * offsets).sum() / max(float(core.sum()), 1e-9))
    right = np.array([-heading[1], heading[0]], np.float32)
    offsets = ((offsets - middle) / width).astype(np.float32)
    return Section(line[start] + np.float32(middle) * right, heading, section, offsets, width)


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


def sweep(one: Section, two: Section, background: Background, confidence: float) -> Iterator[Patch]:
    """Yield the patches of the trail between two sections."""
    curve = hermite(one, two)
    # the later section looks back: its right is the curve's left
    later = Section(two.start, two.heading, two.light[::-1], -two.offsets[::-1], two.width)
    side = max(
        float(np.abs(section.offsets[section.light.sum(axis=1) > 0]).max(initial=0.5))
        for section in (one, later)
    ) * max(one.width, two.width)
    step = 2 * PIECE_PX
    for first in range(0, len(curve) - 1, step):
        last = min(first + step, len(curve) - 1)
        patch = _piece(curve, first, last, side, one, later, background, confidence)
        if patch is not None:
            yield patch


def _piece(
    curve: FloatArray, first: int, last: int, side: float,
    one: Section, two: Section, background: Background, confidence: float,
) -> Patch | None:  # fmt: skip
    """Return the patch of the curve from one place to another, or None off the picture."""
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
    window = (slice(low[1], high[1]), slice(low[0], high[0]))
    light = np.zeros((*inside.shape, 3), np.float32)
    still = background.light[window][inside].astype(np.float32)
    lit = excess.sum(axis=1) > 0
    light[inside] = np.where(lit[:, None], still + excess, 0)
    sure = np.zeros(inside.shape, np.float32)
    sure[inside] = np.where(lit, confidence, 0)
    return Patch(int(low[1]), int(low[0]), light, sure)


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
