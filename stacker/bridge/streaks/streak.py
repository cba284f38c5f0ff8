"""A streak: the light that a moving lamp left in one frame, and what its two ends look like."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from stacker.bridge.streaks.background import Background
from stacker.light.encoding import LightArray

FloatArray = npt.NDArray[np.float32]

# lines are smoothed over so many widths of the streak, and no less than so many px
SMOOTHED_WIDTHS, SMOOTHED_PX = 1.5, 7.0
# an end's light, heading and width are taken this many widths inside, where its rounding is over
INSIDE_WIDTHS = 1.2
# heading and turn of an end are fitted to so many widths of line, or so much of the line
FITTED_WIDTHS, FITTED_SHARE, FITTED_PX = 6.0, 0.6, 12.0
# an end this near to the border was cut off by it
BORDER_PX = 3.0
# a lamp that moved leaves a streak at least so many times longer than wide
LEAST_LONG = 1.25
# a neighbour's light grows by this share of the streak's beyond the valley between them
GROWS = 0.06
# a level of the picture is right for streaks no wider than this, px of it
MOST_WIDE = 5.0
# light this many times brighter close beside a line makes it a part of the glow of another
MOST_BESIDE = 3.0
# a line whose mean light is so many times its median crosses brighter streaks, and is but their
# glow where the half in the middle of its light spans more than this factor
MOST_UNEVEN, MOST_SPANNED = 3.0, 2.0


@dataclass(frozen=True, eq=False)
class End:
    """One end of a streak.

    Parameters
    ----------
    place : where the light has fallen to half, x and y in px.
    heading : unit vector out of the streak.
    turn : how its heading turns while it leaves, radians per px, positive clockwise (y is down).
    width : full width at half of the light across, px.
    light : excess over the background on the line, inside the rounding, (3,).
    cut : whether the border of the picture cut it off.
    """

    place: FloatArray
    heading: FloatArray
    turn: float
    width: float
    light: FloatArray
    cut: bool


@dataclass(frozen=True, eq=False)
class Streak:
    """A streak of one frame: its middle line, (n, 2) places one px apart, from end 0 to end 1.

    ``followed`` tells that one of a neighbouring frame led to it: its far end is not known.
    """

    line: FloatArray
    length: float
    ends: tuple[End, End]
    followed: bool = False

    @property
    def width(self) -> float:
        """Mean width of both ends, px."""
        return (self.ends[0].width + self.ends[1].width) / 2

    def leaving_by(self, end: int) -> FloatArray:
        """Return the line in the order in which it reaches that end."""
        return self.line if end == 1 else self.line[::-1]


def even_steps(line: FloatArray, step: float = 1.0) -> FloatArray:
    """Return the line (n, 2) with places evenly spaced by about ``step`` px."""
    far = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    at = np.linspace(0, far[-1], max(2, round(far[-1] / step) + 1))
    return np.stack([np.interp(at, far, line[:, i]) for i in range(2)], axis=1).astype(np.float32)


def normals(line: FloatArray) -> FloatArray:
    """Return unit vectors to the right of the way along the line (y is down), (n, 2)."""
    along = np.gradient(line, axis=0)
    along /= np.maximum(np.hypot(*along.T)[:, None], 1e-6)
    return np.stack([-along[:, 1], along[:, 0]], axis=1).astype(np.float32)


def look_across(excess: FloatArray, line: FloatArray, offsets: FloatArray) -> FloatArray:
    """Return the excess (h, w, 3) across a line, (n, m, 3) for ``offsets`` (m,) to its right.

    Beyond the picture it is dark. Bilinear values would be 6 % low on the sharpest lines.
    """
    spots = line[:, None] + normals(line)[:, None] * offsets[None, :, None]
    seen = cv2.remap(
        excess, np.ascontiguousarray(spots[..., 0]), np.ascontiguousarray(spots[..., 1]),
        cv2.INTER_CUBIC, borderMode=cv2.BORDER_CONSTANT,
    )  # fmt: skip
    return np.asarray(seen, np.float32).reshape(*spots.shape[:2], 3)


def smoothed(line: FloatArray, over: float) -> FloatArray:
    """Return the line with the noise of its places averaged over ``over`` px; ends stay on it."""
    half = min(int(over / 2), (len(line) - 1) // 2)
    if half < 1:
        return line
    # mirrored through its ends, so that it goes on straight there
    before = 2 * line[0] - line[half:0:-1]
    after = 2 * line[-1] - line[-2 : -half - 2 : -1]
    long = np.concatenate([before, line, after])
    box = np.full(2 * half + 1, 1 / (2 * half + 1))
    return np.stack([np.convolve(long[:, i], box, "valid") for i in range(2)], 1).astype(np.float32)


def measure(
    line: FloatArray, excess: FloatArray, scale: float, size: tuple[int, int], corner: FloatArray
) -> Streak | None:
    """Return the streak along a rough middle line, or None where it is none.

    Parameters
    ----------
    line : (n, 2) places in px of ``excess``.
    excess : light above the background about the line, float32 (h, w, 3).
    scale : px of ``excess`` for one px of the copy that the line was found on.
    size : (width, height) of the whole picture; ``corner`` (2,) is where ``excess`` begins in it.
    """
    line = smoothed(even_steps(line), SMOOTHED_PX * scale)
    reach = int(np.ceil(4 * scale)) + 2
    long = _longer(line, reach)
    offsets = np.arange(-6 * scale, 6 * scale + 0.1, scale / 2, dtype=np.float32)
    across = look_across(excess, long, offsets).mean(axis=2)
    middle = np.abs(offsets) <= 0.6 * scale
    core = across[:, middle].mean(axis=1)
    if len(core) > 6:
        core = np.convolve(np.pad(core, 1, mode="edge"), [0.25, 0.5, 0.25], "valid")
    beside = across[reach:-reach, np.abs(offsets) <= 4 * scale].max(axis=1)
    own = core[reach:-reach]
    if beside.mean() > MOST_BESIDE * max(float(own.mean()), 1e-6):
        return None
    low, median, high = np.maximum(np.percentile(own, [25, 50, 75]), 1e-6)
    if own.mean() > MOST_UNEVEN * median and high > MOST_SPANNED * low:
        return None
    width = _width(across[reach:-reach], offsets)
    ends = _half_ends(core, reach, width)
    if ends is None:
        return None
    first, last = ends
    length = last - first
    if length < LEAST_LONG * width or length < 2:
        return None
    at = np.linspace(first, last, max(3, round(length) + 1))
    axis = np.arange(len(long))
    line = np.stack([np.interp(at, axis, long[:, i]) for i in range(2)], 1).astype(np.float32)
    line = _centred(line, excess, width)
    found = [_end(end, width, excess, scale, size, corner) for end in (line[::-1], line)]
    if length < LEAST_LONG * min(end.width for end in found):
        return None
    return Streak(line + corner, float(length), (found[0], found[1]))


def _longer(line: FloatArray, reach: int) -> FloatArray:
    """Return the line, one px apart, going on straight by ``reach`` places at both ends."""
    back = min(len(line) - 1, 2 * reach)
    before = (line[0] - line[back]) / back
    after = (line[-1] - line[-1 - back]) / back
    count = np.arange(1, reach + 1)[:, None]
    longer = np.concatenate([line[0] + count[::-1] * before, line, line[-1] + count * after])
    return longer.astype(np.float32)


def _width(across: FloatArray, offsets: FloatArray) -> float:
    """Return the full width at half of the light of the median look across (n, m)."""
    look = np.median(across, axis=0)
    centre = len(look) // 2
    top = look[centre - 1 : centre + 2].max()
    if top <= 0:
        return float(offsets[1] - offsets[0])
    total = 0.0
    for side in (look[centre:], look[centre::-1]):
        lowest = np.minimum.accumulate(side)
        below = np.flatnonzero(side < top / 2)
        # light that grows again is a neighbour's, and the valley the border
        grows = np.flatnonzero(side > lowest + GROWS * top)
        if len(grows) and (not len(below) or grows[0] < below[0]):
            total += int(side[: grows[0]].argmin())
        elif not len(below):
            total += len(side) - 1
        elif below[0] > 0:
            i = int(below[0])
            total += i - 1 + (side[i - 1] - top / 2) / max(side[i - 1] - side[i], 1e-9)
    return float(max(total, 1.0) * (offsets[1] - offsets[0]))


def _centred(line: FloatArray, excess: FloatArray, width: float) -> FloatArray:
    """Return the line moved to the middle of the light across it, and smoothed."""
    side = 0.6 * width
    offsets = np.arange(-side, side + 0.1, 0.25, dtype=np.float32)
    for _ in range(2):
        look = np.maximum(look_across(excess, line, offsets).mean(axis=2), 0)
        core = np.maximum(look - look.max(axis=1, keepdims=True) / 2, 0)
        # the rest of the light might be a neighbour's
        off = (core * offsets).sum(axis=1) / np.maximum(core.sum(axis=1), 1e-9)
        off = np.clip(off, -width / 2, width / 2)
        # where a streak ends, the light about it may be all of a neighbour's
        inside = min(round(width), (len(off) - 1) // 2)
        off[:inside], off[len(off) - inside :] = off[inside], off[len(off) - 1 - inside]
        line = smoothed(line + normals(line) * off[:, None], SMOOTHED_WIDTHS * width)
    return line


def _half_ends(core: FloatArray, reach: int, width: float) -> tuple[float, float] | None:
    """Return where the light on the line falls to half at both ends, in places of the line."""
    count = len(core)
    inside = count - 2 * reach
    found = []
    for seen in (core[::-1], core):
        back = int(min(INSIDE_WIDTHS * width + 1, inside / 2))
        start = count - reach - 1 - back
        near = seen[max(start - back, 0) : start + 1]
        level = float(np.median(near))
        if level <= 0:
            return None
        below = np.flatnonzero(seen[start:] < level / 2)
        if len(below) and below[0] > 0:
            i = start + int(below[0])
            found.append(i - 1 + (seen[i - 1] - level / 2) / max(seen[i - 1] - seen[i], 1e-9))
        else:
            found.append(float(count - 1 if not len(below) else start))
    return count - 1 - found[0], found[1]


def _end(
    line: FloatArray, width: float, excess: FloatArray, scale: float,
    size: tuple[int, int], corner: FloatArray,
) -> End:  # fmt: skip
    """Return the last end of a line of places one px apart."""
    count = len(line)
    back = int(min(INSIDE_WIDTHS * width, (count - 1) / 2))
    fitted = int(min(count, max(FITTED_WIDTHS * width, FITTED_SHARE * count, FITTED_PX)))
    heading, turn = _leaving(line[-fitted:])
    stations = line[max(count - 1 - 2 * back - 2, 0) : count - back]
    offsets = np.arange(-6 * scale, 6 * scale + 0.1, scale / 2, dtype=np.float32)
    look = look_across(excess, stations, offsets) if len(stations) > 1 else None
    if look is None:
        look = look_across(excess, line, offsets)
    narrow = _width(look.mean(axis=2), offsets)
    light = look[:, np.abs(offsets) <= 0.6 * scale].mean(axis=(0, 1))
    place = line[-1] + corner
    cut = bool(min(*place, size[0] - 1 - place[0], size[1] - 1 - place[1]) < max(BORDER_PX, width))
    return End(place.astype(np.float32), heading, turn, narrow, light.astype(np.float32), cut)


def _leaving(line: FloatArray) -> tuple[FloatArray, float]:
    """Return the heading and turn at the last place of a line, by a parabola through it."""
    chord = line[-1] - line[0]
    chord = chord / max(float(np.hypot(*chord)), 1e-6)
    x = (line - line[-1]) @ chord
    y = (line - line[-1]) @ np.array([-chord[1], chord[0]])
    if len(line) < 12:
        slope, bend = float(np.polyfit(x, y, 1)[0]), 0.0
    else:
        bend, slope, _ = (float(value) for value in np.polyfit(x, y, 2))
    heading = chord + slope * np.array([-chord[1], chord[0]])
    heading /= np.hypot(*heading)
    return heading.astype(np.float32), 2 * bend / (1 + slope**2) ** 1.5


def measure_end(
    place: FloatArray, heading: FloatArray, long: float, width: float, light: LightArray,
    background: Background,
) -> Streak | None:  # fmt: skip
    """Return the last ``long`` px of a streak whose end 0 is known, or None near the border.

    Parameters
    ----------
    place, heading : where it ends and its unit vector out of the streak.
    width : that of the streak, roughly, px.
    light : of the frame, float32 (H, W, 3).
    """
    size = (light.shape[1], light.shape[0])
    # from its end inwards
    line = place - heading * np.arange(int(long) + 1, dtype=np.float32)[:, None]
    scale = 2.0 ** max(0, int(np.ceil(np.log2(max(width, 1) / MOST_WIDE))))
    margin = int(6 * scale + 2 * width) + 4
    low = np.floor(line.min(axis=0)).astype(int) - margin
    high = np.ceil(line.max(axis=0)).astype(int) + margin + 1
    if (low < 0).any() or (high > size).any():
        return None
    excess = background.excess(light, (slice(low[1], high[1]), slice(low[0], high[0])))
    corner = low.astype(np.float32)
    line = _centred(line - corner, excess, width)
    ends = [_end(end, width, excess, scale, size, corner) for end in (line[::-1], line)]
    return Streak(line + corner, long, (ends[0], replace(ends[1], cut=True)), followed=True)
