"""A plan in words: as text for one screen, or as Markdown to print."""

from __future__ import annotations

import re
import textwrap
from datetime import datetime

from stacker.plan import Plan
from stacker.plan.twilight import ASTRONOMICAL, Evening
from stacker.wording import clock_time, spoken, spoken_gap, spoken_share, spoken_size

WIDTH = 100
LABEL = 10
NO_BREAK = "\N{NO-BREAK SPACE}"
# a number stays with its unit
TOGETHER = re.compile(r"(?<=\d) (?=[a-zA-Z%(])|(?<=EV) |(?<=ISO) |(?<=ND) ")


def as_text(plan: Plan) -> str:
    """Return a plan as lines of at most 100 signs."""
    lines = [f"{plan.title} (shutters that read well: {plan.reads_well})", ""]
    for label, sentences in _sections(plan):
        for number, sentence in enumerate(sentences):
            first = f"{label if number == 0 else '':<{LABEL}}"
            lines += textwrap.wrap(
                TOGETHER.sub(NO_BREAK, sentence),
                WIDTH,
                initial_indent=first,
                subsequent_indent=" " * LABEL,
                break_on_hyphens=False,
            )
    return "\n".join(lines).replace(NO_BREAK, " ") + "\n"


def as_markdown(plan: Plan) -> str:
    """Return a plan as Markdown with boxes to tick."""
    lines = [f"# {plan.title}", ""]
    for label, sentences in _sections(plan):
        tick = "- [ ] " if label in ("Camera", "Careful") else "- "
        lines += [f"## {label}", ""]
        lines += [f"    {each}" if label == "Then" else f"{tick}{each}" for each in sentences]
        lines.append("")
    return "\n".join(lines[:-1]) + "\n"


def _sections(plan: Plan) -> list[tuple[str, list[str]]]:
    """Return labels with their sentences; what is empty is left out."""
    found = [
        ("Shoot", _shoot(plan)),
        ("Gives", _gives(plan)),
        ("Noise", _noise(plan)),
        ("Card", [_card(plan)]),
        ("You see", [finding.text for finding in plan.seen]),
        (_when(plan.evening), _evening(plan.evening) if plan.evening else []),
        ("Mind", list(plan.warnings)),
        ("Camera", list(plan.camera)),
        ("Careful", list(plan.cautions)),
        ("Assumed", [_assumed(plan)] if plan.assumed else []),
        ("Then", [plan.command]),
    ]
    return [(label, sentences) for label, sentences in found if sentences]


def _shoot(plan: Plan) -> list[str]:
    count = f"{plan.frames} frame{'s' if plan.frames != 1 else ''}"
    beat = f"one every {spoken_gap(plan.interval_s)}, shut for {spoken_gap(plan.gap_s)} between"
    if plan.gap_s == 0:
        beat = "with no gap between"
    return [
        f"{count} of {spoken(plan.frame_shutter_s)} at f/{plan.aperture:g}, ISO {plan.iso:g}, "
        f"{plan.focal_mm:g} mm on {plan.sensor.name}; {beat}.",
        " ".join(_sentence(why) for why in plan.why),
    ]


def _gives(plan: Plan) -> list[str]:
    text = f"{spoken(plan.open_s)} of open shutter within {spoken(plan.elapsed_s)}"
    # neither keeps an exposure's worth of light
    if plan.frames > 1 and plan.blend not in ("median", "poses"):
        text += (
            f"; one exposure of that time would want a filter of {plan.filter.stops:.1f} stops "
            f"(ND {plan.filter.factor:.0f}, density {plan.filter.density:.1f})"
        )
    return [f"{text}."]


def _noise(plan: Plan) -> list[str]:
    noise = plan.noise
    if plan.frames == 1:
        return []
    if plan.blend == "median":
        return [f"The median has {_part(noise.median_gain)} of the noise of one frame."]
    if plan.blend == "poses":
        return [
            f"The place has about {_part(noise.gain)} of the noise of one frame, each pose all of "
            "it."
        ]
    mean = f"The mean has {_part(noise.gain)} of the noise of one frame"
    if plan.blend == "lighten":
        lifted = f"A plain lighten lifts dark ground by {noise.lift_sigma:.1f} times the noise of "
        if plan.true_floor:
            return [f"{lifted}one frame; the true floor that is chosen here keeps it down. {mean}."]
        return [f"{lifted}one frame. {mean}."]
    if max(noise.excess_grey, noise.excess_shadow) < 1.005:
        return [f"{mean}, or of one exposure through that filter."]
    return [
        f"{mean}, or of one exposure through that filter. One without filter, read once and not "
        f"{plan.frames} times ({noise.read_noise_e:.1f} electrons each), would have "
        f"{_less(noise.excess_grey)} in mid-grey and {_less(noise.excess_shadow)} in deep shadow, "
        "but burnt-out lights."
    ]


