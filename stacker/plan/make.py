"""From what the photographer knows to the plan."""

from __future__ import annotations

import math
from datetime import date, timedelta
from typing import Any

from stacker.plan.camera import camera_settings
from stacker.plan.cautions import cautions_for
from stacker.plan.exposure import filter_replaced, stops_from_metered
from stacker.plan.eye import seen, trail_of
from stacker.plan.facts import Facts
from stacker.plan.known import PHONE_CROP, Known, Ledger, is_clip, settle_camera
from stacker.plan.noise import burst_noise, grey_signal_e
from stacker.plan.plan import Plan
from stacker.plan.storage import (
    BATTERY_FRAMES,
    BATTERY_S,
    CLIP_BYTES_S,
    JPEG_BYTES_PER_PIXEL,
    RAW_BYTES_PER_PIXEL,
    Storage,
    storage,
)
from stacker.plan.timing import Timing, light_of, settle_timing
from stacker.plan.twilight import ASTRONOMICAL, Evening, evening_at
from stacker.wording import spoken, spoken_gap, spoken_size

NIGHT = ("stars", "star-trails")
# subjects that bring their own light
FLASHES = ("fireworks", "light-painting")
# before and after the balance of sky and lamps
MARGIN = timedelta(minutes=10)
# exposure that is off by more is worth a word
OFF_STOPS = 1.5
# a night sky belongs below mid-grey, but above the noise
NIGHT_STOPS = (-4.0, 0.5)
MANY_FRAMES = 2000
# phones have lenses of 2 to 20 mm
PHONE_FOCAL_MM = 20.0


def make_plan(subject: str, **known: Any) -> Plan:
    """Return the plan of a burst.

    Parameters
    ----------
    subject : a name from ``SUBJECTS``, such as ``"water"``.
    known : what is known, fields of ``Facts`` such as ``focal_mm=24``.

    Raises
    ------
    OptionError
        Something makes no sense, or contradicts something else.
    """
    return plan_of(Facts(subject=subject, **known))


def plan_of(facts: Facts) -> Plan:
    """Return the plan that follows from what is known.

    Raises
    ------
    OptionError
        The times told contradict each other, or sensor or zone are unknown.
    """
    ledger = Ledger()
    camera = settle_camera(facts, ledger)
    evening = _evening(facts, ledger)
    timing = settle_timing(camera, ledger, usual_elapsed_s=_about_balance(facts, evening))
    stops = stops_from_metered(timing.frame_shutter_s, camera.aperture, camera.iso, camera.ev)
    found = seen(camera, timing, ledger, evening)
    room = _storage(facts, camera, timing, ledger)
    return Plan(
        subject=facts.subject,
        title=camera.guide.title,
        reads_well=camera.guide.reads_well,
        frames=timing.frames,
        frame_shutter_s=timing.frame_shutter_s,
        interval_s=timing.interval_s,
        gap_s=timing.gap_s,
        open_s=timing.open_s,
        elapsed_s=timing.elapsed_s,
        why=(*timing.why, *_as_metered(camera, timing, stops)),
        sensor=camera.sensor,
        focal_mm=camera.focal_mm,
        aperture=camera.aperture,
        iso=camera.iso,
        ev=camera.ev,
        brighter_stops=stops,
        filter=filter_replaced(timing.frames),
        storage=room,
        noise=burst_noise(
            grey_signal_e(camera.sensor, camera.iso, stops), camera.read_noise_e, timing.frames
        ),
        seen=found,
        evening=evening,
        camera=camera_settings(facts.subject, held=facts.by_hand),
        cautions=cautions_for(facts.subject),
        warnings=(
            *_warnings(camera, timing, stops, room),
            *_night_warnings(timing, facts, evening),
        ),
        assumed=tuple(ledger.assumed),
        command=_command(camera, timing),
        blend=camera.guide.blend,
        true_floor=camera.guide.true_floor,
    )


def _as_metered(camera: Known, timing: Timing, stops: float) -> list[str]:
    """Return how bright the frames are, where the light did not set their shutter."""
    set_by_light = camera.guide.frame_shutter_s is None and camera.guide.name != "stars"
    if not camera.light_told and (set_by_light or camera.guide.name in FLASHES):
        return []
    if camera.facts.frame_shutter_s is None and set_by_light:
        return []
    if camera.guide.name in NIGHT:
        side = "below" if stops < 0 else "above"
        return [
            f"under {light_of(camera)} the sky comes out {abs(stops):.1f} stops {side} mid-grey"
        ]
    way = "as bright as metered"
    if abs(stops) >= 0.25:
        way = f"{abs(stops):.1f} stops {'brighter' if stops > 0 else 'darker'} than metered"
    return [f"in light of {light_of(camera)} that is {way}"]


def _command(camera: Known, timing: Timing) -> str:
    """Return how the picture is made, some frames about the middle where few are wanted."""
    span = ""
    if camera.guide.picks is not None:
        picks = min(camera.guide.picks, timing.frames)
        first = (timing.frames - picks) // 2 + 1
        span = f"--first {first} --last {first + picks - 1} "
    return f"stacker expose frames/ {span}{camera.guide.options}"


