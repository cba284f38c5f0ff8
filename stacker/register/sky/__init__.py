"""Holding the stars still: detection, matching and one turning sky for the whole burst."""

from stacker.register.sky.burst import register_sky
from stacker.register.sky.stars import sky_factor

__all__ = ["register_sky", "sky_factor"]
