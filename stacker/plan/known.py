"""What is known of camera and light once every blank is filled, and what was assumed for it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from stacker.plan.exposure import (
    LONGEST_ON_DIAL,
    exposure_value,
    hand_limit_s,
    iso_for,
    light_in_words,
)
from stacker.plan.facts import Facts
from stacker.plan.sensors import (
    FULL_FRAME_WIDTH_MM,
    Format,
    Sensor,
    find_format,
    typical_read_noise_e,
)
from stacker.plan.stars import declination_of
from stacker.plan.subjects import Guide, find_subject

USUAL_SENSOR = "full frame"
# of a clip, 16 to 9
CLIP_COLUMNS = 3840
# smaller sensors are those of phones, whose apertures are fixed
PHONE_CROP = 3.0
PHONE_APERTURE = 1.8


@dataclass(frozen=True)
class Assumption:
    """Something that was not told: the option that tells it, and what was taken instead."""

    option: str
    text: str


class Ledger:
    """Fills blanks and remembers with what."""

    def __init__(self) -> None:
        self.assumed: list[Assumption] = []

    def note(self, option: str, text: str) -> None:
        """Remember that something was assumed."""
        self.assumed.append(Assumption(option, text))

    def take(self, given: float | None, usual: float, option: str, text: str) -> float:
        """Return what was given, else what is usual, ``text`` saying it with its unit."""
        if given is not None:
            return given
        self.note(option, text)
        return usual


@dataclass(frozen=True, kw_only=True)
class Known:
    """Camera and light with no blanks.

    Parameters
    ----------
    facts, guide : what was told, and what is usual for the subject.
    sensor, focal_mm, aperture, iso, read_noise_e : of the camera.
    ev : of the light at ISO 100.
    light_told : whether that was told.
    declination_deg : what the camera looks at.
    hand_limit_s : the longest frame that a hand holds.
    """

    facts: Facts
    guide: Guide
    sensor: Sensor
    focal_mm: float
    aperture: float
    iso: float
    read_noise_e: float
    ev: float
    light_told: bool
    declination_deg: float
    hand_limit_s: float


def settle_camera(facts: Facts, ledger: Ledger) -> Known:
    """Return what is known of camera and light, the assumptions noted in ``ledger``.

    Raises
    ------
    OptionError
        The sensor is unknown.
    """
    guide = find_subject(facts.subject)
    kind, sensor = _sensor(facts, ledger)
    # the same view on any sensor
    view = guide.focal_mm * sensor.width_mm / FULL_FRAME_WIDTH_MM
    view = round(view, 0 if sensor.crop_factor < PHONE_CROP else 1)
    focal = ledger.take(facts.focal_mm, view, "--focal-length", f"{view:g} mm lens")
    stop = guide.aperture if sensor.crop_factor < PHONE_CROP else PHONE_APERTURE
    aperture = ledger.take(facts.aperture, stop, "--aperture", f"f/{stop:g}")
    limit = hand_limit_s(focal * sensor.crop_factor, facts.stabiliser_stops or 0.0)
    ev = _light(facts, guide, aperture, ledger)
    usual, why = guide.iso, ""
    if facts.by_hand and guide.frame_shutter_s is None and facts.frame_shutter_s is None:
        usual = max(usual, iso_for(min(limit, LONGEST_ON_DIAL), aperture, ev))
        why = ", so that a hand can hold a frame" if usual > guide.iso else ""
    iso = ledger.take(facts.iso, usual, "--iso", f"ISO {usual:g}{why}")
    typical = typical_read_noise_e(kind, iso)
    read_noise = ledger.take(
        facts.read_noise_e, typical, "--read-noise", f"read noise {typical:.1f} electrons"
    )
    return Known(
        facts=facts,
        guide=guide,
        sensor=sensor,
        focal_mm=focal,
        aperture=aperture,
        iso=iso,
        read_noise_e=read_noise,
        ev=ev,
        light_told=facts.ev is not None or facts.metered_s is not None,
        declination_deg=_declination(facts, ledger),
        hand_limit_s=limit,
    )


def _light(facts: Facts, guide: Guide, aperture: float, ledger: Ledger) -> float:
    """Return the light's EV at ISO 100."""
    if facts.metered_s is not None:
        return exposure_value(aperture, facts.metered_s, facts.iso or guide.iso)
    words = f"light of EV {guide.ev:g}, {light_in_words(guide.ev)}"
    return ledger.take(facts.ev, guide.ev, "--ev", words)


def _sensor(facts: Facts, ledger: Ledger) -> tuple[Format, Sensor]:
    if facts.sensor is None and facts.pixels is not None and facts.pitch_um is not None:
        # count and pitch are the size
        width, height = (each * facts.pitch_um / 1000 for each in facts.pixels)
        kind = find_format(f"{width:.4g}x{height:.4g}")
        return kind, Sensor(kind.name, width, height, facts.pixels)
    if facts.sensor is None:
        ledger.note("--sensor", USUAL_SENSOR)
    kind = find_format(facts.sensor if facts.sensor is not None else USUAL_SENSOR)
    sensor = Sensor(kind.name, kind.width_mm, kind.height_mm, kind.pixels)
    if facts.pixels is not None:
        sensor = replace(sensor, pixels=facts.pixels)
    elif facts.megapixels is not None:
        columns = math.sqrt(facts.megapixels * 1e6 * sensor.width_mm / sensor.height_mm)
        sensor = _with_columns(sensor, columns)
    elif facts.pitch_um is not None:
        sensor = _with_columns(sensor, 1000 * sensor.width_mm / facts.pitch_um)
    else:
        if is_clip(facts):
            sensor = _with_columns(
                replace(sensor, height_mm=sensor.width_mm * 9 / 16), CLIP_COLUMNS
            )
        ledger.note("--pixels", f"{sensor.pixels[0]} x {sensor.pixels[1]} pixels")
    return kind, sensor


def is_clip(facts: Facts) -> bool:
    """Return whether the burst is a clip: usual for the subject, and no gaps are told of."""
    paced = facts.interval_s is not None or facts.gap_s is not None
    return find_subject(facts.subject).clip and not paced


def _with_columns(sensor: Sensor, columns: float) -> Sensor:
    rows = columns * sensor.height_mm / sensor.width_mm
    return replace(sensor, pixels=(max(1, round(columns)), max(1, round(rows))))


def _declination(facts: Facts, ledger: Ledger) -> float:
    if facts.direction_deg is not None:
        # Facts holds all three or none
        assert facts.altitude_deg is not None and facts.latitude_deg is not None
        return declination_of(facts.direction_deg, facts.altitude_deg, facts.latitude_deg)
    if facts.declination_deg is not None or facts.subject not in ("stars", "star-trails"):
        return facts.declination_deg or 0.0
    ledger.note("--declination", "stars on the celestial equator, the fastest")
    return 0.0
