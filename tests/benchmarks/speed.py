"""Processor time and memory of whole commands, against decoding alone and plain numpy.

    python tests/benchmarks/speed.py              24 JPEGs of 24 megapixels, as figures are quoted
    python tests/benchmarks/speed.py --small      the same at a size that takes seconds

Every figure is a whole process: start-up, reading, blending and the 16-bit TIFF. Rounds go through
all commands in turn and the least time of each counts, so that a busy moment of the machine does
not fall on one of them alone. Ratios are to a loop that only decodes, in the same run.
"""

from __future__ import annotations

import argparse
import os
import platform
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy

DECODE_ONLY = """
import sys, pathlib, simplejpeg, numpy
for path in sorted(pathlib.Path(sys.argv[1]).glob("*.jpg")):
    simplejpeg.decode_jpeg(path.read_bytes())
"""
PLAIN_NUMPY = """
import sys, pathlib, simplejpeg, numpy, tifffile
paths = sorted(pathlib.Path(sys.argv[1]).glob("*.jpg"))
stack = numpy.stack([simplejpeg.decode_jpeg(path.read_bytes()) for path in paths])
blended = numpy.{how}(stack, axis=0)
tifffile.imwrite(sys.argv[2], (blended * 257.0).astype(numpy.uint16))
"""
CLIP_ONLY = """
import sys, av
with av.open(sys.argv[1]) as clip:
    clip.streams.video[0].thread_type = "AUTO"
    for frame in clip.decode(video=0):
        pass
"""
# Name, arguments, ratio to reach, peak memory to keep within in MB. Nothing is looked at but where
# a row says so: the default differs by that look alone.
STILL = ["--hold", "still"]
COMMANDS = (
    ("lighten, looked at", ["--blend", "lighten"], None, 700),
    ("mean, looked at", ["--blend", "mean"], None, 900),
    ("lighten", ["--blend", "lighten", *STILL], 1.2, 600),
    ("lighten, true floor", ["--blend", "lighten", "--floor", "true", *STILL], 2.2, None),
    ("lighten with a tail", ["--blend", "lighten", "--tail", "20", *STILL], None, None),
    ("max", ["--blend", "max", *STILL], 1.4, 600),
    ("mean", ["--blend", "mean", *STILL], 1.7, 800),
    ("median", ["--blend", "median", *STILL], 2.2, 1200),
    ("mean + lighten", ["--blend", "mean,lighten", *STILL], 1.8, None),
)
# of a burst shot by hand
HELD = (
    ("mean, held", ["--blend", "mean"], 4.5, 1200),
    ("lighten, held", ["--blend", "lighten"], None, 1200),
)


@dataclass
class Cost:
    """The least processor time of a command in seconds, and its greatest peak in MB."""

    cpu_s: float = float("inf")
    peak_mb: float = 0.0


