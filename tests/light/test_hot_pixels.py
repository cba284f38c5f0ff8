"""Hot and dead photosites against the truth of a simulated sensor, and the mending of them."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stacker.light.encoding import Encoder, Encoding, decode
from stacker.light.fixed_points import FEWEST_FRAMES, FixedPoints
from stacker.light.hot_pixels import Grid, outliers, unresponsive
from stacker.light.mending import Mending, as_blobs
from stacker.light.neighbours import local_median, patches, reflected
from stacker.light.space import SRGB
from tests.night import Faults, Sky, expose, make_faults, star

SIZE = (240, 320)
BAYER = Grid(2, 0.5, ((2.0, 1.0), (1.0, 1.6)))
FINISHED = Grid(3, 0.5 / 255 / 12.92)
# a dark this far above its surroundings is warm: mending it is no mistake, leaving it neither
WARM_E = 15.0


def as_codes(pixels):
    return pixels.astype(np.float32)


def found_in(sky: Sky, faults: Faults, frames: int, seed: int = 9):
    rng = np.random.default_rng(seed)
    points = FixedPoints(BAYER, as_codes)
    for frame in range(frames):
        points.add(expose(sky.light(frame), faults, rng))
    return points.found()


def clear_of_stars(sky: Sky, frames: int):
    """Return where no light but the sky's comes near: nothing can be confused there."""
    light = np.max([sky.light(frame) for frame in range(frames)], axis=0)[..., 1]
    bright = light > sky.background * 1.05
    return ~np.any(patches(bright, *_everywhere(sky.size), 3), axis=(1, 2)).reshape(sky.size)


def _everywhere(size):
    rows, columns = np.mgrid[0 : size[0], 0 : size[1]]
    return rows.ravel(), columns.ravel()


@pytest.mark.parametrize("frames", [6, 16])
@pytest.mark.parametrize(
    "sky",
    [
        Sky(SIZE, 1),
        # a tripod and a short burst: stars as sharp as they come, and they do not move
        Sky(SIZE, 2, drift_px=0.0),
        Sky(SIZE, 3, stars=300, fwhm=1.2, drift_px=0.05),
        Sky(SIZE, 4, fwhm=1.8, drift_px=1.5),
    ],
    ids=["drifting", "still and sharp", "many", "moving"],
)
def test_hot_photosites_are_found_and_stars_and_lamps_are_not(sky, frames):
    faults = make_faults(SIZE, sky.seed, hot=150)
    bad = found_in(sky, faults, frames)
    clear = clear_of_stars(sky, frames)
    hot = faults.hot & clear
    # hot ones are made from 6.5 sigma of a frame up
    assert hot.sum() > 30
    assert np.mean(bad[hot]) >= 0.98
    warm = faults.dark_e > WARM_E
    assert not np.any(bad & ~warm & ~faults.dead)


def test_dead_photosites_are_found_where_there_is_light():
    sky = Sky(SIZE, 5, stars=0, lamps=0, background=0.1)
    faults = make_faults(SIZE, 5, hot=0, dead=80)
    bad = found_in(sky, faults, 8)
    clear = faults.dead & (np.arange(SIZE[0]) < 170)[:, None]
    assert np.mean(bad[clear]) >= 0.98


def test_a_star_beside_a_dead_photosite_is_no_hot_pixel():
    faults = make_faults(SIZE, 6, hot=0, dead=0)
    rng = np.random.default_rng(0)
    light = np.full((*SIZE, 3), 0.01)
    rows, columns, spread = star(SIZE, 100.0, 121.0, 1.2)
    light[rows, columns] += 0.3 * spread[..., None]
    faults.response[101, 121] = 0
    points = FixedPoints(BAYER, as_codes)
    for _ in range(8):
        points.add(expose(light, faults, rng))
    bad = points.found()
    assert not bad[100, 121]


def test_too_few_frames_tell_nothing():
    faults = make_faults(SIZE, 7)
    assert not found_in(Sky(SIZE, 7), faults, FEWEST_FRAMES - 1).any()
    assert found_in(Sky(SIZE, 7), faults, FEWEST_FRAMES).any()


@pytest.mark.parametrize("shape", [(40, 50), (5, 7), (1, 1)])
def test_even_frames_hold_no_hot_pixels(shape):
    for pixels, grid, to_light in (
        (np.full(shape, 700, np.uint16), BAYER, as_codes),
        (
            np.full((*shape, 3), 40, np.uint8),
            FINISHED,
            partial(decode, encoding=Encoding("uint8", SRGB)),
        ),
    ):
        points = FixedPoints(grid, to_light)
        for _ in range(5):
            points.add(pixels)
        assert not points.found().any()


def finished(light, rng):
    """Return a finished 16-bit picture of light with noise."""
    noisy = light + rng.normal(0, 0.002, light.shape)
    return Encoder(SRGB.curve).encode(noisy.astype(np.float32))


