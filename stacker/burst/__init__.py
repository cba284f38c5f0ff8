"""What was shot: the frames of a burst, when each opened, and their pixels when asked for."""

from stacker.burst.frame import Burst, Frame
from stacker.burst.open import open_burst

__all__ = ["Burst", "Frame", "open_burst"]
