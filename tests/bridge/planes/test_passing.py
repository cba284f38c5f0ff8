"""What passes before the stars: found, told apart, and gone without the stars' light."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from stacker.bridge.base import Exposed, GapVerdict
from stacker.bridge.planes import PassingStreak, find_passing
from stacker.bridge.planes.dots import find_dots
from stacker.bridge.planes.lines import find_lines
from stacker.bridge.planes.mend import mended_light, pixels_of
from stacker.bridge.planes.verdict import goes_on, judged
from stacker.bridge.sky import SkyBridge, bridge_sky
from tests.benchmarks.passing_planes import Passer, measure, passers
from tests.benchmarks.star_trails import LUMINANCE
from tests.benchmarks.trailed_nights import Night

SMALL = Night(
    "small",
    gap=0.1,
    size=(480, 320),
    frames=6,
    stars=60,
    steps=24,
    hot_pixels=30,
    strengths=(20, 90),
)


@cache
def measured(what, **changes):
    things = {"busy": passers(1), "nothing": []}[what]
    return measure(replace(SMALL, **changes), 1, things)[0]


def test_planes_go_and_stars_and_a_meteor_stay():
    found = measured("busy")
    assert found.removed > 95  # the aim; by the benchmark, at 960 x 640
    assert found.lost < 1  # the aim
    assert found.kept > 95
    assert found.meteors == 1


@pytest.mark.parametrize("changes", [{}, {"clouds": 0.4}], ids=["clear", "clouds"])
def test_nothing_is_found_where_nothing_passes(changes):
    found = measured("nothing", **changes)
    assert (found.taken, found.meteors) == (0, 0)
    assert found.lost == 0


def test_without_a_sky_nothing_is_looked_for():
    sky = SkyBridge(None, [GapVerdict(False, "closed cloud")])
    exposed = [Exposed(0, 1), Exposed(2, 1)]
    weights = tuple(map(float, LUMINANCE))
    found = find_passing(lambda _: np.zeros((8, 8, 3), np.float32), exposed, sky, weights)
    assert (found.streaks, found.looked_at) == (((), ()), 0)


def test_a_line_in_noise_is_found_where_it_lies():
    rng = np.random.default_rng(3)
    excess = rng.standard_normal((300, 400)).astype(np.float32)
    for x in range(50, 350):
        excess[round(40 + 0.6 * (x - 50)), x] += 6
    (line,) = find_lines(excess)
    ends = line.places[[0, -1]]
    # noise beside an end may lengthen a line by its longest break
    assert np.abs(ends - [[50, 40], [349, 219.4]]).max() < 11
    assert np.abs(line.places[:, 1] - 40 - 0.6 * (line.places[:, 0] - 50)).max() < 1.5
    assert find_lines(rng.standard_normal((300, 400)).astype(np.float32)) == []


def test_a_row_of_even_dots_is_found_and_scattered_ones_are_not():
    excess = np.zeros((200, 300), np.float32)
    for k in range(7):
        x, y = round(20 + 31.3 * k), round(30 + 12.2 * k)
        excess[y - 1 : y + 2, x - 1 : x + 2] = 20
    scattered = np.zeros_like(excess)
    for y, x in np.random.default_rng(5).integers(5, 195, (9, 2)):
        scattered[y : y + 2, x : x + 2] = 20
    (row,) = find_dots(excess)
    assert np.abs(row.places[0] - [20, 30]).max() < 5
    assert np.abs(row.places[-1] - [207.8, 103.2]).max() < 5
    assert find_dots(scattered) == []


def streak(*places, half=3.0):
    line = np.linspace(places[0], places[-1], 20)
    return PassingStreak(line, half)


WHEN = (Exposed(0, 10), Exposed(11, 10))


@pytest.mark.parametrize(
    ("later", "goes"),
    [
        (streak((211, 100), (311, 100)), True),
        (streak((311, 100), (211, 100)), True),  # the ends are in no order
        (streak((211, 160), (311, 160)), False),  # beside it
        (streak((211, 100), (260, 190)), False),  # another way
        (streak((600, 100), (700, 100)), False),  # much too far
    ],
    ids=["on", "told the other way", "beside", "another way", "far"],
)
def test_a_streak_goes_on_where_its_speed_leads(later, goes):
    assert goes_on(streak((100, 100), (200, 100)), later, *WHEN, 1) is goes


def test_what_begins_and_ends_in_one_frame_is_a_meteor():
    region = np.ones((400, 800), bool)
    alone, leaves = streak((300, 200), (400, 260)), streak((300, 300), (798, 300))
    one, two = streak((100, 100), (200, 100)), streak((210, 100), (310, 100))
    first, second = judged([[alone, one], [two, leaves]], WHEN, region, 1)
    assert [each.kind for each in first] == ["meteor", "plane"]
    assert [each.kind for each in second] == ["plane", "plane"]
    assert first[1].passage == second[0].passage != second[1].passage


def test_mended_light_is_never_brighter_and_takes_the_neighbour_that_is_clear():
    own = np.array([[0.5] * 3, [0.1] * 3, [0.5] * 3, [0.5] * 3], np.float32)
    one = np.array([[0.2] * 3, [0.3] * 3, [0.2] * 3, [np.nan] * 3], np.float32)
    two = np.array([[0.21] * 3, [0.3] * 3, [0.8] * 3, [np.nan] * 3], np.float32)
    light = mended_light(own, [one, two])[:, 0]
    np.testing.assert_allclose(light, [0.21, 0.1, 0.2, 0.5])
    np.testing.assert_array_equal(mended_light(own, []), own)


def test_pixels_cover_a_streak_and_no_more():
    where = pixels_of([streak((20, 30), (80, 30), half=2.0)], (60, 100, 3))
    rows, columns = where // 100, where % 100
    # a thick line is drawn up to a pixel thicker
    assert {28, 32} <= set(rows) <= set(range(27, 34))
    # its ends reach on by its half width, and are round
    assert abs(columns.min() - 16) <= 1 and abs(columns.max() - 84) <= 1


def test_the_sky_knows_itself_after_a_look():
    """The bridge that a search returns is that of any look at the same frames."""
    from tests.benchmarks.trailed_nights import TrailedNight

    burst = TrailedNight(SMALL, 1)
    lights = burst.lights()
    one, two = (bridge_sky(lights.__getitem__, burst.exposed) for _ in range(2))
    np.testing.assert_array_equal(one.sky.stars, two.sky.stars)


def test_passers_leave_light():
    """The benchmark's own truth: a plane adds light where it says."""
    from tests.benchmarks.passing_planes import BusyNight

    night = BusyNight(SMALL, 1, [Passer((0.5, 0.3), (0.2, 0.0), 0.0, 1.0, steady=10)])
    layer = night.layer(0, meteors=False)
    row, column = np.unravel_index(layer[..., 1].argmax(), layer.shape[:2])
    assert abs(row - 0.3 * 320) <= 1 and 240 <= column <= 240 + 96
    assert layer.max() == pytest.approx(10 * night.noise, rel=0.2)
