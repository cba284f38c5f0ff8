"""What the subject looks like, and which pixels of its box belong to it.

Background seen beside the subject moves otherwise. Held to the subject it changes from frame to
frame, and pixels that change more than noise and small errors of the motion explain do not count.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from stacker.register.geometry import translation
from stacker.register.scene.agreement import agreement
from stacker.register.scene.align import LEAST_GAIN, MOST_GAIN
from stacker.register.scene.grey import ClearMask, Grey, GreyArray, halved
from stacker.register.scene.models import Frame
from stacker.register.scene.tiles import NOISE_LEFT, STRONGEST, Tiles, cut_tiles, slopes
from stacker.register.subject.box import Outline

# The search works where the box's shorter side still has so many pixels.
SEARCH_SIDE = 12
MOST_LEVELS = 3
# There is background at the edges of a box: weights fall off to e^-2 at the middle of each.
WINDOW_SIGMAS = 2.0
# so many frames say which pixels change
LEAST_FRAMES = 5
# What a pixel of the subject may vary by besides noise: as a shift of so many pixels would, and by
# what light that shimmers and coding do, in roots of light.
VARIES_PX = 0.35
VARIES = 0.012
# pixels that vary by more than this many times that, over a few neighbours, are background
MOST_VARYING = 2.5
NEIGHBOURS_PX = 7
# a mask that leaves less than this share of the box has found no subject
LEAST_SHARE = 0.15
# weighted fits of gain and offset, the weights from the one before
MATCH_ROUNDS = 6
# more pixels make them no better
MATCHED_PIXELS = 5000
# fewer textured tiles say nothing
LEAST_TILES = 4
# a subject is known where it looks so much more alike than places about it do, and so much at least
OVER_CHANCE = 2.0
FEW_TILES = 1.5
LEAST_AGREEMENT, MOST_NEEDED = 0.3, 0.6


@dataclass(frozen=True, eq=False)
class Template:
    """The subject, ready to be searched for and fitted.

    ``grey`` is of the outline's rectangle, its ``clear`` 1 where a pixel belongs to the subject;
    ``tiles`` of each level, the last of which is searched; ``chance`` the share of the tiles that
    agrees by accident.
    """

    outline: Outline
    grey: Grey
    tiles: dict[int, Tiles]
    geometry: Frame
    chance: float

    @property
    def coarsest(self) -> int:
        """The level that is searched."""
        return len(self.grey.levels) - 1

    @property
    def needed(self) -> float:
        """The share of tiles that must agree: more than accident gives, also among few tiles."""
        few = FEW_TILES / np.sqrt(max(1, self.tiles[0].count))
        return float(min(max(LEAST_AGREEMENT, OVER_CHANCE * self.chance, few), MOST_NEEDED))

    @property
    def has_texture(self) -> bool:
        """Whether there is enough to follow, in both directions."""
        tiles = self.tiles[0]
        if tiles.count < LEAST_TILES:
            return False
        gx, gy = tiles.gx.ravel(), tiles.gy.ravel()
        weak, strong = np.linalg.eigvalsh(np.array([[gx @ gx, gx @ gy], [gx @ gy, gy @ gy]]))
        return bool(weak > 0.01 * strong)


def levels_of(outline: Outline, frame: Grey) -> int:
    """Return how many sizes of a frame a subject of that outline is looked for in."""
    side = min(outline.box.width, outline.box.height)
    levels = 1
    while levels < min(MOST_LEVELS, len(frame.levels)) and side >> levels >= SEARCH_SIDE:
        levels += 1
    return levels


def template_of(
    outline: Outline, value: GreyArray, mask: ClearMask, like: Grey, *, levels: int, frames: int
) -> Template:
    """Return a template from the subject's smoothed grey.

    Parameters
    ----------
    value, mask : float32 and uint8 of the outline's rectangle.
    like : a frame of which the noise is taken.
    frames : how many frames ``value`` is the mean or median of.
    """
    several = [value]
    while len(several) < levels:
        several.append(halved(several[-1]))
    # Two frames differ by the noise of both; what is left of it where one is a mean is as if each
    # had this.
    noise = like.noise * float(np.sqrt((1 + 1 / frames) / 2))
    grey = Grey(tuple(several), mask, noise, like.mean_light, like.dim_light, float(np.mean(mask)))
    tiles = {}
    for level in range(levels):
        side = max(outline.side >> level, 5)
        tiles[level] = cut_tiles(grey, level, side=side, strongest=min(STRONGEST, side * side))
    return Template(outline, grey, tiles, Frame(outline.size), 0.0)


def first_template(outline: Outline, frame: Grey, levels: int) -> Template:
    """Return the template that the box in the first frame makes."""
    around = outline.around
    width, height = frame.size
    beyond = (
        max(0, -around.top), max(0, around.top + around.height - height),
        max(0, -around.left), max(0, around.left + around.width - width),
    )  # fmt: skip
    left, top = around.left + beyond[2], around.top + beyond[0]
    rows, columns = slice(top, top + around.height), slice(left, left + around.width)

    wide = cv2.copyMakeBorder(frame.levels[0], *beyond, borderType=cv2.BORDER_REPLICATE)
    value = np.asarray(wide[rows, columns], np.float32).copy()
    clear = cv2.copyMakeBorder(frame.clear, *beyond, borderType=cv2.BORDER_CONSTANT, value=0)
    mask = within_box(outline) & np.asarray(clear[rows, columns], np.uint8)
    first = template_of(outline, value, mask, frame, levels=levels, frames=1)
    return replace(first, chance=_chance(first, frame))


def _chance(template: Template, frame: Grey) -> float:
    """Return the share of tiles that agrees at places about the subject."""
    if not template.has_texture:
        return 0.0
    tiles = replace(template.tiles[0], size=frame.size)
    around, box = template.outline.around, template.outline.box
    shares = []
    for across, down in ((1.2, 0.0), (-1.2, 0.1), (0.1, 1.2), (0.0, -1.2), (1.1, 1.1), (-1.5, 0.0)):
        aside = translation(around.left + across * box.width, around.top + down * box.height)
        found = agreement(tiles, frame, aside)
        if found.overlap > 0.5:
            shares.append(found.share)
    return float(np.mean(shares)) if shares else 0.0


def within_box(outline: Outline) -> ClearMask:
    """Return 1 within the box and 0 beside it, uint8 of the outline's rectangle."""
    around, box = outline.around, outline.box
    mask = np.zeros((around.height, around.width), np.uint8)
    left, top = box.left - around.left, box.top - around.top
    mask[top : top + box.height, left : left + box.width] = 1
    return mask


