"""The tests of registration."""
