"""What the page shows of one result: the picture, the critique, tones, sharpness and noise."""

from __future__ import annotations

from pathlib import PurePath as Path

from stacker.survey.fine_detail import said_sharp
from stacker.survey.lessons import lessons_of
from stacker.survey.noise_law import AVERAGES, EXTREMES
from stacker.survey.page.content import Content, Pair, ShownResult
from stacker.survey.page.markup import (
    facts,
    figure,
    listed,
    on_mat,
    paragraph,
    picture,
    row,
    section,
    text,
)
from stacker.survey.page.plots import noise_plot, tone_plot
from stacker.survey.result_lessons import Lesson, praise_of
from stacker.survey.review import ResultReview
from stacker.wording import spoken, spoken_share

# stops by which it is worth telling that even parts came out brighter
TOLD_LIFT = 0.05


def picture_section(shown: ShownResult) -> str:
    """Return the result with its figures."""
    review = shown.review
    report = review.report
    width, height = report["size"]
    alt = f"The result: a {review.blend} of {report['frames_used']} frames"
    name = Path(report["output"]).name if report["output"] else ""
    return figure(on_mat(picture(shown.picture, alt)), name) + facts(
        (
            ("blend", review.blend),
            ("frames", f"{report['frames_used']} of {len(report['frames'])}"),
            ("open for", spoken(report["open_s"]) if report["open_s"] else ""),
            ("over", spoken(report["elapsed_s"]) if report["elapsed_s"] else ""),
            ("size", f"{width} x {height} px"),
            ("sharpness kept", _sharpness(review.comparison.sharpness)),
            ("noise", _times(review.comparison.noise_gain)),
        )
    )


def _sharpness(share: float | None) -> str:
    return "" if share is None else said_sharp(share)


def _times(gain: float | None) -> str:
    return "" if gain is None else f"÷ {gain:.1f}"


def critique_section(content: Content, shown: ShownResult) -> str:
    """Return what went well and what to do better."""
    praise = praise_of(content.burst, shown.review)
    lessons = lessons_of(content.burst, shown.review)
    well = section("What went well", listed((text(words) for words in praise), "well"))
    if not lessons:
        return well + section(
            "What to do better", paragraph("Nothing was found that would have made it better.")
        )
    items = "".join(_lesson(lesson) for lesson in lessons)
    return well + section("What to do better next time", f'<ul class="lessons">\n{items}</ul>\n')


def _lesson(lesson: Lesson) -> str:
    now = f"<p><b>Now:</b> {text(lesson.now)}</p>" if lesson.now else ""
    return (
        f'<li class="{text(lesson.severity)}"><h3>{text(lesson.what)}</h3>'
        f"<p>{text(lesson.why)}</p>{now}"
        f"<p><b>Next time:</b> {text(lesson.next_time)}</p></li>\n"
    )


def tones_section(shown: ShownResult) -> str:
    """Return the histogram in stops and the map of what is at a limit."""
    review = shown.review
    tones = review.tones
    words = (
        f"Burnt out in a channel: {spoken_share(tones.burnt)} of the result. "
        f"Quite black: {spoken_share(tones.black)}."
    )
    return section(
        "Tones",
        row(
            figure(
                tone_plot(tones, review.frame_tones),
                "How much of the picture lies in each quarter of a stop. Filled: the result. Thin "
                "line: one frame from the middle of the burst. Each stop to the left is half the "
                "light; the upright line is white.",
            ),
            figure(
                on_mat(picture(shown.limits, f"Map of what is burnt out or black. {words}")),
                f"Orange: burnt out. Blue: black. {words}",
            ),
        ),
    )


def sharpness_section(shown: ShownResult) -> str:
    """Return how sharp still parts are against the sharpest single frame."""
    review = shown.review
    sharpness = review.comparison.sharpness
    if review.not_compared:
        return section(
            "Sharpness and noise", paragraph(f"Not measured: {review.not_compared}.", "quiet")
        )
    return section(
        "Sharpness and noise",
        row(_sharp(shown, sharpness), _grain(shown)),
        _noise_row(review) if review.comparison.noise_gain is not None else "",
    )


