"""Stars: against angles and drifts worked by hand."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stacker.plan.stars import (
    SIDEREAL_ARCSEC_S,
    arc_deg,
    declination_of,
    fastest_declination,
    longest_point_s,
    pixel_arcsec,
    rule_of_thumb_s,
    star_speed_px_s,
    star_width_px,
)


def test_the_sky_turns_15_041_arcseconds_per_second():
    """1296000 / 86164.09, Explanatory Supplement to the Astronomical Almanac."""
    assert pytest.approx(15.0411, abs=1e-4) == SIDEREAL_ARCSEC_S
    assert arc_deg(3600) == pytest.approx(15.0411, abs=1e-4)
    assert arc_deg(86164.0905) == pytest.approx(360)


def test_a_pixel_sees_206_265_arcseconds_per_micrometre_and_millimetre():
    """6 um behind 24 mm: 206.265 x 6 / 24 = 51.57."""
    assert pixel_arcsec(24, 6) == pytest.approx(51.566, abs=1e-3)


def test_the_longest_shutter_by_hand():
    """Two pixels at 24 mm and 6 um on the equator: 2 x 51.566 / 15.0411 = 6.857 s; at
    declination 60 twice as long; 500 / 24 = 20.8 s would be 6.08 px."""
    speed = star_speed_px_s(24, 6, 0)
    assert longest_point_s(2, speed) == pytest.approx(6.857, abs=1e-3)
    assert longest_point_s(2, star_speed_px_s(24, 6, 60)) == pytest.approx(13.713, abs=2e-3)
    assert rule_of_thumb_s(500, 24, 1) == pytest.approx(20.833, abs=1e-3)
    assert speed * rule_of_thumb_s(500, 24, 1) == pytest.approx(6.077, abs=1e-3)


def test_the_pole_star_hardly_moves_and_the_pole_not_at_all():
    """At declination 89.26 a star goes cos = 0.0129 of the equator's way."""
    share = star_speed_px_s(50, 5, 89.26) / star_speed_px_s(50, 5, 0)
    assert share == pytest.approx(0.01292, abs=1e-4)
    assert longest_point_s(2, star_speed_px_s(50, 5, 90)) > 1e15


@given(st.floats(0, 90), st.floats(4, 1000), st.floats(0.8, 10))
def test_both_hemispheres_are_alike(declination, focal, pitch):
    north, south = (star_speed_px_s(focal, pitch, sign * declination) for sign in (1, -1))
    assert north == south
    assert north <= star_speed_px_s(focal, pitch, 0)


@given(st.floats(0.5, 32), st.floats(0.8, 10))
def test_a_star_is_no_smaller_than_the_mosaic_makes_it(aperture, pitch):
    assert star_width_px(aperture, pitch) >= 2
    assert star_width_px(2 * aperture, pitch) > star_width_px(aperture, pitch)


def test_a_drift_by_its_own_width_leaves_a_star_nearly_round():
    """A normal profile of width w has the variance w^2 / 5.545, a drift of w adds w^2 / 12."""
    ratio = math.sqrt(1 + (1 / 12) / (1 / (8 * math.log(2))))
    assert ratio == pytest.approx(1.21, abs=0.005)


@pytest.mark.parametrize(
    ("direction", "altitude", "latitude", "declination"),
    [
        (0, 54.5, 54.5, 90),  # due north, as high as the latitude: the pole
        (123, 90, 54.5, 54.5),  # overhead: the latitude
        (180, 35.5, 54.5, 0),  # due south, 90 - latitude high: the equator
        (90, 0, 54.5, 0),  # due east on the horizon
        (180, 33.9, -33.9, -90),  # the other pole
        (180, 0, 54.5, -35.5),  # the lowest in the south: latitude - 90
    ],
)
def test_where_the_camera_looks(direction, altitude, latitude, declination):
    # near the pole the arcsine knows a hundred-millionth of a radian
    assert declination_of(direction, altitude, latitude) == pytest.approx(declination, abs=1e-5)


def test_the_fastest_stars_are_those_nearest_the_equator_in_view():
    """24 mm on full frame sees atan(21.63 / 24) = 42.0 degrees from the middle to the corner."""
    assert fastest_declination(60, 43.267, 24) == pytest.approx(17.97, abs=0.01)
    assert fastest_declination(-60, 43.267, 24) == pytest.approx(-17.97, abs=0.01)
    assert fastest_declination(30, 43.267, 24) == 0
