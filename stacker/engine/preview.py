"""A quick exposure from reduced frames, the same for commands and for the page."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from stacker.burst import Burst
from stacker.engine.balance import BalanceChoice
from stacker.engine.calibrate import Calibrated, calibrate
from stacker.engine.expose_regions import expose_spans
from stacker.engine.moments import choose_moments
from stacker.engine.progress import Progress, Silent
from stacker.engine.reduced import ReducedBurst, reduce_burst
from stacker.engine.settings import Settings
from stacker.engine.shot import Shot
from stacker.engine.span import span_of, weights_of


@dataclass(frozen=True, eq=False)
class Quick:
    """A burst with reduced frames, and what was found when its frames were calibrated."""

    burst: ReducedBurst
    calibrated: Calibrated


def quick_burst(burst: Burst, settings: Settings, progress: Progress) -> Quick:
    """Return the burst with reduced frames, calibrated before they are reduced.

    Raises
    ------
    StackerError
        The span or the calibration do not fit the burst.
    """
    weights = weights_of(burst, span_of(burst, settings), settings)
    calibrated = calibrate(burst, settings, weights, progress)
    return Quick(reduce_burst(calibrated.burst), calibrated)


def expose_preview(
    burst: Burst, settings: Settings, *, progress: Progress | None = None
) -> dict[str, Shot]:
    """Return exposures from reduced frames, by the names of their blends.

    Parameters and errors are those of ``expose_burst``; places in ``settings`` are those of the
    frames at full size.
    """
    progress = progress or Silent()
    # small frames show other lamps than large ones
    moments = choose_moments(burst, settings, progress)
    quick = quick_burst(burst, moments.settings, progress)
    reduced = for_reduced(moments.settings, quick.burst.factor)
    found = bool(moments.found)
    shots = expose_spans(quick.burst, reduced, progress, of_moments=found)
    return {name: _telling(shot, quick) for name, shot in moments.telling(shots).items()}


def for_reduced(settings: Settings, factor: int) -> Settings:
    """Return the settings for frames reduced by a factor, and calibrated already."""
    box = settings.box
    if box is not None:
        x, y = (reduced_place(value, factor) for value in box[:2])
        box = (x, y, box[2] / factor, box[3] / factor)
    regions = tuple(
        region
        if region.feather_px is None
        else replace(region, feather_px=region.feather_px / factor)
        for region in settings.regions
    )
    return replace(
        settings, box=box, regions=regions, darks=(), flats=(), biases=(), hot_pixels="keep"
    )


def balance_for_reduced(choice: BalanceChoice, factor: int) -> BalanceChoice:
    """Return the choice of a white balance for frames reduced by a factor."""
    if choice.neutral is None or factor == 1:
        return choice
    x, y = (max(0.0, reduced_place(value, factor)) for value in choice.neutral)
    return replace(choice, neutral=(x, y))


def balance_in_preview(choice: BalanceChoice, shot: Shot) -> BalanceChoice:
    """Return the choice of a white balance for a preview, places being those of the full size."""
    return balance_for_reduced(choice, int(shot.report["preview"]["factor"]))


def reduced_place(place: float, factor: int) -> float:
    """Return where a place along a side of a frame lies in its reduced copy."""
    return (place - (factor - 1) / 2) / factor


def _telling(shot: Shot, quick: Quick) -> Shot:
    """Return the shot with a report that says what it was made from."""
    factor = quick.burst.factor
    sentence = f"a preview, from frames reduced to 1/{factor} of their sides"
    if factor == 1:
        sentence = "a preview, which shows all: the frames are small"
    report: dict[str, Any] = {
        **shot.report,
        **quick.calibrated.found,
        "preview": {"factor": factor},
        "warnings": [sentence, *quick.calibrated.warnings, *shot.report["warnings"]],
    }
    return replace(shot, report=report, sources=shot.sources | quick.calibrated.sources)
