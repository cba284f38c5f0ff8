"""How much of the steps of moving textures the bridge takes away, against simulated truth.

    python -m tests.benchmarks.moving_textures [--seeds 1] [--small] [--pictures DIR]
    python -m tests.benchmarks.moving_textures --clip FILE --every 2 [--held]

A clip is thinned: every so many frames are kept and compared with the mean of all of them.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from stacker.bridge import Exposed
from stacker.bridge.flow import bridge_flow
from stacker.light.srgb import linear_to_srgb
from stacker.register import register_frames, warp_light
from stacker.register.scene.grey import LUMINANCE
from tests.benchmarks.flowing_scenes import FRAMES, SCENES, simulate_flow
from tests.benchmarks.simulated_bursts import CODE_LIGHT, Light

# dB over the plain mean
AIMS = {"river": 14.0, "waterfall": 12.0, "boiling water": 10.0, "carousel": 8.5}
# the rim of a clip, where frames that were held do not reach, and the spread of codes over the
# burst from which on a place counts as moving
RIM = 40
MOVING_CODES = 6.0
SMALL_FRAMES = 5


def bridged_mean(frames: list[Light], exposed: list[Exposed]) -> tuple[Light, float]:
    """Return the mean of frames with their gaps bridged, and processor seconds for a gap."""
    start = time.process_time()
    bridge = bridge_flow(lambda number: frames[number], exposed)
    total = np.sum(frames, axis=0, dtype=np.float64)
    for number in range(len(frames) - 1):
        for patch in bridge.between(number, frames[number], frames[number + 1]):
            height, width = patch.confidence.shape
            rows = slice(patch.top, patch.top + height)
            total[rows, patch.left : patch.left + width] += patch.light
    spent = (time.process_time() - start) / max(1, len(frames) - 1)
    return (total / len(frames)).astype(np.float32), spent


def codes(light: Light) -> npt.NDArray[np.float64]:
    """Return light as codes of 0 to 255, not rounded."""
    return np.asarray(linear_to_srgb(np.clip(light, 0, 1)) * 255.0)


def psnr(light: Light, truth: Light, where: npt.NDArray[np.bool_]) -> float:
    """Return the peak signal to noise ratio of codes in dB."""
    return float(10 * np.log10(255**2 / np.mean((codes(light) - codes(truth))[where] ** 2)))


def thinned(
    path: Path, every: int, first: int, count: int, held: bool
) -> tuple[list[Light], list[Exposed], Light]:
    """Return frames of a clip, when they were exposed, and the mean of all of them."""
    reader = cv2.VideoCapture(str(path))
    rate = reader.get(cv2.CAP_PROP_FPS)
    for _ in range(first):
        reader.grab()
    whole = (count - 1) // every * every + 1
    lights = []
    for _ in range(whole):
        _, picture = reader.read()
        lights.append(CODE_LIGHT[picture[..., ::-1]])
    if held:
        motion = register_frames(lambda n: lights[n], len(lights), factor=1, weights=LUMINANCE)
        lights = [
            warp_light(light, frame.to_reference)
            for light, frame in zip(lights, motion.frames, strict=True)
        ]
    truth = np.mean(lights, axis=0, dtype=np.float32)
    exposed = [Exposed(number / rate, 1 / rate) for number in range(0, whole, every)]
    return lights[::every], exposed, truth


def changing(frames: list[Light]) -> npt.NDArray[np.bool_]:
    """Return where a clip's frames differ by more than noise, without the rim, (H, W)."""
    spread = np.std([codes(light.mean(axis=2)) for light in frames], axis=0)
    moving = cv2.GaussianBlur(spread, (0, 0), 3) > MOVING_CODES
    moving[:RIM] = moving[-RIM:] = False
    moving[:, :RIM] = moving[:, -RIM:] = False
    return np.asarray(moving)


def _tell(
    name: str, frames: list[Light], exposed: list[Exposed], truth: Light,
    moving: npt.NDArray[np.bool_], aim: float | None, pictures: Path | None,
) -> None:  # fmt: skip
    plain = np.mean(frames, axis=0, dtype=np.float32)
    bridged, spent = bridged_mean(frames, exposed)
    before, after = psnr(plain, truth, moving), psnr(bridged, truth, moving)
    brighter = float((bridged[moving].mean() / truth[moving].mean() - 1) * 100)
    wanted = "" if aim is None else f"{aim:+.1f}"
    print(
        f"| {name} | {before:.1f} | {after:.1f} | {after - before:+.1f} | {wanted} |"
        f" {brighter:+.2f} % | {spent:.2f} |",
        flush=True,
    )
    if pictures:
        pictures.mkdir(parents=True, exist_ok=True)
        for label, light in (("plain", plain), ("bridged", bridged), ("truth", truth)):
            path = pictures / f"{name.replace(' ', '-')}-{label}.png"
            cv2.imwrite(str(path), np.rint(codes(light)[..., ::-1]).astype(np.uint8))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=1)
    parser.add_argument("--small", action="store_true", help="one short burst only")
    parser.add_argument("--pictures", type=Path)
    parser.add_argument("--clip", type=Path)
    parser.add_argument("--every", type=int, default=2)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--count", type=int, default=37)
    parser.add_argument("--held", action="store_true", help="the camera moved: register first")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    print("| burst | plain dB | bridged dB | gain | aim | brighter | CPU s a gap |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    if options.clip:
        clip = options.clip, options.every, options.first, options.count, options.held
        frames, exposed, truth = thinned(*clip)
        name = f"{options.clip.stem} from {options.first}, every {options.every}"
        _tell(name, frames, exposed, truth, changing(frames), None, options.pictures)
        return
    for name in ["carousel"] if options.small else SCENES:
        for seed in range(1, 2 if options.small else 1 + options.seeds):
            burst = simulate_flow(name, seed, SMALL_FRAMES if options.small else FRAMES)
            _tell(
                f"{name} {seed}", burst.frames, burst.exposed, burst.truth, burst.moving,
                AIMS[name], options.pictures,
            )  # fmt: skip


if __name__ == "__main__":
    main()
