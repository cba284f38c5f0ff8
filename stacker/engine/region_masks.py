"""The masks of an exposure's regions: read from pictures, or found in the burst."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from stacker.blend.mixing import WHOLE, MaskArray, feathered, is_hard
from stacker.burst import Burst
from stacker.engine.mask_file import read_mask
from stacker.engine.progress import Progress
from stacker.engine.region import Region
from stacker.engine.settings import Settings
from stacker.register.geometry import Motion, identity

# over how many pixels the edge of a mask of black and white is softened, if nobody says
FEATHER_PX = 2.0


@dataclass(frozen=True, eq=False)
class Masks:
    """Masks as the reference sees them.

    Parameters
    ----------
    shown : of each region that is made, uint16 (H, W).
    found : those that the program found, by name, before they were feathered.
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


def masks_of(burst: Burst, settings: Settings, progress: Progress) -> Masks:
    """Return the masks of the settings' regions.

    Raises
    ------
    OptionError
        A picture is no mask, or what was asked for by name is not in the burst.
    """
    shown: dict[Region, MaskArray] = {}
    sources: set[Path] = set()
    for region in settings.regions:
        if not region.is_found and region not in shown:
            mask = read_mask(region, burst.size)
            sources.add(Path(region.mask).resolve())
            shown[region] = _softened(mask, region)
    return Masks(shown, sources=frozenset(sources))


def _softened(mask: MaskArray, region: Region) -> MaskArray:
    """Return a picture's mask with a soft edge: its own, or the one asked for."""
    width = region.feather_px
    if width is None:
        width = FEATHER_PX if is_hard(mask) else 0.0
    return feathered(mask, width)
