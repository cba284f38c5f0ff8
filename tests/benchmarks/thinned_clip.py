"""What a bridge makes up for when frames of a real clip are taken away.

    python -m tests.benchmarks.thinned_clip CLIP [--every 2] [--first 1] [--count 49]
        [--blend mean] [--hold still] [--pictures DIR]

Of ``count`` frames every so many are kept, blended with and without the bridge as the program does
it, and compared with the blend of all of them: PSNR of codes where the blend without the bridge
differs from that. A frame of a clip counts as open until the next, so what was taken away is the
gap.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

import stacker
from stacker.light.encoding import LightArray
from stacker.light.srgb import linear_to_srgb

# codes, averaged over so many pixels, from which on a place counts as different
DIFFERENT, OVER_PX = 2.0, 3.0
# crops for a look: the side in pixels, and how many
CROP, CROPS = 320, 2
COLUMNS = (
    *("clip", "blend", "differs", "plain dB", "bridged dB", "gain"),
    *("elsewhere dB", "codes brighter", "gaps", "CPU s"),
)


def codes(light: LightArray) -> npt.NDArray[np.float64]:
    """Return light as codes of 0 to 255, not rounded."""
    return np.asarray(linear_to_srgb(np.clip(light, 0, 1)) * 255.0, np.float64)


def psnr(
    light: npt.NDArray[np.float64],
    truth: npt.NDArray[np.float64],
    where: npt.NDArray[np.bool_],
) -> float:
    """Return the peak signal to noise ratio in dB."""
    return float(10 * np.log10(255**2 / max(float(np.mean((light - truth)[where] ** 2)), 1e-12)))


def different(
    plain: npt.NDArray[np.float64], truth: npt.NDArray[np.float64]
) -> npt.NDArray[np.bool_]:
    """Return where two pictures differ by more than noise, (H, W)."""
    apart = np.abs(plain - truth).max(axis=2)
    return np.asarray(cv2.GaussianBlur(apart, (0, 0), OVER_PX) > DIFFERENT)


def crops(where: npt.NDArray[np.bool_]) -> list[tuple[slice, slice]]:
    """Return the squares that hold most of what differs, none upon another."""
    share = cv2.boxFilter(where.astype(np.float32), -1, (CROP, CROP))
    half = CROP // 2
    share[:half] = share[-half:] = -1
    share[:, :half] = share[:, -half:] = -1
    found = []
    for _ in range(CROPS):
        y, x = np.unravel_index(int(share.argmax()), share.shape)
        found.append((slice(int(y) - half, int(y) + half), slice(int(x) - half, int(x) + half)))
        share[max(0, y - CROP) : y + CROP, max(0, x - CROP) : x + CROP] = -1
    return found


def compare(options: argparse.Namespace) -> None:
    """Print a row of the table."""
    burst = stacker.open_burst(options.clip)
    first, last = options.first, min(options.first + options.count - 1, len(burst.frames))
    last -= (last - first) % options.every
    away = tuple(n for n in range(first, last + 1) if (n - first) % options.every)
    asked = {"blend": options.blend, "hold": options.hold, "first": first, "last": last}
    truth = codes(stacker.expose(burst, **asked).light)
    plain = codes(stacker.expose(burst, without=away, **asked).light)
    start = time.process_time()
    shot = stacker.expose(burst, without=away, bridge=True, **asked)
    spent = time.process_time() - start
    bridged = codes(shot.light)
    where = different(plain, truth)
    before, after = psnr(plain, truth, where), psnr(bridged, truth, where)
    elsewhere = psnr(plain, truth, ~where), psnr(bridged, truth, ~where)
    brighter = (bridged[where].mean() - truth[where].mean()).item()
    told = shot.report["bridge"]
    print(
        f"| {options.clip.stem}, {first} to {last}, every {options.every} | {options.blend} "
        f"| {where.mean():.0%} | {before:.1f} | {after:.1f} | {after - before:+.1f} "
        f"| {elsewhere[0]:.1f}, {elsewhere[1]:.1f} | {brighter:+.2f} "
        f"| {told['bridged']} of {told['gaps']} | {spent:.0f} |"
    )
    print(f"({told['words']})")
    if options.pictures:
        options.pictures.mkdir(parents=True, exist_ok=True)
        for number, place in enumerate(crops(where)):
            side_by_side = np.hstack([each[place] for each in (plain, bridged, truth)])
            name = f"{options.clip.stem}-{options.blend}-{options.every}-{number}.png"
            picture = np.rint(side_by_side[..., ::-1]).astype(np.uint8)
            cv2.imwrite(str(options.pictures / name), picture)


def options_of(words: Sequence[str] | None = None) -> argparse.Namespace:
    """Return what was typed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("clip", type=Path)
    parser.add_argument("--every", type=int, default=2)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--count", type=int, default=49)
    parser.add_argument("--blend", default="mean")
    parser.add_argument("--hold", default="still")
    parser.add_argument("--pictures", type=Path, help="plain, bridged and all frames, side by side")
    return parser.parse_args(words)


def main() -> None:
    """Print the table of one clip."""
    options = options_of()
    print(f"| {' | '.join(COLUMNS)} |\n|{' --- |' * len(COLUMNS)}")
    compare(options)


if __name__ == "__main__":
    main()
