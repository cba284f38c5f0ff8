"""What a burst is of, with the reasons, and the options of an exposure that suit it.

Rules over a few figures, each of which can be said in words, so that a person can disagree.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from stacker.survey.shake import Stand
from stacker.survey.soft_light import Veil
from stacker.survey.speed import Speed
from stacker.survey.traits import Traits
from stacker.wording import spoken_share

Name = Literal[
    "water",
    "clouds",
    "traffic",
    "star-trails",
    "fireworks",
    "light-painting",
    "crowd",
    "pan",
    "dusk",
    "still",
]
Confidence = Literal["clearly", "probably", "perhaps"]

# light of half the picture below which it is night or late dusk, and lamps rule
NIGHT = 0.06
# share of the picture that must shine at some time for lights to be the subject
LEAST_LIT = 0.002
# spread over robust spread above which things come and go; water has 1 to 1.5, walkers 13 and more
COMES_AND_GOES = 4.0
# share of the changes in one pattern above which the light changes and nothing moves
IN_STEP = 0.5
LEAST_MOVING = 0.003
# points that stay as many: stars
STAR_PARTS, STAR_VARIES = 20.0, 0.25
# a turn below this is not worth a figure: far from the pole stars go straight
LEAST_TURN_DEG = 0.1
# what things that go along a lane have: that share of one direction, and this speed, picture
# lengths a second
ALONG_LANES, LANE_SPEED = 0.75, 0.05
# stops and seconds of a dusk
DUSK_STOPS, DUSK_S = 0.5, 120.0
# stops by which a veil that is the subject must change the light
FAINT_STOPS = 0.2
# share of what moves that must lie where a veil drifts for nothing else to be the subject
NEARLY_ALL = 0.9
# share of a veil's changes in one pattern above which a lamp changed, and nothing drifted
IN_STEP_VEIL = 0.98
CLEARLY, PROBABLY = math.log(1.8), math.log(1.25)


@dataclass(frozen=True)
class Subject:
    """What the burst is of.

    ``reasons`` are clauses; ``by_day`` whether the scene is bright without what moves.
    """

    name: Name
    confidence: Confidence
    reasons: tuple[str, ...]
    by_day: bool = False

    @property
    def options(self) -> tuple[str, ...]:
        """Options of ``stacker expose`` for it, without those that the camera's stand asks for."""
        return BY_DAY if self.name == "traffic" and self.by_day else OPTIONS[self.name]


OPTIONS: dict[Name, tuple[str, ...]] = {
    "water": ("--for", "water"),
    "clouds": ("--for", "clouds"),
    "traffic": ("--for", "traffic"),
    "star-trails": ("--for", "star-trails"),
    "fireworks": ("--for", "fireworks"),
    "light-painting": ("--for", "light-painting"),
    "crowd": ("--for", "crowd"),
    "pan": ("--for", "pan"),
    "dusk": ("--for", "dusk"),
    "still": ("--blend", "mean"),
}
# what --for makes of each
BLENDS: dict[Name, str] = {
    "water": "mean",
    "clouds": "mean",
    "traffic": "lighten",
    "star-trails": "lighten",
    "fireworks": "lighten",
    "light-painting": "lighten",
    "crowd": "median",
    "pan": "mean",
    "dusk": "mean",
    "still": "mean",
}
# by day the brightest value of each place would be a row of roofs
BY_DAY = ("--blend", "mean")


def name_subject(
    traits: Traits,
    speed: Speed,
    stand: Stand,
    *,
    turn_deg: float | None,
    follows: tuple[int, int, int, int] | None,
    drift_stops: float,
    elapsed_s: float,
    long_side: int,
) -> Subject:
    """Return what the burst is of.

    Parameters
    ----------
    turn_deg : how far the stars turned; None where no sky was found.
    follows : the box of what stayed in its place while the picture travelled; None for nothing.
    drift_stops : the slow change of the light from the first frame to the last.
    elapsed_s : from the first opening to the last closing.
    long_side : of a frame, px.
    """
    night = traits.light < NIGHT
    if turn_deg is not None:
        return _stars(turn_deg)
    if follows is not None:
        return Subject(
            "pan",
            "probably" if stand == "moving" else "perhaps",
            ("the picture travels while a part of it keeps its place in the frame",),
        )
    if night and traits.lit >= LEAST_LIT and traits.sparse > COMES_AND_GOES:
        return _lights(traits)
    if abs(drift_stops) >= DUSK_STOPS and elapsed_s >= DUSK_S:
        return _dusk(drift_stops, elapsed_s)
    if traits.moving < LEAST_MOVING:
        return Subject("still", "clearly", ("hardly anything moves",))
    if traits.sparse <= COMES_AND_GOES:
        return _restless(traits)
    return _passing(traits, speed, long_side)


