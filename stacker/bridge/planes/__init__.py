"""What passes before the stars and is none of them: planes, satellites, meteors."""

from stacker.bridge.planes.burst import Passing, find_passing
from stacker.bridge.planes.streak import PassingStreak

__all__ = ["Passing", "PassingStreak", "find_passing"]