def _sharp(shown: ShownResult, sharpness: float | None) -> str:
    if sharpness is None or shown.detail is None:
        return paragraph("Nothing detailed stands still, so no sharpness can be told.", "quiet")
    return (
        "<div><h3>Still parts</h3>"
        + _pair(shown.detail, "sharpest frame", "result", "the most detailed still square")
        + paragraph(
            f"They keep {said_sharp(sharpness)} of the fine contrast of the sharpest frame, "
            f"{shown.review.sharpest}, noise taken off; 100 % means just as sharp."
        )
        + "</div>"
    )


def _grain(shown: ShownResult) -> str:
    gain, grain = shown.review.comparison.noise_gain, shown.grain
    if gain is None or grain is None:
        return paragraph(
            "No even part keeps still and is lit well, so no noise can be told.", "quiet"
        )
    return (
        "<div><h3>Grain</h3>"
        + _pair(grain, "one frame", "result", "an even square with its contrast raised")
        + paragraph(f"The noise fell by a factor of {gain:.1f}. Contrast is raised alike in both.")
        + "</div>"
    )


def _pair(pair: Pair, left: str, right: str, what: str) -> str:
    return row(
        figure(picture(pair.frame, f"{what}, {left}"), left),
        figure(picture(pair.result, f"{what}, {right}"), right),
        kind="pair",
    )


def _noise_row(review: ResultReview) -> str:
    gain = review.comparison.noise_gain
    assert gain is not None
    drawn = noise_plot(review.report["frames_used"], gain, review.expected_gain)
    return row(
        figure(
            drawn,
            "Curve: the law of the mean, 1 / √N. Ring: what this blend should reach. "
            "Dot: measured.",
        ),
        "<div>" + "".join(paragraph(words) for words in _noise_words(review)) + "</div>",
    )


def _noise_words(review: ResultReview) -> list[str]:
    comparison, expected = review.comparison, review.expected_gain
    frames, gain, blend = review.report["frames_used"], comparison.noise_gain, review.blend
    assert gain is not None
    said = []
    uneven = expected is not None and expected < 0.98 * frames**0.5
    weighed = f", or {expected:.1f} as some frames count less" if uneven else ""
    if expected is None:
        said.append("For this blend there is no simple law to hold the noise against.")
    elif blend in AVERAGES:
        said.append(
            f"The law of the mean promises a factor of √{frames} = {frames**0.5:.1f}{weighed}; "
            f"{gain:.1f} was measured."
        )
    elif blend in EXTREMES and expected < 0.9 * frames**0.5:
        said.append(
            f"A {blend} keeps one of {frames} noisy values instead of their average: "
            f"the noise can fall by a factor of {expected:.1f}, where a mean would reach "
            f"{frames**0.5:.1f}. {gain:.1f} was measured."
        )
    else:
        said.append(
            f"In a {blend} of {frames} frames the noise can fall by a factor of "
            f"{expected:.1f}, in a mean of {frames**0.5:.1f}. {gain:.1f} was measured."
        )
    if review.held and expected is not None and gain > expected:
        said.append("More than the law, because moving frames upon each other smooths them.")
    eight = review.report["stored"] == "uint8" and blend not in AVERAGES
    if eight and expected is not None and gain < 0.75 * expected:
        said.append(
            "The frames are stored in 8 bits, in steps about as coarse as their noise, and this "
            "blend can only pick one of the steps. Raw frames or a mean do better."
        )
    lift = comparison.lift_stops
    if lift is not None and abs(lift) >= TOLD_LIFT:
        way = "brighter" if lift > 0 else "darker"
        said.append(f"Even parts came out {abs(lift):.2g} stops {way} than in the frames.")
    return said
