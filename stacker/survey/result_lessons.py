"""What a result itself shows: what could be better, and what went well."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from stacker.survey.findings import Severity
from stacker.survey.fine_detail import said_sharp
from stacker.survey.noise_law import AVERAGES
from stacker.survey.review import BurstReview, ResultReview
from stacker.survey.subject import BLENDS
from stacker.wording import spoken_gap, spoken_share

# contrast of fine detail that is as good as kept, and below which the loss is seen
SHARP, SOFT = 0.93, 0.85
# share of the noise that the law promises to take away, below which something else is left
LAWFUL = 0.75
# stops by which a lighten may lift the dark unseen
LIFTED = 0.15
# shares of the picture: hardly any motion, mostly empty, burnt out
STILL_LIFE, MOSTLY_EMPTY, SOME_BURNT = 0.02, 0.75, 0.01
# fewer frames than this show as layers in water
SILK_FRAMES = 10
# subjects whose trails show gaps; open shares from which the survey says nothing of gaps, and from
# which nobody sees them
TRAILS, DASHED, SEAMLESS = ("star-trails", "traffic", "light-painting"), 0.9, 0.99
# subjects that live in an empty sky
SKIES = ("star-trails", "fireworks")
# drift of the light in stops that counts as steady; share of the time that counts as unbroken
STEADY, UNBROKEN = 0.15, 0.9
MOST_PRAISE = 5


@dataclass(frozen=True)
class Lesson:
    """One thing to do better.

    Parameters
    ----------
    what : was seen. why : it matters. next_time : what helps. All whole sentences.
    now : what became of it, or what can still be done with these frames; may be empty.
    """

    code: str
    severity: Severity
    what: str
    why: str
    next_time: str
    now: str = ""


def lessons_of_result(burst: BurstReview, result: ResultReview) -> list[Lesson]:
    """Return what the figures of a result teach."""
    found = (
        _softness(burst, result),
        _burning(burst, result),
        _lifting(result),
        _dashes(burst, result),
        _noise(result),
        _layers(burst, result),
        _filling(burst),
        _other_blend(burst, result),
    )
    return [lesson for lesson in found if lesson is not None]


def _softness(burst: BurstReview, result: ResultReview) -> Lesson | None:
    sharpness = result.comparison.sharpness
    if sharpness is None or sharpness >= SOFT:
        return None
    what = (
        f"What stands still has {100 * sharpness:.0f} % of the fine contrast that it has in the "
        f"sharpest frame, {result.sharpest}."
    )
    if result.held:
        return Lesson(
            "soft-held",
            "caution",
            what,
            "The frames were brought together, but the softer ones among them, or what is left of "
            "their motion, take off the edge.",
            "Use a shorter shutter for each frame, or a tripod, so that every frame is sharp.",
            "Leave the softest frames out with --without.",
        )
    return Lesson(
        "soft-still",
        "problem",
        what,
        "Frames that do not lie upon each other blur every edge, as a shaken camera does.",
        "Use a tripod and a remote release.",
        "Make it again with --hold scene, which brings the frames together."
        if burst.survey.stand in ("handheld", "touched", "moving")
        else "",
    )


def _burning(burst: BurstReview, result: ResultReview) -> Lesson | None:
    """Return what there is to say where the result is burnt out and its frames were not."""
    burnt, usual = result.tones.burnt, result.frame_tones.burnt
    if burnt < SOME_BURNT or burnt < 2 * usual:
        return None
    what = (
        f"{spoken_share(burnt)} of the result is burnt out, against {spoken_share(usual)} of a "
        "single frame."
    )
    if result.blend == "sum":
        return Lesson(
            "sum-burnt",
            "caution",
            what,
            "A sum grows with every frame and soon passes white.",
            "Choose a mean, or plan the exposure of each frame for the sum.",
            "--exposure with stops below 0, or --shoulder, brings the shades back.",
        )
    return Lesson(
        "overlaps-burnt",
        "note",
        what,
        "Lights that pass one after the other cover more and more of the picture with white.",
        "Expose each frame shorter, or take fewer of them.",
    )


def _lifting(result: ResultReview) -> Lesson | None:
    lift = result.comparison.lift_stops
    if result.blend not in ("lighten", "max") or lift is None or lift < LIFTED:
        return None
    return Lesson(
        "dark-lifted",
        "caution",
        f"Even, still parts came out {lift:.2g} stops brighter than in the frames.",
        "The greatest of many noisy values lies above the true one: the night turns grey and faint "
        "stars drown in it.",
        "Less noise in each frame helps: a lower ISO with a longer shutter.",
        "--floor true keeps the trails and gives the night back." if _plain(result) else "",
    )


def _dashes(burst: BurstReview, result: ResultReview) -> Lesson | None:
    """Return what there is to say of gaps too short for a survey, which trails show all the same.

    Trails keep the greatest light: where the shutter was shut they are dark, however long it was.
    """
    share, gaps = burst.survey.rhythm.open_share, result.open_gaps
    if result.blend not in ("lighten", "max") or _subject(burst) not in TRAILS:
        return None
    if not gaps or share is None or not DASHED <= share < SEAMLESS:
        return None
    longest = max(gap["seconds"] for gap in gaps)
    return Lesson(
        "dashes",
        "note",
        f"{len(gaps)} gap{'s' if len(gaps) > 1 else ''} of up to {spoken_gap(longest)} lie dark in "
        "the trails.",
        "A trail is dark wherever its light came while the shutter was shut; enlarged, it looks "
        "dashed.",
        "Let frames follow each other without a pause: continuous release, and the camera's own "
        "noise reduction off.",
        "" if result.report["settings"]["bridge"] else "Try --bridge, which closes such gaps.",
    )


def _plain(result: ResultReview) -> bool:
    return bool(result.report["settings"]["floor"] == "plain" and result.blend == "lighten")


def _noise(result: ResultReview) -> Lesson | None:
    gain, expected = result.comparison.noise_gain, result.expected_gain
    if gain is None or expected is None or result.blend not in AVERAGES:
        return None
    if gain >= LAWFUL * expected:
        return None
    return Lesson(
        "noise-stays",
        "note",
        f"The noise fell by a factor of {gain:.1f}, where {expected:.1f} was to be had.",
        "What is the same in every frame does not average away: hot pixels, patterns of the sensor "
        "and blocks of compression.",
        "Shoot raw, and take ten darks with the lens cap on at the end, for --dark.",
    )


def _layers(burst: BurstReview, result: ResultReview) -> Lesson | None:
    count = result.report["frames_used"]
    if _subject(burst) != "water" or result.blend != "mean" or count >= SILK_FRAMES:
        return None
    return Lesson(
        "few-frames",
        "note",
        f"The water is made of {count} frames.",
        "So few moments lie upon each other as layers; silk takes twenty and more.",
        "Take more frames, one right after the other.",
    )


def _filling(burst: BurstReview) -> Lesson | None:
    """Return what there is to say about how the frame is filled, where that stands out."""
    shares = burst.composition
    if shares is None:
        return None
    if shares.motion < STILL_LIFE:
        return Lesson(
            "little-motion",
            "note",
            f"Motion fills {spoken_share(shares.motion)} of the frame.",
            "A long exposure tells of time by what moves; here it tells little more than one "
            "frame.",
            "Come nearer to what moves, or give it more time to cross the frame.",
        )
    if shares.empty > MOSTLY_EMPTY and _subject(burst) not in SKIES:
        return Lesson(
            "mostly-empty",
            "note",
            f"{spoken_share(shares.empty)} of the frame is empty: nothing moves there and nothing "
            "can be made out.",
            "Empty space can carry a picture, if it is meant. If not, the eye finds no hold.",
            "Come nearer, or turn the camera until what matters fills a third of the frame.",
        )
    return None


def _other_blend(burst: BurstReview, result: ResultReview) -> Lesson | None:
    """Return a word about the blend where the burst is clearly of something else."""
    subject, options = burst.survey.measured["subject"], burst.survey.options
    if subject is None or subject["confidence"] != "clearly" or subject["name"] == "still":
        return None
    if result.report["hold"] in ("sky", "subject"):
        # points of stars and pans are means on purpose
        return None
    usual = BLENDS.get(subject["name"], "mean")
    if "--blend" in options:
        usual = options[options.index("--blend") + 1]
    if _kind(usual) == _kind(result.blend):
        return None
    return Lesson(
        "other-blend",
        "note",
        f"This is a {result.blend}; what the burst seems to show is mostly made as a {usual}.",
        "A mean keeps all moments alike, a lighten the brightest moment of each spot, a median "
        "what was there most of the time.",
        "Think before the first frame which of them tells what you want to tell.",
        f"Try --blend {usual}, and compare.",
    )


def _kind(blend: str) -> str:
    """Return the best known of the blends that tell the same."""
    return {"sum": "mean", "trimmed": "mean", "max": "lighten"}.get(blend, blend)


def praise_of(burst: BurstReview, result: ResultReview) -> tuple[str, ...]:
    """Return what went well, in sentences; at most ``MOST_PRAISE``."""
    told = (*_praise_of_hand(burst, result), *_praise_of_time(burst, result))
    return tuple(sentence for sentence in told if sentence)[:MOST_PRAISE]


def _praise_of_hand(burst: BurstReview, result: ResultReview) -> tuple[str, ...]:
    """Return what the camera's stand, sharpness and noise did well."""
    survey, comparison = burst.survey, result.comparison
    sharpness, gain, expected = comparison.sharpness, comparison.noise_gain, result.expected_gain
    used, every = result.report["frames_used"], len(result.report["frames"])
    return (
        "The camera stood perfectly still." if survey.stand == "tripod" else "",
        "Shot by hand, and yet the frames lie well upon each other."
        if result.held and (sharpness or 0) >= SOFT
        else "",
        f"What stands still is as sharp as in the sharpest single frame ({said_sharp(sharpness)})."
        if sharpness is not None and sharpness >= SHARP
        else "",
        f"The noise is down by a factor of {gain:.1f} against one frame."
        if gain is not None and gain > 1.5 and gain >= LAWFUL * (expected or 0)
        else "",
        f"All {every} frames could be used." if used == every > 1 else "",
    )


def _praise_of_time(burst: BurstReview, result: ResultReview) -> tuple[str, ...]:
    """Return what light, highlights and rhythm did well."""
    survey = burst.survey
    light: Any = survey.measured["light"]
    steady = (
        survey.stand != "unknown"
        and abs(light["drift_stops"]) <= STEADY
        and not light["flicker_seen"]
        and not any(finding.code == "light-jumps" for finding in survey.findings)
    )
    gaps = [gap for gap in result.report["gaps"] if (gap["seconds"] or 0) > 0]
    share, gaps_between = survey.rhythm.open_share, len(result.report["gaps"]) > 0
    return (
        "The light is steady from the first frame to the last." if steady else "",
        "Hardly anything is burnt out." if result.tones.burnt < SOME_BURNT / 2 else "",
        "Every gap between frames was bridged." if gaps and not result.open_gaps else "",
        f"The shutter was open for {spoken_share(share)} of the time."
        if share is not None and share >= UNBROKEN and gaps_between
        else "",
    )


def _subject(burst: BurstReview) -> str:
    subject = burst.survey.measured["subject"]
    return subject["name"] if subject else ""
