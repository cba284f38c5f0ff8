"""What the eye will see in the picture, by subject: figures and a sentence on each."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from stacker.plan.known import Known, Ledger
from stacker.plan.stars import (
    RULES_OF_THUMB,
    arc_deg,
    fastest_declination,
    pixel_arcsec,
    rule_of_thumb_s,
    star_speed_px_s,
    star_width_px,
)
from stacker.plan.streaks import Streak, lamp_width_px, speed_px_s, stays_in_median, streak
from stacker.plan.timing import Timing, flow_of, point_limit_s
from stacker.plan.twilight import BALANCE_STOPS, Evening
from stacker.plan.water import SILK_CONTRAST, frames_for_contrast, remaining_contrast
from stacker.wording import spoken, spoken_gap, spoken_share

# a square where each spot is hidden for a fifth of the time
USUAL_BUSY = 0.2
# minutes per stop at middle latitudes, where the evening is not known
USUAL_FADE_MIN = 4.0
# frames that make one moment of dusk
MOMENT_FRAMES = 8
# the way of what crosses the view, where no angle is told
SQUARE_DEG = 90.0
# a day: nothing needs to last longer
ENDLESS_S = 86400.0
# how trails look from a declination on
SHAPES = ((60, "parts of circles"), (25, "bows"), (0, "nearly straight"))


@dataclass(frozen=True)
class Finding:
    """One thing to be seen.

    Parameters
    ----------
    name : stable, for programs.
    value : the figure; None if there is no end to it.
    unit : of the figure, such as ``px``; empty for a plain number.
    text : a sentence for people.
    """

    name: str
    value: float | None
    unit: str
    text: str


def seen(
    known: Known, timing: Timing, ledger: Ledger, evening: Evening | None
) -> tuple[Finding, ...]:
    """Return what will be seen of the subject, the assumptions noted in ``ledger``."""
    held = _hand(known) if known.facts.by_hand else ()
    if known.guide.name == "dusk":
        return (*_dusk(timing, evening), *held)
    return (*SEEN[known.guide.name](known, timing, ledger), *held)


def _hand(known: Known) -> tuple[Finding, ...]:
    limit, stops = known.hand_limit_s, known.facts.stabiliser_stops or 0.0
    equivalent = known.focal_mm * known.sensor.crop_factor
    plural = "s" if stops != 1 else ""
    longer = f", {stops:g} stop{plural} longer than without the stabiliser" if stops else ""
    return (
        Finding(
            "hand_limit", limit, "s",
            f"A hand holds {spoken(limit)} a frame{longer}: the old rule of 1 / focal length "
            f"({equivalent:.0f} mm on full frame). It was made for small prints: half of that is "
            "safer.",
        ),
    )  # fmt: skip


def trail_of(known: Known, timing: Timing, ledger: Ledger | None = None) -> Streak:
    """Return the trail of a car's lamp or of a star on the picture's declination."""
    pitch, focal = known.sensor.pitch_um, known.focal_mm
    if known.guide.name == "star-trails":
        speed = star_speed_px_s(focal, pitch, known.declination_deg)
        width = star_width_px(known.aperture, pitch)
    else:
        distance, pace = _crossing(known, ledger)
        angle = SQUARE_DEG if known.facts.angle_deg is None else known.facts.angle_deg
        speed = speed_px_s(pace, distance, focal, pitch, angle)
        width = lamp_width_px(distance, focal, pitch)
    return streak(speed, width, timing.frame_shutter_s, timing.gap_s)


def _crossing(known: Known, ledger: Ledger | None) -> tuple[float, float]:
    """Return distance in m and speed in m/s of what crosses the view."""
    guide, facts = known.guide, known.facts
    ledger = ledger or Ledger()
    distance, pace = guide.distance_m or 1.0, guide.speed_m_s or 0.0
    way = " across the view" if facts.angle_deg is None else ""
    return (
        ledger.take(facts.distance_m, distance, "--distance", f"{distance:g} m away"),
        ledger.take(facts.speed_m_s, pace, "--speed", f"{pace * 3.6:.0f} km/h{way}"),
    )


def _flow(known: Known, timing: Timing, ledger: Ledger) -> tuple[Finding, ...]:
    flow, texture = flow_of(known, ledger)
    beat = timing.frame_shutter_s, timing.interval_s
    contrast = remaining_contrast(flow, texture, *beat, timing.frames)
    water = known.guide.name == "water"
    keeps, reads = ("Water keeps", "silk") if water else ("Clouds keep", "a veil")
    text = f"{keeps} {spoken_share(contrast)} of the texture's contrast; 10 % and less reads as "
    text += reads
    wanted = frames_for_contrast(SILK_CONTRAST, flow, texture, *beat) if flow else 0
    if wanted and contrast > SILK_CONTRAST * 1.05:
        text += f" ({wanted} such frames)"
    elif wanted and timing.frames > 2 * wanted:
        text += f": {wanted} such frames would do"
    way, between = flow * timing.frame_shutter_s, flow * timing.interval_s
    steps = "neighbours share texture" if between <= texture else "each frame sees new texture"
    found = [
        Finding("contrast", contrast, "", f"{text}."),
        Finding(
            "flow_per_interval", between, "m",
            f"{'It flows' if water else 'They drift'} {_metres(way)} in a frame and "
            f"{_metres(between)} from one to the next: {steps}.",
        ),
    ]  # fmt: skip
    if flow:
        longest = texture / flow
        found.append(Finding(
            "longest_gap", longest, "s",
            f"{'Foam draws' if water else 'Edges draw'} whole streaks over gaps of up to "
            f"{spoken_gap(longest)}, the time of one length of texture.",
        ))  # fmt: skip
    if known.facts.tide_m_h is not None:
        rise = known.facts.tide_m_h * timing.elapsed_s / 3600
        found.append(Finding(
            "tide", rise, "m",
            f"The tide {'rises' if rise >= 0 else 'falls'} by {_metres(abs(rise))} meanwhile: the "
            "line on the rocks is that soft.",
        ))  # fmt: skip
    return tuple(found)


def _traffic(known: Known, timing: Timing, ledger: Ledger) -> tuple[Finding, ...]:
    trail = trail_of(known, timing, ledger)
    columns = known.sensor.pixels[0]
    found = [
        Finding(
            "streak", trail.length_px, "px",
            f"A lamp draws {_pixels(trail.length_px)} in a frame, "
            f"{spoken_share(trail.length_px / columns)} of the picture's width, "
            f"{trail.width_px:.0f} px wide.",
        )
    ]  # fmt: skip
    if trail.speed_px_s * ENDLESS_S > columns:
        crossing = columns / trail.speed_px_s
        found.append(Finding(
            "crossing", crossing, "s",
            f"It crosses the picture in {spoken(crossing)}; the shutter is open "
            f"{timing.open_s / crossing:.1f} times as long.",
        ))  # fmt: skip
    return (*found, _gap(trail))


def _gap(trail: Streak) -> Finding:
    longest = trail.longest_gap_s
    if longest > ENDLESS_S:
        return Finding("longest_gap", None, "s", "What hardly moves shows no gaps.")
    return Finding(
        "longest_gap", longest, "s",
        f"Gaps stay unseen up to {spoken_gap(longest)}, a third of the trail's width of "
        f"{_pixels(trail.width_px)}.",
    )  # fmt: skip


def _star_trails(known: Known, timing: Timing, ledger: Ledger) -> tuple[Finding, ...]:
    trail = trail_of(known, timing)
    turned = arc_deg(timing.elapsed_s)
    length = trail.speed_px_s * timing.elapsed_s
    shape = next(word for least, word in SHAPES if abs(known.declination_deg) >= least)
    return (
        Finding("arc", turned, "deg", f"All stars go {turned:.1f} degrees round the pole."),
        Finding(
            "arc_length", length, "px",
            f"At declination {known.declination_deg:.0f} trails are {shape}, {_pixels(length)} "
            f"long near the middle, {_pixels(trail.length_px)} in each frame.",
        ),
        _gap(trail),
    )  # fmt: skip


def _stars(known: Known, timing: Timing, ledger: Ledger) -> tuple[Finding, ...]:
    pitch, focal = known.sensor.pitch_um, known.focal_mm
    fastest = fastest_declination(known.declination_deg, known.sensor.diagonal_mm, focal)
    speed = star_speed_px_s(focal, pitch, fastest)
    limit = point_limit_s(known)
    blur = known.facts.blur_px or star_width_px(known.aperture, pitch)
    scale = pixel_arcsec(focal, pitch)
    reason = "as you allow" if known.facts.blur_px else "a star's own width"
    lasting = spoken(limit) if limit <= ENDLESS_S else "hours"
    drift = speed * timing.frame_shutter_s
    rules = []
    for rule in RULES_OF_THUMB:
        time = rule_of_thumb_s(rule, focal, known.sensor.crop_factor)
        rules.append(f"the {rule} rule allows {spoken(time)} ({speed * time:.1f} px)")
    return (
        Finding(
            "longest_shutter", limit if limit <= ENDLESS_S else None, "s",
            f"Stars stay points for {lasting}: the fastest in view "
            f"(declination {fastest:.0f}) drift by {blur:.1f} px, {reason}.",
        ),
        Finding(
            "drift", drift, "px",
            f"In a frame they drift by {drift:.1f} px; a pixel is {scale:.0f} arcseconds.",
        ),
        Finding(
            "rules_of_thumb", speed * rule_of_thumb_s(500, focal, known.sensor.crop_factor), "px",
            f"Older rules were made for coarser pixels: {', '.join(rules)}.",
        ),
    )  # fmt: skip


def _fireworks(known: Known, timing: Timing, ledger: Ledger) -> tuple[Finding, ...]:
    lost = timing.gap_s / timing.interval_s
    return (
        Finding(
            "bursts", None, "",
            f"A frame of {spoken(timing.frame_shutter_s)} holds one shell or two, drawn from "
            "rise to fall; choose three to five frames, before the smoke builds up.",
        ),
        Finding(
            "lost", lost, "",
            f"{spoken_share(lost)} of the show falls into the gaps; where shells overlap they "
            "burn out, so few frames look best.",
        ),
    )  # fmt: skip


def _dusk(timing: Timing, evening: Evening | None) -> tuple[Finding, ...]:
    morning = evening is not None and evening.morning
    loses, lose, fades = ("gains", "gain", "brightens") if morning else ("loses", "lose", "fades")
    fade, known_from = USUAL_FADE_MIN, "at middle latitudes"
    if evening is not None and evening.balance_from and evening.balance_to:
        balance = (evening.balance_to - evening.balance_from).total_seconds() / 60
        fade = balance / BALANCE_STOPS
        known_from = f"on that {'morning' if morning else 'evening'}"
    stops = timing.elapsed_s / 60 / fade
    moment = (min(MOMENT_FRAMES, timing.frames) - 1) * timing.interval_s + timing.frame_shutter_s
    return (
        Finding(
            "fade", fade, "min",
            f"The sky {loses} a stop every {fade:.1f} min {known_from}, {stops:.0f} in all; the "
            f"lamps {lose} none.",
        ),
        Finding(
            "moment", moment, "s",
            f"{min(MOMENT_FRAMES, timing.frames)} frames make one moment: within "
            f"{spoken(moment)} the sky {fades} by {moment / 60 / fade:.1f} stops.",
        ),
    )  # fmt: skip


def _light_painting(known: Known, timing: Timing, ledger: Ledger) -> tuple[Finding, ...]:
    share = min(1.0, 1 / timing.frame_shutter_s)
    return (
        Finding(
            "painter", share, "",
            f"Who stands in the lamp's light for a second shows with {spoken_share(share)} of "
            "what a whole frame would give; in lighten only the brightest frame counts.",
        ),
    )  # fmt: skip


def _crowd(known: Known, timing: Timing, ledger: Ledger) -> tuple[Finding, ...]:
    busy = ledger.take(
        known.facts.busy,
        USUAL_BUSY,
        "--busy",
        f"each spot hidden {spoken_share(USUAL_BUSY)} of the time",
    )
    lost = stays_in_median(busy, timing.frames)
    half = timing.elapsed_s / 2
    return (
        Finding(
            "remaining", lost, "",
            f"{spoken_share(lost).capitalize()} of the ground keeps someone, if each spot is "
            f"hidden {spoken_share(busy)} of the time by people who move on between frames.",
        ),
        Finding(
            "longest_stay", half, "s",
            f"Who stays in place for more than {spoken(half)} stays in the picture.",
        ),
    )  # fmt: skip


def _pan(known: Known, timing: Timing, ledger: Ledger) -> tuple[Finding, ...]:
    trail = trail_of(known, timing, ledger)
    whole = trail.speed_px_s * timing.elapsed_s
    found = [
        Finding(
            "smear", whole, "px",
            f"The background streaks by {_pixels(whole)}, "
            f"{spoken_share(whole / known.sensor.pixels[0])} of the picture's width; "
            f"{_pixels(trail.length_px)} in each frame.",
        )
    ]  # fmt: skip
    if trail.gap_px > 1:
        found.append(Finding(
            "gap", trail.gap_px, "px",
            f"It jumps {_pixels(trail.gap_px)} in each gap: lamps and posts come out "
            f"{timing.frames} times. A clip open all the time has no gaps.",
        ))  # fmt: skip
    return tuple(found)


def _ghosts(known: Known, timing: Timing, ledger: Ledger) -> tuple[Finding, ...]:
    share = 1 / timing.frames
    return (
        Finding(
            "visibility", share, "",
            f"Each pose shows at {spoken_share(share)} of full strength in a mean, the place "
            f"behind it at {spoken_share(1 - share)}; --weights makes one stronger.",
        ),
    )  # fmt: skip


def _many_of_one(known: Known, timing: Timing, ledger: Ledger) -> tuple[Finding, ...]:
    most = (timing.frames - 1) // 2
    return (
        Finding(
            "covered", most, "",
            f"Each pose shows in full, or as --weights say. A spot may be covered in {most} of the "
            f"{timing.frames} frames at most: where poses share a spot in more, nothing tells the "
            "background.",
        ),
    )  # fmt: skip


SEEN: dict[str, Callable[[Known, Timing, Ledger], tuple[Finding, ...]]] = {
    "water": _flow,
    "clouds": _flow,
    "traffic": _traffic,
    "star-trails": _star_trails,
    "stars": _stars,
    "fireworks": _fireworks,
    "light-painting": _light_painting,
    "crowd": _crowd,
    "pan": _pan,
    "ghosts": _ghosts,
    "many-of-one": _many_of_one,
}


def _metres(length: float) -> str:
    return f"{length * 100:.2g} cm" if length < 0.995 else f"{length:.3g} m"


def _pixels(length: float) -> str:
    return f"{length:.0f} px" if length >= 10 else f"{length:.1f} px"
