"""Where a subject may be: the peaks of a weighted normalised correlation on a small copy.

Source: J. P. Lewis, "Fast normalized cross-correlation", Vision Interface (1995), with weights
that fall off towards the edges of the box, where there is background rather than subject.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from stacker.register.geometry import Motion, apply, to_full, to_reduced, translation
from stacker.register.scene.grey import Grey, GreyArray
from stacker.register.subject.template import WINDOW_SIGMAS, Template

# a place whose contrast is below this share of the subject's does not look like it
LEAST_CONTRAST = 0.1
# Of two places alike the nearer to where the subject should be: what it costs to be a whole
# picture away.
FAR = 0.2
# Contrast is evened out over so many pixels of the searched level; contrast as weak as this, in
# roots of light, stays weak.
EVENED_PX = 7
EVEN_FLOOR = 0.01
# pixels about the window that is searched, so that a peak at its edge is one
AROUND = 2


@dataclass(frozen=True, eq=False)
class Peak:
    """A place that looks like the subject: the motion from the template to the frame, and how."""

    to_frame: Motion
    likeness: float


def moved_to(motion: Motion, middle: tuple[float, float], place: tuple[float, float]) -> Motion:
    """Return the motion, shifted so that it takes ``middle`` to ``place``."""
    x, y = apply(motion, [middle])[0]
    return translation(place[0] - x, place[1] - y) @ motion


def peaks(
    template: Template, frame: Grey, predicted: Motion, reach_px: float | None, most: int
) -> list[Peak]:
    """Return the places in the frame that look most like the subject, best first.

    Parameters
    ----------
    predicted : motion from the template to the frame; turn and size are taken from it as they are.
    reach_px : how far from there the subject may be, pixels of the copy; everywhere where None.
    most : how many to return.
    """
    level = template.coarsest
    picture = evened(frame.levels[level], frame.noise)
    motion = to_reduced(predicted, 2**level)
    look, weight, corner = _turned(template, motion)
    left, top, part = _window(picture, look.shape, corner, reach_px, 2**level)
    if part.shape[0] < look.shape[0] or part.shape[1] < look.shape[1]:
        return []
    likeness = _correlate(part, look, weight)
    rows, columns = np.indices(likeness.shape, np.float32)
    off = np.hypot(columns + left - corner[0], rows + top - corner[1])
    likeness -= np.float32(FAR / np.hypot(*picture.shape)) * off
    found = []
    for _ in range(most):
        _, best, _, (x, y) = cv2.minMaxLoc(likeness)
        shift = translation(x + left - corner[0], y + top - corner[1])
        found.append(Peak(to_full(shift @ motion, 2**level), float(best)))
        # what lies within a third of the box is the same peak
        near = (look.shape[1] // 3 + 1, look.shape[0] // 3 + 1)
        cv2.rectangle(likeness, (x - near[0], y - near[1]), (x + near[0], y + near[1]), -2.0, -1)
    return found


def evened(grey: GreyArray, noise: float) -> GreyArray:
    """Return detail divided by the contrast about it, float32 of the same shape.

    So a dark pole before the subject spoils the pixels that it covers, and no more.
    """
    about, border = (EVENED_PX, EVENED_PX), cv2.BORDER_REPLICATE
    detail = grey - cv2.blur(grey, about, borderType=border)
    power = cv2.blur(detail * detail, about, borderType=border)
    return np.asarray(detail / np.sqrt(power + np.float32(EVEN_FLOOR**2 + noise**2)), np.float32)


def _turned(template: Template, motion: Motion) -> tuple[GreyArray, GreyArray, tuple[int, int]]:
    """Return the subject as it should look in the frame, its weights, and its first pixel."""
    value = evened(template.grey.levels[template.coarsest], template.grey.noise)
    height, width = value.shape
    corners = apply(motion, [(0, 0), (width - 1, 0), (0, height - 1), (width - 1, height - 1)])
    low = np.rint(corners.min(axis=0)).astype(int)
    size = np.rint(corners.max(axis=0)).astype(int) - low + 1
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    back = np.linalg.inv(translation(-low[0], -low[1]) @ motion)
    shape = (int(size[0]), int(size[1]))
    look = cv2.warpPerspective(value, back, shape, flags=flags, borderMode=cv2.BORDER_REPLICATE)
    weight = cv2.warpPerspective(_weights(template), back, shape, flags=flags)
    return (
        np.asarray(look, np.float32), np.asarray(weight, np.float32), (int(low[0]), int(low[1])),
    )  # fmt: skip


def _weights(template: Template) -> GreyArray:
    """Return how much each pixel of the searched level counts, float32."""
    outline, level = template.outline, template.coarsest
    height, width = template.grey.levels[level].shape
    clear = template.grey.clear.astype(np.float32)
    clear = np.asarray(cv2.resize(clear, (width, height), interpolation=cv2.INTER_AREA))
    middle = (np.array(outline.middle) - (2**level - 1) / 2) / 2**level
    half = np.array((outline.box.width, outline.box.height)) / 2 ** (level + 1)
    across = (np.arange(width) - middle[0]) / half[0] * WINDOW_SIGMAS
    down = (np.arange(height) - middle[1]) / half[1] * WINDOW_SIGMAS
    window = np.exp(-(across[None, :] ** 2 + down[:, None] ** 2) / 2)
    return np.asarray(clear * window, np.float32)


def _window(
    picture: GreyArray,
    shape: tuple[int, ...],
    corner: tuple[int, int],
    reach_px: float | None,
    scale: int,
) -> tuple[int, int, GreyArray]:
    """Return the part of the picture to search, its first column and row before it."""
    # the subject may stick out by half
    beyond = max(shape) // 2
    wide = cv2.copyMakeBorder(
        picture, beyond, beyond, beyond, beyond, borderType=cv2.BORDER_REPLICATE
    )
    if reach_px is None:
        return -beyond, -beyond, np.asarray(wide, np.float32)
    reach = int(np.ceil(reach_px / scale)) + AROUND
    low = np.maximum(np.array(corner) + beyond - reach, 0)
    high = np.maximum(np.array(corner) + beyond + reach + np.array(shape[::-1]), 0)
    part = wide[low[1] : high[1], low[0] : high[0]]
    return int(low[0]) - beyond, int(low[1]) - beyond, np.ascontiguousarray(part, np.float32)


def _correlate(picture: GreyArray, look: GreyArray, weight: GreyArray) -> GreyArray:
    """Return the weighted correlation of ``look`` at each place it fits into the picture."""
    total = float(weight.sum()) + 1e-9
    centred = look - np.float32(float((look * weight).sum()) / total)
    power = float((centred * centred * weight).sum())
    # less its mean: squares of small numbers keep their digits
    grey = picture - np.float32(cv2.mean(picture)[0])
    together = cv2.matchTemplate(grey, centred * weight, cv2.TM_CCORR)
    mean = cv2.matchTemplate(grey, weight, cv2.TM_CCORR)
    square = cv2.matchTemplate(grey * grey, weight, cv2.TM_CCORR)
    contrast = np.maximum(square - mean * mean / np.float32(total), LEAST_CONTRAST * power + 1e-9)
    return np.asarray(together / np.sqrt(contrast * np.float32(power + 1e-9)), np.float32)
