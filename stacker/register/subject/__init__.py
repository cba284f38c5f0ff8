"""Holding a subject still: following what is in a box through a burst, the world smearing."""

from stacker.register.subject.box import subject_factor
from stacker.register.subject.burst import register_subject

__all__ = ["register_subject", "subject_factor"]