def _evening(facts: Facts, ledger: Ledger) -> Evening | None:
    if facts.latitude_deg is None or facts.longitude_deg is None:
        return None
    day = facts.date
    if day is None:
        day = date.today()
        when = "this morning" if facts.morning else "this evening"
        ledger.note("--date", f"{when}, {day.isoformat()}")
    return evening_at(
        day, facts.latitude_deg, facts.longitude_deg, facts.zone, morning=facts.morning
    )


def _about_balance(facts: Facts, evening: Evening | None) -> float | None:
    """Return the time from before the balance of sky and lamps until after it, if it is known."""
    if facts.subject != "dusk" or evening is None:
        return None
    if evening.balance_from is None or evening.balance_to is None:
        return None
    return (evening.balance_to - evening.balance_from + 2 * MARGIN).total_seconds()


def _storage(facts: Facts, camera: Known, timing: Timing, ledger: Ledger) -> Storage:
    columns, rows = camera.sensor.pixels
    usual, kind = columns * rows * RAW_BYTES_PER_PIXEL, "a raw file"
    if camera.guide.jpeg:
        usual, kind = columns * rows * JPEG_BYTES_PER_PIXEL, "a JPEG"
    if is_clip(facts):
        usual, kind = CLIP_BYTES_S * timing.interval_s, "a frame of a clip"
    size = ledger.take(facts.frame_bytes, usual, "--frame-size", f"{spoken_size(usual)} for {kind}")
    battery = ledger.take(
        facts.battery_s, BATTERY_S, "--battery",
        f"{spoken(BATTERY_S)} or {BATTERY_FRAMES} frames a charge",
    )  # fmt: skip
    return storage(
        timing.frames,
        timing.interval_s,
        timing.elapsed_s,
        frame_bytes=size,
        one_card_bytes=facts.card_bytes,
        battery_s=battery,
        cold=facts.cold,
    )


def _warnings(camera: Known, timing: Timing, stops: float, room: Storage) -> list[str]:
    found = []
    darkest, brightest = NIGHT_STOPS if camera.guide.name in NIGHT else (-OFF_STOPS, OFF_STOPS)
    if camera.light_told and not darkest <= stops <= brightest:
        way = "brighter" if stops > 0 else "darker"
        cure = "close the aperture or lower ISO" if stops > 0 else "open the aperture or raise ISO"
        found.append(
            f"The frames come out {abs(stops):.1f} stops {way} than the meter wants: {cure}, or "
            "set --frame-shutter."
        )
    if camera.facts.by_hand and timing.frame_shutter_s > camera.hand_limit_s * 2 ** (1 / 3):
        stops_off = math.log2(timing.frame_shutter_s / camera.hand_limit_s)
        found.append(
            f"No hand holds frames of {spoken(timing.frame_shutter_s)}, {stops_off:.1f} stops "
            "beyond the rule: raise ISO, open the aperture, or lean the camera on something firm."
        )
    if camera.guide.name in ("traffic", "star-trails") and timing.frames > 1:
        trail = trail_of(camera, timing)
        if timing.gap_s > trail.longest_gap_s:
            cure = (
                "only a clip is that quick; or the trails of other cars fill them"
                if camera.guide.name == "traffic"
                else "release in a row, without an interval timer"
            )
            found.append(
                f"Gaps of {spoken_gap(timing.gap_s)} leave notches of {trail.gap_px:.0f} px: "
                f"{cure}."
            )
    if room.outruns_camera:
        found.append(
            f"The camera must write {spoken_size(room.bytes_s)} each second, and many cannot for "
            "long: try it, or take smaller files or a longer interval."
        )
    if timing.frames > MANY_FRAMES:
        found.append(
            f"{timing.frames} frames are many: a clip, a longer shutter (smaller aperture, lower "
            "ISO) or longer gaps make fewer."
        )
    if camera.sensor.crop_factor > PHONE_CROP and camera.focal_mm > PHONE_FOCAL_MM:
        own = camera.focal_mm / camera.sensor.crop_factor
        found.append(
            f"{camera.focal_mm:g} mm is long for so small a sensor: if that is what it is called "
            f"for full frame, the lens's own is --focal-length {own:.2g}."
        )
    if timing.frames == 1:
        found.append("One frame is no burst: nothing can be chosen afterwards.")
    if room.cards is not None and room.cards > 1:
        found.append(f"The burst needs {room.cards} such cards, and changing one makes a long gap.")
    return found


def _night_warnings(timing: Timing, facts: Facts, evening: Evening | None) -> list[str]:
    if evening is None:
        return []
    if facts.subject == "dusk" and evening.balance_from is None:
        return [
            "Sky and lamps do not balance on that date: the sun does not pass between day and dusk."
        ]
    if facts.subject not in NIGHT:
        return []
    if evening.dark_from is None or evening.dark_to is None:
        why = (
            "the moon is up while the sun is far enough down"
            if evening.sun_lowest_deg < ASTRONOMICAL
            else f"the sun goes no lower than {evening.sun_lowest_deg:.0f} degrees"
        )
        return [f"It does not get dark enough for faint stars: {why}."]
    dark = (evening.dark_to - evening.dark_from).total_seconds()
    if dark < timing.elapsed_s:
        return [
            f"The dark lasts for {spoken(dark)} only: twilight or the moon will brighten the "
            "other frames."
        ]
    return []
