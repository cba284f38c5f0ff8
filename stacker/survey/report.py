"""From what was seen to the survey: findings, the worst first, and a command to go on with."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from stacker.register import BurstMotion
from stacker.survey import disturbances, judge
from stacker.survey.advice import options_for
from stacker.survey.analysis import Analysis
from stacker.survey.brightness import Brightness
from stacker.survey.burnt_out import BurntOut
from stacker.survey.exposure_changes import CameraSettings, setting_changes
from stacker.survey.findings import Finding, listed, worst_first
from stacker.survey.hot_pixels import HotPixels
from stacker.survey.noise import Noise
from stacker.survey.numbering import read_numbering
from stacker.survey.records import FrameRecord, Survey, rounded
from stacker.survey.shake import Stand, moments_touched
from stacker.survey.timing import Rhythm

# a tripod that moved less, in pixels, may as well have stood still
TOUCHED_PX = 0.5
# places of hot pixels in the JSON, at most
MOST_PLACES = 100


@dataclass(frozen=True, eq=False)
class Seen:
    """Everything that was measured of a burst.

    Parameters
    ----------
    records : of each frame of the span.
    looked_at : places among the records that could be read, rising; ``motion`` and ``light``
        hold these.
    settings : how the camera was set, of each frame.
    warnings : what was said when the burst was opened.
    stills : whether each frame is a file of its own, so that names have numbers.
    motion : where the frames looked; None where they cannot be held to one view.
    why_not_held : then the reason, a clause.
    hot : what stands alone in every frame; None for too few frames.
    burnt : where frames are burnt out.
    """

    program: str
    size: tuple[int, int]
    records: tuple[FrameRecord, ...]
    looked_at: tuple[int, ...]
    rhythm: Rhythm
    settings: Sequence[CameraSettings]
    warnings: Sequence[str]
    stills: bool
    motion: BurstMotion | None
    why_not_held: str
    stand: Stand
    light: Brightness
    analysis: Analysis | None
    noise: Noise | None
    hot: HotPixels | None
    burnt: BurntOut


def conclude(seen: Seen) -> Survey:
    """Return the survey."""
    read = [seen.records[place] for place in seen.looked_at]
    numbering = read_numbering([r.name for r in seen.records] if seen.stills else [])
    subject = seen.analysis.subject if seen.analysis else None
    findings = [
        *judge.frame_findings(seen.records),
        *judge.missing_numbers(numbering, seen.records, seen.rhythm),
        *judge.pauses(seen.records, seen.rhythm, numbering),
        *setting_changes(seen.settings, seen.records),
        # frames that look elsewhere cannot be compared in their light
        *(judge.light_findings(seen.light, read) if seen.stand != "unknown" else ()),
        *_stand_findings(seen, read),
        *(judge.mover_findings(seen.analysis, seen.size) if seen.analysis else ()),
        *_passing_findings(seen, read, subject.name if subject else ""),
        *disturbances.hot_pixel_findings(seen.hot, seen.size),
        *judge.clipping_findings(read),
        *judge.rhythm_findings(seen.rhythm, subject.name if subject else ""),
        *(_opened(warning) for warning in seen.warnings),
    ]
    reference = read[seen.motion.reference].number if seen.motion else None
    return Survey(
        program=seen.program,
        frames=seen.records,
        size=seen.size,
        rhythm=seen.rhythm,
        stand=seen.stand,
        reference=reference,
        motion_model=seen.motion.motion_model if seen.motion else None,
        findings=worst_first(findings),
        options=options_for(
            subject,
            seen.stand,
            seen.records,
            seen.light,
            seen.analysis.followed if seen.analysis else None,
            mend=seen.hot is not None and len(seen.hot.places) > 0,
        ),
        output=f"{subject.name}.tif" if subject else "exposure.tif",
        measured=_measured(seen),
    )


def _passing_findings(seen: Seen, read: Sequence[FrameRecord], subject: str) -> list[Finding]:
    """Return what there is to say of what passes and is not the subject."""
    if seen.analysis is None:
        return []
    return [
        # where clouds are the subject, nobody needs to be told
        *(
            disturbances.veil_findings(seen.analysis.passing.veil, read, subject, seen.size)
            if subject != "clouds"
            else ()
        ),
        *disturbances.visitor_findings(seen.analysis.passing.visitors, read, seen.size),
    ]


def _opened(warning: str) -> Finding:
    return Finding("opening", "note", warning, "The files and their times say so.")


def _measured(seen: Seen) -> dict[str, Any]:
    """Return the figures of the whole burst, by their keys of the JSON."""
    light, analysis, noise = seen.light, seen.analysis, seen.noise
    return {
        "hot_pixels": seen.hot
        and {
            "count": seen.hot.count,
            "looked_at": rounded(seen.hot.share, 3),
            "places": [list(place) for place in seen.hot.places[:MOST_PLACES]],
        },
        "burnt_out": {
            "in_any_frame": rounded(seen.burnt.anywhen, 5),
            "in_every_frame": rounded(seen.burnt.always, 5),
        },
        "light": {
            "drift_stops": rounded(light.drift_stops, 3),
            "flicker": rounded(light.flicker, 5),
            "flicker_seen": light.seen,
        },
        "noise": noise
        and {
            "at_mid_grey": rounded(noise.at_mid_grey, 6),
            "snr_mid_grey": rounded(noise.snr_mid_grey, 1),
            "shot": noise.shot,
            "read_variance": noise.read_variance,
            "extrapolated": noise.extrapolated,
        },
        "movement": analysis and _movement(analysis),
        "subject": analysis
        and {
            "name": analysis.subject.name,
            "confidence": analysis.subject.confidence,
            "reasons": list(analysis.subject.reasons),
        },
    }


def _movement(analysis: Analysis) -> dict[str, Any]:
    movers, speed = analysis.movers, analysis.speed
    return {
        "moving": rounded(movers.moving, 5),
        "touched": rounded(movers.touched, 5),
        "vanishing": rounded(movers.vanishing, 5),
        "never_empty": rounded(movers.never_empty, 5),
        "never_empty_box": list(movers.box) if movers.box else None,
        "speed_px_per_s": rounded(speed.px_per_s, 2),
        "followed": rounded(speed.followed, 3),
        "along_lanes": rounded(speed.along_lanes, 3),
        "traits": {name: rounded(value, 5) for name, value in asdict(analysis.traits).items()},
    }


def _stand_findings(seen: Seen, read: Sequence[FrameRecord]) -> list[Finding]:
    """Return what there is to say about how the camera stood."""
    stand = seen.stand
    places = [record.place for record in read]
    shakes = [place.shake_px for place in places if place is not None]
    if stand == "touched":
        moments = moments_touched(places)
        names = [read[index].name for index in moments]
        much = max(shakes) >= TOUCHED_PX
        return [
            Finding(
                "tripod-touched",
                "caution" if much else "note",
                f"The tripod {'was touched' if much else 'gave way a little'} before "
                f"{listed(names)}; the picture moved by up to {max(shakes):.2g} px.",
                "A hand, the wind or soft ground moved it.",
                "--hold scene brings the frames together." if much else "It will hardly be seen.",
                tuple(read[index].number for index in moments),
            )
        ]
    if stand in ("handheld", "moving"):
        how = (
            "The camera was held by hand: the picture wanders"
            if stand == "handheld"
            else "The camera was moved on: the picture travels"
        )
        return [
            Finding(
                stand,
                "note" if stand == "handheld" else "caution",
                f"{how} by up to {max(shakes):.3g} px.",
                "No tripod, or one that gives way."
                if stand == "handheld"
                else "It was panned, carried, or the lens was zoomed.",
                "--hold scene brings the frames together."
                if stand == "handheld"
                else "--hold scene with the frames of a shorter span, or --hold subject with a "
                "--box about what the camera followed.",
            )
        ]
    if stand == "unknown" and len(read) > 1:
        return [
            Finding(
                "not-held",
                "caution",
                f"The frames cannot be held to one view: {seen.why_not_held}.",
                "Too little stands still, or the frames show different things.",
                "Use the frames as they lie, which is right if the camera stood still.",
            )
        ]
    return []
