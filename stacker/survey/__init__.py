"""Figures about a burst or a result."""

from stacker.survey.likeness import psnr
from stacker.survey.smoothness import (
    GreyArray,
    Movement,
    contrast_left,
    find_movement,
    strangeness_left,
    whole_contrast_left,
)
from stacker.survey.streaks import light_at_rest, longest_streak

__all__ = [
    "GreyArray",
    "Movement",
    "contrast_left",
    "find_movement",
    "light_at_rest",
    "longest_streak",
    "psnr",
    "strangeness_left",
    "whole_contrast_left",
]
