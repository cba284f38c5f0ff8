"""Simulated bursts of Kestrel Point, with the truth beside them.

A scene is light as a function of continuous time. A simulated camera makes a burst of it, and
because the light is known, so are the exposures that a blend of the burst should come near.

``SCENES`` lists the scenes; ``render_scene`` writes a burst. Drawing starts when it is called:
importing this package loads none of the heavy modules.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from stacker.scenes.catalogue import SCENES, RenderedScene, SceneInfo, check_burst, find_scene

__all__ = ["SCENES", "RenderedScene", "SceneInfo", "render_scene"]


def render_scene(
    name: str,
    folder: Path,
    *,
    frames: int | None = None,
    size: tuple[int, int] = (960, 640),
    seed: int = 1,
    shutter_s: float | None = None,
    interval_s: float | None = None,
    tremor_px: float = 0.0,
    file_format: str = "jpg",
    workers: int = 2,
    overwrite: bool = False,
    on_frame: Callable[[int, int], None] | None = None,
) -> RenderedScene:
    """Return the paths of a burst of scene ``name`` written to ``folder``, and of its truth.

    Parameters
    ----------
    frames, shutter_s, interval_s : the burst; the scene's own figures where None. The interval
        runs from the opening of one frame to the opening of the next, in seconds.
    size : width and height in pixels.
    seed : the same seed gives the same files, byte for byte, whatever the number of workers.
    tremor_px : how far a hand moves the camera between frames, pixels (standard deviation).
    file_format : ``"jpg"`` (8 bits), ``"png"`` or ``"tif"`` (16 bits).
    workers : threads that draw frames.
    overwrite : whether files of the same names may be replaced.
    on_frame : called as ``on_frame(done, frames)`` after each frame, in the calling thread.

    Raises
    ------
    OptionError
        There is no such scene, or a figure makes no sense.
    OutputError
        A file of the same name exists, or the folder cannot be written to.
    """
    info = find_scene(name)
    frames = info.frames if frames is None else frames
    shutter_s = info.shutter_s if shutter_s is None else shutter_s
    if interval_s is None:
        # A longer shutter than usual keeps the usual gap between frames.
        interval_s = shutter_s + info.interval_s - info.shutter_s
    check_burst(
        frames=frames,
        size=size,
        shutter_s=shutter_s,
        interval_s=interval_s,
        tremor_px=tremor_px,
        file_format=file_format,
        workers=workers,
        seed=seed,
    )
    from stacker.scenes.render import BurstPlan, write_burst

    plan = BurstPlan(
        name=name,
        frames=frames,
        size=size,
        seed=seed,
        shutter_s=shutter_s,
        interval_s=interval_s,
        tremor_px=tremor_px,
        file_format=file_format,
    )
    return write_burst(plan, Path(folder), workers=workers, overwrite=overwrite, on_frame=on_frame)
