"""What was shot: the frames of a burst, when each opened, and their pixels when asked for."""

from stacker.burst.frame import Burst, Frame
from stacker.burst.open import is_own_result, open_burst
from stacker.burst.readers.facts import FILE_ENDS, LostFramesError

__all__ = ["FILE_ENDS", "Burst", "Frame", "LostFramesError", "is_own_result", "open_burst"]
