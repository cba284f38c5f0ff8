"""The plot of a survey as a file, whole or not at all."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

from stacker.errors import OutputError
from stacker.finish import check_place, place_file
from stacker.survey.path_plot import TYPES, draw_path
from stacker.survey.records import Survey


def check_plot(target: Path, *, overwrite: bool, sources: Collection[Path] = ()) -> None:
    """Return if a plot may be written to ``target``; to be asked before the work begins.

    Raises
    ------
    OutputError
        The suffix is neither .svg nor .png, or the place is taken or none.
    """
    if _kind(target) not in TYPES:
        raise OutputError(
            target,
            "a plot is written as .svg or .png",
            remedy="choose a name that ends so",
            code="output-suffix",
        )
    check_place(target, overwrite=overwrite, sources=sources)


def save_plot(
    survey: Survey, target: Path, *, overwrite: bool, sources: Collection[Path] = ()
) -> None:
    """Write the camera's way to ``target``.

    Raises
    ------
    OutputError
        What ``check_plot`` raises, the disk refuses, or there is no way to draw.
    OptionError
        The plotting library is not there.
    """
    check_plot(target, overwrite=overwrite, sources=sources)
    if all(record.place is None for record in survey.frames):
        raise OutputError(
            target,
            "there is no way of the camera to draw, as the frames cannot be held to one view",
            remedy="leave --path out",
            code="output-nothing",
        )
    picture = draw_path(survey, _kind(target))
    with place_file(target, overwrite=overwrite, sources=sources) as file:
        file.write(picture)


def _kind(target: Path) -> str:
    return target.suffix.lower().removeprefix(".")