def holds(value: GreyArray, change: GreyArray, noise: float) -> ClearMask:
    """Return 1 where a view of the subject differs from another no more than expected, uint8.

    Parameters
    ----------
    value, change : float32 of the outline's rectangle: the template, and what to judge: the
        difference of one frame's view, or the deviation over several frames.
    noise : deviation of the noise in an unsmoothed frame.
    """
    gx, gy = slopes(value)
    expected = np.float32(VARIES_PX**2) * (gx * gx + gy * gy)
    expected += np.float32(NOISE_LEFT[0] * noise**2 + VARIES**2)
    # over some neighbours: one pixel of the background may look alike by accident
    about = (NEIGHBOURS_PX, NEIGHBOURS_PX)
    calm = cv2.blur(change * change, about) < MOST_VARYING * cv2.blur(expected, about)
    return np.asarray(calm, np.uint8)


def mask_of(outline: Outline, held: ClearMask) -> ClearMask:
    """Return the pixels of the box that hold, or all of it if hardly any do, uint8."""
    box = within_box(outline)
    mask = box & held
    return mask if mask.sum() >= LEAST_SHARE * box.sum() else box


def matched(value: GreyArray, there: GreyArray, template: Grey) -> GreyArray:
    """Return a frame's view of the subject in the template's light: gain and offset taken out.

    Parameters
    ----------
    value, there : as ``straightened`` returns them.
    """
    use = (there > 0) & (template.clear > 0)
    want = template.levels[0]
    if use.sum() < 16:
        return value
    x, y = value[use].astype(np.float64), want[use].astype(np.float64)
    step = max(1, len(x) // MATCHED_PIXELS)
    x, y = x[::step], y[::step]
    # frames of a burst are about alike: a first guess that no background can turn round
    gain, offset = 1.0, float(np.median(y - x))
    for _ in range(MATCH_ROUNDS):
        rest = np.abs(y - gain * x - offset)
        # background that came into the box must not rule the subject's light
        weight = 1 / (1 + (rest / (1.5 * np.median(rest) + 1e-6)) ** 2) ** 2
        total = weight.sum()
        mean_x, mean_y = weight @ x / total, weight @ y / total
        apart = x - mean_x
        gain = float(weight @ (apart * (y - mean_y)) / max(weight @ (apart * apart), 1e-12))
        gain = min(max(gain, LEAST_GAIN), MOST_GAIN)
        offset = float(mean_y - gain * mean_x)
    return np.asarray(value * np.float32(gain) + np.float32(offset), np.float32)
