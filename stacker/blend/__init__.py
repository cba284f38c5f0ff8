"""How frames add up: descriptions of blends, and accumulators that carry them out."""

from stacker.blend.base import Accumulator, Blend, Finishing, ValidMask
from stacker.blend.intake import Intake
from stacker.blend.registry import BLENDS, find_blend

__all__ = ["BLENDS", "Accumulator", "Blend", "Finishing", "Intake", "ValidMask", "find_blend"]
