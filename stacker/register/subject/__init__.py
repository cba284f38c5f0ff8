"""Holding a subject still: following what is in a box through a burst, the world smearing."""
