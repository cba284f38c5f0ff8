"""The masks of an exposure's regions: read from pictures, or found in the burst."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from stacker.blend.mixing import WHOLE, MaskArray, feathered, is_hard
from stacker.burst import Burst
from stacker.engine.found_masks import FoundMasks, find_masks
from stacker.engine.mask_file import read_mask
from stacker.engine.progress import Progress
from stacker.engine.reduced import ReducedBurst
from stacker.engine.region import Region
from stacker.engine.settings import Settings
from stacker.engine.span import span_of
from stacker.errors import OptionError
from stacker.register.geometry import Motion, identity

# over how many pixels the edge of a mask of black and white is softened, if nobody says
FEATHER_PX = 2.0
# Where sky and ground are held apart, how far beyond the skyline the ground reaches, besides what
# a pixel of a copy stands for: a lens and a camera's sharpening blur an edge over less. And over
# how many pixels it then passes into the sky. Of two moments of an evening the sky reaches as far.
APART_PX, SEAM_PX = 2, 2.0


@dataclass(frozen=True, eq=False)
class Masks:
    """Masks as the reference sees them.

    Parameters
    ----------
    shown : of each region that is made, uint16 (H, W).
    found : those that the program found, by name.
    details : what the report says of them, by name.
    warnings : sentences for a person.
    sources : the pictures that masks were read from.
    reference : place of the frame whose view it is; None where the camera stood still.
    motions : where frames looked, from theirs to that view, by place; as they lie if missing.
    """

    shown: Mapping[Region, MaskArray] = field(default_factory=dict)
    found: Mapping[str, MaskArray] = field(default_factory=dict)
    details: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    sources: frozenset[Path] = frozenset()
    reference: int | None = None
    motions: Mapping[int, Motion] = field(default_factory=dict)

    def share(self, region: Region) -> float:
        """Return how much of the frame a region takes, 0 to 1."""
        return round(float(self.shown[region].mean()) / WHOLE, 4)

    def ground_motion(self, place: int) -> Motion:
        """Return what takes pixels of a frame to the view of the masks, (3, 3)."""
        return self.motions.get(place, identity())

    def part_of(self, layers: Sequence[bool], regions: Sequence[Region]) -> MaskArray:
        """Return how much of each pixel some layers have in the mixed picture, uint16 (H, W).

        Parameters
        ----------
        layers : for what lies below all regions, and for each region, whether it is one of them.
        """
        shape = next(iter(self.shown.values())).shape
        share = np.full(shape, float(layers[0]), np.float32)
        for own, region in zip(layers[1:], regions, strict=True):
            over = self.shown[region] / np.float32(WHOLE)
            share += over * (np.float32(own) - share)
        return np.rint(share * WHOLE).astype(np.uint16)


def _read(region: Region, burst: Burst) -> MaskArray:
    """Return the mask that a region names, at the size of the burst's frames, uint16 (H, W)."""
    if not isinstance(burst, ReducedBurst):
        return read_mask(region, burst.size)
    whole = read_mask(region, burst.whole.size)
    width, height = burst.size
    cells = whole[: height * burst.factor, : width * burst.factor]
    small = cv2.resize(cells, burst.size, interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.uint16)


