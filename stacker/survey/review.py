"""What there is to tell of a result and of the burst that it was made from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from stacker.survey.burnt_out import BurntOut
from stacker.survey.composition import Composition
from stacker.survey.fine_detail import Comparison
from stacker.survey.movers import Movers
from stacker.survey.records import Survey
from stacker.survey.tones import Tones


@dataclass(frozen=True, eq=False)
class BurstReview:
    """What there is to tell of a burst.

    Parameters
    ----------
    survey : what was found in it.
    movers, composition : what moves, and what the view is filled with; None where too few frames
        could be compared.
    burnt : where the frames are burnt out.
    """

    survey: Survey
    movers: Movers | None
    composition: Composition | None
    burnt: BurntOut | None = None


@dataclass(frozen=True, eq=False)
class ResultReview:
    """What there is to tell of one result.

    Parameters
    ----------
    report : the report of the exposure, format 1.
    tones, frame_tones : of the result as it leaves, and of one frame in its middle.
    comparison : sharpness and noise against single frames.
    not_compared : a clause that says why that could not be measured; "" where it was.
    expected_gain : by how much the noise should have fallen; None where no law is known.
    names : of the frames that ``comparison`` counts.
    """

    report: Mapping[str, Any]
    tones: Tones
    frame_tones: Tones
    comparison: Comparison
    not_compared: str
    expected_gain: float | None
    names: Sequence[str] = ()

    @property
    def blend(self) -> str:
        """How the frames add up."""
        return str(self.report["settings"]["blend"])

    @property
    def left_out(self) -> list[Mapping[str, Any]]:
        """The frames that are not in the result."""
        return [frame for frame in self.report["frames"] if not frame["used"]]

    @property
    def held(self) -> bool:
        """Whether frames were moved upon each other."""
        return self.report["motion_model"] not in ("identity", "still")

    @property
    def open_gaps(self) -> list[Mapping[str, Any]]:
        """The gaps in which the shutter was shut and no light was made up for."""
        return [g for g in self.report["gaps"] if (g["seconds"] or 0) > 0 and not g["bridged"]]

    @property
    def sharpest(self) -> str | None:
        """The name of the sharpest frame that the result was compared with."""
        number = self.comparison.sharpest
        return None if number is None else self.names[number]