def clouds_or(subject: Subject, veil: Veil, inside: float) -> Subject:
    """Return the subject, or clouds where nothing else moves but veils that drift.

    Parameters
    ----------
    inside : the share of all that moves that lies in the box about the veil, 0 to 1.
    """
    alone = subject.name == "water" and inside > NEARLY_ALL
    if veil.in_step > IN_STEP_VEIL or not (subject.name == "still" or alone):
        return subject
    return Subject(
        "clouds",
        _sure(_log(veil.stops / FAINT_STOPS)),
        (
            f"soft veils drift through {spoken_share(veil.share)} of the picture",
            "the rest stands still",
        ),
    )


def _stars(turn_deg: float | None) -> Subject:
    """Return a sky of stars: seen to turn together, or supposed."""
    if turn_deg is None:
        reason = "many points of light are always there and never in the same place"
        return Subject("star-trails", "perhaps", (reason,))
    by = f", by {turn_deg:.2g} degrees in all" if turn_deg > LEAST_TURN_DEG else ""
    return Subject("star-trails", "clearly", (f"points of light go together as the sky does{by}",))


def _lights(traits: Traits) -> Subject:
    """Return which kind of lights shines in the dark."""
    if traits.lit_parts >= STAR_PARTS and traits.lit_varies < STAR_VARIES:
        return _stars(None)
    varies, again = traits.lit_varies, traits.lit_again
    # each ratio is 1 where the two are told apart: first light that wanders at its own pace from
    # light that comes and goes, then what keeps to lanes from what fills the sky
    comes = _log(varies / 0.68) + _log(traits.lit_height / 0.25) + _log(again / 1.3)
    lanes = _log(again / 2.0) + 0.5 * _log(8 / traits.lit_parts) + 0.5 * _log(0.12 / traits.lit)
    if comes <= 0:
        return Subject(
            "light-painting",
            _sure(-comes),
            (
                "lights wander through the dark",
                f"a place is lit {again:.1f} times",
                f"what is lit varies by {spoken_share(varies)} from frame to frame",
            ),
        )
    sure = _sure(min(comes, abs(lanes)))
    if lanes > 0:
        return Subject(
            "traffic",
            sure,
            (
                "bright streaks run through the dark",
                f"the same narrow paths, {spoken_share(traits.lit)} of the picture, are lit "
                f"{again:.1f} times",
            ),
        )
    return Subject(
        "fireworks",
        sure,
        (
            "bright sparks appear in the dark and are gone",
            f"what is lit varies by {spoken_share(varies)} from frame to frame",
        ),
    )


def _dusk(drift_stops: float, elapsed_s: float) -> Subject:
    falls = "falls" if drift_stops < 0 else "rises"
    return Subject(
        "dusk",
        _sure(_log(abs(drift_stops) / DUSK_STOPS)),
        (f"the light {falls} by {abs(drift_stops):.2g} stops in {elapsed_s / 60:.0f} minutes",),
    )


def _restless(traits: Traits) -> Subject:
    """Return what changes all the time: water, or light that moves nothing."""
    if traits.in_step > IN_STEP:
        return Subject(
            "still",
            _sure(_log(traits.in_step / IN_STEP)),
            ("the light changes, but hardly anything moves",),
        )
    return Subject(
        "water",
        _sure(_log(COMES_AND_GOES / traits.sparse)),
        (
            f"{spoken_share(traits.touched)} of the picture is in motion, all the time and "
            "everywhere in it",
            "the rest stands still",
        ),
    )


def _passing(traits: Traits, speed: Speed, long_side: int) -> Subject:
    """Return what comes and goes before a still background: things in lanes, or people."""
    sure = _sure(_log(traits.sparse / COMES_AND_GOES))
    reasons = ["things come and go before a background that stands still"]
    if speed.px_per_s is None or speed.along_lanes is None:
        reasons.append("they cannot be followed from frame to frame")
        return Subject("crowd", "probably" if sure == "clearly" else sure, tuple(reasons))
    reasons.append(f"they move at about {speed.px_per_s:.0f} px a second")
    if speed.along_lanes > ALONG_LANES and speed.px_per_s > LANE_SPEED * long_side:
        reasons.append("all that passes a spot goes the same way")
        return Subject("traffic", sure, tuple(reasons), by_day=True)
    reasons.append("they go this way and that")
    return Subject("crowd", sure, tuple(reasons))


def _sure(margin: float) -> Confidence:
    """Return in a word how far a figure lies from where it would tell something else."""
    return "clearly" if margin > CLEARLY else "probably" if margin > PROBABLY else "perhaps"


def _log(ratio: float) -> float:
    return math.log(max(ratio, 1e-6))
