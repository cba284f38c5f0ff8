"""The glow of the sky taken out of a finished picture: what is left is as dark as its darkest."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from stacker.blend.mixing import WHOLE, MaskArray
from stacker.engine.shot import Shot
from stacker.light.encoding import LightArray, Picture, as_light
from stacker.light.sky_glow import FloatArray, fit_glow, floor_of, glow_rows

# pixels a side of the cells whose middle light tells the sky's: stars are the smaller half of it
CELL_PX = 24
# The mask reaches so many pixels over the skyline, softly, where nothing gets darker than the sky's
# floor: an edge of glow along roofs would show more. Bays of sky narrower than some such share of
# the picture are taken for ground, as they are where far hills are as bright as the sky.
OVER_PX, BAY_SHARE = 4, 0.02
# below the floor there is noise of the sky, too
FLOOR_KEPT = 0.8
# a cell belongs to the sky where nearly all of it does
ALL_SKY = 0.98


@dataclass(frozen=True, eq=False)
class Glow:
    """The glow of a picture.

    Parameters
    ----------
    surface, floor : of ``light/sky_glow.py``.
    sky : uint16 (H, W) of the picture, how much of the glow goes; None if all of it does.
    size : (width, height) of the picture.
    """

    surface: FloatArray
    floor: FloatArray
    sky: MaskArray | None
    size: tuple[int, int]

    def taken_out(self, picture: Picture, top: int) -> LightArray:
        """Return rows of the picture, the first of which is row ``top``, without the glow."""
        light = as_light(picture)
        x, y = _across(self.size[0]), _across(self.size[1])[top : top + len(light)]
        glow = glow_rows(self.surface, self.floor, x, y)
        if self.sky is not None:
            # the ground shall get no brighter beside the darkest part of the sky
            np.maximum(glow, 0, out=glow)
            glow *= (self.sky[top : top + len(light)] / np.float32(WHOLE))[..., None]
            # of ground that is darker than the sky nothing is taken
            floor = np.minimum(light, FLOOR_KEPT * self.floor.astype(np.float32))
            return np.asarray(np.maximum(light - glow, floor), np.float32)
        return np.asarray(light - glow, np.float32)


def without_glow(shot: Shot) -> Shot:
    """Return a shot without the glow of its sky; a note where it cannot be told."""
    sky = _sky_of(shot)
    levels, x, y = _cells(shot, sky)
    surface = fit_glow(levels, x, y)
    if surface is None:
        return _telling(shot, "the glow of the sky is left as it is: too little sky is seen")
    floor = floor_of(surface, x, y)
    glow = Glow(surface, floor, None if sky is None else _softly(sky), shot.size)
    luminance = np.asarray(shot.space.luminance_weights)
    span = (levels @ luminance).max() / max(float(floor @ luminance), 1e-9)
    words = f"the sky's glow is taken out, up to {max(span, 1):.1f} times its darkest part"
    if sky is None:
        words += "; all of the picture is taken for sky, as no skyline was looked for or found"
    return _telling(replace(shot, glow=glow), words)


def _telling(shot: Shot, words: str) -> Shot:
    return replace(shot, report={**shot.report, "warnings": [*shot.report["warnings"], words]})


def _sky_of(shot: Shot) -> MaskArray | None:
    """Return the mask of the sky, cut to the picture; None where there is none."""
    if "sky" in shot.masks:
        mask = shot.masks["sky"]
    elif "ground" in shot.masks:
        mask = np.uint16(WHOLE) - shot.masks["ground"]
    else:
        return None
    region = shot.report["region"]
    rows = slice(region["y"], region["y"] + shot.size[1])
    return np.asarray(mask[rows, region["x"] : region["x"] + shot.size[0]])


def _softly(sky: MaskArray) -> MaskArray:
    """Return the mask of the sky without bays, reaching softly over the skyline."""
    bay = 2 * max(1, round(BAY_SHARE * min(sky.shape))) + 1
    open_sky = cv2.morphologyEx(sky, cv2.MORPH_OPEN, np.ones((bay, bay), np.uint8))
    # towers are no bays: what opening took of the sky about them comes back where sky is near
    near = cv2.dilate(open_sky, np.ones((bay, bay), np.uint8))
    whole = cv2.dilate(np.minimum(sky, near), np.ones((2 * OVER_PX + 1,) * 2, np.uint8))
    return np.asarray(cv2.GaussianBlur(whole, (0, 0), OVER_PX / 3), np.uint16)


def _cells(shot: Shot, sky: MaskArray | None) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the middle light of each cell of the sky, (N, 3), and where its middle lies."""
    width, height = shot.size
    side = max(1, min(CELL_PX, min(shot.size) // 8))
    columns = width // side
    levels: list[FloatArray] = []
    places: list[npt.NDArray[np.float64]] = []
    waiting, top = np.empty((0, width, 3), np.float32), 0
    for band in shot.bands():
        waiting = np.concatenate([waiting, as_light(band)])
        while len(waiting) >= side:
            cells = waiting[:side, : columns * side].reshape(side, columns, side, 3)
            middle = np.median(cells.transpose(1, 0, 2, 3).reshape(columns, -1, 3), axis=1)
            kept = np.ones(columns, bool)
            if sky is not None:
                part = sky[top : top + side, : columns * side].reshape(side, columns, side)
                kept = part.mean(axis=(0, 2)) > ALL_SKY * WHOLE
            levels.append(middle[kept].astype(np.float64))
            at = np.flatnonzero(kept) * side + (side - 1) / 2
            places.append(np.stack([at, np.full(len(at), top + (side - 1) / 2)], axis=-1))
            waiting, top = waiting[side:], top + side
    found = np.concatenate(places) if places else np.empty((0, 2))
    across, down = _scaled(found[:, 0], width), _scaled(found[:, 1], height)
    return (np.concatenate(levels) if levels else np.empty((0, 3))), across, down


def _across(count: int) -> FloatArray:
    return _scaled(np.arange(count, dtype=np.float64), count)


def _scaled(places: FloatArray, count: int) -> FloatArray:
    """Return places of pixels as numbers from -1 to 1 over a side of so many."""
    return (2 * places - (count - 1)) / max(count - 1, 1)
