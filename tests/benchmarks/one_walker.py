"""One walker in five places on the quay, a frame for each, and the picture that they should make.

The ideal is drawn, not blended: the empty place, and over it the figure of each frame with its
shadow, later ones over earlier ones, each as visible as asked.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from stacker.scenes.figures import PHASES, paint_figure, place_shadow, place_sprite
from stacker.scenes.quay import (
    EYE_M,
    FIGURE_LIGHT,
    SHADOW_DARK,
    SHADOW_LIE,
    Quay,
    Walker,
)
from stacker.scenes.render import BurstPlan, _Studio
from stacker.scenes.scene import Light, View

POSES, SHUTTER_S, INTERVAL_S = 5, 1 / 60, 10.0
TALL_M = 1.74
# metres right of the middle and away, and the phase of the step; the second and the third one
# stand so near that the shadow of one falls over the other
PLACES = ((-5.2, 12.5, 2), (-2.9, 10.5, 9), (-1.6, 11.6, PHASES), (1.4, 9.5, 5), (4.9, 13.0, 8))


class OneWalker(Quay):
    """The quay with one person, who is in another place in each frame."""

    def _invite(self) -> list[Walker]:
        nearest = min(z for _, z, _ in PLACES)
        tall_px = 1.1 * TALL_M * self._ground.focal_px / nearest
        self._sprite = paint_figure(self.view.rng("people"), tall_px, FIGURE_LIGHT)
        return []

    def _draw(self, canvas: Light, t: float, top: int) -> None:
        self._pose(canvas, min(int(t / INTERVAL_S), POSES - 1), top)

    def _pose(self, canvas: Light, number: int, top: int) -> None:
        x, z, step = PLACES[number]
        column, row = (float(value) for value in self._ground.pixels(x, z))
        foot, tall_px = (column, row - top), TALL_M * self._ground.focal_px / z
        lie = (SHADOW_LIE[0], -SHADOW_LIE[1] * EYE_M / z)
        place_shadow(canvas, self._sprite, step, foot, tall_px, lie=lie, dark=SHADOW_DARK)
        place_sprite(canvas, self._sprite, step, foot, tall_px, faces_left=False)

    def ideal(self, visible: Sequence[float] = (1.0,) * POSES) -> Light:
        """Return the picture that the frames should make, float32 (H, W, 3), clipped to 1.

        Parameters
        ----------
        visible : how much of each pose shows, 0 to 1.
        """
        picture = self.empty()
        for number, share in enumerate(visible):
            drawn = picture.copy()
            self._pose(drawn, number, 0)
            picture += np.float32(share) * (drawn - picture)
        return np.clip(self.camera.through_lens(picture), 0, 1)


def shoot_one_walker(folder: Path, seed: int, size: tuple[int, int]) -> OneWalker:
    """Write the frames, and return the scene that they are of."""
    plan = BurstPlan(
        name="quay", frames=POSES, size=size, seed=seed, shutter_s=SHUTTER_S,
        interval_s=INTERVAL_S, tremor_px=0.0, file_format="jpg",
    )  # fmt: skip
    folder.mkdir(parents=True)
    scene = OneWalker(View(*size, seed, plan.end_s))
    studio = _Studio(plan, scene)
    for number, path in enumerate(plan.frame_paths(folder)):
        studio.frame(number, path)
    return scene
