"""What is found out about a burst, and done to its light, before frames add up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from stacker.burst import Burst
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
    """

    burst: Burst
    found: dict[str, Any] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()


def prepare(
    burst: Burst, settings: Settings, weights: Sequence[float], progress: Progress
) -> Prepared:
    """Return the burst ready to be blended.

    Parameters
    ----------
    weights : one per frame of the burst; frames of weight 0 take no part.
    """
    prepared = Prepared(burst)
    if settings.even != "off":
        prepared = _evened(prepared, settings, weights, progress)
    return prepared


def _evened(
    prepared: Prepared, settings: Settings, weights: Sequence[float], progress: Progress
) -> Prepared:
    """Return the burst in even light."""
    evened = even_light(prepared.burst, settings, weights, progress)
    return Prepared(
        evened.burst,
        {**prepared.found, **evened.found},
        (*prepared.warnings, evened.sentence),
    )
