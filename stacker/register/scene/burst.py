"""Holding the ground still over a whole burst."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, ThreadPoolExecutor

import numpy as np

from stacker.errors import BurstError
from stacker.light.encoding import LightArray
from stacker.register.geometry import Motion, identity
from stacker.register.motion import BurstMotion
from stacker.register.scene.grey import LUMINANCE, Grey, grey_of
from stacker.register.scene.joint import refine
from stacker.register.scene.links import Known, held_by, is_doubtful
from stacker.register.scene.mesh import local_correction
from stacker.register.scene.pair import Estimate, Reference, estimate, prepare
from stacker.register.scene.pinned import stays_of
from stacker.register.scene.settle import Seen, conclude
from stacker.register.scene.sharpness import detail_of, sharpness
from stacker.register.scene.verdict import Look

# Frames worked on at a time; their guesses come from the chunk before, so the number is fixed:
# results must not depend on the number of workers.
CHUNK = 8
# frames about the middle of the burst among which the sharpest becomes the reference
CANDIDATES = 5
# how much sharper another must be before the frame in the middle loses its place
SHARPER = 1.15
# frames seen last by way of which a doubtful one may be held
NEIGHBOURS = 2
Source = Callable[[int], LightArray]


def register_frames(
    source: Source,
    count: int,
    *,
    factor: int = 1,
    weights: tuple[float, float, float] = LUMINANCE,
    reference: int | None = None,
    workers: int = 1,
    on_frame: Callable[[int, int], None] | None = None,
) -> BurstMotion:
    """Return where the frames of a burst looked, held to the ground.

    Parameters
    ----------
    source : returns the light of frame ``index``, float32 (h, w, 3), linear, reduced by
        ``factor`` (see ``working_factor``); all of one size. Called from several threads, now and
        then twice for a frame.
    count : how many frames there are.
    factor : by which the frames were reduced; motions are returned for the full size.
    weights : the share of each channel in the luminance.
    reference : index of the frame to register to; the sharpest near the middle where None.
    workers : threads; the result is the same for any number.
    on_frame : called as ``on_frame(done, count)`` now and then, in the calling thread.

    Raises
    ------
    BurstError
        There is nothing to hold on to: the reference shows no texture, or fewer than half of the
        frames agree with it.
    """
    with ThreadPoolExecutor(workers) as pool:
        if reference is None:
            reference = _sharpest(source, count, weights, pool)
        held = prepare(grey_of(source(reference), weights))
        if not held.has_texture:
            raise _nothing_to_hold()
        seen: dict[int, Seen] = {reference: _itself(held)}
        for chain in (range(reference + 1, count), range(reference - 1, -1, -1)):
            for number, look in _follow(source, list(chain), held, weights, pool):
                seen[number] = look
                if on_frame:
                    on_frame(len(seen), count)
        seen = refine(source, weights, seen, held, pool)
    return conclude([seen[number] for number in range(count)], held, reference, factor)


def _sharpest(
    source: Source, count: int, weights: tuple[float, float, float], pool: Executor
) -> int:
    """Return the sharpest frame near the middle."""
    middle = (count - 1) // 2
    near = sorted(range(count), key=lambda number: (abs(number - middle), number))
    near = near[: min(CANDIDATES, max(3, count // 2))]
    greys = list(pool.map(lambda number: grey_of(source(number), weights), near))
    # a frame that was lit or covered differently must not win by its light
    light = np.array([grey.mean_light for grey in greys])
    usual = (light > 0.5 * np.median(light)) & (light < 2 * np.median(light))
    detail = [detail_of(grey) / max(grey.mean_light, 1e-6) for grey in greys]
    best = int(np.argmax(np.where(usual, detail, -1.0)))
    first = int(np.argmax(usual))
    return near[best if detail[best] > SHARPER * detail[first] else first]


def _itself(held: Reference) -> Seen:
    grey = held.grey
    look = Look(grey.mean_light, grey.dim_light, detail_of(grey), 1.0, 1.0, 1.0, 0.0, 0.0)
    return Seen(look, identity(), np.zeros((8, 8)), 0.0, held.tiles[0].count, None, None)


def _follow(
    source: Source,
    numbers: list[int],
    held: Reference,
    weights: tuple[float, float, float],
    pool: Executor,
) -> Iterator[tuple[int, Seen]]:
    """Yield what is seen in frames one after the other, away from the reference."""
    known: deque[Known] = deque(maxlen=NEIGHBOURS)
    for start in range(0, len(numbers), CHUNK):
        chunk = numbers[start : start + CHUNK]
        guess = known[0].to_frame if known else identity()

        def look(number: int, guess: Motion = guess) -> tuple[Grey, Estimate, Seen]:
            grey = grey_of(source(number), weights)
            found = estimate(held, grey, [guess], None)
            return grey, found, _summary(held, grey, found)

        for number, (grey, found, seen) in zip(chunk, pool.map(look, chunk), strict=True):
            if is_doubtful(found):
                again = held_by(known, held, grey, found)
                if again is not found:
                    seen = _summary(held, grey, again)
            if not seen.look.lost and seen.look.sure is not False:
                known.appendleft(Known(grey, seen.to_frame, seen.information))
            yield number, seen


def _summary(held: Reference, grey: Grey, found: Estimate) -> Seen:
    """Return what is to be kept of a frame."""
    coarse = held.tiles[held.coarsest]
    sharp = sharpness(held.tiles[0], coarse, found.agreement.agreeing, grey, found.to_frame)
    fit = found.fit
    uncertain = held.geometry.rms_error(fit.information)
    look = Look(
        mean_light=grey.mean_light,
        dim_light=grey.dim_light,
        detail=detail_of(grey),
        agreement=found.agreement.share,
        worst=sharp.worst,
        best=sharp.best,
        error=sharp.error,
        uncertain_px=uncertain,
        needed=_needed(held, found),
        sure=found.sure,
    )
    votes = int((fit.weight > 0).sum())
    local = local_correction(held.grey, held.tiles[0], grey, fit, grey.size)
    stays = stays_of(held.tiles[0], grey, fit.noise)
    return Seen(look, fit.to_frame, fit.information, uncertain, votes, local, stays)


def _needed(held: Reference, found: Estimate) -> float:
    """Return the agreement below which a frame shows something else."""
    if found.confirmed:
        return 0.0
    return held.least_if_sure if found.sure else held.least_agreement


def _nothing_to_hold() -> BurstError:
    return BurstError(
        "the burst",
        "there is nothing in it to hold on to, as in an empty sky or open water",
        remedy="use the frames as they lie with --hold still",
        code="burst-no-texture",
    )
