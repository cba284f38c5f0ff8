"""Writing a burst with its truth: frames in the folder, truth in a folder below it."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor, as_completed
from dataclasses import asdict, dataclass
from functools import cached_property
from pathlib import Path

import numpy as np

from stacker.scenes.camera import Matrix, hand_motion, move, tremor_margin
from stacker.scenes.catalogue import SCENES, RenderedScene
from stacker.scenes.exif import DAY, ZONE, Stamp
from stacker.scenes.files import (
    encode_cover,
    encode_frame,
    encode_light,
    make_folder,
    refuse_existing,
    remove_frames,
    write_whole,
)
from stacker.scenes.scene import Light, Scene, View
from stacker.scenes.stage import build_scene
from stacker.scenes.truth import lightest, long_exposure, sliding_starts

NOTES = (
    "Simulated light of an invented place; everything was drawn by arithmetic from the seed.",
    "exposure: one opening from the first frame's start to the last frame's end, no noise, no "
    "gaps, not clipped; linear light, 1.0 is white.",
    "lighten: per channel, the greatest light of any exposure of one shutter's length in that "
    "time, no noise, clipped at 1.0.",
    "empty: the scene without its moving people or cars (only where there are any).",
    "ground: white is ground, black is sky, as the first frame sees them (only where it is known).",
    "to_first takes a frame's pixel (x, y, 1) to the first frame's and to the truth's.",
)


@dataclass(frozen=True)
class BurstPlan:
    """A burst to be simulated. Everything in its files follows from these figures."""

    name: str
    frames: int
    size: tuple[int, int]
    seed: int
    shutter_s: float
    interval_s: float
    tremor_px: float
    file_format: str

    @property
    def end_s(self) -> float:
        """When the last frame closes."""
        return (self.frames - 1) * self.interval_s + self.shutter_s

    def start_s(self, number: int) -> float:
        """When frame ``number`` (from 0) opens."""
        return number * self.interval_s

    @cached_property
    def margin(self) -> int:
        """Pixels drawn beyond the border so that an unsteady hand shows none of it."""
        return tremor_margin(self.size, self.tremor_px)

    def view(self) -> View:
        """Return the picture to draw, margin included."""
        width, height = (side + 2 * self.margin for side in self.size)
        return View(width, height, self.seed, self.end_s)

    def motion(self) -> list[Matrix]:
        """Return each frame's matrix to the first frame."""
        return hand_motion(self.frames, self.tremor_px, self.view().rng("hand"))

    def frame_paths(self, folder: Path) -> tuple[Path, ...]:
        """Return where the frames go."""
        return tuple(
            folder / f"KP_{number + 1:04d}.{self.file_format}" for number in range(self.frames)
        )


class _Studio:
    """One burst being made: the scene, the plan and the files of each piece of work."""

    def __init__(self, plan: BurstPlan, scene: Scene) -> None:
        self.plan = plan
        self.scene = scene
        self.motion = plan.motion()

    def inner(self, light: Light) -> Light:
        """Return ``light`` without its margin: what the first frame sees."""
        return move(light, np.eye(3), self.plan.margin)

    def frame(self, number: int, path: Path) -> None:
        """Take frame ``number`` and write it."""
        plan, camera = self.plan, self.scene.camera
        start = plan.start_s(number)
        light = self.scene.light(start, start + plan.shutter_s)
        seen = camera.through_lens(move(light, self.motion[number], plan.margin))
        rng = np.random.default_rng([plan.seed, number])
        stamp = Stamp(camera, start, plan.shutter_s)
        write_whole(path, encode_frame(camera.expose(seen, rng), stamp, plan.file_format))

    def exposure(self, path: Path) -> None:
        """Write the long exposure."""
        write_whole(path, encode_light(self.inner(long_exposure(self.scene, self.plan.end_s))))

    def lightest(self, starts: list[float]) -> Light:
        """Return one part of the lightest picture."""
        return self.inner(lightest(self.scene, starts, self.plan.shutter_s))

    def record(self) -> str:
        """Return the text of scene.json."""
        plan, camera = self.plan, self.scene.camera
        frames = [
            {
                "name": path.name,
                "start_s": plan.start_s(number),
                "shutter_s": plan.shutter_s,
                "to_first": self.motion[number].tolist(),
            }
            for number, path in enumerate(plan.frame_paths(Path()))
        ]
        figures = asdict(camera) | {"full_well_e": camera.full_well_e, "date": DAY, "zone": ZONE}
        content = {
            "format": 1,
            "name": plan.name,
            "title": SCENES[plan.name].title,
            "suggested_blend": SCENES[plan.name].blend,
            "seed": plan.seed,
            "size": list(plan.size),
            "shutter_s": plan.shutter_s,
            "interval_s": plan.interval_s,
            "tremor_px": plan.tremor_px,
            "camera": figures,
            "frames": frames,
            "notes": list(NOTES),
        }
        return json.dumps(content, indent=1) + "\n"


