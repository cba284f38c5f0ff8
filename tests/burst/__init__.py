"""Tests of ``stacker.burst``; every file they read is made on the spot."""
