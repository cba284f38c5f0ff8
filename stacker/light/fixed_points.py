"""Hot and dead pixels told from stars and lamps, in the frames of a burst themselves.

A hot photosite stands alone: what a lens draws is wider than one photosite, so a star lifts its
neighbours too, however sharp it is. And it stands in the same place in every frame.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import numpy.typing as npt

from stacker.light.encoding import LightArray, PixelArray
from stacker.light.hot_pixels import Grid, NoiseByLevel, sampled
from stacker.light.mending import BadMask
from stacker.light.neighbours import AROUND, local_median, patches, phases, reflected

Kept = npt.NDArray[np.bool_]

# In every single frame of a burst, if not told otherwise. Noise passes once in 740 times: in four
# frames in the same place, once in 10^11.
FRAME_SIGMAS = 3.0
FEWEST_FRAMES = 4
# on the average of the frames; what is fainter is as likely a faint star
MEAN_SIGMAS = 4.5
# in one frame of so many it may fail to: a star that passes close by outshines it
MISSES_ONE_IN = 8
# Four adjacent photosites together, to the one between them. A star of 1.2 px full width at half
# maximum in the middle of a photosite gives 0.58, 0.9 where photosites fill their place, and any
# other star more; a hot photosite gives nothing.
SHOULDER = 0.40
# a second place of the same colour this bright beside it belongs to a lamp or to a line
COMPANION = 0.5
# its height to the mean unevenness about it: among leaves and stones anything stands out
CLEAR_OF_TEXTURE = 8.0
# The blob that a demosaiced hot photosite becomes has one colour: the light of any other channel
# to its own, over the blob; and it ends after one pixel: the mean of the ring about it to its
# height.
SECOND_COLOUR = 0.20
RING = 0.05
# how far noise may speak for a place: in the end it must do without, at first sight it need not
SURE, AT_FIRST_SIGHT = 1.0, -3.0
BLOCK_ROWS = 96
# so many of them, spread over the frame, tell its noise
NOISE_BLOCKS = 10
ADJACENT = ((-1, 0), (0, -1), (0, 1), (1, 0))


class FixedPoints:
    """Frames of a burst looked through for what stands alone in each of them.

    The first frame tells which places to look at; of the others only those are read, so little
    is kept. ``add`` all frames, then ask for ``found``.

    Parameters
    ----------
    grid : how colours lie.
    to_light : takes pixels of any shape as they are added to float32 numbers proportional to
        light.
    sigmas : how many standard deviations of the noise a place must stand out by in a frame. More
        leave faint ones out, and are quicker: noise makes fewer places to look at.
    """

    def __init__(
        self,
        grid: Grid,
        to_light: Callable[[PixelArray], LightArray],
        *,
        sigmas: float = FRAME_SIGMAS,
    ) -> None:
        self.grid = grid
        self.to_light = to_light
        self.sigmas = sigmas
        self.frames = 0
        self.shape: tuple[int, ...] = ()
        self.noise: list[NoiseByLevel] = []
        # row, column and channel of each place, (n, 3)
        self.places = np.empty((0, 3), np.intp)
        # 1 where it is brighter than around, -1 where darker
        self.signs = np.empty(0, np.float32)
        # in how many frames it did not stand out
        self.misses = np.empty(0, np.intp)
        # what lies about each place, added up over the frames
        self.total = np.empty(0, np.float32)

    def add(self, pixels: PixelArray) -> None:
        """Take in a frame, (H, W) from the sensor or (H, W, 3) finished; not changed."""
        if self.frames == 0:
            self.shape = pixels.shape
            self._choose(pixels)
        about = self._about(pixels, self.places)
        if self.frames == 0:
            self.total = np.zeros_like(about)
            self.misses = np.zeros(len(about), np.intp)
        self.total += about
        self.misses += ~self._stands_out(about)
        self.frames += 1
        self._keep(self.misses <= max(1, self.frames // MISSES_ONE_IN))

    def found(self) -> BadMask:
        """Return where something stands alone in every frame, bool (H, W)."""
        bad = np.zeros(self.shape[:2], bool)
        self._keep(self.misses <= self.frames // MISSES_ONE_IN)
        if self.frames >= FEWEST_FRAMES and len(self.places):
            mean = self.total / np.float32(self.frames)
            kept = self._alone(mean, SURE) & self._stands_out(mean, MEAN_SIGMAS)
            lone = self.places[kept]
            bad[lone[:, 0], lone[:, 1]] = True
        return bad

    def _keep(self, kept: Kept) -> None:
        self.places, self.signs = self.places[kept], self.signs[kept]
        self.misses, self.total = self.misses[kept], self.total[kept]

    def _choose(self, pixels: PixelArray) -> None:
        """Note the places that stand out in the first frame."""
        self._measure_noise(pixels)
        least = np.array([noise.sigmas.min() for noise in self.noise], np.float32)
        places, signs = [], []
        for top, inner, light in self._blocks(pixels):
            light = light.reshape(*light.shape[:2], -1)
            self.places, self.signs = self._standing_out(light, inner, least)
            self.places[:, 0] += top - inner.start
            about = self._about(pixels, self.places)
            kept = self._stands_out(about)
            kept &= self._alone(about, AT_FIRST_SIGHT)
            places.append(self.places[kept])
            signs.append(self.signs[kept])
        self.places, self.signs = np.concatenate(places), np.concatenate(signs)

    def _standing_out(
        self, light: LightArray, inner: slice, least: LightArray
    ) -> tuple[npt.NDArray[np.intp], LightArray]:
        """Return the places in rows of light (h, W, C) that may stand out, and their signs.

        A quick look, before what lies about each is read: by their own noise, and beside others
        of their colour.
        """
        level = local_median(light, self.grid.period)
        excess = light[inner] - level[inner]
        rows, columns, channels = np.nonzero(np.abs(excess) > self.sigmas * least)
        height = excess[rows, columns, channels]
        rows += inner.start
        level = level[rows, columns, channels]
        sigma = np.empty(len(rows))
        for channel, noise in enumerate(self.noise):
            own = channels == channel
            sigma[own] = noise.at(level[own])
        signs = np.sign(height)
        kept = np.abs(height) > self.sigmas * sigma
        for step in np.array(AROUND) * self.grid.period:
            down = reflected(rows + step[0], len(light))
            across = reflected(columns + step[1], light.shape[1])
            beside = (light[down, across, channels] - level) * signs
            kept &= beside + AT_FIRST_SIGHT * sigma < COMPANION * np.abs(height)
        return np.stack([rows, columns, channels], axis=1)[kept], signs[kept]

    def _measure_noise(self, pixels: PixelArray) -> None:
        excesses, levels = [], []
        for _, inner, light in self._blocks(pixels, len(pixels) // BLOCK_ROWS // NOISE_BLOCKS):
            level = local_median(light, self.grid.period)[inner]
            excesses.append(sampled(light[inner] - level, NOISE_BLOCKS))
            levels.append(sampled(level, NOISE_BLOCKS))
        excess, level = np.concatenate(excesses), np.concatenate(levels)
        self.noise = [
            NoiseByLevel(one, two, self.grid.least_sigma)
            for one, two in zip(excess.T, level.T, strict=True)
        ]

    def _blocks(
        self, pixels: PixelArray, left_out: int = 0
    ) -> Iterator[tuple[int, slice, LightArray]]:
        """Yield a block's first row, its light with a margin, and where it lies in that.

        So many blocks are left out after each.
        """
        margin = self.grid.period
        for top in range(0, len(pixels), BLOCK_ROWS * (left_out + 1)):
            bottom = min(top + BLOCK_ROWS, len(pixels))
            start = max(0, top - margin)
            light = self.to_light(pixels[start : bottom + margin])
            yield top, slice(top - start, bottom - start), light

    def _about(self, pixels: PixelArray, places: npt.NDArray[np.intp]) -> LightArray:
        """Return what lies about places, (n, size, size, channels)."""
        found = patches(pixels, places[:, 0], places[:, 1], self.grid.reach)
        return self.to_light(found).reshape(*found.shape[:3], *(self.shape[2:] or (1,)))

    def _around(self, about: LightArray, down: int = 0, across: int = 0) -> LightArray:
        """Return the eight neighbours of the same colour of a place in patches, (n, 8, C)."""
        period, middle = self.grid.period, self.grid.reach
        rows = [middle + down + step[0] * period for step in AROUND]
        columns = [middle + across + step[1] * period for step in AROUND]
        # a neighbour of a neighbour may lie beyond the patch: its near side tells enough
        size = about.shape[1]
        inside = [0 <= r < size and 0 <= c < size for r, c in zip(rows, columns, strict=True)]
        return about[:, np.array(rows)[inside], np.array(columns)[inside]]

    def _own(self, values: npt.NDArray[Any]) -> npt.NDArray[Any]:
        """Return of each place the channel that it was noted for."""
        chosen: npt.NDArray[Any] = values[np.arange(len(values)), ..., self.places[:, 2]]
        return chosen

    def _sigma(self, level: LightArray) -> npt.NDArray[np.float64]:
        """Return the noise of one frame at levels (n, C)."""
        return np.stack([noise.at(level[:, c]) for c, noise in enumerate(self.noise)], axis=1)

    def _stands_out(self, about: LightArray, sigmas: float | None = None) -> Kept:
        level = np.median(self._around(about), axis=1)
        middle = about[:, self.grid.reach, self.grid.reach]
        excess = self._own(middle - level) * self.signs
        least = self.sigmas if sigmas is None else sigmas
        kept: Kept = excess > least * self._own(self._sigma(level))
        return kept

    def _alone(self, about: LightArray, sureness: float) -> Kept:
        """Whether nothing but the place itself stands out: no companion, no shoulder, no texture.

        Parameters
        ----------
        about : the mean over the frames so far of what lies about each place.
        sureness : how many standard deviations of noise may count against a place; negative ones
            count for it.
        """
        middle = self.grid.reach
        around = self._around(about)
        level = np.median(around, axis=1)
        height = self._own(about[:, middle, middle] - level) * self.signs
        spread = self._sigma(level) / np.sqrt(max(1, self.frames))
        noise = sureness * spread
        beside = self._own(around - level[:, np.newaxis]) * self.signs[:, np.newaxis]
        lone = beside.max(axis=1) + self._own(noise) < COMPANION * height
        # four adjacent photosites have twice the noise of one
        shoulder = self._shoulder(about, spread) + 2 * noise * self._mean_share()
        narrow = shoulder.max(axis=1) < SHOULDER * height
        # of the unevenness, what noise of this size makes by itself is no texture
        texture = np.sqrt(np.maximum(self._roughness(about) ** 2 - spread**2, 0))
        lone &= height > CLEAR_OF_TEXTURE * self._own(texture)
        if self.grid.balance is not None:
            return np.asarray(lone & narrow)
        return np.asarray(lone & (narrow | self._is_blob(about - level[:, None, None], noise)))

    def _shoulder(self, about: LightArray, spread: npt.NDArray[np.float64]) -> LightArray:
        """Return by how much the four adjacent places together stand out, (n, C)."""
        middle, signs = self.grid.reach, self.signs[:, np.newaxis]
        sides = []
        for down, across in ADJACENT:
            level = np.median(self._around(about, down, across), axis=1)
            share = self._share(down, across)
            side = (about[:, middle + down, middle + across] - level) * signs * share
            # a dead or shaded photosite on one side must not hide the shoulder on the others
            sides.append(np.maximum(side, -spread * share))
        return np.asarray(np.sum(sides, axis=0))

    def _roughness(self, about: LightArray) -> LightArray:
        """Return how far places about the middle lie from others of their colour, (n, C)."""
        period, middle = self.grid.period, self.grid.reach
        parts = []
        for row, column in phases(period):
            plane = about[:, row, column]
            plane = plane.reshape(len(about), plane.shape[1] * plane.shape[2], plane.shape[3])
            level = np.median(plane, axis=1, keepdims=True)
            parts.append(np.abs(plane - level))
        every = np.concatenate(parts, axis=1)
        excess = np.abs(about[:, middle, middle] - np.median(self._around(about), axis=1))
        rough: LightArray = (every.sum(axis=1) - excess) / (every.shape[1] - 1)
        return rough

    def _share(self, down: int, across: int) -> npt.NDArray[np.float64] | float:
        """Return what an adjacent photosite's light counts for, for white to count evenly."""
        if self.grid.balance is None:
            return 1.0
        balance = np.array(self.grid.balance)
        rows, columns = self.places[:, 0], self.places[:, 1]
        period = self.grid.period
        adjacent = balance[(rows + down) % period, (columns + across) % period]
        share: npt.NDArray[np.float64] = adjacent / balance[rows % period, columns % period]
        return share[:, np.newaxis]

    def _mean_share(self) -> npt.NDArray[np.float64] | float:
        """Return what the noise of the adjacent photosites counts for, on the whole."""
        if self.grid.balance is None:
            return 1.0
        shares = [np.asarray(self._share(down, across)) ** 2 for down, across in ADJACENT]
        return np.asarray(np.sqrt(np.mean(shares, axis=0)))

    def _is_blob(self, excess: LightArray, noise: npt.NDArray[np.float64]) -> Kept:
        """Whether it is what demosaicing makes of one photosite: of one colour, and soon over."""
        middle = self.grid.reach
        signed = excess * self.signs[:, None, None, None]
        blob = signed[:, middle - 1 : middle + 2, middle - 1 : middle + 2]
        wider = signed[:, middle - 2 : middle + 3, middle - 2 : middle + 3]
        light = blob.sum(axis=(1, 2))
        ring = self._own(wider.sum(axis=(1, 2)) - light) / 16
        own, height = self._own(light), self._own(blob[:, 1, 1])
        highest = self._own(blob.max(axis=(1, 2))) <= height
        other = np.abs(light)
        other[np.arange(len(other)), self.places[:, 2]] = 0
        one_colour = (other + 3 * noise).max(axis=1) < SECOND_COLOUR * own
        over = ring + self._own(noise) / 4 < RING * height
        return np.asarray(highest & one_colour & over)
