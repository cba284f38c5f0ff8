"""The drawings of the page, as SVG whose colours follow the page's."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from stacker.survey.page.markup import text
from stacker.survey.path_plot import BLUE, INK, ORANGE, draw_over_time, draw_way, in_ink
from stacker.survey.records import Survey
from stacker.survey.tones import Tones

# what is drawn in these colours takes on the page's, which has others by night and on paper
PAGE_COLOURS = {INK: "var(--quiet)", BLUE: "var(--line)", ORANGE: "var(--accent)"}
WIDE, HALF = 8.6, 4.2
# seconds from which on minutes, and then hours, are easier to read
MINUTES_FROM, HOURS_FROM = 300.0, 3 * 3600.0
# frames whose shutter is drawn; more would be too thin to see
MOST_BARS = 60
# the curve of noise is drawn to a round number of frames beyond those used
BEYOND = 1.3


def drawing(draw: Callable[[Any], None], label: str, size: tuple[float, float]) -> str:
    """Return an inline SVG.

    Parameters
    ----------
    draw : draws into a figure of matplotlib.
    label : what is to be seen, for those who cannot see it.
    size : width and height in inches of text at 9 points.
    """
    from matplotlib import rc_context
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    # the same report gives the same file: no date, and names that follow from the label
    style: Any = {
        "svg.hashsalt": label,
        "svg.fonttype": "none",
        "font.size": 9,
        "axes.titlesize": 9,
    }
    with rc_context(style):
        figure = Figure(size, layout="constrained")
        FigureCanvasSVG(figure)
        draw(figure)
        for axes in figure.axes:
            in_ink(axes)
            axes.spines[["top", "right"]].set_visible(False)
        file = io.StringIO()
        nothing = dict.fromkeys(("Date", "Creator", "Format", "Type"))
        figure.savefig(file, format="svg", transparent=True, metadata=nothing)
    return _inline(file.getvalue(), label)


def _inline(svg: str, label: str) -> str:
    """Return what can stand in a page: no addresses, no style that would reach beyond it."""
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r"<metadata>.*?</metadata>|<style.*?</style>|<!--.*?-->", "", svg, flags=re.S)
    svg = re.sub(r' xmlns(:\w+)?="[^"]*"', "", svg).replace("xlink:href", "href")
    for drawn, shown in PAGE_COLOURS.items():
        svg = svg.replace(drawn, shown)
    return svg.replace("<svg", f'<svg role="img" aria-label="{text(label)}"', 1)


def way_plot(survey: Survey) -> str:
    """Return where the camera looked, and how far off over time."""
    placed = [record for record in survey.frames if record.place is not None]

    def draw(figure: Any) -> None:
        way, over_time = figure.subplots(1, 2, width_ratios=[1, 1.4])
        draw_way(way, placed, survey.reference)
        draw_over_time(over_time, placed, survey)
        way.set_title("")
        over_time.set_title("")

    most = max(record.place.shake_px for record in placed if record.place is not None)
    label = f"The way of the camera, frame by frame; it wandered by up to {most:.3g} pixels."
    return drawing(draw, label, (WIDE, 3.4))


def light_plot(survey: Survey) -> str:
    """Return the light of the frames over time, in stops."""
    known = [record for record in survey.frames if record.light_stops is not None]
    unit, scale = time_unit(known[-1].start_s - known[0].start_s)
    stops = [record.light_stops or 0.0 for record in known]

    def draw(figure: Any) -> None:
        axes = figure.subplots()
        times = [(record.start_s - known[0].start_s) / scale for record in known]
        axes.plot(times, stops, color=BLUE, linewidth=1, marker=".", markersize=4)
        odd = [place for place, record in enumerate(known) if not record.good]
        axes.scatter(
            [times[p] for p in odd],
            [stops[p] for p in odd],
            s=40,
            marker="x",
            color=ORANGE,
            zorder=3,
        )
        # a steady light shall look steady
        low, high = min(stops), max(stops)
        axes.set_ylim(min(low * 1.1, -0.5), max(high * 1.1, 0.5))
        axes.set_xlabel(f"time, {unit}")
        axes.set_ylabel("light, stops")

    label = f"The light of each frame over time: from {min(stops):+.2f} to {max(stops):+.2f} stops."
    return drawing(draw, label, (WIDE, 2.2))


def time_plot(report: Mapping[str, Any]) -> tuple[str, str]:
    """Return when the shutter was open and which gaps were bridged, and a caption."""
    used = [frame for frame in report["frames"] if frame["used"]]
    first = _about_longest_gap(report["gaps"], len(used))
    shown = used[first : first + MOST_BARS]
    gaps = report["gaps"][first : first + len(shown) - 1]
    begin = shown[0]["start_s"]
    unit, scale = time_unit(shown[-1]["start_s"] - begin + (shown[-1]["shutter_s"] or 0))
    bridged = [
        ((frame["start_s"] + frame["shutter_s"] - begin) / scale, (gap["seconds"] or 0) / scale)
        for frame, gap in zip(shown, gaps, strict=False)
        if gap["bridged"] and frame["shutter_s"]
    ]

    def draw(figure: Any) -> None:
        axes = figure.subplots()
        spans = [((f["start_s"] - begin) / scale, (f["shutter_s"] or 0) / scale) for f in shown]
        axes.broken_barh(spans, (0, 1), color=BLUE)
        axes.broken_barh(bridged, (0.3, 0.4), color=ORANGE)
        axes.set_yticks([])
        axes.set_xlabel(f"time, {unit}")

    caption = "Blue-grey: the shutter was open. Between: it was shut."
    if bridged:
        caption += " Orange: the light of the gap was made up from the frames on either side."
    if len(shown) < len(used):
        caption += f" {len(shown)} of {len(used)} frames are shown, about the longest gap."
    label = f"When the shutter was open: {len(shown)} frames, {len(bridged)} of the gaps bridged."
    return drawing(draw, label, (WIDE, 0.95)), caption


def _about_longest_gap(gaps: Sequence[Mapping[str, Any]], count: int) -> int:
    """Return the first of the frames to show, so that the longest gap lies among them."""
    if count <= MOST_BARS:
        return 0
    longest = max(range(len(gaps)), key=lambda place: gaps[place]["seconds"] or 0)
    return max(0, min(longest - MOST_BARS // 2, count - MOST_BARS))


def tone_plot(result: Tones, frame: Tones) -> str:
    """Return how much of the picture lies at each stop of light."""

    def draw(figure: Any) -> None:
        axes = figure.subplots()
        axes.fill_between(result.stops, 100 * result.shares, step="post", color=BLUE, alpha=0.55)
        axes.step(result.stops, 100 * result.shares, where="post", color=BLUE, linewidth=1)
        axes.step(frame.stops, 100 * frame.shares, where="post", color=INK, linewidth=1)
        axes.axvline(0, color=ORANGE, linewidth=1)
        seen = [
            s for s, a, b in zip(result.stops, result.shares, frame.shares, strict=True) if a + b
        ]
        axes.set_xlim(min(-8.0, min(seen, default=-8.0)), max(0.5, max(seen, default=0.0) + 0.5))
        axes.set_ylim(0)
        axes.set_xlabel("stops from white")
        axes.set_ylabel("% of the picture")

    label = (
        f"Tones of the result in stops: half of it lies below {result.middle_stop:+.1f} stops from "
        f"white, {result.range_stops:.1f} stops from its darkest to its brightest parts."
    )
    return drawing(draw, label, (HALF, 3.0))


def noise_plot(frames: int, gain: float, expected: float | None) -> str:
    """Return how the noise of a mean falls with the number of frames, and what was measured."""

    def draw(figure: Any) -> None:
        axes = figure.subplots()
        counts = [1 + (max(frames, 2) * BEYOND - 1) * k / 100 for k in range(101)]
        axes.plot(counts, [100 / n**0.5 for n in counts], color=INK, linewidth=1)
        if expected is not None:
            axes.scatter([frames], [100 / expected], s=60, facecolors="none", edgecolors=BLUE)
        axes.scatter([frames], [100 / gain], s=36, color=ORANGE, zorder=3)
        axes.scatter([1], [100], s=24, color=INK)
        axes.set_xlim(0)
        axes.set_ylim(0, 108)
        axes.set_xlabel("frames")
        axes.set_ylabel("noise, % of one frame's")

    label = f"Noise against the number of frames: {100 / gain:.0f} % is left of one frame's noise."
    return drawing(draw, label, (HALF, 2.8))


def time_unit(span_s: float) -> tuple[str, float]:
    """Return the unit in which a time is easily read, and the seconds in one of it."""
    if span_s >= HOURS_FROM:
        return "h", 3600.0
    return ("min", 60.0) if span_s >= MINUTES_FROM else ("s", 1.0)
