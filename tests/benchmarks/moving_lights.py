"""How well the gaps in the trails of moving lights are bridged, against simulated truth.

    python -m tests.benchmarks.moving_lights

Bursts of ``stacker.scenes`` with known tracks. The truth is the sliding exposure: the greatest
light of exposures of one shutter that begin at every twentieth of it. Of the points of each track
within and about a gap that are seen in the frames on both sides and that the plain lighten leaves
more than 15 % too dark, ``fill`` is the share within 15 % of the truth. ``ripple`` is the standard
deviation of the trails' brightness as a share of the truth's, over its mean; ``darkest`` its
first percentile over its mean; ``false`` is light added where the truth has none, and ``over``
all light beyond the truth, both as shares of the trails' light; ``dB`` what is gained over the
plain lighten on changed pixels. ``closing`` closes the plain lighten by lines along the structure
tensor.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from stacker.bridge.base import Exposed
from stacker.bridge.streaks import bridge_streaks
from stacker.light.srgb import linear_to_srgb
from tests.benchmarks.light_tracks import Tracked, fireworks_burst, plane_burst, road_burst

ENOUGH = 0.15
AIMS = {
    ("headlights", 0.0): 0.92, ("tail lights", 0.0): 0.80, ("planes", 0.0): 0.90,
    ("headlights", 0.2): 0.92, ("headlights", 1.0): 0.92, ("headlights", 2.0): 0.82,
    ("tail lights", 0.2): 0.80, ("tail lights", 1.0): 0.80, ("tail lights", 2.0): 0.55,
    ("sparks", 0.2): 0.78, ("sparks", 1.0): 0.62, ("sparks", 2.0): 0.42,
    ("planes", 0.2): 0.90, ("planes", 1.0): 0.90, ("planes", 2.0): 0.90,
}  # fmt: skip
# of back-to-back frames the joints are to ripple no more than this share of what they do plainly
MOST_RIPPLE = 0.5


def bridged(burst: Tracked) -> tuple[np.ndarray, float]:
    """Return the lighten with all patches laid in, and processor seconds per gap."""
    light = burst.frames
    exposed = [Exposed(start, burst.shutter_s) for start in burst.starts]
    began = time.process_time()
    bridge = bridge_streaks(lambda number: light[number], exposed)
    out = burst.plain.copy()
    for number in range(len(light) - 1):
        for patch in bridge.between(number, light[number], light[number + 1]):
            h, w = patch.confidence.shape
            part = out[patch.top : patch.top + h, patch.left : patch.left + w]
            np.maximum(part, patch.light, out=part)
    return out, (time.process_time() - began) / (len(light) - 1)


def closed(plain: np.ndarray, length: float) -> np.ndarray:
    """Return the plain lighten closed by lines of ``length`` px along its structure."""
    grey = plain.mean(axis=2)
    gx, gy = cv2.Sobel(grey, -1, 1, 0), cv2.Sobel(grey, -1, 0, 1)
    xx, yy, xy = (cv2.GaussianBlur(a, (0, 0), length / 2) for a in (gx * gx, gy * gy, gx * gy))
    angle = 0.5 * np.arctan2(2 * xy, xx - yy) + np.pi / 2
    sector = np.rint(angle / (np.pi / 16)).astype(int) % 16
    out = plain.copy()
    size = 2 * int(np.ceil(length / 2)) + 1
    for number in range(16):
        line = np.zeros((size, size), np.uint8)
        along = np.array([np.cos(number * np.pi / 16), np.sin(number * np.pi / 16)])
        ends = np.rint(size // 2 + np.outer([-1, 1], along) * (size // 2)).astype(int)
        cv2.line(line, ends[0].tolist(), ends[1].tolist(), 1)
        here = sector == number
        out[here] = cv2.morphologyEx(plain, cv2.MORPH_CLOSE, line)[here]
    return out


def sample(picture: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Return the mean channel of a picture at points (N, 2)."""
    grey = picture.mean(axis=2).astype(np.float32)
    x, y = (np.ascontiguousarray(points[None, :, i].astype(np.float32)) for i in range(2))
    parts = [
        cv2.remap(grey, x[:, i : i + 30000], y[:, i : i + 30000], cv2.INTER_LINEAR)
        for i in range(0, x.shape[1], 30000)
    ]
    return np.concatenate(parts, axis=1)[0]


def measure(burst: Tracked, picture: np.ndarray) -> dict[str, dict[str, float]]:
    """Return the figures of a picture by kind of light, and those of the whole as ``all``."""
    truth, plain, still = burst.truth, burst.plain, burst.still
    found: dict[str, dict[str, float]] = {}
    for kind in burst.kinds:
        fills: list[np.ndarray] = []
        ripple, darkest, weights = [], [], []
        for track in burst.tracks:
            if track.kind != kind or not len(track.points):
                continue
            above = [sample(p - still, track.points) for p in (truth, plain, picture)]
            seen = above[0] > 6 * burst.noise
            needs = seen & track.by_gap & (above[1] < (1 - ENOUGH) * above[0])
            fills.append((np.abs(above[2] - above[0]) <= ENOUGH * above[0])[needs])
            used = seen & track.on_way
            if used.sum() > 40:
                ratio = above[2][used] / above[0][used]
                ripple.append(ratio.std() / ratio.mean())
                darkest.append(np.percentile(ratio, 1) / ratio.mean())
                weights.append(used.sum())
        total = np.concatenate(fills) if fills else np.zeros(0, bool)
        found[kind] = {
            "fill": float(total.mean()) if len(total) else np.nan,
            "points": float(len(total)),
            "ripple": float(np.average(ripple, weights=weights)) if ripple else np.nan,
            "darkest": float(np.average(darkest, weights=weights)) if darkest else np.nan,
        }
    added = np.maximum(picture - plain, 0)
    trails = np.maximum(truth - still, 0).sum()
    none = (truth - still).max(axis=2, keepdims=True) < 3 * burst.noise
    over = np.maximum(picture - np.maximum(plain, truth), 0)
    changed = np.abs(picture - plain).max(axis=2) > 1e-3
    gained = 0.0
    if changed.any():
        encoded = [linear_to_srgb(np.clip(p[changed], 0, 1)) for p in (truth, plain, picture)]
        errors = [float(np.mean((encoded[i] - encoded[0]) ** 2)) for i in (1, 2)]
        gained = 10 * float(np.log10(errors[0] / errors[1]))
    found["all"] = {
        "false": float((added * none).sum() / trails),
        "over": float(over.sum() / trails),
        "dB": gained,
    }
    return found


