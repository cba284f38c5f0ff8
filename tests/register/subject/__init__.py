"""Tests of holding a subject."""
