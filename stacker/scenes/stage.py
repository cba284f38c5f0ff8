"""The scenes by name, made ready for a view."""

from __future__ import annotations

from importlib import import_module

from stacker.scenes.catalogue import find_scene
from stacker.scenes.scene import Scene, View

# A scene's module is imported when the scene is drawn.
SCENE_CLASSES = {
    "harbour": "stacker.scenes.harbour:Harbour",
    "road": "stacker.scenes.road:Road",
    "lighthouse": "stacker.scenes.lighthouse:Lighthouse",
    "quay": "stacker.scenes.quay:Quay",
    "stars": "stacker.scenes.stars:Stars",
    "fireworks": "stacker.scenes.fireworks:Fireworks",
    "dusk": "stacker.scenes.dusk:Dusk",
}


def build_scene(name: str, view: View) -> Scene:
    """Return the scene called ``name``, ready to give light for ``view``.

    Raises
    ------
    OptionError
        No scene has that name.
    """
    module, _, class_name = SCENE_CLASSES[find_scene(name).name].partition(":")
    scene = getattr(import_module(module), class_name)(view)
    assert isinstance(scene, Scene)
    return scene
