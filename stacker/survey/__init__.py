"""Figures about a burst or a result."""

from stacker.survey.likeness import psnr

__all__ = ["psnr"]
