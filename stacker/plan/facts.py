"""What the photographer knows, as one frozen object. All but the subject may be left out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date as Date  # noqa: N812 - a field of Facts has its name

from stacker.errors import OptionError
from stacker.plan.subjects import find_subject

MOST_FRAMES = 1_000_000
MOST_PIXELS = 200_000

# option, least and greatest; far beyond what cameras do, but such that no sum overflows
SPANS = {
    "focal_mm": ("--focal-length", 0.5, 20000.0),
    "pitch_um": ("--pixel-pitch", 0.3, 100.0),
    "megapixels": ("--pixels", 0.001, 10000.0),
    "aperture": ("--aperture", 0.3, 500.0),
    "iso": ("--iso", 1.0, 10_000_000.0),
    "read_noise_e": ("--read-noise", 0.0, 10000.0),
    "stabiliser_stops": ("--stabiliser", 0.0, 10.0),
    "ev": ("--ev", -12.0, 20.0),
    "metered_s": ("--metered", 1e-5, 1e6),
    "frames": ("--frames", 1, MOST_FRAMES),
    "frame_shutter_s": ("--frame-shutter", 1e-5, 1e6),
    "open_s": ("--shutter", 1e-5, 1e8),
    "elapsed_s": ("--elapsed", 1e-5, 1e8),
    "interval_s": ("--interval", 1e-5, 1e6),
    "gap_s": ("--gap", 0.0, 1e6),
    "frame_bytes": ("--frame-size", 1000.0, 1e12),
    "card_bytes": ("--card", 1000.0, 1e16),
    "battery_s": ("--battery", 1.0, 1e8),
    "distance_m": ("--distance", 0.01, 1e9),
    "speed_m_s": ("--speed", 0.0, 1e5),
    "angle_deg": ("--angle", 0.0, 90.0),
    "flow_m_s": ("--flow", 0.0, 1e4),
    "texture_m": ("--texture", 0.001, 1e5),
    "tide_m_h": ("--tide", -20.0, 20.0),
    "busy": ("--busy", 0.0, 1.0),
    "blur_px": ("--blur", 0.01, 1000.0),
    "declination_deg": ("--declination", -90.0, 90.0),
    "direction_deg": ("--direction", 0.0, 360.0),
    "altitude_deg": ("--altitude", 0.0, 90.0),
    "latitude_deg": ("--latitude", -90.0, 90.0),
    "longitude_deg": ("--longitude", -180.0, 180.0),
}
# as people type them
PERCENT = ("busy",)
# the series of sun and moon are good for
YEARS = (1900, 2100)


@dataclass(frozen=True, kw_only=True)
class Facts:
    """What is known before the shot; None is left to the program, which says what it assumed.

    Parameters
    ----------
    subject : a name from ``SUBJECTS``.
    sensor : a format's name, or its size in mm such as ``23.5x15.6``.
    pixels : columns and rows of the picture.
    megapixels : the same as a count.
    pitch_um : width of a pixel in micrometres.
    focal_mm : the lens's own focal length.
    aperture : its f-number.
    iso : of the frames.
    read_noise_e : of a frame, electrons.
    by_hand : no tripod.
    stabiliser_stops : by how many the stabiliser lengthens what a hand can hold.
    ev : exposure value of the light at ISO 100.
    metered_s : or the shutter that the meter gives for this aperture and ISO.
    frames, frame_shutter_s, open_s, elapsed_s, interval_s, gap_s : count, shutter of each frame,
        open time of all, first opening to last closing, start to start, and shut time between;
        seconds. What follows from the others may be left out.
    frame_bytes, card_bytes : of one frame, and of a card.
    battery_s : how long a charge lasts with the camera switched on.
    cold : near freezing.
    distance_m, speed_m_s : of what crosses the view.
    angle_deg : between its way and the line of sight; 90 is square to the view.
    flow_m_s, texture_m, tide_m_h : of water or clouds: speed, length of its texture, rise.
    busy : share of the time in which a spot of the square is hidden by someone, 0 to 1.
    blur_px : how far a star may drift in a frame.
    declination_deg : what the camera looks at; or ``direction_deg`` (from north over east) and
        ``altitude_deg`` with the latitude.
    latitude_deg, longitude_deg : of the place, north and east above 0.
    date : of the evening, or of the morning.
    morning : whether the dawn of that date is meant.
    zone : whose clock is shown, such as ``Europe/London``; the machine's if None.
    """

    subject: str
    sensor: str | None = None
    pixels: tuple[int, int] | None = None
    megapixels: float | None = None
    pitch_um: float | None = None
    focal_mm: float | None = None
    aperture: float | None = None
    iso: float | None = None
    read_noise_e: float | None = None
    by_hand: bool = False
    stabiliser_stops: float | None = None
    ev: float | None = None
    metered_s: float | None = None
    frames: int | None = None
    frame_shutter_s: float | None = None
    open_s: float | None = None
    elapsed_s: float | None = None
    interval_s: float | None = None
    gap_s: float | None = None
    frame_bytes: float | None = None
    card_bytes: float | None = None
    battery_s: float | None = None
    cold: bool = False
    distance_m: float | None = None
    speed_m_s: float | None = None
    angle_deg: float | None = None
    flow_m_s: float | None = None
    texture_m: float | None = None
    tide_m_h: float | None = None
    busy: float | None = None
    blur_px: float | None = None
    declination_deg: float | None = None
    direction_deg: float | None = None
    altitude_deg: float | None = None
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    date: Date | None = None
    morning: bool = False
    zone: str | None = None

    def __post_init__(self) -> None:
        find_subject(self.subject)
        for name, (option, least, greatest) in SPANS.items():
            scale = 100 if name in PERCENT else 1
            _within(option, getattr(self, name), least, greatest, scale)
        for count in self.pixels or ():
            _within("--pixels", count, 1, MOST_PIXELS)
        if self.date is not None and not YEARS[0] <= self.date.year <= YEARS[1]:
            raise OptionError(
                f"--date {self.date.isoformat()}",
                "lies outside of what sun and moon can be told for",
                remedy=f"give a year from {YEARS[0]} to {YEARS[1]}",
                code="option-value",
            )
        _one_of(self, "ev", "metered_s", "--ev", "--metered")
        _one_of(self, "interval_s", "gap_s", "--interval", "--gap")
        _one_of(self, "pixels", "megapixels", "--pixels", "--pixels")
        _one_of(self, "declination_deg", "direction_deg", "--declination", "--direction")
        self._check_span()
        self._check_direction()
        self._check_place()
        self._check_hand()

    def _check_hand(self) -> None:
        if self.stabiliser_stops is not None and not self.by_hand:
            raise OptionError(
                "--stabiliser",
                "helps a hand, and on a tripod it is switched off",
                remedy="give --by-hand too, or leave it out",
                code="option-missing",
            )
        if self.by_hand and self.subject == "pan":
            raise OptionError(
                "--by-hand",
                "says nothing new of a pan: the camera follows the subject in any case",
                remedy="leave it out",
                code="option-value",
            )

    def _check_place(self) -> None:
        placed = self.latitude_deg is not None and self.longitude_deg is not None
        for option, value in (
            ("--date", self.date),
            ("--zone", self.zone),
            ("--morning", self.morning or None),
            ("--longitude", self.longitude_deg),
        ):
            if value is not None and not placed:
                raise OptionError(
                    option,
                    "tells of sun and moon only where the place is known",
                    remedy="give both --latitude and --longitude",
                    code="option-missing",
                )

    def _check_span(self) -> None:
        given = [
            option
            for option, value in (
                ("--frames", self.frames), ("--shutter", self.open_s), ("--elapsed", self.elapsed_s)
            )
            if value is not None
        ]  # fmt: skip
        both = "--frames" in given and "--shutter" in given and self.frame_shutter_s is not None
        if len(given) == 3 or both or given == ["--shutter", "--elapsed"]:
            raise OptionError(
                " and ".join(given),
                "say twice how long the burst is",
                remedy="leave one of them out",
                code="option-span",
            )
        paced = self.interval_s is not None or self.gap_s is not None
        if given == ["--frames", "--elapsed"] and paced:
            raise OptionError(
                "--frames and --elapsed",
                "set the interval already",
                remedy="leave --interval or --gap out, or one of them",
                code="option-span",
            )

    def _check_direction(self) -> None:
        if (self.direction_deg is None) != (self.altitude_deg is None):
            raise OptionError(
                "--direction and --altitude",
                "belong together",
                remedy="give both, such as --direction north --altitude 40",
                code="option-missing",
            )
        if self.direction_deg is not None and self.latitude_deg is None:
            raise OptionError(
                "--direction",
                "tells a declination only where the latitude is known",
                remedy="give --latitude too",
                code="option-missing",
            )


def _within(
    option: str, value: float | None, least: float, greatest: float, scale: int = 1
) -> None:
    if value is None or (math.isfinite(value) and least <= value <= greatest):
        return
    raise OptionError(
        f"{option} {value * scale:.10g}",
        "makes no sense here",
        remedy=f"give a number from {least * scale:.10g} to {greatest * scale:.10g}",
        code="option-value",
    )


def _one_of(facts: Facts, first: str, second: str, one: str, other: str) -> None:
    if getattr(facts, first) is not None and getattr(facts, second) is not None:
        raise OptionError(
            f"{one} and {other}",
            "say the same thing twice",
            remedy="leave one of them out",
            code="option-span",
        )