def test_finished_pictures_single_pixels_and_blobs_of_one_colour_but_no_stars():
    rng = np.random.default_rng(3)
    sky = Sky((120, 160), 8, stars=40, drift_px=0.0)
    places = [(20 + 11 * k, 15 + 13 * k) for k in range(6)]
    tent = np.array([[0.25, 0.5, 0.25], [0.5, 1, 0.5], [0.25, 0.5, 0.25]])
    points = FixedPoints(FINISHED, partial(decode, encoding=Encoding("uint16", SRGB)))
    for frame in range(6):
        light = sky.light(frame) * 0.5
        for number, (y, x) in enumerate(places):
            if number % 2:
                light[y, x] += 0.2
            else:
                light[y - 1 : y + 2, x - 1 : x + 2, number // 2] += 0.2 * tent
        points.add(finished(light, rng))
    bad = points.found()
    assert {tuple(place) for place in np.argwhere(bad)} == set(places)


@pytest.mark.parametrize("grid", [BAYER, Grid(1, 0.5), Grid(6, 0.5)])
def test_outliers_of_a_master_dark(grid):
    rng = np.random.default_rng(4)
    master = rng.normal(520, 2, (90, 110)).astype(np.float32)
    y, x = np.mgrid[0:90, 0:110]
    # each colour has a level of its own, and the corner glows
    master += 40 * (y % grid.period) + 15 * (x % grid.period)
    master += 30 * np.exp(-(y + x) / 40)
    hot = np.zeros(master.shape, bool)
    hot.flat[rng.permutation(hot.size)[:40]] = True
    master[hot] += 16
    bad = outliers(master, grid)
    # 16 is 8 sigma; the median about a hot one that has another beside it lies higher
    assert np.mean(bad[hot]) >= 0.95
    # where a colour has few photosites their spread is known less well
    assert np.count_nonzero(bad & ~hot) <= 1e-3 * bad.size


def test_outliers_of_a_finished_master_are_those_of_any_channel():
    master = np.full((30, 30, 3), 0.001, np.float32)
    master[10, 12, 2] = 0.01
    np.testing.assert_array_equal(np.argwhere(outliers(master, FINISHED)), [[10, 12]])


def test_a_flat_shows_what_does_not_respond():
    gain = np.ones((20, 20), np.float32)
    gain[5, 6], gain[9, 9] = 0.1, 0.6
    np.testing.assert_array_equal(np.argwhere(unresponsive(gain, BAYER)), [[5, 6]])


class TestMending:
    def test_a_photosite_takes_the_middle_of_its_own_colour(self):
        codes = np.arange(49, dtype=np.uint16).reshape(7, 7) * 10
        codes[3, 3] = 9999
        bad = np.zeros((7, 7), bool)
        bad[3, 3] = True
        Mending(bad, 2).mend(codes)
        # rows 1, 3, 5 and columns 1, 3, 5 but the middle lie evenly about it
        assert codes[3, 3] == 240

    def test_bad_neighbours_are_not_asked(self):
        codes = np.full((9, 9), 100, np.uint16)
        bad = np.zeros((9, 9), bool)
        bad[2:7:2, 2:7:2] = True
        codes[bad] = 5000
        Mending(bad, 2).mend(codes)
        assert codes[bad].tolist() == [100] * 9

    def test_at_the_border_and_where_nothing_is_sound(self):
        light = np.full((6, 6, 3), 0.25, np.float32)
        light[0, 0] = 1.0
        bad = np.zeros((6, 6), bool)
        bad[0, 0] = True
        mending = Mending(bad, 2)
        mending.mend(light)
        assert mending.count == 1 and (light == 0.25).all()
        alone = np.ones((2, 2), bool)
        assert Mending(alone, 2).count == 0

    def test_a_blob_is_mended_from_outside_it(self):
        light = np.full((20, 20, 3), 0.125, np.float32)
        light[8:11, 8:11] = 0.9
        bad = np.zeros((20, 20), bool)
        bad[9, 9] = True
        Mending(as_blobs(bad), 3).mend(light)
        assert (light == 0.125).all()

    def test_another_size_is_refused(self):
        with pytest.raises(ValueError, match="places"):
            Mending(np.ones((3, 3), bool), 1).mend(np.ones((4, 3)))

    @given(st.integers(0, 10**6), st.integers(1, 3))
    def test_sound_places_are_never_touched(self, seed, period):
        rng = np.random.default_rng(seed)
        codes = rng.integers(0, 65536, (13, 11)).astype(np.uint16)
        bad = rng.random(codes.shape) < 0.2
        before = codes.copy()
        Mending(bad, period).mend(codes)
        np.testing.assert_array_equal(codes[~bad], before[~bad])


def test_local_median_against_plain_numpy():
    values = np.random.default_rng(5).random((12, 14)).astype(np.float32)
    smooth = local_median(values, 2)
    for y, x in ((4, 5), (7, 8), (2, 11)):
        assert smooth[y, x] == np.median(values[y - 2 : y + 3 : 2, x - 2 : x + 3 : 2])


def test_mirrored_places_keep_their_colour():
    places = np.arange(-5, 15)
    mirrored = reflected(places, 9)
    assert mirrored.min() == 0 and mirrored.max() == 8
    np.testing.assert_array_equal(mirrored % 2, places % 2)
