"""How many frames, how long each, how far apart: from what was told, else from the subject."""

from __future__ import annotations

import math
from dataclasses import dataclass

from stacker.errors import OptionError
from stacker.plan.exposure import (
    LONGEST_ON_DIAL,
    light_in_words,
    longest_on_dial,
    metered_shutter_s,
    nearest_on_dial,
)
from stacker.plan.facts import MOST_FRAMES
from stacker.plan.known import Known, Ledger, is_clip
from stacker.plan.stars import fastest_declination, longest_point_s, star_speed_px_s, star_width_px
from stacker.plan.water import SILK_CONTRAST, frames_for_contrast
from stacker.wording import spoken, spoken_gap

# a sum that comes out at 9.9999999 means 10
NEARLY = 1e-6
STILL_WATER_FRAMES = 12
STILL_M_S = 1e-6
FIXED_SHUTTERS = {
    "star-trails": "the longest on most dials, so that gaps are few",
    "fireworks": "a shell opens and fades within some seconds",
    "light-painting": "time for one pass with the lamp",
    "pan": "each frame of a clip at 60 frames per second, open all the time",
}


@dataclass(frozen=True, kw_only=True)
class Timing:
    """The beat of a burst.

    Parameters
    ----------
    frames : how many.
    frame_shutter_s : of each.
    interval_s : from one opening to the next.
    why : the reasons for shutter and count, clauses.
    """

    frames: int
    frame_shutter_s: float
    interval_s: float
    why: tuple[str, ...]

    @property
    def gap_s(self) -> float:
        """How long the shutter is shut between two frames."""
        return max(0.0, self.interval_s - self.frame_shutter_s)

    @property
    def open_s(self) -> float:
        """Open time of all frames: the exposure that is built."""
        return self.frames * self.frame_shutter_s

    @property
    def elapsed_s(self) -> float:
        """From the first opening to the last closing."""
        return (self.frames - 1) * self.interval_s + self.frame_shutter_s


def settle_timing(known: Known, ledger: Ledger, *, usual_elapsed_s: float | None = None) -> Timing:
    """Return the beat of a burst, the assumptions noted in ``ledger``.

    Parameters
    ----------
    usual_elapsed_s : time on site if nothing is told; the subject's if None.

    Raises
    ------
    OptionError
        The times told contradict each other.
    """
    shutter, shutter_why = _frame_shutter(known)
    interval = _interval(known, shutter, ledger)
    if interval < shutter * (1 - NEARLY):
        option = "--interval" if known.facts.interval_s is not None else "--elapsed"
        raise OptionError(
            option,
            f"leaves {spoken(interval)} from frame to frame, and each is open for "
            f"{spoken(shutter)}",
            remedy="give more time, fewer frames or a shorter --frame-shutter",
            code="option-span",
        )
    frames, frames_why = _frames(known, shutter, interval, usual_elapsed_s)
    if frames > MOST_FRAMES:
        raise OptionError(
            f"{frames} frames",
            "are more than any camera takes in one go",
            remedy="give a longer --frame-shutter, or less time",
            code="option-span",
        )
    return Timing(
        frames=frames,
        frame_shutter_s=shutter,
        interval_s=interval,
        why=tuple(filter(None, (shutter_why, frames_why))),
    )


def point_limit_s(known: Known) -> float:
    """Return the longest shutter in which the fastest star of the picture stays a point."""
    fastest = fastest_declination(known.declination_deg, known.sensor.diagonal_mm, known.focal_mm)
    speed = star_speed_px_s(known.focal_mm, known.sensor.pitch_um, fastest)
    blur = known.facts.blur_px or star_width_px(known.aperture, known.sensor.pitch_um)
    return longest_point_s(blur, speed)


