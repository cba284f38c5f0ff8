"""Following the subject from frame to frame, the template learning as it goes.

What comes of it is right to a fraction of a pixel and may drift; the fine fit comes after.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from stacker.register.geometry import Motion, apply, translation
from stacker.register.scene.grey import Grey
from stacker.register.subject.box import Outline
from stacker.register.subject.fit import Found, fit_subject
from stacker.register.subject.patch import straightened
from stacker.register.subject.search import moved_to, peaks
from stacker.register.subject.template import (
    LEAST_FRAMES,
    Template,
    holds,
    mask_of,
    matched,
    template_of,
)

Float64Array = npt.NDArray[np.float64]

# How far the subject may be from where its speed leads: so many pixels of the copy, this share of
# the box's diagonal, and of the way it goes between two frames.
REACH_PX = 16.0
REACH_OF_BOX = 0.4
REACH_OF_WAY = 0.5
# places tried over the whole frame, and sizes of the subject there, before it is given up
TRIED = 3
SIZES = (1.0, 0.87, 1.15)
# agreement that is asked for where the subject should not be
NEEDED_AFAR = 0.45
# a frame weighs in with at least this when the template learns: it forgets over ten frames
LEAST_NEW = 0.1
# pixels that hold in this share of the frames belong to the subject
HELD_OFTEN = 0.5


class Follower:
    """Knows where the subject was, and what it looks like by now."""

    def __init__(self, first: Template) -> None:
        outline = first.outline
        self.template = first
        self.motion = translation(outline.around.left, outline.around.top)
        self.number = 0
        self.velocity: Float64Array | None = None
        self.value = first.grey.levels[0].copy()
        # the share of frames in which a pixel held, lately
        self.held = np.ones_like(self.value)
        self.frames = 1

    def look(self, number: int, frame: Grey) -> Motion | None:
        """Return the motion from the template to frame ``number``; None where it is not found."""
        found = find(self.template, frame, self.predicted(number), self._reach(number))
        if found is None:
            return None
        here = found.middle(self.template)
        steps = number - self.number
        self.velocity = (here - self._middle()) / steps
        self.motion, self.number = found.to_frame, number
        self._learn(found, frame)
        return found.to_frame

    def predicted(self, number: int) -> Motion:
        """Return where the subject should be in frame ``number`` by its speed so far."""
        if self.velocity is None:
            return self.motion
        way = self.velocity * (number - self.number)
        return translation(way[0], way[1]) @ self.motion

    def _middle(self) -> Float64Array:
        return np.asarray(apply(self.motion, [self.template.outline.middle])[0])

    def _reach(self, number: int) -> float | None:
        if self.velocity is None:
            return None
        box = self.template.outline.box
        way = float(np.hypot(*self.velocity)) * (number - self.number)
        return REACH_PX + REACH_OF_BOX * float(np.hypot(box.width, box.height)) + REACH_OF_WAY * way

    def _learn(self, found: Found, frame: Grey) -> None:
        """Let the template take in what the subject looks like now."""
        outline = self.template.outline
        value, there = straightened(found.patch, outline, found.to_frame)
        change = (matched(value, there, self.template.grey) - self.value) * there
        same = holds(self.value, change, frame.noise)
        self.frames += 1
        new = np.float32(max(1 / self.frames, LEAST_NEW))
        self.held += new * (same - self.held)
        # What passes before the subject is not learned; where it hid in the first frame,
        # everything is.
        learning = same | (self.held < HELD_OFTEN)
        self.value += new * change * learning
        self.template = self._learned(outline, frame)

    def _learned(self, outline: Outline, frame: Grey) -> Template:
        mask = self.template.grey.clear
        if self.frames >= LEAST_FRAMES:
            mask = mask_of(outline, np.asarray(self.held >= HELD_OFTEN, np.uint8))
        learned = template_of(
            outline, self.value.copy(), mask, frame,
            levels=self.template.coarsest + 1, frames=min(self.frames, round(1 / LEAST_NEW)),
        )  # fmt: skip
        if not learned.has_texture:
            return self.template
        return replace(learned, chance=self.template.chance)


def find(
    template: Template, frame: Grey, predicted: Motion, reach_px: float | None
) -> Found | None:
    """Return where the subject is in a frame; None where nothing looks enough like it.

    Parameters
    ----------
    predicted : where it should be: a motion from the template to the frame.
    reach_px : how far from there to look first; everywhere at once where None.
    """
    if reach_px is not None:
        near = _best(template, frame, predicted, [predicted], reach_px)
        if near is not None:
            return near
    middle = template.outline.middle
    place = apply(predicted, [middle])[0]
    sizes = [
        moved_to(predicted @ np.diag([size, size, 1.0]), middle, (place[0], place[1]))
        for size in SIZES
    ]
    return _best(template, frame, predicted, sizes[:1], None) or _best(
        template, frame, predicted, sizes[1:], None
    )


def _best(
    template: Template,
    frame: Grey,
    predicted: Motion,
    guesses: list[Motion],
    reach_px: float | None,
) -> Found | None:
    """Return the best fit from the likeliest places, if enough of it looks like the subject."""
    best: Found | None = None
    for guess in guesses:
        for peak in peaks(template, frame, guess, reach_px, TRIED):
            found = fit_subject(template, frame, peak.to_frame)
            if found is None or found.share < _needed(template, found, predicted):
                continue
            if best is None or found.share > best.share:
                best = found
    return best


def _needed(template: Template, found: Found, predicted: Motion) -> float:
    """Return the agreement that is asked for: more where the subject was not expected."""
    middle = template.outline.middle
    off = np.hypot(*(found.middle(template) - apply(predicted, [middle])[0]))
    share = min(1.0, float(off) / float(np.hypot(*template.outline.size)))
    return max(template.needed, template.needed + share * (NEEDED_AFAR - template.needed))
