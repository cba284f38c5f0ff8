"""What is found out about a burst, and done to its light, before frames add up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from stacker.blend.mixing import MaskArray
from stacker.burst import Burst
from stacker.engine.calibrate import calibrate
from stacker.engine.evening import even_light
from stacker.engine.progress import Progress
from stacker.engine.settings import Settings


@dataclass(frozen=True)
class Prepared:
    """A burst whose frames come corrected.

    Parameters
    ----------
    burst : the burst with all its corrections.
    found : what the report shall say about them, by its keys.
    warnings : whole sentences.
    sources : files used besides the burst's own.
    held_bytes : what the corrections take in memory.
    """

    burst: Burst
    found: dict[str, Any] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    sources: frozenset[Path] = frozenset()
    held_bytes: int = 0

    def telling(self, found: Mapping[str, Any], warnings: Sequence[str]) -> Prepared:
        """Return the same with more for the report to say."""
        more = (*self.warnings, *warnings)
        return replace(self, found={**self.found, **found}, warnings=more)


def prepare(
    burst: Burst, settings: Settings, weights: Sequence[float], progress: Progress
) -> Prepared:
    """Return the burst ready to be blended.

    Parameters
    ----------
    weights : one per frame of the burst; frames of weight 0 take no part.
    """
    prepared = _calibrated(burst, settings, weights, progress)
    if settings.even != "off":
        prepared = _evened(prepared, settings, weights, progress)
    return prepared


def _calibrated(
    burst: Burst, settings: Settings, weights: Sequence[float], progress: Progress
) -> Prepared:
    """Return the burst without what the camera adds by itself."""
    calibrated = calibrate(burst, settings, weights, progress)
    return Prepared(
        calibrated.burst,
        calibrated.found,
        calibrated.warnings,
        calibrated.sources,
        calibrated.held_bytes,
    )


def _evened(
    prepared: Prepared, settings: Settings, weights: Sequence[float], progress: Progress
) -> Prepared:
    """Return the burst in even light, of sky or ground alone where that is asked for."""
    part: MaskArray | None = None
    notes: tuple[str, ...] = ()
    if settings.even in ("sky", "ground"):
        # masks are looked for in frames that this makes ready
        from stacker.engine.part_to_even import part_to_even

        part, notes = part_to_even(prepared.burst, settings, progress)
    evened = even_light(prepared.burst, settings, weights, progress, part)
    return replace(
        prepared,
        burst=evened.burst,
        found={**prepared.found, **evened.found},
        warnings=(*prepared.warnings, *notes, evened.sentence),
    )
