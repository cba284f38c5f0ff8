"""How long the page takes to answer a drag: processor time, with the ratio to plain numpy.

    OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.page_latency
    OPENBLAS_NUM_THREADS=1 python -m tests.benchmarks.page_latency --small

A hundred frames of 1500 x 1000 in memory, as after loading; spans of all lengths. Each answer is
timed as the browser gets it: exposure, tone, histogram, JPEG, headers. Plain numpy does the
exposure alone. The clock beside it counts what waits for the processor too.
"""

from __future__ import annotations

import argparse
import platform
import resource
import statistics
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

import cv2
import numpy as np
import numpy.typing as npt

from stacker.burst import open_burst
from stacker.engine.progress import Silent
from stacker.engine.settings_file import chosen_from
from stacker.page.opened import Opened
from stacker.page.previewing import answer
from stacker.page.views import COARSE_SIDE

FINE_SIDE = 1500
# shares of the burst at which spans begin and end
SPANS = ((0.0, 1.0), (0.03, 0.97), (0.1, 0.6), (0.42, 0.63), (0.7, 0.73))
ROUNDS = 3
BLENDS = ("mean", "lighten", "darken", "max", "median")
COMPARED = ("mean", "lighten", "median")
FrameArray = npt.NDArray[np.uint8]


def made_frames(count: int, size: tuple[int, int]) -> list[FrameArray]:
    """Return a still scene with noise and something that passes through it."""
    rng = np.random.default_rng(1)
    width, height = size
    scene = cv2.GaussianBlur(rng.integers(0, 200, (height, width, 3), np.uint8), (0, 0), 5)
    frames = []
    for number in range(count):
        frame = cv2.add(scene, rng.integers(0, 16, scene.shape, np.uint8))
        left = number * (width - width // 8) // count
        frame[height // 3 : height // 2, left : left + width // 8] += np.uint8(60)
        frames.append(np.asarray(frame, np.uint8))
    return frames


def opened_with(frames: Sequence[FrameArray], folder: Path) -> Opened:
    """Return a burst that is open on the page with these frames in memory."""
    for number, frame in enumerate(frames):
        cv2.imwrite(str(folder / f"KP_{number + 1:04d}.jpg"), frame)
    opened = Opened("burst", folder, open_burst(folder))
    for place, frame in enumerate(frames):
        opened.plain.put(place, frame)
    opened.plain.prepare()
    return opened


def timed(act: Callable[[], object]) -> tuple[float, float]:
    """Return processor and clock time in milliseconds."""
    clock, processor = time.perf_counter(), time.process_time()
    act()
    return 1e3 * (time.process_time() - processor), 1e3 * (time.perf_counter() - clock)


def plain_numpy(blend: str, frames: Sequence[FrameArray]) -> None:
    """Do the same exposure the straightforward way."""
    table = ((np.arange(256) / 255) ** 2.2).astype(np.float32)
    if blend == "mean":
        total = np.zeros(frames[0].shape, np.float32)
        for frame in frames:
            total += table[frame]
    elif blend == "lighten":
        greatest = frames[0].copy()
        for frame in frames:
            np.maximum(greatest, frame, out=greatest)
    elif blend == "median":
        np.median(np.stack(frames), axis=0)


def main() -> None:
    """Print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--small", action="store_true", help="tiny, to see that it runs")
    small = parser.parse_args().small
    count, size = (12, (150, 100)) if small else (100, (FINE_SIDE, 1000))
    frames = made_frames(count, size)
    print(f"{platform.machine()}, Python {platform.python_version()}, numpy {np.__version__}, "
          f"OpenCV {cv2.__version__}; {count} frames of {size[0]} x {size[1]}")  # fmt: skip
    print("| blend | side | median ms | worst ms | first ms | clock ms | numpy ms | ratio |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- |")
    with TemporaryDirectory() as folder:
        opened = opened_with(frames, Path(folder))
        # as after loading, with frames that lie still
        asked = [(blend, side) for blend in BLENDS for side in (COARSE_SIDE, FINE_SIDE)]
        figures = {each: answered(opened, *each, count) for each in asked}
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
    compared = {blend: timed(lambda b=blend: plain_numpy(b, frames))[0] for blend in COMPARED}
    for (blend, side), found in figures.items():
        words = " | ".join(f"{figure:.0f}" for figure in found)
        numpy_ms = compared.get(blend)
        ratio = "| " if numpy_ms is None else f"{numpy_ms:.0f} | {found[0] / numpy_ms:.2f}"
        print(f"| {blend} | {side} | {words} | {ratio} |")
    print(f"peak memory {peak:.0f} MB, of which frames {sum(f.nbytes for f in frames) / 1e6:.0f}")


def answered(opened: Opened, blend: str, side: int, count: int) -> tuple[float, ...]:
    """Return the processor time of answers, median, worst and first, and the clock's median."""
    processor, clock = [], []
    for number in range(ROUNDS):
        for start, stop in SPANS:
            first = min(count, round(start * count) + 1 + number)
            last = max(first, round(stop * count))
            settings = {"blends": [blend], "hold": "still", "first": first, "last": last}
            chosen = chosen_from(settings)
            took = timed(lambda c=chosen: answer(opened, c, {"side": side}, Silent()))
            processor.append(took[0])
            clock.append(took[1])
    rest = processor[1:]
    return statistics.median(rest), max(rest), processor[0], statistics.median(clock[1:])


if __name__ == "__main__":
    main()
