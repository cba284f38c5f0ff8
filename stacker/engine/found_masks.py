"""Masks that are found in the burst: sky and ground, what moves and what keeps still."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import ceil

import cv2
import numpy as np
import numpy.typing as npt

from stacker.blend.mixing import MaskArray, as_mask
from stacker.burst import Burst
from stacker.engine.copies import copies_of
from stacker.engine.hold import hold
from stacker.engine.holding import Holding, as_they_lie
from stacker.engine.passes import worker_count
from stacker.engine.progress import Progress
from stacker.engine.ready import known_bad
from stacker.engine.settings import Settings
from stacker.engine.span import span_of, weights_of
from stacker.masks import FoundSky, Roots, find_sky, moving_share, root_codes
from stacker.register.geometry import Motion, to_reduced

# frames that are looked at, spread over the burst, and the pixels of their copies
LOOKED_AT = 17
COPY_PIXELS = 2_000_000
# the edge of the sky in pixels of a copy: an outline is known to about one
EDGE_PX = 1.0


@dataclass(frozen=True, eq=False)
class FoundMasks:
    """What was found.

    Parameters
    ----------
    masks : uint16 (H, W) by name, as the reference sees them.
    hard : bool (h, w) of copies, by name, where a mask has a definite outline.
    factor : by how much the copies are reduced.
    why : why others were not found, as a clause, by name.
    by : what told the sky.
    reference : place of the frame whose view it is; None where the camera stood still.
    motions : where frames looked, from theirs to that view, by place.
    """

    masks: Mapping[str, MaskArray] = field(default_factory=dict)
    hard: Mapping[str, npt.NDArray[np.bool_]] = field(default_factory=dict)
    factor: int = 1
    why: Mapping[str, str] = field(default_factory=dict)
    by: str = ""
    reference: int | None = None
    motions: Mapping[int, Motion] = field(default_factory=dict)


def find_masks(
    burst: Burst, names: Collection[str], settings: Settings, progress: Progress
) -> FoundMasks:
    """Return those of the masks named that are in the burst."""
    span = span_of(burst, settings)
    weights = weights_of(burst, span, settings)
    bad = known_bad(burst, span, weights, settings)
    places = [place for place in span if weights[place] > 0 and place not in bad]
    held = _held(burst, places, settings, progress)
    held_places = [place for place in places if place not in held.refused]
    roots, factor = _roots(burst, _spread(held_places), held, settings, progress)
    found = FoundMasks(
        factor=factor,
        reference=held.reference if held.warps else None,
        motions={place: held.frames[place].to_reference for place in held.warps},
    )
    if roots is None:
        return replace(found, why=dict.fromkeys(names, "no frame of the burst can be read"))
    if {"sky", "ground"} & set(names):
        found = _with_sky(found, find_sky(roots), burst.size)
    if {"moving", "still"} & set(names):
        moves = _full_size(moving_share(roots), burst.size, factor)
        masks = {"moving": moves, "still": ~moves}
        found = replace(found, masks={**found.masks, **masks})
    empty = {
        name: f"nothing is {name}"
        for name in ("moving", "still")
        if name in found.masks and not found.masks[name].any()
    }
    kept = {name: mask for name, mask in found.masks.items() if name not in empty}
    return replace(found, masks=kept, why={**found.why, **empty})


def _held(burst: Burst, places: Sequence[int], settings: Settings, progress: Progress) -> Holding:
    """Return how the ground is held: as it is in the picture, found out where that is not said."""
    if settings.hold == "still":
        return as_they_lie(burst)
    return hold(burst, places, replace(settings, hold=None, box=None), progress, _fits)


def _fits() -> None:
    """Copies are small: nothing is too large for the memory."""


def _spread(places: Sequence[int]) -> list[int]:
    """Return some of the places, evenly spread."""
    count = min(len(places), LOOKED_AT)
    return [places[k * (len(places) - 1) // max(1, count - 1)] for k in range(count)]


def _roots(
    burst: Burst, places: Sequence[int], held: Holding, settings: Settings, progress: Progress
) -> tuple[Roots | None, int]:
    """Return frames as roots of light, brought to one view, and how much they are reduced."""
    factor = max(1, ceil(np.sqrt(burst.size[0] * burst.size[1] / COPY_PIXELS)))
    weights = burst.encoding.space.luminance_weights
    with copies_of(burst, places, factor, worker_count(settings.workers), progress) as copies:
        progress.start("looking for the masks", len(places))
        seen = []
        for place in places:
            codes = root_codes(copies(place))
            progress.advance()
            if place in copies.bad:
                continue
            if place in held.warps:
                matrix = to_reduced(held.frames[place].to_reference, factor)
                size = (codes.shape[1], codes.shape[0])
                codes = np.asarray(
                    cv2.warpPerspective(codes, matrix, size, borderMode=cv2.BORDER_REPLICATE)
                )
            seen.append(codes)
    return (Roots(np.stack(seen), weights) if seen else None), factor


def _with_sky(found: FoundMasks, sky: FoundSky, size: tuple[int, int]) -> FoundMasks:
    """Return the masks with those of sky and ground, or why there are none."""
    if sky.ground is None:
        why = dict.fromkeys(("sky", "ground"), sky.why)
        return replace(found, why={**found.why, **why})
    soft = cv2.GaussianBlur(sky.ground.astype(np.float32), (0, 0), EDGE_PX / 2)
    ground = _full_size(np.asarray(soft), size, found.factor)
    return replace(
        found,
        masks={**found.masks, "ground": ground, "sky": ~ground},
        hard={"ground": sky.ground, "sky": ~sky.ground},
        by=sky.by,
    )


def _full_size(share: npt.NDArray[np.float32], size: tuple[int, int], factor: int) -> MaskArray:
    """Return shares of a reduced copy as a mask of the frames' size, uint16 (H, W)."""
    if factor == 1:
        return as_mask(share)
    # the centre of the copy's first pixel lies in the middle of those it stands for
    offset = (factor - 1) / 2
    matrix = np.array([[factor, 0, offset], [0, factor, offset]], np.float64)
    large = cv2.warpAffine(
        share, matrix, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    return as_mask(np.asarray(large))
