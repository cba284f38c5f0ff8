"""From measurements to findings: what is wrong with frames and with the burst, why, what to do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from stacker.survey.analysis import Analysis
from stacker.survey.brightness import Brightness
from stacker.survey.findings import Finding, Severity, listed, place_in_words
from stacker.survey.numbering import Numbering
from stacker.survey.records import FrameRecord
from stacker.survey.timing import Rhythm
from stacker.wording import spoken_share

# share of a frame burnt out from which on it is worth a word, and from which on it is much
SOME_CLIPPED, MUCH_CLIPPED = 0.01, 0.05
MUCH_BLACK = 0.5
# stops that the light must drift to be told
DRIFT_STOPS = 0.15
# share of the light by which it must flicker to spoil a picture
MUCH_FLICKER = 0.01
# open share of the time below which moving things come out in dashes
DASHED = 0.9


def missing_numbers(
    numbering: Numbering, records: Sequence[FrameRecord], rhythm: Rhythm
) -> list[Finding]:
    """Return findings about holes, doubles and disorder in the numbers of files."""
    findings = []
    in_time = [hole for hole in numbering.holes if hole.after in rhythm.pauses]
    for holes, cause in (
        (in_time, "The times show the hole too: the files were deleted or not copied."),
        (
            [hole for hole in numbering.holes if hole not in in_time],
            "The times run on without a break, so the camera may have used the numbers for "
            "something else.",
        ),
    ):
        names = [name for hole in holes for name in hole.missing]
        if not names:
            continue
        lost = len(names)
        findings.append(
            Finding(
                "frames-missing" if holes is in_time else "numbers-skipped",
                "problem" if holes is in_time else "note",
                f"{_files(lost)} missing by number: {listed(names)}.",
                cause,
                "Copy them again from the card; without them streaks have a gap there."
                if holes is in_time
                else "",
                tuple(records[hole.after].number for hole in holes),
            )
        )
    findings += [
        Finding(
            "numbers-doubled",
            "caution",
            f"{listed([records[p].name for p in group])} have the same number.",
            "A frame was copied twice, or two cameras or folders were mixed.",
            "Leave the copies out with --without, or name the frames by a pattern.",
            tuple(records[p].number for p in group),
        )
        for group in numbering.doubled
    ]
    if numbering.backwards:
        names = [records[p].name for p in numbering.backwards]
        findings.append(
            Finding(
                "order-unclear",
                "caution",
                f"By its number {listed(names)} comes earlier than by its capture time.",
                "The camera's clock was changed, or files were renamed; the times decide here.",
                "If the numbers are right, copy the files without their times, or rename them and "
                "give --interval.",
                tuple(records[p].number for p in numbering.backwards),
            )
        )
    return findings


def _files(count: int) -> str:
    return "1 frame is" if count == 1 else f"{count} frames are"


def pauses(records: Sequence[FrameRecord], rhythm: Rhythm, numbering: Numbering) -> list[Finding]:
    """Return a finding where the burst was interrupted though no number is missing."""
    missing = {hole.after for hole in numbering.holes}
    places = [place for place in rhythm.pauses if place not in missing]
    if not places or rhythm.interval_s is None:
        return []
    longest = max(records[p + 1].start_s - records[p].start_s for p in places)
    times = "once" if len(places) == 1 else f"{len(places)} times"
    return [
        Finding(
            "pause",
            "caution",
            f"The burst pauses {times}, after {listed([records[p].name for p in places])}: up to "
            f"{longest:.3g} s from start to start instead of {rhythm.interval_s:.3g} s.",
            "The camera's memory was full, a battery was changed, or the button was let go.",
            "Streaks have a gap there. A faster card, fewer frames a second, or JPEG without raw "
            "keep the rhythm.",
            tuple(records[p].number for p in places),
        )
    ]


# what gaps do to a picture of each subject for which they matter
DASHES = {
    "water": "Water shows steps where it moved on between frames.",
    "clouds": "Clouds show steps where they moved on between frames.",
    "traffic": "Streaks of lamps come out dashed.",
    "star-trails": "Trails of stars come out dashed.",
    "fireworks": "Sparks that flew between frames are lost.",
    "light-painting": "Strokes of light come out dashed.",
    "pan": "The background shows steps.",
}


def rhythm_findings(rhythm: Rhythm, subject: str) -> list[Finding]:
    """Return a finding where the shutter was shut for much of the time, and it matters."""
    share = rhythm.open_share
    if share is None or share >= DASHED or rhythm.gap_s is None or subject not in DASHES:
        return []
    return [
        Finding(
            "gaps",
            "note",
            f"The shutter was open for {spoken_share(share)} of the time; the usual gap is "
            f"{rhythm.gap_s:.3g} s.",
            "The camera writes, waits for the interval, or reduces noise by itself between frames.",
            f"{DASHES[subject]} Next time set the shutter as long as the interval allows, and the "
            "camera's own noise reduction off.",
        )
    ]


def light_findings(light: Brightness, records: Sequence[FrameRecord]) -> list[Finding]:
    """Return findings about drift, flicker and jumps. ``records`` are those that were measured."""
    findings = []
    for index, stops in light.jumps:
        findings.append(
            Finding(
                "light-jumps",
                "caution",
                f"From {records[index].name} on the frames are {abs(stops):.2g} stops "
                f"{'brighter' if stops > 0 else 'darker'}.",
                "The camera or its owner changed the exposure, or a lamp was switched.",
                "--even level brings all frames to one light. Next time set the exposure by hand.",
                (records[index].number,),
            )
        )
    if light.seen:
        findings.append(
            Finding(
                "flicker",
                "caution" if light.flicker >= MUCH_FLICKER else "note",
                f"The light flickers by {100 * light.flicker:.2g} % from frame to frame.",
                "The aperture does not close the same each time, the exposure was automatic, or "
                "lamps pulse with the mains.",
                "--even auto takes it out. Next time set the exposure by hand.",
            )
        )
    if abs(light.drift_stops) > DRIFT_STOPS:
        findings.append(
            Finding(
                "light-drifts",
                "note",
                f"The light {'rises' if light.drift_stops > 0 else 'falls'} by "
                f"{abs(light.drift_stops):.2g} stops over the burst.",
                "The sun rises, sets or goes behind clouds, or the exposure followed something.",
                "Leave it where it belongs to the picture; --even level takes it out.",
            )
        )
    return findings


def clipping_findings(records: Sequence[FrameRecord]) -> list[Finding]:
    """Return findings about burnt-out and black parts."""
    clipped = [r.clipped for r in records if r.clipped is not None]
    black = [r.black for r in records if r.black is not None]
    findings = []
    if clipped and median(clipped) > SOME_CLIPPED:
        share = median(clipped)
        findings.append(
            Finding(
                "burnt-out",
                "caution" if share > MUCH_CLIPPED else "note",
                f"{spoken_share(share)} of the picture is burnt out in the usual frame.",
                "The exposure of a single frame was too long for its brightest parts.",
                "What is white in every frame stays white in the result. Next time expose shorter "
                "and take more frames.",
            )
        )
    if black and median(black) > MUCH_BLACK:
        findings.append(
            Finding(
                "all-black",
                "note",
                f"{spoken_share(median(black))} of the picture is quite black in the usual frame.",
                "The exposure was too short for the dark parts, or the lens saw nothing there.",
                "A mean cannot lift what no frame has recorded. Next time expose longer.",
            )
        )
    return findings


@dataclass(frozen=True)
class _Fault:
    """How frames with one verdict are told."""

    severity: Severity
    one: str
    many: str
    cause: str
    remedy: str = "Leave them out with --without."


FRAME_FAULTS = {
    "unreadable": _Fault(
        "problem",
        "cannot be used",
        "cannot be used",
        "The file is damaged, cut short, or of another burst.",
        "Copy it again from the card, or leave it out with --without.",
    ),
    "black": _Fault("problem", "is black", "are black", "The lens was covered."),
    "flash": _Fault(
        "problem",
        "is lit all over",
        "are lit all over",
        "A flash, a headlamp or a passing car lit the scene.",
    ),
    "lit": _Fault(
        "caution",
        "is lit in part",
        "are lit in part",
        "A headlamp, a torch or a passing car lit it from aside.",
        "A lighten keeps that light: leave them out with --without, or crop that part off. "
        "In a mean of many frames it fades.",
    ),
    "blurred": _Fault(
        "problem",
        "is blurred",
        "are blurred",
        "The camera moved, or lost its focus, while the shutter was open.",
    ),
    "elsewhere": _Fault(
        "problem",
        "shows something else",
        "show something else",
        "The camera was bumped, turned away or covered.",
    ),
    "not held": _Fault(
        "problem",
        "cannot be held to the others",
        "cannot be held to the others",
        "Too little in them stands still.",
    ),
    "soft": _Fault(
        "caution",
        "is softer than the others",
        "are softer than the others",
        "The camera shook a little, or the focus hunted.",
        "In a mean they cost some sharpness; --without leaves them out.",
    ),
}


def frame_findings(records: Sequence[FrameRecord]) -> list[Finding]:
    """Return one finding for each kind of odd frame."""
    findings = []
    for verdict, fault in FRAME_FAULTS.items():
        odd = [record for record in records if record.verdict == verdict]
        if not odd:
            continue
        # frames that are told apart by their sharpness have a figure each
        whys = list(dict.fromkeys(r.why for r in odd if r.why)) if verdict != "soft" else []
        names = listed([record.name for record in odd])
        verb = fault.one if len(odd) == 1 else fault.many
        findings.append(
            Finding(
                f"frame-{verdict.replace(' ', '-')}",
                fault.severity,
                f"{names} {verb}{': ' + listed(whys) if whys else ''}.",
                fault.cause,
                fault.remedy,
                tuple(record.number for record in odd),
            )
        )
    return findings


# share of the picture from which on it is worth a word that it is never empty
SOME_BUSY = 0.002


def mover_findings(analysis: Analysis, size: tuple[int, int]) -> list[Finding]:
    """Return findings about what a median would leave in the picture, for things that pass."""
    movers, subject = analysis.movers, analysis.subject
    veil = analysis.passing.veil
    if movers.never_empty < SOME_BUSY or movers.box is None or subject.name in ("water", "clouds"):
        return []
    if veil is not None and _centre_within(movers.box, veil.box):
        # that drifts, and is told as clouds or smoke
        return []
    return [
        Finding(
            "never-empty",
            "note",
            f"{spoken_share(movers.never_empty)} of the picture is never empty for long, above all "
            f"{place_in_words(movers.box, size)} ({_box(movers.box)}).",
            "Something is there, or something changes there, in more than half of the frames.",
            "A median cannot take it away there; more frames, over a longer time, may.",
        )
    ]


def _centre_within(box: tuple[int, int, int, int], other: tuple[int, int, int, int]) -> bool:
    x, y = box[0] + box[2] / 2, box[1] + box[3] / 2
    return other[0] <= x <= other[0] + other[2] and other[1] <= y <= other[1] + other[3]


def _box(box: tuple[int, int, int, int]) -> str:
    return f"{box[2]} x {box[3]} px from {box[0]},{box[1]}"