def _part(gain: float) -> str:
    part = f"1/{gain:.1f}".removesuffix(".0")
    return "half" if part == "1/2" else part


def _less(times: float) -> str:
    """Return by how much noise is less where other noise is so many times as much."""
    share = 1 - 1 / times
    return "as much" if share < 0.005 else f"{spoken_share(share)} less"


def _card(plan: Plan) -> str:
    room = plan.storage
    text = f"{spoken_size(room.card_bytes)} at {spoken_size(room.frame_bytes)} a frame"
    if room.cards is not None:
        text += f", {room.cards} card{'s' if room.cards != 1 else ''}"
    changes = room.battery_changes
    if changes == 0:
        return f"{text}. One battery will do."
    plural = "s, each" if changes != 1 else ","
    return f"{text}. {changes} battery change{plural} one long gap: change where you can spare it."


def _when(evening: Evening | None) -> str:
    return "Morning" if evening is not None and evening.morning else "Evening"


def _evening(evening: Evening) -> list[str]:
    dusk = (
        ("sunset", evening.sunset),
        ("civil twilight ends", evening.civil_end),
        ("nautical", evening.nautical_end),
        ("astronomical", evening.astronomical_end),
    )
    dawn = (
        ("astronomical twilight begins", evening.astronomical_begin),
        ("nautical", evening.nautical_begin),
        ("civil", evening.civil_begin),
        ("sunrise", evening.sunrise),
    )
    shown, sets = (dawn, evening.sunrise) if evening.morning else (dusk, evening.sunset)
    sun = [f"{word} {clock_time(moment)}" for word, moment in shown if moment is not None]
    if sets is None:
        rises = evening.sun_highest_deg > 0
        sun.insert(0, "the sun does not set" if rises else "the sun does not rise")
    day = f"{evening.date.isoformat()}, {_place(evening)}, by the {_the(evening.clock)}"
    lines = [f"{day}: {', '.join(sun)}."]
    if evening.sun_lowest_deg > ASTRONOMICAL:
        lines[0] += f" At its lowest the sun is at {evening.sun_lowest_deg:.0f} degrees."
    balance = _span(evening.balance_from, evening.balance_to)
    dark = _span(evening.dark_from, evening.dark_to)
    lines.append(
        f"Sky and lamps balance {f'about {balance}' if balance else 'at no time'}; dark enough "
        f"for stars {dark or 'at no time'}."
    )
    return [*lines, _moon(evening)]


def _moon(evening: Evening) -> str:
    way = "waxing" if evening.moon_waxing else "waning"
    text = f"Moon {spoken_share(evening.moon_lit)} lit, {way}, {evening.moon_altitude_deg:.0f} "
    turns, civil = (
        ("begins", evening.civil_begin) if evening.morning else ("ends", evening.civil_end)
    )
    text += f"degrees high {f'as civil twilight {turns}' if civil else 'at midnight'}"
    moves = [
        (moment, word)
        for word, moment in (("rises", evening.moon_rises), ("sets", evening.moon_sets))
        if moment is not None
    ]
    text += "".join(f", {word} {clock_time(moment)}" for moment, word in sorted(moves))
    return f"{text}."


def _span(begin: datetime | None, end: datetime | None) -> str:
    if begin is None:
        return ""
    if end is None:
        return f"from {clock_time(begin)} on"
    return f"{clock_time(begin)} to {clock_time(end)}"


def _place(evening: Evening) -> str:
    north = "N" if evening.latitude_deg >= 0 else "S"
    east = "E" if evening.longitude_deg >= 0 else "W"
    return f"{abs(evening.latitude_deg):g} {north} {abs(evening.longitude_deg):g} {east}"


def _the(clock: str) -> str:
    return clock.removeprefix("this ") if clock.startswith("this ") else clock


def _assumed(plan: Plan) -> str:
    return "; ".join(f"{each.text} ({each.option})" for each in plan.assumed) + "."


def _sentence(clause: str) -> str:
    return f"{clause[0].upper()}{clause[1:]}."
