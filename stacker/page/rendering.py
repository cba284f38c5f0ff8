"""Rendering at full size, as the command does it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from stacker.burst import open_burst
from stacker.engine import expose_burst, save
from stacker.engine.settings_file import Chosen
from stacker.errors import OutputError
from stacker.finish import Tone, check_target, depth_of, space_named
from stacker.page.answers import PageError
from stacker.page.folder import Served
from stacker.page.jobs import Job, Outcome
from stacker.page.opened import Opened


def render_job(
    served: Served, opened: Opened, chosen: Chosen, name: object, *, overwrite: bool
) -> tuple[str, Callable[[Job], Outcome]]:
    """Return what a job makes and the work of it; whatever can be refused before is refused now.

    Raises
    ------
    PageError
        ``file-exists`` where a file of that name is there and was not given up.
    StackerError
        The settings do not fit the burst, or the file cannot be written there.
    """
    target = served.target(name)
    _check(target, opened, chosen, overwrite=overwrite)

    def work(job: Job) -> Outcome:
        return _render(target, opened.path, chosen, job, overwrite=overwrite)

    return f"{target.name} of {opened.path.name}", work


def _check(target: Path, opened: Opened, chosen: Chosen, *, overwrite: bool) -> None:
    finishing = chosen.finishing
    Tone(exposure_ev=finishing["exposure_ev"])
    if finishing["space"] is not None:
        space_named(finishing["space"])
    depth_of(target, finishing["depth"])
    chosen.balance.check(opened.burst.size)
    try:
        check_target(target, overwrite=overwrite, sources=opened.burst.sources)
    except OutputError as error:
        if error.code != "output-exists":
            raise
        raise PageError(
            target.name,
            "a file of that name is there already",
            remedy="choose another name, or say that it may be replaced",
            code="file-exists",
        ) from error


def _render(target: Path, source: Path, chosen: Chosen, job: Job, *, overwrite: bool) -> Outcome:
    """Make the picture; stopped between two frames where the job was cancelled."""
    job.start("opening the burst", 1)
    burst = open_burst(source, **chosen.opening)
    shot = next(iter(expose_burst(burst, chosen.settings, progress=job).values()))
    balance = chosen.balance.balance_for(shot)
    job.start("writing", 1)
    report = save(shot, target, white_balance=balance, overwrite=overwrite, **chosen.finishing)
    return Outcome(target.name, tuple(report["warnings"]))