def _frame_shutter(known: Known) -> tuple[float, str]:
    facts, guide = known.facts, known.guide
    if facts.frame_shutter_s is not None:
        return facts.frame_shutter_s, ""
    if facts.open_s is not None and facts.frames is not None:
        shutter = facts.open_s / facts.frames
        return shutter, f"{spoken(shutter)} a frame: the open time shared out"
    metered = metered_shutter_s(known.aperture, known.iso, known.ev)
    if guide.name == "stars":
        limit = longest_on_dial(min(point_limit_s(known), LONGEST_ON_DIAL))
        if known.light_told and metered < limit:
            return longest_on_dial(metered), "the light asks for no more"
        return limit, f"{spoken(limit)} a frame: the dial's longest that keeps stars points"
    if guide.frame_shutter_s is not None:
        why = FIXED_SHUTTERS[guide.name]
        if guide.clip and not is_clip(facts):
            why = "short enough for a steady hand to follow"
        return guide.frame_shutter_s, f"{spoken(guide.frame_shutter_s)} a frame: {why}"
    if facts.by_hand and facts.iso is None and known.iso > guide.iso:
        shutter = longest_on_dial(metered)
        return (
            shutter,
            f"{spoken(shutter)} a frame: ISO {known.iso:g} makes it so short, for a hand",
        )
    shutter = nearest_on_dial(min(metered, LONGEST_ON_DIAL))
    told = "your meter" if facts.metered_s is not None else light_of(known)
    if metered > LONGEST_ON_DIAL * 2**0.5:
        return shutter, f"{spoken(shutter)} a frame: the dial ends there, {told} asks for more"
    return shutter, f"{spoken(shutter)} a frame: what {told} asks for"


def light_of(known: Known) -> str:
    """Return the light as a value and in words."""
    return f"EV {known.ev:.3g} ({light_in_words(known.ev)})"


def _interval(known: Known, shutter_s: float, ledger: Ledger) -> float:
    facts, guide = known.facts, known.guide
    if facts.interval_s is not None:
        return facts.interval_s
    if facts.gap_s is not None:
        return shutter_s + facts.gap_s
    if facts.frames is not None and facts.elapsed_s is not None:
        if facts.frames == 1:
            return max(shutter_s, facts.elapsed_s)
        return max(0.0, facts.elapsed_s - shutter_s) / (facts.frames - 1)
    touching = shutter_s + guide.gap_s
    if guide.interval_s is not None:
        interval = max(guide.interval_s, touching)
        ledger.note("--interval", f"a frame every {spoken_gap(interval)}")
        return interval
    gap = f"gaps of {spoken_gap(guide.gap_s)}" if guide.gap_s else "no gaps"
    ledger.note("--gap", gap)
    return touching


def _frames(
    known: Known, shutter_s: float, interval_s: float, usual_elapsed_s: float | None
) -> tuple[int, str]:
    facts, guide = known.facts, known.guide
    if facts.frames is not None:
        return facts.frames, ""
    if facts.open_s is not None:
        return _for_open(facts.open_s, shutter_s), "as many frames as make the open time you want"
    if facts.elapsed_s is not None:
        if facts.elapsed_s < shutter_s * (1 - NEARLY):
            raise OptionError(
                "--elapsed",
                f"is shorter than one frame, {spoken(shutter_s)}",
                remedy="give more time or a shorter --frame-shutter",
                code="option-span",
            )
        return _for_elapsed(facts.elapsed_s, shutter_s, interval_s), "as many as fit into the time"
    if guide.frames is not None:
        return guide.frames, f"{guide.frames} frames: {guide.why}"
    if guide.open_s is not None:
        frames = _for_open(guide.open_s, shutter_s)
        return frames, f"{frames} frames: {guide.why}"
    if guide.elapsed_s is not None:
        frames = _for_elapsed(usual_elapsed_s or guide.elapsed_s, shutter_s, interval_s)
        return frames, f"{frames} frames: {guide.why}"
    flow, texture = flow_of(known, None)
    if not flow:
        return STILL_WATER_FRAMES, f"{STILL_WATER_FRAMES} frames: water that stands wants no more"
    least = frames_for_contrast(SILK_CONTRAST, flow, texture, shutter_s, interval_s)
    return least, f"{least} frames: {guide.why}"


def flow_of(known: Known, ledger: Ledger | None) -> tuple[float, float]:
    """Return speed in m/s and length in m of the texture that flows, noting what is assumed."""
    guide = known.guide
    flow, texture = guide.flow_m_s or 0.0, guide.texture_m or 1.0
    if ledger is not None:
        ledger.take(known.facts.flow_m_s, flow, "--flow", f"flow of {flow:g} m/s")
        ledger.take(known.facts.texture_m, texture, "--texture", f"texture of {texture:g} m")
    if known.facts.flow_m_s is not None:
        # what goes less than a tenth of a metre in a day stands
        flow = known.facts.flow_m_s if known.facts.flow_m_s > STILL_M_S else 0.0
    return flow, known.facts.texture_m or texture


def _for_open(open_s: float, shutter_s: float) -> int:
    return max(1, math.ceil(open_s / shutter_s - NEARLY))


def _for_elapsed(elapsed_s: float, shutter_s: float, interval_s: float) -> int:
    return max(0, math.floor((elapsed_s - shutter_s) / interval_s + NEARLY)) + 1
