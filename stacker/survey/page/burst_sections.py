"""What the page shows of the burst: the camera's stand, light, time, and what fills the frame."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from stacker.survey.page.content import Content
from stacker.survey.page.markup import (
    figure,
    on_mat,
    paragraph,
    picture,
    row,
    section,
    shares,
    text,
)
from stacker.survey.page.plots import light_plot, time_plot, way_plot
from stacker.wording import spoken, spoken_gap, spoken_share

# pixels below which nobody sees that a frame lies elsewhere
UNSEEN_PX = 0.05


def stand_section(content: Content) -> str:
    """Return how still the camera stood."""
    survey = content.burst.survey
    placed = [record.place for record in survey.frames if record.place is not None]
    title = "How still the camera stood"
    if len(survey.frames) < 2:
        return ""
    if survey.stand == "unknown" or len(placed) < 2:
        return section(
            title,
            paragraph("The frames cannot be held to one view, so nothing can be said about it."),
        )
    most = max(place.shake_px for place in placed)
    if most < UNSEEN_PX:
        return section(title, paragraph("It stood still: all frames show the very same view."))
    report = content.results[0].review.report
    held = content.results[0].review.held
    became = (
        f"The frames were brought together ({report['motion_model']})."
        if held
        else "The frames were used as they lay."
    )
    odd = "" if all(record.good for record in survey.frames) else " Orange: frames with a fault."
    return section(
        title,
        paragraph(f"The view wandered by up to {most:.3g} px. {became}"),
        figure(
            way_plot(survey),
            "Left: where the middle of each frame lies, against the one in the ring, in pixels of "
            f"the full size. Right: how far off it is, over time.{odd}",
        ),
    )


def light_section(content: Content) -> str:
    """Return how the light went."""
    survey = content.burst.survey
    if sum(record.light_stops is not None for record in survey.frames) < 2:
        return ""
    light = survey.measured["light"]
    drift = abs(light["drift_stops"])
    way = "rose" if light["drift_stops"] > 0 else "fell"
    words = f"It {way} by {drift:.2g} stops." if drift >= 0.05 else "It kept its level."
    words += (
        f" It flickers by {100 * light['flicker']:.1f} % from frame to frame."
        if light["flicker_seen"]
        else " No flicker can be seen."
    )
    return section(
        "The light, frame by frame",
        paragraph(words if survey.stand != "unknown" else ""),
        figure(
            light_plot(survey),
            "What stands still in each frame, against the usual one. A stop up is twice the light.",
        ),
    )


def burnt_section(content: Content) -> str:
    """Return where the frames themselves are burnt out."""
    burnt = content.burst.burnt
    if burnt is None:
        return ""
    title = "Burnt out in the frames"
    if content.burnt is None:
        return section(title, paragraph("Nothing is burnt out in any frame."))
    words = (
        f"At most {spoken_share(burnt.anywhen)} of the view is burnt out in at least one frame, "
        f"and {spoken_share(burnt.always)} in every one of them. What is white in every frame "
        "stays white in every blend."
    )
    return section(
        title,
        row(
            figure(
                on_mat(picture(content.burnt, f"Map of what is burnt out in the frames. {words}")),
                "Orange: burnt out, the stronger the more frames. A lamp of a single pixel is "
                "drawn larger, so that it can be seen.",
            ),
            "<div>" + paragraph(words) + "</div>",
        ),
    )


def time_section(content: Content) -> str:
    """Return when the shutter was open, and what became of the gaps."""
    review = content.results[0].review
    report = review.report
    gaps = [gap for gap in report["gaps"] if (gap["seconds"] or 0) > 0]
    if report["open_s"] is None or report["elapsed_s"] is None or len(report["gaps"]) < 1:
        return ""
    share = min(1.0, report["open_s"] / max(report["elapsed_s"], 1e-9))
    words = (
        f"The shutter was open for {spoken(report['open_s'])} of {spoken(report['elapsed_s'])}, "
        f"{spoken_share(share)} of the time."
    )
    if gaps:
        longest = max(gap["seconds"] for gap in gaps)
        bridged = len(gaps) - len(review.open_gaps)
        words += (
            f" {len(gaps)} gap{'s' if len(gaps) > 1 else ''}, the longest {spoken_gap(longest)}; "
            f"{bridged or 'none'} bridged."
        )
    drawn, caption = time_plot(report)
    told = _told_of_bridge(report.get("bridge"))
    return section(
        "Open and shut", paragraph(words), paragraph(told) if told else "", figure(drawn, caption)
    )


def _told_of_bridge(bridge: Mapping[str, Any] | None) -> str:
    """Return which bridges were tried, why, and what came of them."""
    if bridge is None:
        return ""
    sentences = [_sentence(bridge["words"])]
    if bridge["bridged"]:
        share = spoken_share(bridge["light"] / bridge["bridged"])
        sentences.append(f"A bridged gap got {share} of a frame's light.")
    if "why" in bridge:
        sentences.append(_sentence(bridge["why"]))
    # where nothing at all was bridged the reason stands there already
    useless = bridge["of_no_use"].items() if bridge["bridged"] else ()
    sentences += [
        f"{words[:1].upper()}{words[1:]} had nothing to give: {why or 'nothing was found'}."
        for words, why in useless
    ]
    return " ".join(sentences)


def _sentence(clause: str) -> str:
    return f"{clause[:1].upper()}{clause[1:]}."


def filling_section(content: Content) -> str:
    """Return how much of the frame holds motion, detail, and nothing."""
    filled, movers = content.burst.composition, content.burst.movers
    if filled is None or movers is None or content.motion is None:
        return ""
    parts = (
        ("moves at some time", "motion", filled.motion),
        ("stands still and can be seen", "detail", filled.detail),
        ("empty", "empty", filled.empty),
    )
    key = "".join(
        f'<div><span class="{kind}"></span>{text(f"{spoken_share(share)} {name}")}</div>'
        for name, kind, share in parts
    )
    subject = content.burst.survey.measured["subject"]
    said = f"It looks {subject['confidence']} like {_named(subject['name'])}: " if subject else ""
    said += "; ".join(subject["reasons"]) + "." if subject else ""
    alt = (
        f"Map of the frame: {spoken_share(filled.motion)} holds motion, "
        f"{spoken_share(filled.empty)} is empty."
    )
    return section(
        "What fills the frame",
        row(
            figure(
                on_mat(picture(content.motion, alt)),
                "Orange: something moved here, the stronger the more often. Dark: nothing moves "
                "and nothing can be made out.",
            ),
            "<div>"
            + shares(parts)
            + f'<div class="key">{key}</div>\n'
            + paragraph(f"At any one moment {spoken_share(filled.moving)} of it is in motion.")
            + paragraph(said, "quiet")
            + "</div>",
        ),
    )


SUBJECTS = {
    "water": "water in motion",
    "clouds": "clouds that drift",
    "star-trails": "stars that turn",
    "light-painting": "light painting",
    "crowd": "people who come and go",
    "pan": "a pan",
    "still": "a still scene",
}


def _named(subject: str) -> str:
    return SUBJECTS.get(subject, subject)
