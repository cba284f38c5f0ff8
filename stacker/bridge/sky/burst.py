"""The look at a burst that tells its sky: its turn, its stars, and how they are drawn."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from itertools import pairwise

import cv2
import numpy as np

from stacker.bridge.base import Exposed, GapVerdict, LightOf
from stacker.bridge.sky.bridge import SkyBridge
from stacker.bridge.sky.catalogue import stars_of
from stacker.bridge.sky.known import KnownSky
from stacker.bridge.sky.profile import Profiles
from stacker.bridge.sky.refine import refined
from stacker.bridge.sky.still import Still, chosen_frames, root_codes, still_of, without_points
from stacker.errors import BurstError
from stacker.light.encoding import LightArray
from stacker.register.sky.burst import LUMINANCE, sky_behind
from stacker.register.sky.lens import Lens
from stacker.register.sky.points import Float64Array
from stacker.register.sky.search import Sky
from stacker.register.sky.stars import WIDEST_PX, StarList, find_peaks, find_stars, sky_factor
from stacker.register.sky.turning import SteadySky
from stacker.register.sky.turns import vector_of

# peaks of a frame that may be stars: after the filter, standard deviations
PEAK_THRESHOLD, MOST_PEAKS = 3.5, 20_000
# trails longer than the finder's widest star are looked at in a smaller copy, but not beyond this
MOST_REDUCED, LEAST_SIDE = 16, 100
# a turn over a gap may differ from the steady sky's by so much, px, and by this share of it, for
# stamps may be rounded to whole seconds
JOLT_PX, JOLT_SHARE = 1.0, 0.1


@dataclass(frozen=True, eq=False)
class _Look:
    stars: StarList
    peaks: Float64Array
    strength: Float64Array


def bridge_sky(
    frames: LightOf,
    exposed: Sequence[Exposed],
    *,
    focal_px: float | None = None,
    weights: tuple[float, float, float] = LUMINANCE,
    workers: int = 1,
    on_frame: Callable[[int, int], None] | None = None,
) -> SkyBridge:
    """Return the bridge of the stars' light over the gaps of a burst.

    Parameters
    ----------
    frames : gives the light of each frame; called once for each, and again for a few.
    exposed : when each frame was exposed, in order of time.
    focal_px : the focal length in pixels where Exif tells it, a start for the search.
    weights : the share of each channel in the luminance.
    workers : threads, each of which holds a frame; the result is the same for any number.
    on_frame : called as ``on_frame(done, count)`` after each frame, in the calling thread; an
        error that it raises ends the look.

    Returns
    -------
    The bridge. Where there is no turning sky, it has no light for any gap and says why.

    Notes
    -----
    At most ``workers`` frames are held at a time, and a byte a pixel of nine.
    """
    count = len(exposed)
    if count < 2:
        return SkyBridge(None, [])
    still = still_of([root_codes(frames(number), weights) for number in chosen_frames(count)])
    height, width = still.codes.shape
    factor = _factor(frames(count // 2), still, weights)
    looks = _looked_at(frames, count, still, factor, weights, workers, on_frame)
    small = (width // factor, height // factor)
    focal = None if focal_px is None else focal_px / factor
    try:
        found, _ = sky_behind(
            [each.stars for each in looks], small, focal_px=focal, starts_s=_middles(exposed)
        )
    except BurstError as error:
        return SkyBridge(None, [GapVerdict(False, error.why)] * (count - 1))
    return _bridge(frames, exposed, still, looks, found, factor, weights)


def _bridge(
    frames: LightOf,
    exposed: Sequence[Exposed],
    still: Still,
    looks: Sequence[_Look],
    found: Sky,
    factor: int,
    weights: tuple[float, float, float],
) -> SkyBridge:
    """Return the bridge of a sky that was found."""
    turns = [found.turn(number) for number in range(len(looks))]
    steps, gaps = _steps(found, turns, _middles(exposed))
    lens = _full(found.model.lens, factor)
    stars = stars_of(
        [each.peaks for each in looks], [each.strength for each in looks], turns, found.model.lens
    )
    wide = float(np.median([each.stars.typical[1] for each in looks])) * factor
    begun = KnownSky(
        lens,
        turns,
        steps,
        _halves(exposed),
        stars,
        still,
        Profiles.gaussian(still.codes.shape, wide),
        weights,
    )
    return SkyBridge(refined(frames, begun), gaps)


def _middles(exposed: Sequence[Exposed]) -> list[float]:
    """Return the middle of each exposure, in seconds."""
    return [(each.start_s + each.end_s) / 2 for each in exposed]


def _factor(light: LightArray, still: Still, weights: tuple[float, float, float]) -> int:
    """Return by how much frames are reduced, so that trails are short enough for the finder."""
    factor = sky_factor((light.shape[1], light.shape[0]))
    while factor < MOST_REDUCED:
        found = find_stars(_reduced(light, still, factor), weights)
        # a trail of the widest star's standard deviation is longer than any that fits
        if found.typical[0] < 0.8 * WIDEST_PX or min(light.shape[:2]) // (2 * factor) < LEAST_SIDE:
            break
        factor *= 2
    return factor


def _reduced(light: LightArray, still: Still, factor: int) -> LightArray:
    """Return a reduced copy of a frame without what stands still."""
    height, width = (side // factor for side in light.shape[:2])
    if factor == 1:
        return without_points(light.copy(), still, factor)
    whole = light[: height * factor, : width * factor]
    small = cv2.resize(whole, (width, height), interpolation=cv2.INTER_AREA)
    return without_points(np.asarray(small), still, factor)


def _looked_at(
    frames: LightOf, count: int, still: Still, factor: int, weights: tuple[float, float, float],
    workers: int, on_frame: Callable[[int, int], None] | None,
) -> list[_Look]:  # fmt: skip
    def look(number: int) -> _Look:
        small = _reduced(frames(number), still, factor)
        stars = find_stars(small, weights)
        peaks, strength = find_peaks(
            small, weights, min(stars.typical[0], WIDEST_PX), threshold=PEAK_THRESHOLD,
            most=MOST_PEAKS,
        )  # fmt: skip
        return _Look(stars, peaks, strength)

    looks = []
    pool = ThreadPoolExecutor(workers)
    try:
        for each in pool.map(look, range(count)):
            looks.append(each)
            if on_frame:
                on_frame(len(looks), count)
    finally:
        # whoever gives up does not wait for the frames that are left
        pool.shutdown(cancel_futures=True)
    return looks


def _full(lens: Lens, factor: int) -> Lens:
    """Return the lens of whole frames from that of reduced ones."""
    return replace(
        lens,
        size=(lens.size[0] * factor, lens.size[1] * factor),
        focal_px=lens.focal_px * factor,
        off_px=(lens.off_px[0] * factor, lens.off_px[1] * factor),
    )


def _steps(
    found: Sky, turns: Sequence[Float64Array | None], middles: Sequence[float]
) -> tuple[list[Float64Array | None], list[GapVerdict]]:
    """Return the turn over each gap, and what can be done for it."""
    steps: list[Float64Array | None] = []
    gaps = []
    for number, (one, two) in enumerate(pairwise(turns)):
        step = None if one is None or two is None else vector_of(two @ one.T)
        steps.append(step)
        if step is None:
            lost = number if one is None else number + 1
            gaps.append(GapVerdict(False, f"the sky of frame {lost + 1} could not be made out"))
        else:
            gaps.append(GapVerdict(True))
    for number, step in enumerate(_steady_steps(found, steps, middles)):
        own = steps[number]
        if step is None or own is None:
            continue
        # turns about nearly one axis: their vectors differ by the turn between them
        jolt = float(np.linalg.norm(own - step)) * found.model.lens.focal_px
        if jolt > JOLT_PX + JOLT_SHARE * float(np.linalg.norm(step)) * found.model.lens.focal_px:
            steps[number] = None
            gaps[number] = GapVerdict(False, "the camera was moved in the gap")
    return steps, gaps


def _steady_steps(
    found: Sky, steps: Sequence[Float64Array | None], middles: Sequence[float]
) -> list[Float64Array | None]:
    """Return the turn over each gap of a sky that turns steadily before a camera that stands."""
    turning = found.model.found.turning
    if isinstance(turning, SteadySky):
        return [(two - one) * turning.axis for one, two in pairwise(turning.times)]
    between = [max(two - one, 1e-9) for one, two in pairwise(middles)]
    rates = [step / time for step, time in zip(steps, between, strict=True) if step is not None]
    if not rates:
        return [None] * len(steps)
    usual = np.median(rates, axis=0)
    return [np.asarray(usual * time) for time in between]


def _halves(exposed: Sequence[Exposed]) -> list[tuple[float, float]]:
    """Return half of both exposures at each gap, as shares of the time between their middles."""
    halves = []
    for one, two in pairwise(exposed):
        between = (two.start_s + two.end_s - one.start_s - one.end_s) / 2
        # stamps in whole seconds may let exposures overlap, which they never do
        before, after = (each.shutter_s / 2 / max(between, 1e-9) for each in (one, two))
        halves.append((min(before, 0.5), min(after, 0.5)))
    return halves
