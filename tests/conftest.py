"""Settings that all tests share."""

from hypothesis import settings

# the first run of an example pays for imports and tables; a slow machine is no failure
settings.register_profile("stacker", deadline=None, max_examples=40, derandomize=True)
settings.load_profile("stacker")