def main(arguments: list[str] | None = None) -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--size", default="960x640")
    parser.add_argument("--frames", type=int, default=8)
    parser.add_argument("--seeds", type=int, default=3)
    parser.add_argument("--gaps", default="0,0.2,1,2")
    parser.add_argument("--only", help="bursts whose names hold this word")
    parser.add_argument("--keep", type=Path, help="folder for simulated bursts and pictures")
    parser.add_argument("--first-seed", type=int, default=1)
    parser.add_argument("--small", action="store_true", help="one tiny burst of planes")
    options = parser.parse_args(arguments)
    if options.small:
        options.size, options.frames, options.seeds, options.gaps = "320x200", 4, 1, "0.2"
        options.only = options.only or "plane"
    width, height = map(int, options.size.split("x"))
    print(f"{'gap':>4} {'light':12}{'':9}{'fill':>6}{'aim':>6}{'ripple':>8}{'darkest':>8}"
          f"{'false %':>9}{'over %':>8}{'dB':>6}{'s/pair':>7}")  # fmt: skip
    reached: list[Reached] = []
    for make in (road_burst, fireworks_burst, plane_burst):
        if options.only and options.only not in make.__name__:
            continue
        for gap in map(float, options.gaps.split(",")):
            rows: dict[tuple[str, str], list[dict[str, float]]] = {}
            for seed in range(options.first_seed, options.first_seed + options.seeds):
                burst = make((width, height), options.frames, gap, seed, options.keep)
                picture, seconds = bridged(burst)
                made = {"bridged": picture, "plain": burst.plain}
                made["closing"] = closed(burst.plain, burst.gap_px)
                for name, result in made.items():
                    figures = measure(burst, result)
                    for kind in burst.kinds:
                        figures[kind]["s"] = seconds
                        row = figures[kind] | figures["all"]
                        rows.setdefault((kind, name), []).append(row)
                if options.keep:
                    show(options.keep / f"{make.__name__}_{gap}_{seed}", burst, picture)
            reached += report(gap, rows)
    print("\nfill against the aims")
    for one in reached:
        aim = AIMS.get((one.kind, one.gap))
        if aim is not None:
            said = "reached" if one.fill >= aim else "not reached"
            print(f"{one.gap:4.1f} {one.kind:12}{one.fill:6.2f}{aim:6.2f}  {said}")
    for one in reached:
        if one.gap == 0:
            most = MOST_RIPPLE * one.plain_ripple
            said = "reached" if one.ripple <= most else "not reached"
            print(f"ripple {one.kind:12}{one.ripple:6.3f}{most:6.3f}  {said}")


@dataclass(frozen=True)
class Reached:
    """What the bridge comes to for a kind of light and a gap, and the ripple without it."""

    kind: str
    gap: float
    fill: float
    ripple: float
    plain_ripple: float


def report(gap: float, rows: dict[tuple[str, str], list[dict[str, float]]]) -> list[Reached]:
    """Print the figures of a gap over all seeds and return those of the bridge by kind; fill is
    weighted by length."""
    reached = []
    for (kind, name), row in rows.items():
        points = np.array([one["points"] for one in row])
        fill = np.nansum([one["fill"] * one["points"] for one in row]) / max(points.sum(), 1)
        mean = {key: float(np.nanmean([one[key] for one in row]))
                for key in ("ripple", "darkest", "false", "over", "dB", "s")}  # fmt: skip
        aim = AIMS.get((kind, gap), np.nan)
        print(f"{gap:4.1f} {kind:12}{name:9}{fill:6.2f}{aim:6.2f}{mean['ripple']:8.3f}"
              f"{mean['darkest']:8.2f}{100 * mean['false']:9.2f}{100 * mean['over']:8.2f}"
              f"{mean['dB']:6.1f}{mean['s']:7.2f}", flush=True)  # fmt: skip
        if name == "bridged":
            plain = float(np.nanmean([one["ripple"] for one in rows[kind, "plain"]]))
            reached.append(Reached(kind, gap, float(fill), mean["ripple"], plain))
    return reached


def show(path: Path, burst: Tracked, picture: np.ndarray) -> None:
    """Write plain, bridged and truth beside each other as PNG."""
    pictures = {"plain": burst.plain, "bridged": picture, "truth": burst.truth}
    for name, light in pictures.items():
        code = np.rint(255 * linear_to_srgb(np.clip(light, 0, 1))).astype(np.uint8)
        cv2.imwrite(f"{path}_{name}.png", code[..., ::-1])


if __name__ == "__main__":
    main()
