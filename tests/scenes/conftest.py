"""Small scenes, made once, for the tests of their light."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import pytest

from stacker.scenes.catalogue import SCENES
from stacker.scenes.scene import Scene, View
from stacker.scenes.stage import build_scene

SMALL = (120, 80)


@pytest.fixture(scope="session")
def scene_of() -> Callable[[str], Scene]:
    """Give a small scene by name, its burst as long as usual."""

    @cache
    def make(name: str) -> Scene:
        info = SCENES[name]
        return build_scene(name, View(*SMALL, seed=5, duration_s=info.frames * info.interval_s))

    return make
