"""A plot of the camera's way: where the centre of each frame looked, and how far off over time."""

from __future__ import annotations

import importlib.util
import io
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from stacker.errors import OptionError

if TYPE_CHECKING:
    from stacker.survey.records import FrameRecord, Survey

# read on white and on black alike
INK, BLUE, ORANGE = "#808080", "#3d8ec9", "#d9772b"
SIZE_INCHES = (7.0, 7.0)
DOTS_PER_INCH = 150
# the narrowest view of the way, px: what is smaller shall look small
LEAST_VIEW_PX = 1.0
TYPES = ("svg", "png")


def require_drawing(option: str) -> None:
    """Return if there is a library to draw with.

    Raises
    ------
    OptionError
        There is none; ``option`` is what asked for it.
    """
    if importlib.util.find_spec("matplotlib") is None:
        raise OptionError(
            option,
            "drawing needs the library matplotlib, which is not there",
            remedy="install it with pip install matplotlib",
            code="option-no-library",
        )


def draw_path(survey: Survey, kind: str) -> bytes:
    """Return the plot as a file of a kind, "svg" or "png", with a clear background.

    Raises
    ------
    OptionError
        The plotting library is not there.
    """
    require_drawing("--path")
    from matplotlib import rc_context
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    placed = [record for record in survey.frames if record.place is not None]
    # the same survey gives the same file: no date, no random names
    with rc_context({"svg.hashsalt": "stacker", "svg.fonttype": "none"}):
        figure = Figure(SIZE_INCHES, layout="constrained")
        FigureCanvasAgg(figure)
        way, over_time = figure.subplots(2, 1, height_ratios=[3, 1])
        draw_way(way, placed, survey.reference)
        draw_over_time(over_time, placed, survey)
        for axes in (way, over_time):
            in_ink(axes)
        file = io.BytesIO()
        figure.savefig(
            file,
            format=kind,
            transparent=True,
            dpi=DOTS_PER_INCH,
            metadata={"Date": None} if kind == "svg" else {"Software": None},
        )
    return file.getvalue()


def draw_way(axes: Any, placed: Sequence[FrameRecord], reference: int | None) -> None:
    """Draw the way of the centre, y down as in the picture, alike in both directions."""
    places = [record.place for record in placed if record.place is not None]
    x, y = [place.x_px for place in places], [place.y_px for place in places]
    axes.plot(x, y, color=BLUE, linewidth=1, alpha=0.7)
    axes.scatter(x, y, s=9, color=BLUE, zorder=3)
    odd = [record.place for record in placed if not record.good and record.place is not None]
    axes.scatter(
        [p.x_px for p in odd], [p.y_px for p in odd], s=36, marker="x", color=ORANGE, zorder=4
    )
    for record in {placed[0].number: placed[0], placed[-1].number: placed[-1]}.values():
        place = record.place
        assert place is not None
        axes.annotate(
            str(record.number), (place.x_px, place.y_px), (4, 4),
            textcoords="offset points", color=INK,
        )  # fmt: skip
    axes.scatter([0], [0], s=60, facecolors="none", edgecolors=INK, zorder=2)
    reach = max([LEAST_VIEW_PX, *(1.1 * abs(value) for value in (*x, *y))])
    axes.set_xlim(-reach, reach)
    axes.set_ylim(reach, -reach)
    axes.set_aspect("equal")
    axes.set_xlabel("to the right, px")
    axes.set_ylabel("down, px")
    axes.set_title(f"Where the centre of each frame lies in frame {reference}")


def draw_over_time(axes: Any, placed: Sequence[FrameRecord], survey: Survey) -> None:
    """Draw how far each frame looked from the reference, over time; odd frames are marked."""
    times = [record.start_s for record in placed]
    shake = [record.place.shake_px for record in placed if record.place is not None]
    axes.plot(times, shake, color=BLUE, marker=".", markersize=4, linewidth=1)
    for record in survey.frames:
        if not record.good:
            axes.axvline(record.start_s, color=ORANGE, linewidth=0.8, alpha=0.7)
    axes.set_ylim(0, max(LEAST_VIEW_PX, 1.1 * max(shake)))
    axes.set_xlabel("start, s")
    axes.set_ylabel("shake, px")
    if not all(record.good for record in survey.frames):
        axes.set_title("Orange: frames with a fault", fontsize="small")


def in_ink(axes: Any) -> None:
    """Draw all lines and words of a plot in a grey that reads on white and on black."""
    axes.grid(color=INK, alpha=0.25, linewidth=0.5)
    axes.tick_params(colors=INK)
    for part in (axes.title, axes.xaxis.label, axes.yaxis.label):
        part.set_color(INK)
    for spine in axes.spines.values():
        spine.set_color(INK)
