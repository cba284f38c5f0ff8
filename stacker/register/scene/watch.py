"""Watching the frames of a still burst come by: does one of them differ from the rest?

A few rows of tiles are looked at, those in which most pins the camera down: a quarter of the work
of looking at a whole copy. What is found is a doubt, not a verdict: ``register_frames`` has that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from stacker.light.encoding import LightArray
from stacker.register.geometry import Points, identity
from stacker.register.scene.align import quiet_noise
from stacker.register.scene.grey import LUMINANCE, Grey, grey_of
from stacker.register.scene.pinned import TOLERANCE_PX, Stays, pinned, share_of, stays_of
from stacker.register.scene.settle import STAYED
from stacker.register.scene.sharpness import detail_of, sharpness
from stacker.register.scene.tiles import STRONGEST, TILE_PX, cut_tiles
from stacker.register.scene.verdict import Look, verdicts

# pixels of a copy that are looked at, in strips of so many rows
WATCHED_PIXELS = 300_000
STRIP_ROWS = 64
# rows to both sides of where two strips meet that are no picture: smoothing and slopes reach so far
SEAM_ROWS = 6


class Watch:
    """Looks at strips of one frame after another, in any order and from several threads.

    Parameters
    ----------
    copies : light of some frames in which the camera stood still, float32 (h, w, 3), linear; the
        others are held against the one in the middle.
    places : (P, 2), what pins them down, see ``standing_places``.
    weights : the share of each channel in the luminance.

    Attributes
    ----------
    strips : rows of the copies that are looked at.
    """

    def __init__(
        self,
        copies: Sequence[LightArray],
        places: Points,
        weights: tuple[float, float, float] = LUMINANCE,
    ) -> None:
        height, width = copies[0].shape[:2]
        self.strips = _strips((width, height), places)
        self.weights = weights
        middle = len(copies) // 2
        light = [np.vstack([copy[s.start : s.stop] for s in self.strips]) for copy in copies]
        held = self._without_seams(grey_of(light[middle], weights))
        self._tiles = cut_tiles(held, 0, side=TILE_PX, strongest=STRONGEST)
        self._everywhere = np.ones(self._tiles.count, bool)
        others = [part for number, part in enumerate(light) if number != middle]
        self._pins = pinned([self._stays(grey_of(part, weights)) for part in others])
        self._looks: dict[int, Look] = {}

    @property
    def can_tell(self) -> bool:
        """Whether the strips hold enough to tell by."""
        return self._pins is not None

    def see(self, number: int, light: LightArray) -> None:
        """Look at the strips of frame ``number``, one below the other, float32 (h, w, 3)."""
        assert self._pins is not None
        grey = grey_of(light, self.weights)
        sharp = sharpness(self._tiles, self._tiles, self._everywhere, grey, identity())
        self._looks[number] = Look(
            mean_light=grey.mean_light,
            dim_light=grey.dim_light,
            detail=detail_of(grey),
            agreement=share_of(self._stays(grey), self._pins),
            worst=sharp.worst,
            best=sharp.best,
            error=sharp.error,
            uncertain_px=0.0,
            # as much as has to stay in a frame of a camera that stands still
            needed=float(np.nextafter(STAYED, 1)),
        )

    def doubtful(self) -> list[int]:
        """Return the numbers of frames that moved, are blurred, or are odd in light."""
        numbers = sorted(self._looks)
        why = verdicts([self._looks[number] for number in numbers])
        return [number for number, reason in zip(numbers, why, strict=True) if reason]

    def _stays(self, grey: Grey) -> Stays:
        noise = quiet_noise(self._tiles, grey, identity(), TOLERANCE_PX)
        return stays_of(self._tiles, grey, noise)

    def _without_seams(self, grey: Grey) -> Grey:
        """Return the reference with the rows about the seams taken for burnt out: not used."""
        clear = grey.clear.copy()
        for seam in np.cumsum([len(strip) for strip in self.strips])[:-1]:
            clear[seam - SEAM_ROWS : seam + SEAM_ROWS] = 0
        return replace(grey, clear=clear)


def _strips(size: tuple[int, int], places: Points) -> list[range]:
    """Return the rows of a copy in which most of the places lie, spread over it; or all rows."""
    width, height = size
    count = max(1, WATCHED_PIXELS // (STRIP_ROWS * width))
    tops = range(0, height - STRIP_ROWS + 1, STRIP_ROWS)
    if count >= len(tops):
        return [range(height)]
    inside = np.bincount((places[:, 1] // STRIP_ROWS).astype(int), minlength=len(tops))
    parts = np.array_split(np.arange(len(tops)), count)
    chosen = [tops[part[np.argmax(inside[part])]] for part in parts]
    return [range(top, top + STRIP_ROWS) for top in chosen]