def make_burst(folder: Path, frames: int, width: int, height: int) -> None:
    """Write photograph-like JPEGs: soft shapes, fine texture and noise that differs."""
    import cv2
    import numpy as np
    import simplejpeg

    rng = np.random.default_rng(7)

    soft = rng.normal(0, 1, (height // 16, width // 16, 3)).astype(np.float32)
    base = cv2.resize(soft, (width, height), interpolation=cv2.INTER_CUBIC) * 40 + 110
    noise = rng.normal(0, 5, (height + frames, width, 3)).astype(np.float32)
    for number in range(frames):
        pixels = np.clip(base + noise[number : number + height], 0, 255).astype(np.uint8)
        data = simplejpeg.encode_jpeg(pixels, quality=92, colorsubsampling="420")
        (folder / f"KP_{number + 1:04d}.jpg").write_bytes(data)


def make_handheld(folder: Path, frames: int, width: int, height: int) -> None:
    """Write JPEGs of one textured view, each shifted and turned as a hand does."""
    import cv2
    import numpy as np
    import simplejpeg

    rng = np.random.default_rng(3)
    margin = width // 15
    view = np.full((height + 2 * margin, width + 2 * margin, 3), 110, np.float32)
    for cell, contrast in ((width // 15, 40), (width // 60, 30), (25, 25), (8, 14), (3, 8)):
        shape = (view.shape[0] // cell + 2, view.shape[1] // cell + 2, 3)
        soft = rng.normal(0, 1, shape).astype(np.float32)
        view += contrast * cv2.resize(soft, view.shape[1::-1], interpolation=cv2.INTER_CUBIC)
    np.clip(view, 0, 255, out=view)
    noise = rng.normal(0, 4, (height + frames, width, 3)).astype(np.float32)
    for number in range(frames):
        angle = np.deg2rad(rng.normal(0, 0.3))
        dx, dy = rng.normal(0, width / 150, 2) - margin
        c, s = np.cos(angle), np.sin(angle)
        motion = np.array([[c, -s, dx], [s, c, dy], [0, 0, 1]])
        seen = cv2.warpPerspective(view, motion, (width, height), flags=cv2.INTER_CUBIC)
        pixels = np.clip(seen + noise[number : number + height], 0, 255).astype(np.uint8)
        data = simplejpeg.encode_jpeg(pixels, quality=92, colorsubsampling="420")
        (folder / f"KP_{number + 1:04d}.jpg").write_bytes(data)


def make_clip(path: Path, frames: int) -> None:
    """Write a 1080p clip of moving texture."""
    import av
    import cv2
    import numpy as np

    rng = np.random.default_rng(8)
    soft = rng.normal(0, 1, (1200 // 8, 2200 // 8, 3)).astype(np.float32)
    noise = rng.integers(0, 24, (1200, 2200, 3)).astype(np.uint8)
    texture = np.clip(cv2.resize(soft, (2200, 1200)) * 40 + 120, 0, 255).astype(np.uint8)
    with av.open(str(path), "w") as clip:
        stream = clip.add_stream("libx264", rate=30)
        stream.width, stream.height, stream.pix_fmt = 1920, 1080, "yuv420p"
        stream.options = {"crf": "20"}
        for number in range(frames):
            view = texture[number % 100 :][:1080, 2 * (number % 120) :][:, :1920]
            grain = noise[rng.integers(120) :][:1080, rng.integers(280) :][:, :1920]
            view = cv2.add(np.ascontiguousarray(view), np.ascontiguousarray(grain))
            clip.mux(stream.encode(av.VideoFrame.from_ndarray(view, format="rgb24")))
        clip.mux(stream.encode())


def run(command: list[str], cost: Cost) -> None:
    """Run a command once and keep its least time and greatest peak."""
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"failed: {' '.join(command[:6])}")
    cost.cpu_s = min(cost.cpu_s, usage.ru_utime + usage.ru_stime)
    cost.peak_mb = max(cost.peak_mb, usage.ru_maxrss * 1024 / 1e6)


def make(what: str, path: Path, small: bool) -> None:
    """Make a burst or a clip in a process of its own.

    A child starts with its parent's memory on its account, so this process must stay small.
    """
    size = ["--small"] if small else []
    subprocess.run([sys.executable, __file__, "--make", what, str(path), *size], check=True)


def measure(commands: dict[str, list[str]], rounds: int) -> dict[str, Cost]:
    """Return the cost of each command over some rounds through all of them."""
    costs = {name: Cost() for name in commands}
    for _ in range(rounds):
        for name, command in commands.items():
            run(command, costs[name])
    return costs


def stacker(source: Path, target: Path, arguments: list[str]) -> list[str]:
    """Return the command line of an exposure."""
    command = [sys.executable, "-m", "stacker", "expose", str(source), *arguments]
    return [*command, "-o", str(target), "--overwrite", "--quiet"]


def show(
    title: str, costs: dict[str, Cost], limits: dict[str, tuple[float | None, float | None]]
) -> None:
    """Print the costs as ratios to the first of them."""
    floor = next(iter(costs.values())).cpu_s
    print(f"\n{title}")
    print(f"{'':22}{'CPU s':>8}{'ratio':>8}{'limit':>8}{'peak MB':>9}{'limit':>8}")
    for name, cost in costs.items():
        ratio, peak = limits.get(name, (None, None))
        told = f"{ratio:8.2f}" if ratio else " " * 8
        told_peak = f"{peak:8.0f}" if peak else " " * 8
        print(
            f"{name:22}{cost.cpu_s:8.2f}{cost.cpu_s / floor:8.2f}{told}"
            f"{cost.peak_mb:9.0f}{told_peak}"
        )


def measure_held(scratch: Path, target: Path, options: argparse.Namespace) -> None:
    """Measure and print what a burst shot by hand costs."""
    folder = scratch / "hand"
    folder.mkdir()
    make("hand", folder, options.small)
    commands = {"decode only": [sys.executable, "-c", DECODE_ONLY, str(folder)]}
    commands |= {name: stacker(folder, target, arguments) for name, arguments, _, _ in HELD}
    costs = measure(commands, options.rounds)
    limits = {name: (ratio, peak) for name, _, ratio, peak in HELD}
    show("half as many, shot by hand", costs, limits)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--small", action="store_true", help="seconds instead of minutes")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--numpy", action="store_true", help="plain numpy as well (4 GB)")
    parser.add_argument("--only", help="commands whose names hold this word")
    parser.add_argument(
        "--make", nargs=2, metavar=("burst|hand|clip", "PATH"), help=argparse.SUPPRESS
    )
    options = parser.parse_args()
    frames, width, height = (6, 600, 400) if options.small else (24, 6000, 4000)
    clip_frames = 10 if options.small else 240
    if options.make:
        what, path = options.make
        if what == "burst":
            make_burst(Path(path), frames, width, height)
        elif what == "hand":
            make_handheld(Path(path), frames // 2, width, height)
        else:
            make_clip(Path(path), clip_frames)
        return
    print(
        f"{platform.processor() or platform.machine()}, {os.cpu_count()} processors, "
        f"Python {platform.python_version()}, numpy {numpy.__version__}"
    )
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "burst"
        folder.mkdir()
        make("burst", folder, options.small)
        target = Path(scratch) / "out.tif"
        commands = {"decode only": [sys.executable, "-c", DECODE_ONLY, str(folder)]}
        for name, arguments, _, _ in COMMANDS:
            if not options.only or options.only in name:
                commands[name] = stacker(folder, target, arguments)
        if options.numpy:
            for how in ("mean", "max", "median"):
                code = PLAIN_NUMPY.format(how=how)
                commands[f"numpy {how}, gamma"] = [
                    sys.executable,
                    "-c",
                    code,
                    str(folder),
                    str(target),
                ]
        limits = {name: (ratio, peak) for name, _, ratio, peak in COMMANDS}
        costs = measure(commands, options.rounds)
        show(f"{frames} JPEGs of {width} x {height}", costs, limits)
        if not options.only or options.only in "held":
            measure_held(Path(scratch), target, options)
        if options.only and options.only not in "clip":
            return
        clip = Path(scratch) / "clip.mp4"
        make("clip", clip, options.small)
        commands = {
            "decode only": [sys.executable, "-c", CLIP_ONLY, str(clip)],
            "mean": stacker(clip, target, STILL),
            "lighten": stacker(clip, target, ["--blend", "lighten", *STILL]),
            "mean, looked at": stacker(clip, target, []),
        }
        costs = measure(commands, options.rounds)
        show(f"a clip of {clip_frames} frames of 1920 x 1080", costs, {"mean": (1.7, None)})


if __name__ == "__main__":
    main()
