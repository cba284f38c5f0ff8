"""Holding the stars still: detection, matching and one turning sky for the whole burst."""
