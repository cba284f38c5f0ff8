"""The tests of holding the ground still."""
