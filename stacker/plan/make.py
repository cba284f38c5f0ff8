"""From what the photographer knows to the plan."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from stacker.plan.camera import camera_settings
from stacker.plan.cautions import cautions_for
from stacker.plan.exposure import filter_replaced, stops_from_metered
from stacker.plan.eye import seen, trail_of
from stacker.plan.facts import Facts
from stacker.plan.known import Known, Ledger, settle_camera
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
from stacker.wording import spoken, spoken_gap, spoken_size
from stacker.plan.timing import Timing, settle_timing
from stacker.plan.twilight import ASTRONOMICAL, Evening, evening_at

NIGHT = ("stars", "star-trails")
# before and after the balance of sky and lamps
MARGIN = timedelta(minutes=10)
# exposure that is off by more is worth a word
OFF_STOPS = 1.5
MANY_FRAMES = 2000


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
        why=timing.why,
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
        camera=camera_settings(facts.subject),
        cautions=cautions_for(facts.subject),
        warnings=(
            *_warnings(camera, timing, stops, room),
            *_night_warnings(timing, facts, evening),
        ),
        assumed=tuple(ledger.assumed),
        command=f"stacker expose frames/ {camera.guide.options}",
    )


def _evening(facts: Facts, ledger: Ledger) -> Evening | None:
    if facts.latitude_deg is None or facts.longitude_deg is None:
        return None
    day = facts.date
    if day is None:
        day = date.today()
        ledger.note("--date", f"this evening, {day.isoformat()}")
    return evening_at(day, facts.latitude_deg, facts.longitude_deg, facts.zone)


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
    if camera.guide.clip:
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
    if camera.light_told and abs(stops) > OFF_STOPS:
        way = "brighter" if stops > 0 else "darker"
        cure = "close the aperture or lower ISO" if stops > 0 else "open the aperture or raise ISO"
        found.append(
            f"The frames come out {abs(stops):.1f} stops {way} than the meter wants: {cure}, or "
            "set --frame-shutter."
        )
    if camera.guide.name in ("traffic", "star-trails") and timing.frames > 1:
        longest = trail_of(camera, timing).longest_gap_s
        if timing.gap_s > longest:
            cure = (
                "only a clip is that quick; or let the trails of other cars fill them"
                if camera.guide.name == "traffic"
                else "release in a row, without an interval timer"
            )
            found.append(
                f"Gaps of {spoken_gap(timing.gap_s)} will show as notches, from "
                f"{spoken_gap(longest)} on: {cure}."
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
    if timing.frames == 1:
        found.append("One frame is no burst: nothing can be chosen afterwards.")
    if room.cards is not None and room.cards > 1:
        found.append(f"The burst needs {room.cards} such cards, and changing one makes a long gap.")
    return found


def _night_warnings(timing: Timing, facts: Facts, evening: Evening | None) -> list[str]:
    if facts.subject not in NIGHT or evening is None:
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