def masks_of(
    burst: Burst, settings: Settings, progress: Progress, *, everywhere: bool = False
) -> Masks:
    """Return the masks of the settings' regions, and those that are wanted besides.

    Parameters
    ----------
    everywhere : look for them in all of the burst, and not only in the frames from the first that
        any part of the picture is made of to the last.

    Raises
    ------
    OptionError
        A picture is no mask, or what was asked for by name is not in the burst.
    """
    shown: dict[Region, MaskArray] = {}
    sources: set[Path] = set()
    for region in settings.regions:
        if not region.is_found and region not in shown:
            mask = _read(region, burst)
            sources.add(Path(region.mask).resolve())
            shown[region] = _softened(mask, region)
    named = [region for region in settings.regions if region.is_found]
    names = {region.mask for region in named} | set(settings.masks)
    if not names:
        return Masks(shown, sources=frozenset(sources))
    looked_at = _over_all_parts(burst, settings, everywhere=everywhere)
    found = find_masks(burst, names, looked_at, progress)
    held = [settings.hold] + [settings.within(region).hold for region in settings.regions]
    apart = "sky" in held and set(held) != {"sky"}
    wanted = [name for name in settings.masks if name in found.why]
    warnings = [f"no mask of {name} was made: {found.why[name]}" for name in wanted]
    for region in named:
        if region.mask in found.masks:
            moments = span_of(burst, settings) != span_of(burst, settings.within(region))
            shown[region] = _edged(found, region, apart=apart, moments=moments)
        elif settings.is_chosen("regions"):
            warnings.append(
                f"no skyline was found with certainty ({found.why[region.mask]}): the whole "
                "picture is made in one way; a mask of the ground as --region ground.png=... helps"
            )
        else:
            raise OptionError(
                region.option,
                f"was not found with certainty: {found.why[region.mask]}",
                remedy="paint a gray picture of the frames' size, white what the region is, and "
                "give its name instead",
                code="region-not-found",
            )
    details = {name: {"told_by": found.by} for name in ("sky", "ground") if name in found.masks}
    return Masks(
        shown,
        # a region's own comes with its edge, so that given back it makes the same picture
        {name: found.masks[name] for name in sorted(names) if name in found.masks}
        | {region.mask: shown[region] for region in named if region in shown},
        details,
        tuple(dict.fromkeys(warnings)),
        frozenset(sources),
        found.reference,
        found.motions,
    )


def _over_all_parts(burst: Burst, settings: Settings, *, everywhere: bool) -> Settings:
    """Return settings whose span holds those of all parts of the picture."""
    spans = [span_of(burst, settings)]
    spans += [span_of(burst, settings.within(region)) for region in settings.regions]
    first, stop = min(span.start for span in spans), max(span.stop for span in spans)
    if everywhere:
        first, stop = 0, len(burst.frames)
    if (first, stop) == (spans[0].start, spans[0].stop):
        return settings
    return replace(
        settings,
        first=first + 1,
        last=stop,
        shutter_s=None,
        # these are of the frames of the picture's own span
        weights=None,
        ramp_in_s=0.0,
        ramp_out_s=0.0,
        # a bad frame beyond the picture is only looked at
        on_bad="skip",
        regions=(),
    )


def _edged(found: FoundMasks, region: Region, *, apart: bool, moments: bool) -> MaskArray:
    """Return a mask that was found with the edge that suits what is done.

    ``apart`` is whether sky and ground are held apart. Then the strip beside the skyline is the
    ground's: what is blurred there of leaves and roofs must not wander with the sky, and the mean
    of a strip of sky shows no seam. Otherwise both show the same edge, and it is the sky's.

    ``moments`` is whether the region is of other frames than the picture. Of an evening the two
    skies differ much, and the blurred edge has to be that of the sky that is shown, or a dark line
    would part it from the ground.
    """
    mask = found.masks[region.mask]
    if (apart or moments) and region.mask in found.hard:
        reach = APART_PX + found.factor
        kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1,) * 2)
        grows = (region.mask == "ground") == apart
        grown = cv2.dilate(mask, kernel) if grows else cv2.erode(mask, kernel)
        width = SEAM_PX if region.feather_px is None else region.feather_px
        return feathered(np.asarray(grown, np.uint16), width)
    if region.mask in found.hard:
        # a trail shall reach the edge rather than end beside it
        kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * found.factor + 1,) * 2)
        tucked = cv2.erode(mask, kernel) if region.mask == "ground" else cv2.dilate(mask, kernel)
        mask = np.asarray(tucked, np.uint16)
    return feathered(mask, region.feather_px or 0.0)


def _softened(mask: MaskArray, region: Region) -> MaskArray:
    """Return a picture's mask with a soft edge: its own, or the one asked for."""
    width = region.feather_px
    if width is None:
        width = FEATHER_PX if is_hard(mask) else 0.0
    return feathered(mask, width)
