"""The subject fitted to a frame: Gauss-Newton from a guess, and how well it agrees."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from stacker.register.geometry import Motion, apply
from stacker.register.scene.agreement import LEAST_OVERLAP, LEAST_POSSIBLE, agreement
from stacker.register.scene.align import Fit, Stage, align
from stacker.register.scene.grey import Grey
from stacker.register.scene.models import SIMILARITY, Model
from stacker.register.subject.patch import Patch, patch_about
from stacker.register.subject.template import WINDOW_SIGMAS, Template

Float64Array = npt.NDArray[np.float64]

# a subject does not grow or shrink by more than this within a burst that is one picture
MOST_SCALE = 3.0


@dataclass(frozen=True, eq=False)
class Found:
    """Where the subject is in a frame.

    ``to_frame`` (3, 3) from the template to the frame; ``patch`` the frame about it;
    ``agreeing`` bool (T,) the tiles that look as they should, ``share`` how much of the subject
    they are: tiles in the middle of the box count most, as there is background at its edges.
    """

    to_frame: Motion
    fit: Fit
    agreeing: npt.NDArray[np.bool_]
    share: float
    patch: Patch

    def middle(self, template: Template) -> Float64Array:
        """Where the middle of the box lies in the frame, (2,)."""
        return np.asarray(apply(self.to_frame, [template.outline.middle])[0])


def fit_subject(
    template: Template, frame: Grey, guess: Motion, model: Model = SIMILARITY
) -> Found | None:
    """Return the subject fitted from a guess on; None where that leads out of the frame."""
    patch = patch_about(frame, template.outline, guess, template.coarsest + 1)
    return None if patch is None else fit_patch(template, patch, guess, model, _stages(template))


def refine_subject(template: Template, patch: Patch, guess: Motion, model: Model) -> Found | None:
    """Return the subject fitted at full detail, from a guess that is off by a pixel at most."""
    return fit_patch(template, patch, guess, model, (Stage(0, 8, 0.5, 0.05),))


def fit_patch(
    template: Template, patch: Patch, guess: Motion, model: Model, stages: tuple[Stage, ...]
) -> Found | None:
    """Return the subject fitted within a patch; None where the fit runs away."""
    tiles = {
        level: replace(tiles, size=patch.grey.levels[level].shape[::-1])
        for level, tiles in template.tiles.items()
        if level < len(patch.grey.levels)
    }
    if any(tiles[stage.level].count == 0 for stage in stages):
        return None
    fit = align(tiles, patch.grey, patch.to_here(guess), model, stages, template.geometry)
    scale = np.sqrt(abs(np.linalg.det(fit.to_frame[:2, :2])))
    if not 1 / MOST_SCALE < scale < MOST_SCALE:
        return None
    agreeing = agreement(tiles[0], patch.grey, fit.to_frame).agreeing
    share = _share(template, fit, agreeing)
    return Found(patch.to_frame(fit.to_frame), fit, agreeing, share, patch)


def _share(template: Template, fit: Fit, agreeing: npt.NDArray[np.bool_]) -> float:
    """Return the share of the subject that agrees, 0 to 1."""
    tiles, outline = template.tiles[0], template.outline
    half = np.array((outline.box.width, outline.box.height)) / 2
    off = (tiles.centre - outline.middle) / half * WINDOW_SIGMAS
    weight = np.exp(-(off * off).sum(axis=1) / 2)
    # noise says nothing for or against
    weight *= tiles.noise_power < (1 - LEAST_POSSIBLE) * tiles.contrast
    inside = fit.answers.inside > 0.5
    voting = max(float(weight[inside].sum()), LEAST_OVERLAP * float(weight.sum()), 1e-9)
    return float(weight[agreeing & inside].sum()) / voting


def _stages(template: Template) -> tuple[Stage, ...]:
    coarse = [
        Stage(level, 6, 2.0**level, 2.0**level / 3)
        for level in range(template.coarsest, 0, -1)
        if template.tiles[level].count
    ]
    return (*coarse, Stage(0, 6, 0.7, 0.1))
