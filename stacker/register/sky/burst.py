"""Holding the sky still over a whole burst."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np

from stacker.errors import BurstError
from stacker.light.encoding import LightArray
from stacker.register.geometry import apply, grid_of, identity, is_identity, to_full
from stacker.register.motion import BurstMotion, FrameMotion, unfit_reference
from stacker.register.sky.frames import brightest_known, judged
from stacker.register.sky.nearness import standing_still
from stacker.register.sky.search import Sky, clocks, find_sky
from stacker.register.sky.stars import StarList, find_stars
from stacker.register.sky.verdict import LEAST_OWN

# a sky that moves less than this over the burst cannot be told from hot pixels, px
LEAST_MOVED_PX = 1.0
# share of the brightest moving points of the usual frame that go with the sky: nearly all where
# there is one, one in seven in noise and hot pixels
BRIGHTEST_KNOWN = 0.4
LUMINANCE = (0.2126, 0.7152, 0.0722)

Source = Callable[[int], LightArray]


def register_sky(
    source: Source,
    count: int,
    *,
    size: tuple[int, int],
    factor: int = 1,
    focal_px: float | None = None,
    starts_s: Sequence[float] | None = None,
    weights: tuple[float, float, float] = LUMINANCE,
    reference: int | None = None,
    workers: int = 1,
    on_frame: Callable[[int, int], None] | None = None,
) -> BurstMotion:
    """Return where the frames of a burst looked, held to the stars.

    Parameters
    ----------
    source : returns the light of frame ``index``, float32 (h, w, 3), linear, 1.0 being white;
        the whole frame, or reduced by ``factor`` (see ``sky_factor``). Called once for a frame,
        from several threads.
    count : how many frames there are.
    size : width and height of the whole frames, px.
    factor : by which frames were reduced; motions are returned for the full size.
    focal_px : the focal length in pixels of the whole frame, where Exif tells it: a start for the
        search, which may be wrong by a tenth.
    starts_s : when each frame's shutter opened, seconds; frames come evenly where None.
    weights : the share of each channel in the luminance.
    reference : index of the frame to register to; one near the middle with many sharp stars
        where None.
    workers : threads; the result is the same for any number.
    on_frame : called as ``on_frame(done, count)`` after each frame, in the calling thread.

    Returns
    -------
    Where each frame looked, with the lens's bending in ``local``.

    Raises
    ------
    BurstError
        There are too few stars, or only points that do not move; or fewer than half of the
        frames can be held to one sky.

    Notes
    -----
    Only lists of stars are kept of frames that were looked at.
    """
    if count == 1:
        alone = FrameMotion(identity(), None, 0.0, True, None, agreement=1.0, sharpness=1.0)
        return BurstMotion(0, "still", [alone])
    lists = _look_at_all(source, count, weights, workers, on_frame)
    small = (size[0] // factor, size[1] // factor)
    focal = None if focal_px is None else focal_px / factor
    sky, moving = sky_behind(lists, small, focal_px=focal, starts_s=starts_s, reference=reference)
    reference = sky.reference
    frames = [_to_full(frame, factor) for frame in judged(sky, moving)]
    if _moved_px(frames, size) < LEAST_MOVED_PX:
        raise _standing_still()
    used = sum(frame.used for frame in frames)
    if 2 * used < count:
        raise _too_few(used, count, [frame.why for frame in frames])
    return BurstMotion(reference, "homography", frames)


def sky_behind(
    lists: Sequence[StarList],
    size: tuple[int, int],
    *,
    focal_px: float | None = None,
    starts_s: Sequence[float] | None = None,
    reference: int | None = None,
) -> tuple[Sky, list[StarList]]:
    """Return the one sky behind the points of light of all frames, and which of these move.

    Parameters
    ----------
    lists : what ``find_stars`` found in each frame.
    size : width and height of the pictures they were found in, px.
    focal_px, starts_s, reference : as for ``register_sky``, the focal length in pixels of these
        pictures.

    Raises
    ------
    BurstError
        There are too few stars, or only points that do not move.
    """
    stays = standing_still([found.place for found in lists])
    moving = [found.chosen(~fixed) for found, fixed in zip(lists, stays, strict=True)]
    _refuse_poor(lists, moving)
    if reference is None:
        reference = _best_reference(moving)
    elif len(moving[reference]) < LEAST_OWN:
        raise _poor_reference(reference)
    times = clocks(starts_s, len(lists), reference)
    sky = find_sky(moving, lists, size, reference, times, focal_px)
    if brightest_known(sky, moving) < BRIGHTEST_KNOWN:
        raise _few_stars(moving)
    return sky, moving


def _look_at_all(
    source: Source,
    count: int,
    weights: tuple[float, float, float],
    workers: int,
    on_frame: Callable[[int, int], None] | None,
) -> list[StarList]:
    lists = []
    with ThreadPoolExecutor(workers) as pool:
        for found in pool.map(lambda number: find_stars(source(number), weights), range(count)):
            lists.append(found)
            if on_frame:
                on_frame(len(lists), count)
    return lists


def _best_reference(moving: Sequence[StarList]) -> int:
    """Return the frame nearest to the middle that shows many stars, and sharp ones."""
    stars = np.array([len(found) for found in moving])
    long = np.array([found.typical[0] for found in moving])
    many = stars >= max(LEAST_OWN, 0.8 * np.median(stars))
    sharp = long <= 1.1 * np.median(long[many]) if many.any() else many
    good = many & sharp
    fit = np.flatnonzero(good if good.any() else stars == stars.max())
    middle = (len(moving) - 1) // 2
    return int(fit[np.argmin(np.abs(fit - middle))])


def _to_full(frame: FrameMotion, factor: int) -> FrameMotion:
    if factor == 1 or is_identity(frame.to_reference):
        return frame
    return replace(
        frame,
        to_reference=to_full(frame.to_reference, factor),
        residual_px=frame.residual_px * factor,
        local=None if frame.local is None else frame.local.to_full(factor),
    )


def _refuse_poor(lists: Sequence[StarList], moving: Sequence[StarList]) -> None:
    """Refuse bursts in which there is no sky to hold."""
    drawn = float(np.median([len(found) for found in lists]))
    rich = sum(len(found) >= LEAST_OWN for found in moving)
    if 2 * rich >= len(lists):
        return
    if drawn >= LEAST_OWN:
        raise _standing_still()
    raise _few_stars(lists)


def _few_stars(lists: Sequence[StarList]) -> BurstError:
    drawn = float(np.median([len(found) for found in lists]))
    return BurstError(
        "the burst",
        f"too few stars to hold on to: of {drawn:.0f} points of light in the usual frame, hardly "
        "any go with a turning sky",
        remedy="hold the ground with --hold scene, or leave out the frames under clouds",
        code="burst-few-stars",
    )


def _moved_px(frames: Sequence[FrameMotion], size: tuple[int, int]) -> float:
    """Return how far the stars of the frames used moved at most, px."""
    corners = grid_of(size, 2)
    moved = [
        np.linalg.norm(apply(frame.to_reference, corners) - corners, axis=1).max()
        for frame in frames
        if frame.used
    ]
    return float(max(moved))


def _standing_still() -> BurstError:
    return BurstError(
        "the burst",
        "its points of light do not move over the frames: they are hot pixels or lamps, or the "
        "camera followed the stars already",
        remedy="use the frames as they lie with --hold still",
        code="burst-stars-still",
    )


def _poor_reference(reference: int) -> BurstError:
    return unfit_reference(
        reference,
        "it shows too few stars to register others to",
        remedy="name another frame with --reference",
        code="reference-few-stars",
    )


def _too_few(used: int, count: int, why: Sequence[str | None]) -> BurstError:
    reasons = [reason for reason in why if reason]
    usual = max(set(reasons), key=lambda reason: (reasons.count(reason), reason))
    return BurstError(
        "the burst",
        f"only {used} of {count} frames can be held to one sky; of most others, {usual}",
        remedy="use the frames as they lie with --hold still, or a shorter span",
        code="burst-not-held",
    )
