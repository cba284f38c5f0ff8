"""What to do better next time: what was seen, why it matters to the picture, and what helps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from stacker.survey.findings import Finding, Severity, frame_spans
from stacker.survey.result_lessons import Lesson, lessons_of_result
from stacker.survey.review import BurstReview, ResultReview

# a page that says more is not read
MOST = 8
# blends in which gaps show and can be bridged
BRIDGED = ("mean", "sum", "lighten", "max")


@dataclass(frozen=True)
class _Meaning:
    """Why a finding of the survey matters to the picture, and what helps next time."""

    why: str
    next_time: str


ONE_EXPOSURE = "The frames add up as one exposure only if all were exposed alike."
BY_HAND = "Set shutter, aperture and ISO by hand before the first frame."
ONE_VIEW = "Frames can only be laid upon each other where they show the same view."
# findings that are not here say nothing that a photographer could do better
MEANINGS = {
    "frame-unreadable": _Meaning(
        "A frame that is lost is time that is missing: streaks have a gap there.",
        "Let the camera finish writing before you switch it off, and copy from the card twice.",
    ),
    "frame-black": _Meaning(
        "A black frame takes its share of light away from a mean.",
        "Take the lens cap off before the first frame, and keep straps away from the lens.",
    ),
    "frame-flash": _Meaning(
        "Light that falls on everything at once washes the picture out, and stays in it.",
        "Watch for headlamps and torches, switch the flash off, and note when it happens.",
    ),
    "frame-lit": _Meaning(
        "Light from aside stays where the brightest value counts, and tints a mean a little.",
        "Walk without a lamp, or with a dim red one, while the shutter is open; warn others.",
    ),
    "clouds-or-smoke": _Meaning(
        "What drifts before the subject veils it in some frames and not in others.",
        "Wait for a clear spell, or for the wind to take the smoke out of the view.",
    ),
    "hot-pixels": _Meaning(
        "A hot pixel is in every frame: no blend takes it away, and a held sky draws it out.",
        "Shoot darks afterwards: lens cap on, same shutter, ISO and warmth, ten to twenty of them.",
    ),
    "frame-blurred": _Meaning(
        "Blurred frames take the edge off all that stands still.",
        "Release without touching the camera, and wait until the tripod has come to rest.",
    ),
    "frame-elsewhere": _Meaning(
        ONE_VIEW, "Leave the camera alone until the burst is over, and hang a bag on the tripod."
    ),
    "frame-not-held": _Meaning(
        ONE_VIEW, "Keep something that stands still in the frame, such as a rock or a kerb."
    ),
    "frame-soft": _Meaning(
        "In a mean, every soft frame costs a little of the sharpness of the others.",
        "Focus by hand, switch the autofocus off, and shield the tripod from the wind.",
    ),
    "frames-missing": _Meaning(
        "Time is missing there: streaks have a hole, and water a step.",
        "Copy the whole card, and delete no frames of a burst in the camera.",
    ),
    "numbers-doubled": _Meaning(
        "A frame that counts twice stands out in a mean.",
        "Keep one burst to a folder, and copy it once.",
    ),
    "pause": _Meaning(
        "What moved on during the pause leaves a hole in its streak.",
        "Use a faster card or a longer interval, and begin with a fresh battery.",
    ),
    "gaps": _Meaning(
        "What moves while the shutter is shut is not recorded.",
        "Set the shutter as long as the interval allows, and switch the camera's own long-exposure "
        "noise reduction off.",
    ),
    "light-jumps": _Meaning(ONE_EXPOSURE, BY_HAND),
    "flicker": _Meaning(
        "Frames of different brightness show as steps where things move.",
        f"{BY_HAND} Under mains light, expose for whole hundredths of a second or longer.",
    ),
    "light-drifts": _Meaning(
        "The brighter end of the burst counts for more than the darker one.",
        "Where it is not meant, shoot a shorter burst or wait until the light has settled.",
    ),
    "burnt-out": _Meaning(
        "What is white in every frame stays white: no blend brings its shades back.",
        "Expose each frame shorter until the highlights fit, and take more frames.",
    ),
    "all-black": _Meaning(
        "What no frame has recorded cannot be lifted out of the dark afterwards.",
        "Expose each frame longer, or open the aperture.",
    ),
    "tripod-touched": _Meaning(
        "Two still halves that do not lie upon each other show every edge twice.",
        "Use a remote release or the self-timer, and let nobody step close to the tripod.",
    ),
    "moving": _Meaning(
        ONE_VIEW, "Stay with one view for the burst, or follow one subject as evenly as you can."
    ),
    "not-held": _Meaning(
        "Without something that stands still nobody can tell how the camera moved.",
        "Use a tripod, or keep some firm ground in the frame.",
    ),
    "shutter-changes": _Meaning(ONE_EXPOSURE, BY_HAND),
    "iso-changes": _Meaning(ONE_EXPOSURE, BY_HAND),
    "f-changes": _Meaning(ONE_EXPOSURE, BY_HAND),
    "focal-changes": _Meaning(ONE_VIEW, "Leave the zoom ring alone; a piece of tape holds it."),
    "camera-changes": _Meaning(
        ONE_VIEW, "Keep the frames of each camera in a folder of their own."
    ),
    "lens-changes": _Meaning(ONE_VIEW, "Stay with one lens for the burst."),
    "flash-fired": _Meaning(
        "The flash lights what is near for a moment, in that frame alone.",
        "Switch the flash off.",
    ),
    "auto-exposure": _Meaning(
        "A camera that chooses for each frame follows every passing light.", BY_HAND
    ),
    "auto-white": _Meaning(
        "A white balance that wanders tints frames differently.",
        "Choose a fixed white balance, daylight for instance, or shoot raw.",
    ),
}


def lessons_of(burst: BurstReview, result: ResultReview) -> tuple[Lesson, ...]:
    """Return what to do better next time, what cost the picture most first; at most ``MOST``."""
    # of one severity, what the picture itself shows comes before what may have led to it
    told = lessons_of_result(burst, result)
    told += [lesson for f in burst.survey.findings for lesson in _of_finding(f, result)]
    order: Sequence[Severity] = ("problem", "caution", "note")
    ranked = sorted(told, key=lambda lesson: order.index(lesson.severity))
    return tuple(ranked[:MOST])


def _of_finding(finding: Finding, result: ResultReview) -> list[Lesson]:
    """Return the lesson of a finding of the survey, as far as it concerns this result."""
    meaning = MEANINGS.get(finding.code)
    if meaning is None or _made_good(finding, result):
        return []
    lesson = Lesson(
        finding.code, finding.severity, finding.what, meaning.why, meaning.next_time,
    )  # fmt: skip
    if finding.code.startswith("frame-") or finding.code == "flash-fired":
        return [_with_fate(lesson, finding, result)]
    if finding.code in ("light-jumps", "flicker"):
        if "evening" in result.report and result.report["evening"].get("applied"):
            return [
                replace(lesson, severity="note", now="The frames were evened for this picture.")
            ]
        level = "level" if finding.code == "light-jumps" else "auto"
        return [replace(lesson, now=f"Try --even {level} with these frames.")]
    if finding.code in ("gaps", "pause") and _could_bridge(result):
        return [replace(lesson, now="Try --bridge, which makes up the light of the gaps.")]
    return [lesson]


def _could_bridge(result: ResultReview) -> bool:
    """Whether gaps could be bridged for this blend, and nobody asked."""
    return result.blend in BRIDGED and not result.report["settings"]["bridge"]


def _made_good(finding: Finding, result: ResultReview) -> bool:
    """Whether the result has got over it, or never minded."""
    if finding.code in ("gaps", "pause"):
        return not result.open_gaps
    if finding.code in ("tripod-touched", "moving"):
        return result.held
    return False


def _with_fate(lesson: Lesson, finding: Finding, result: ResultReview) -> Lesson:
    """Return a lesson about frames with what became of them."""
    used = {frame["number"] for frame in result.report["frames"] if frame["used"]}
    kept = [number for number in finding.frames if number in used]
    one = len(finding.frames) == 1
    if not kept:
        fate = f"{'It was' if one else 'They were'} left out of this picture."
        return replace(lesson, severity="note", now=fate)
    which = "It is" if one else "They are" if len(kept) == len(finding.frames) else "Some are"
    return replace(
        lesson,
        now=f"{which} in this picture. --without {frame_spans(kept)} makes it again without.",
    )
