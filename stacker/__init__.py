"""Long exposures made afterwards, from bursts of short frames.

>>> import stacker
>>> burst = stacker.open_burst("frames/")            # doctest: +SKIP
>>> shot = stacker.expose(burst, subject="traffic")  # doctest: +SKIP
>>> stacker.save(shot, "trails.tif")                 # doctest: +SKIP
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

# The room "survey" and the function have one name: loaded here, before the function is defined,
# the room cannot take the name from it later.
import stacker.survey  # noqa: F401 - see above
from stacker import version

if TYPE_CHECKING:
    from stacker.burst import Burst, Frame, open_burst
    from stacker.engine import (
        Ladder,
        Progress,
        Region,
        Settings,
        Shot,
        save,
        save_masks,
        save_rungs,
        save_sheet,
    )
    from stacker.errors import BurstError, FrameError, OptionError, OutputError, StackerError
    from stacker.light.white_balance import WhiteBalance
    from stacker.plan import Plan
    from stacker.plan import make_plan as plan
    from stacker.scenes import render_scene
    from stacker.survey.records import Survey

__version__ = version.VERSION

# imported when first asked for, so that "import stacker" and "stacker --help" stay quick
_HOMES = {
    "Burst": "stacker.burst",
    "Frame": "stacker.burst",
    "open_burst": "stacker.burst",
    "Ladder": "stacker.engine",
    "Progress": "stacker.engine",
    "Region": "stacker.engine",
    "Settings": "stacker.engine",
    "Shot": "stacker.engine",
    "save": "stacker.engine",
    "save_masks": "stacker.engine",
    "save_rungs": "stacker.engine",
    "save_sheet": "stacker.engine",
    "BurstError": "stacker.errors",
    "FrameError": "stacker.errors",
    "OptionError": "stacker.errors",
    "OutputError": "stacker.errors",
    "StackerError": "stacker.errors",
    "Plan": "stacker.plan",
    "WhiteBalance": "stacker.light.white_balance",
    "render_scene": "stacker.scenes",
    "Survey": "stacker.survey.records",
}

__all__ = [
    "Burst",
    "BurstError",
    "Frame",
    "FrameError",
    "Ladder",
    "OptionError",
    "OutputError",
    "Plan",
    "Progress",
    "Region",
    "Settings",
    "Shot",
    "StackerError",
    "Survey",
    "WhiteBalance",
    "__version__",
    "expose",
    "expose_several",
    "film",
    "ladder",
    "open_burst",
    "plan",
    "render_scene",
    "save",
    "save_masks",
    "save_report",
    "save_rungs",
    "save_sheet",
    "survey",
]


def __getattr__(name: str) -> Any:
    import importlib

    if name == "plan":
        # the room is the function: see there
        return importlib.import_module("stacker.plan")
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")

    return getattr(importlib.import_module(_HOMES[name]), name)


def expose(
    burst: Burst,
    *,
    subject: str | None = None,
    blend: str | None = None,
    progress: Progress | None = None,
    **settings: Any,
) -> Shot:
    """Return one long exposure made from a burst.

    Parameters
    ----------
    subject : what the burst is of, such as ``"water"`` or ``"star-trails"``: it chooses the blend
        and other settings that are not given.
    blend : how the frames add up, such as ``"mean"``, ``"lighten"`` or ``"median"``; the
        subject's own if None, ``"mean"`` without a subject.
    progress : told about every frame.
    settings : anything else in ``Settings``, such as ``first=3`` or ``on_bad="skip"``.

    Raises
    ------
    StackerError
        The settings or the burst do not allow it; the text says what to do.
    """
    if blend is not None:
        settings["blends"] = (blend,)
    return next(iter(_exposed(burst, subject, progress, settings).values()))


def expose_several(
    burst: Burst,
    *,
    blends: Sequence[str],
    subject: str | None = None,
    progress: Progress | None = None,
    **settings: Any,
) -> dict[str, Shot]:
    """Return long exposures by the name of their blend, all made in one pass over the files.

    Parameters and errors are those of ``expose``.
    """
    return _exposed(burst, subject, progress, {**settings, "blends": tuple(blends)})


def _exposed(
    burst: Burst, subject: str | None, progress: Progress | None, given: dict[str, Any]
) -> dict[str, Shot]:
    from stacker.engine import expose_burst, settings_for

    return expose_burst(burst, settings_for(subject, given), progress=progress)


def save_report(
    shot: Shot | Sequence[Shot],
    target: str | Path,
    *,
    report: Mapping[str, Any] | None = None,
    overwrite: bool = False,
    progress: Progress | None = None,
) -> None:
    """Write what was found and done: as JSON, or as a page where ``target`` ends in .html.

    Parameters
    ----------
    shot : an exposure, or several of one burst.
    report : what ``save`` returned for a single exposure, so that the file's name and tone are
        told too; that of the exposure if None.
    overwrite : replace a file that is there; never one of the sources.
    progress : told about every frame that the page looks at.

    Raises
    ------
    StackerError
        The file cannot be written there, or a page needs the plotting library.
    """
    from stacker.engine import write_report

    shots = [shot] if not isinstance(shot, Sequence) else list(shot)
    reports = None if report is None else [report]
    write_report(shots, target, reports=reports, overwrite=overwrite, progress=progress)


def survey(
    burst: Burst,
    *,
    first: int | None = None,
    last: int | None = None,
    memory: int | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Survey:
    """Return what is in a burst: rhythm, shake, light, odd frames, and what suits it.

    Parameters
    ----------
    first, last : span of frames, counted from 1; the whole burst if None.
    memory : bytes that may be used; a share of what is free if None.
    workers : threads; one per processor if None.
    progress : told about every frame.

    Raises
    ------
    StackerError
        The span lies beyond the burst, or no frame of it can be read.
    """
    from stacker.engine import Settings
    from stacker.engine.survey import survey_burst

    settings = Settings(first=first, last=last, memory=memory, workers=workers, on_bad="skip")
    return survey_burst(burst, settings, progress=progress)


def ladder(
    burst: Burst,
    *,
    blend: str | None = None,
    shutters_s: Sequence[float] | None = None,
    subject: str | None = None,
    progress: Progress | None = None,
    **settings: Any,
) -> Ladder:
    """Return one burst at a ladder of shutter times, all made in one pass over the files.

    Parameters
    ----------
    blend : how the frames add up; the subject's choice, or mean, if None.
    shutters_s : open times in seconds; those of 1, 2, 4, 8 frames and so on if None.
    subject : what the burst is of: it chooses the blend and what is held, and by it a rung is
        proposed.
    progress : told about every frame.
    settings : anything else in ``Settings`` that a ladder knows, such as ``hold="scene"``.

    Raises
    ------
    StackerError
        The settings or the burst do not allow it; the text says what to do.
    """
    from stacker.engine import ladder_burst, ladder_settings

    if blend is not None:
        settings["blends"] = (blend,)
    made = ladder_settings(subject, settings)
    return ladder_burst(burst, made, shutters_s=shutters_s, subject=subject, progress=progress)


def film(
    burst: Burst,
    target: str | Path,
    *,
    blend: str = "mean",
    fps: float = 24.0,
    width: int | None = None,
    sliding_s: float | None = None,
    exposure_ev: float = 0.0,
    shoulder: bool = False,
    overwrite: bool = False,
    progress: Progress | None = None,
    **settings: Any,
) -> dict[str, Any]:
    """Return the report, having written a burst as a film in BT.709.

    Parameters
    ----------
    target : a name that ends in .mp4 or .mov.
    blend : mean, lighten, max, darken or sum.
    fps : pictures per second.
    width : in pixels, even; that of the frames, but at most 1920, if None.
    sliding_s : open time in seconds of a shutter that slides over the burst; the exposure builds up
        from the first frame to the last if None.
    exposure_ev, shoulder, overwrite : as in ``save``.
    settings : anything else in ``Settings`` that a film knows, such as ``hold="scene"``.

    Raises
    ------
    StackerError
        The settings or the burst do not allow it; the text says what to do.
    """
    from stacker.engine import FilmChoice, Settings, film_burst

    choice = FilmChoice(
        fps=fps,
        width=width,
        sliding_s=sliding_s,
        exposure_ev=exposure_ev,
        shoulder=shoulder,
        overwrite=overwrite,
    )
    made = Settings(blends=(blend,), **settings)
    return film_burst(burst, Path(target), made, choice, progress=progress)
