"""The fine fit: every frame against one common template made of many of them.

A chain of fits from frame to frame adds up its errors. One template for all does not, and the
median over frames shows the subject without noise, and the background that passed by as a blur.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from stacker.register.geometry import Motion
from stacker.register.scene.align import AGREES
from stacker.register.scene.grey import Grey
from stacker.register.scene.models import SIMILARITY, Model
from stacker.register.scene.sharpness import Sharpness, sharpness
from stacker.register.subject.fit import Found, refine_subject
from stacker.register.subject.patch import Patch, patch_about, straightened
from stacker.register.subject.simplest import error_px
from stacker.register.subject.template import (
    LEAST_FRAMES,
    Template,
    holds,
    mask_of,
    matched,
    template_of,
    within_box,
)

Float64Array = npt.NDArray[np.float64]

# Frames that the common template is made of: more change nothing that can be seen, and their
# memory is bounded too.
MOST_FRAMES = 25
MOST_BYTES = 64 << 20
# template and motions are made from each other so often
ROUNDS = 2
# for the deviation of a normal distribution
MAD_TO_DEVIATION = 1.4826


@dataclass(frozen=True, eq=False)
class Sighting:
    """Where the subject was found in a frame, and the part about it where that is kept."""

    number: int
    to_frame: Motion
    patch: Patch | None


@dataclass(frozen=True, eq=False)
class Fine:
    """What is kept of a fine fit once the picture is gone.

    ``to_frame`` (3, 3) from the template to the frame, ``information`` (8, 8) about it, ``votes``
    the tiles that had a say, ``agreement`` the share of the subject that looks as it should,
    ``uncertain_px`` the error over the box that is likely.
    """

    to_frame: Motion
    information: Float64Array
    votes: int
    agreement: float
    sharpness: Sharpness
    uncertain_px: float


class Patches:
    """Hands out the part of a frame about the subject: what was kept, or read anew."""

    def __init__(self, read: Callable[[int], Grey], template: Template) -> None:
        self.read, self.template = read, template

    def of(self, sighting: Sighting) -> Patch | None:
        """Return the part of the sighting's frame."""
        if sighting.patch is not None:
            return sighting.patch
        frame = self.read(sighting.number)
        return patch_about(
            frame, self.template.outline, sighting.to_frame, self.template.coarsest + 1
        )


def common_template(
    first: Template, sightings: Sequence[Sighting], patches: Patches, pool: Executor
) -> Template:
    """Return the template that the median of registered frames makes.

    Parameters
    ----------
    first : the template of the box, for its outline and light.
    sightings : frames in which the subject was found, the first frame among them.
    """
    chosen = list(
        pool.map(
            lambda sighting: replace(sighting, patch=patches.of(sighting)),
            _spread_out(sightings, first),
        )
    )
    template = first
    for _ in range(ROUNDS):
        template = _median(first, template, chosen)

        def refine(sighting: Sighting, template: Template = template) -> Sighting:
            patch = sighting.patch
            found = patch and refine_subject(template, patch, sighting.to_frame, SIMILARITY)
            return replace(sighting, to_frame=found.to_frame) if found else sighting

        chosen = list(pool.map(refine, chosen))
    return _median(first, template, chosen)


def refined(
    template: Template,
    sightings: Sequence[Sighting],
    patches: Patches,
    model: Model,
    pool: Executor,
) -> dict[int, Fine]:
    """Return the fine fit of each frame to the template, by its number; failed ones left out."""

    def refine(sighting: Sighting) -> Fine | None:
        patch = patches.of(sighting)
        found = patch and refine_subject(template, patch, sighting.to_frame, model)
        return _summary(template, found, model) if found else None

    fits = pool.map(refine, sightings)
    return {
        sighting.number: fit
        for sighting, fit in zip(sightings, fits, strict=True)
        if fit is not None and fit.agreement >= template.needed
    }


def _summary(template: Template, found: Found, model: Model) -> Fine:
    tiles = template.tiles[0]
    return Fine(
        to_frame=found.to_frame,
        information=found.fit.information,
        votes=int((found.fit.weight > AGREES).sum()),
        agreement=found.share,
        sharpness=sharpness(
            tiles, tiles, found.agreeing, found.patch.grey, found.patch.to_here(found.to_frame)
        ),
        uncertain_px=error_px(template, found.fit.information, model),
    )


def _spread_out(sightings: Sequence[Sighting], template: Template) -> list[Sighting]:
    """Return sightings spread evenly over the burst, as many as a template is made of."""
    fitting = MOST_BYTES // template.grey.levels[0].nbytes
    count = int(min(MOST_FRAMES, max(LEAST_FRAMES, fitting), len(sightings)))
    places = np.linspace(0, len(sightings) - 1, count).round().astype(int)
    return [sightings[place] for place in places]


def _median(first: Template, template: Template, chosen: Sequence[Sighting]) -> Template:
    """Return the template of the median over the chosen frames."""
    outline = first.outline
    views = []
    for sighting in chosen:
        if sighting.patch is None:
            continue
        value, there = straightened(sighting.patch, outline, sighting.to_frame)
        view = matched(value, there, template.grey)
        # where the frame ends, nothing speaks against the template
        views.append(np.where(there > 0, view, template.grey.levels[0]))
    stack = np.stack(views)
    middle = np.median(stack, axis=0)
    mask = template.grey.clear if len(views) > 1 else within_box(outline)
    if len(views) >= LEAST_FRAMES:
        stack -= middle
        deviation = np.float32(MAD_TO_DEVIATION) * np.median(np.abs(stack, out=stack), axis=0)
        mask = mask_of(outline, holds(middle, deviation, first.grey.noise))
    made = template_of(
        outline, middle, mask, first.grey, levels=first.coarsest + 1, frames=len(views)
    )
    return replace(made, chance=first.chance) if made.has_texture else template