def write_burst(
    plan: BurstPlan,
    folder: Path,
    *,
    workers: int,
    overwrite: bool,
    on_frame: Callable[[int, int], None] | None,
) -> RenderedScene:
    """Return the paths of the burst of ``plan`` after writing it and its truth to ``folder``.

    Raises
    ------
    OutputError
        A file exists and ``overwrite`` is false (nothing was drawn yet), or the disk refuses.
    """
    frame_paths = plan.frame_paths(folder)
    truth = folder / "truth"
    truth_paths = {
        "exposure": truth / "exposure.tif",
        "lighten": truth / "lighten.tif",
        "empty": truth / "empty.tif",
        "ground": truth / "ground.png",
        "scene": truth / "scene.json",
    }
    if not overwrite:
        refuse_existing([*frame_paths, *truth_paths.values()])
    make_folder(folder)
    make_folder(truth)
    if truth_paths["scene"].exists():
        remove_frames(folder)
    studio = _Studio(plan, build_scene(plan.name, plan.view()))
    empty = studio.scene.empty()
    if empty is None:
        del truth_paths["empty"]
    else:
        through_lens = studio.scene.camera.through_lens(empty)
        write_whole(truth_paths["empty"], encode_light(studio.inner(through_lens)))
    ground = studio.scene.ground()
    if ground is None:
        del truth_paths["ground"]
    else:
        cover = move(ground[..., None], np.eye(3), plan.margin)[..., 0]
        write_whole(truth_paths["ground"], encode_cover(cover))
    _share_work(studio, frame_paths, truth_paths, workers, on_frame)
    write_whole(truth_paths["scene"], studio.record().encode())
    return RenderedScene(
        plan.name, folder, frame_paths, truth_paths, plan.interval_s, plan.shutter_s
    )


def _share_work(
    studio: _Studio,
    frame_paths: tuple[Path, ...],
    truth_paths: dict[str, Path],
    workers: int,
    on_frame: Callable[[int, int], None] | None,
) -> None:
    """Draw frames and truth on ``workers`` threads; drop what is left at the first failure."""
    plan = studio.plan
    lightest_so_far = _Maximum()
    with ThreadPoolExecutor(workers) as pool:
        # The longest piece of work goes first, so that it does not hold up the end.
        rest: list[Future[None]] = [pool.submit(studio.exposure, truth_paths["exposure"])]
        frames = [
            pool.submit(studio.frame, number, path) for number, path in enumerate(frame_paths)
        ]
        rest += [
            pool.submit(lambda part: lightest_so_far.take(studio.lightest(part)), starts)
            for starts in sliding_starts(plan.shutter_s, plan.end_s)
        ]
        try:
            for done, future in enumerate(as_completed(frames), start=1):
                future.result()
                if on_frame is not None:
                    on_frame(done, plan.frames)
            for future in as_completed(rest):
                future.result()
        except BaseException:
            pool.shutdown(wait=True, cancel_futures=True)
            raise
    write_whole(truth_paths["lighten"], encode_light(lightest_so_far.light))


class _Maximum:
    """A running maximum that several threads add to; the order does not matter."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._light: Light | None = None

    def take(self, light: Light) -> None:
        """Add one picture."""
        with self._lock:
            if self._light is None:
                self._light = light
            else:
                np.maximum(self._light, light, out=self._light)

    @property
    def light(self) -> Light:
        """The maximum of all pictures taken."""
        assert self._light is not None
        return self._light
