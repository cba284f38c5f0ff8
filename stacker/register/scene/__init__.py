"""Holding the ground still: the motion of the camera over a burst."""
