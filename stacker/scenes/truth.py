"""What the blends of a burst should come near: light without noise, gaps or steps.

- The long exposure: one opening from the first frame's start to the last frame's end.
- The lightest: per channel, the greatest light that any exposure of one shutter's length would
  have recorded, wherever in that time it began.
"""

from __future__ import annotations

import numpy as np

from stacker.scenes.scene import Light, Scene

# Sliding exposures begin this often within one shutter.
STARTS_PER_SHUTTER = 4
# A burst of very short frames far apart gets this many sliding exposures at most.
MOST_STARTS = 240
# Sliding exposures taken in one piece of work. Fixed, so that the work does not depend on how
# many share it.
STARTS_PER_WORK = 25
# Starts nearer than this share of a part are the same start.
SAME_START = 1e-6


def long_exposure(scene: Scene, end_s: float) -> Light:
    """Return one exposure from 0 to ``end_s`` through the lens, float32 (H, W, 3), unclipped."""
    return scene.camera.through_lens(scene.light(0.0, end_s))


def sliding_starts(shutter_s: float, end_s: float) -> list[list[float]]:
    """Return the rising starts of sliding exposures in seconds, in parts of work.

    The first begins at 0 and the last ends at ``end_s``. Where they overlap, they lie on whole
    parts of the shutter, but for the last.
    """
    last = end_s - shutter_s
    step = shutter_s / STARTS_PER_SHUTTER
    count = int(last / step * (1 + 1e-12)) + 1
    if count > MOST_STARTS:
        starts = np.linspace(0.0, last, MOST_STARTS).tolist()
    else:
        starts = [number * step for number in range(count)]
        if last - starts[-1] > SAME_START * step:
            starts.append(last)
    return [
        starts[first : first + STARTS_PER_WORK] for first in range(0, len(starts), STARTS_PER_WORK)
    ]


def lightest(scene: Scene, starts: list[float], shutter_s: float) -> Light:
    """Return the per-channel maximum of exposures of ``shutter_s`` begun at ``starts``.

    float32 (H, W, 3), each clipped to 1 as the camera clips. The starts rise.
    """
    slide = _Slide(scene, shutter_s)
    greatest: Light | None = None
    for start in starts:
        light = scene.camera.through_lens(slide.exposure(start))
        greatest = light if greatest is None else np.maximum(greatest, light, out=greatest)
    assert greatest is not None
    # The maximum of clipped light is the clipped maximum.
    return np.minimum(greatest, 1, out=greatest)


class _Slide:
    """Exposures of one length that overlap: the parts they share are drawn once.

    Light over a shutter is the mean of the light over its equal parts. Starts that lie a part
    apart have all but one part in common with the one before.
    """

    def __init__(self, scene: Scene, shutter_s: float) -> None:
        self._scene = scene
        self._shutter_s = shutter_s
        self._parts: dict[int, Light] = {}

    def exposure(self, start: float) -> Light:
        """Return the light of the exposure begun at ``start``."""
        part_s = self._shutter_s / STARTS_PER_SHUTTER
        number = round(start / part_s)
        if abs(number * part_s - start) > SAME_START * part_s:
            return self._scene.light(start, start + self._shutter_s)
        wanted = range(number, number + STARTS_PER_SHUTTER)
        self._parts = {n: light for n, light in self._parts.items() if n in wanted}
        for n in wanted:
            if n not in self._parts:
                self._parts[n] = self._scene.light(n * part_s, (n + 1) * part_s)
        total = np.sum([self._parts[n] for n in wanted], axis=0, dtype=np.float32)
        return np.asarray(total / np.float32(STARTS_PER_SHUTTER), np.float32)
