"""Which part of a picture is sky or ground, and what of it moves. Numbers only: no files."""

from stacker.masks.moving import moving_share
from stacker.masks.roots import CODES, Roots, root_codes
from stacker.masks.sky import FoundSky, find_sky

__all__ = ["CODES", "FoundSky", "Roots", "find_sky", "moving_share", "root_codes"]
