"""The report as a file: JSON, or a page where its name ends in .html."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from typing import Any

from stacker.engine.progress import Progress, Silent
from stacker.engine.save import save_report
from stacker.engine.shot import Shot
from stacker.finish import check_place, place_file
from stacker.survey.path_plot import require_drawing

PAGES = (".html", ".htm")


def is_page(target: Path) -> bool:
    """Whether a report of this name is a page."""
    return target.suffix.lower() in PAGES


def check_report(target: Path, *, overwrite: bool, sources: Collection[Path] = ()) -> None:
    """Return if a report may be written to ``target``; to be asked before the work begins.

    Raises
    ------
    OptionError
        It is to be a page and the plotting library is not there.
    OutputError
        The place is taken or none.
    """
    if is_page(target):
        require_drawing("--report")
    check_place(target, overwrite=overwrite, sources=sources)


def write_report(
    shots: Sequence[Shot],
    target: str | Path,
    *,
    reports: Sequence[Mapping[str, Any]] | None = None,
    overwrite: bool = False,
    progress: Progress | None = None,
) -> None:
    """Write what was found and done: as JSON, or as a page where ``target`` ends in .html.

    Parameters
    ----------
    shots : one exposure, or several of one burst.
    reports : of each, as ``save`` returned it; as it was made if None.

    Raises
    ------
    OptionError
        It is to be a page and the plotting library is not there.
    OutputError
        The file cannot be written there.

    Notes
    -----
    A page takes as long as a survey and a bit: every file is read again.
    """
    target = Path(target)
    told = [shot.report for shot in shots] if reports is None else list(reports)
    sources = shots[0].sources
    check_report(target, overwrite=overwrite, sources=sources)
    if not is_page(target):
        whole = told[0] if len(told) == 1 else told
        save_report(whole, target, overwrite=overwrite, sources=sources)
        return
    from stacker.engine.review import review_shots
    from stacker.engine.review_pictures import content_of
    from stacker.survey.page.document import page_of

    review = review_shots(shots, told, progress or Silent())
    page = page_of(content_of(shots, review))
    with place_file(target, overwrite=overwrite, sources=sources) as file:
        file.write(page.encode("utf-8"))
