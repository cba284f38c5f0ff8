"""How stars move across the picture: longest shutters, arcs, directions.

The sky turns by 360 degrees in a sidereal day of 86164.1 s (Explanatory Supplement to the
Astronomical Almanac), 15.041 arcseconds per second of time; a star at
declination d moves at 15.041 cos(d) arcseconds per second along its circle.
"""

from __future__ import annotations

import math

SIDEREAL_DAY_S = 86164.0905
SIDEREAL_ARCSEC_S = 360 * 3600 / SIDEREAL_DAY_S
ARCSEC_PER_RADIAN = 180 * 3600 / math.pi
# green, where eye and sensor see best
WAVELENGTH_UM = 0.55
# full width at half height of what lens and colour mosaic make of a point, pixels
MOSAIC_WIDTH_PX = 2.0
# full width at half height of diffraction's disc in units of wavelength x f-number
AIRY_WIDTH = 1.03
# the rules of thumb that people know: this, over the focal length for full frame, in seconds
RULES_OF_THUMB = (500, 300)


def pixel_arcsec(focal_mm: float, pitch_um: float) -> float:
    """Return the angle that a pixel in the middle of the picture sees, in arcseconds."""
    return ARCSEC_PER_RADIAN * pitch_um / 1000 / focal_mm


def star_speed_px_s(focal_mm: float, pitch_um: float, declination_deg: float) -> float:
    """Return the speed of a star across the picture."""
    drift = SIDEREAL_ARCSEC_S * math.cos(math.radians(declination_deg))
    return max(0.0, drift) / pixel_arcsec(focal_mm, pitch_um)


def star_width_px(aperture: float, pitch_um: float) -> float:
    """Return the width of a star's image at half height: mosaic and diffraction together."""
    return math.hypot(MOSAIC_WIDTH_PX, AIRY_WIDTH * WAVELENGTH_UM * aperture / pitch_um)


def longest_point_s(blur_px: float, speed_px_s: float) -> float:
    """Return the shutter in which a star drifts by ``blur_px``; infinite at the very pole.

    A star that drifts by its own width comes out 1.2 times as long as wide (a box of that length
    adds d^2 / 12 to the variance w^2 / 5.545), which still reads as round.
    """
    return blur_px / speed_px_s if speed_px_s > 0 else math.inf


def rule_of_thumb_s(rule: int, focal_mm: float, crop_factor: float) -> float:
    """Return the shutter by an older rule, such as 500 over the full-frame focal length."""
    return rule / (focal_mm * crop_factor)


def arc_deg(elapsed_s: float) -> float:
    """Return by how many degrees all stars go round the pole."""
    return 360 * elapsed_s / SIDEREAL_DAY_S


def declination_of(direction_deg: float, altitude_deg: float, latitude_deg: float) -> float:
    """Return the declination in degrees that a camera looks at.

    Parameters
    ----------
    direction_deg : azimuth, from north over east.
    altitude_deg : above the horizon.
    latitude_deg : north of the equator.

    Source: sin d = sin(lat) sin(alt) + cos(lat) cos(alt) cos(azimuth); Meeus, Astronomical
    Algorithms, 2nd ed., chapter 13.
    """
    azimuth, altitude, latitude = map(math.radians, (direction_deg, altitude_deg, latitude_deg))
    sine = math.sin(latitude) * math.sin(altitude)
    sine += math.cos(latitude) * math.cos(altitude) * math.cos(azimuth)
    return math.degrees(math.asin(max(-1.0, min(1.0, sine))))


def fastest_declination(declination_deg: float, diagonal_mm: float, focal_mm: float) -> float:
    """Return the declination nearest the equator that the picture reaches, corners included."""
    reach = math.degrees(math.atan(diagonal_mm / 2 / focal_mm))
    return math.copysign(max(0.0, abs(declination_deg) - reach), declination_deg)
