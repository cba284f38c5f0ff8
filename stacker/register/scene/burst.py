"""Holding the ground still over a whole burst."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from stacker.errors import BurstError
from stacker.light.encoding import LightArray
from stacker.register.geometry import Motion, identity, invert, is_identity, to_full
from stacker.register.local import LocalCorrection
from stacker.register.motion import BurstMotion, FrameMotion, MotionModel
from stacker.register.scene.grey import LUMINANCE, Grey, grey_of
from stacker.register.scene.mesh import local_correction
from stacker.register.scene.models import Float64Array
from stacker.register.scene.pair import Estimate, Reference, estimate, prepare
from stacker.register.scene.pinned import Stays, pinned, share_of, stays_of
from stacker.register.scene.sharpness import detail_of, sharpness
from stacker.register.scene.stretches import (
    FLOOR_PX,
    MODEL_FLOOR_PX,
    Measured,
    cut_into_stretches,
    is_nothing,
    mean_of,
    simplest_model,
)
from stacker.register.scene.verdict import Look, verdicts

# Frames worked on at a time; their guesses come from the chunk before, so the number is fixed:
# results must not depend on the number of workers.
CHUNK = 8
# frames about the middle of the burst among which the sharpest becomes the reference
CANDIDATES = 5
# how much sharper another must be before the frame in the middle loses its place
SHARPER = 1.15
# agreement below which a frame is tried again from its neighbour's motion
TRY_AGAIN = 0.2
# a frame in which more than this share of what never moves has stayed looked where the others did
STAYED = 0.5
# A stretch that moved less than this, in full-size pixels, stays as it is: half a percent of the
# finest contrast is lost, and pixels that are not resampled are worth more.
LEAST_MOVE_PX = 0.1

Source = Callable[[int], LightArray]


@dataclass(frozen=True, eq=False)
class _Seen:
    """What is kept of a frame once its picture is gone."""

    look: Look
    to_frame: Motion
    information: Float64Array
    uncertain_px: float
    votes: int
    local: LocalCorrection | None
    stays: Stays | None


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
        seen: dict[int, _Seen] = {reference: _itself(held)}
        for chain in (range(reference + 1, count), range(reference - 1, -1, -1)):
            for number, look in _follow(source, list(chain), held, weights, pool):
                seen[number] = look
                if on_frame:
                    on_frame(len(seen), count)
    return _conclude([seen[number] for number in range(count)], held, reference, factor)


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


def _itself(held: Reference) -> _Seen:
    grey = held.grey
    look = Look(grey.mean_light, grey.dim_light, detail_of(grey), 1.0, 1.0, 1.0, 0.0, 0.0)
    return _Seen(look, identity(), np.zeros((8, 8)), 0.0, held.tiles[0].count, None, None)


def _follow(
    source: Source,
    numbers: list[int],
    held: Reference,
    weights: tuple[float, float, float],
    pool: Executor,
) -> Iterator[tuple[int, _Seen]]:
    """Yield what is seen in frames one after the other, away from the reference."""
    last: tuple[Grey, Motion] = (held.grey, identity())
    for start in range(0, len(numbers), CHUNK):
        chunk = numbers[start : start + CHUNK]
        guess = last[1]

        def look(number: int, guess: Motion = guess) -> tuple[Grey, _Seen]:
            grey = grey_of(source(number), weights)
            return grey, _summary(held, grey, estimate(held, grey, [guess], None))

        for number, (grey, seen) in zip(chunk, pool.map(look, chunk), strict=True):
            if seen.look.agreement < TRY_AGAIN:
                again = _summary(held, grey, estimate(held, grey, [last[1]], last))
                if again.look.agreement > seen.look.agreement:
                    seen = again
            if seen.look.agreement >= TRY_AGAIN:
                last = (grey, seen.to_frame)
            yield number, seen


def _summary(held: Reference, grey: Grey, found: Estimate) -> _Seen:
    """Return what is to be kept of a frame."""
    coarse = held.tiles[held.coarsest]
    sharp = sharpness(
        held.grey, held.tiles[0], coarse, found.agreement.agreeing, grey, found.to_frame
    )
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
    )
    votes = int((fit.weight > 0).sum())
    local = local_correction(held.tiles[0], grey, fit, grey.size)
    stays = stays_of(held.tiles[0], grey, fit.noise)
    return _Seen(look, fit.to_frame, fit.information, uncertain, votes, local, stays)


def _conclude(seen: list[_Seen], held: Reference, reference: int, factor: int) -> BurstMotion:
    """Return the verdict on every frame and the motion of those that are used."""
    stayed = _stayed(seen)
    looks = [
        replace(frame.look, agreement=max(frame.look.agreement, share))
        for frame, share in zip(seen, stayed, strict=True)
    ]
    why = verdicts(looks, held.least_agreement)
    why[reference] = None
    used = [number for number, reason in enumerate(why) if reason is None]
    if 2 * len(used) < len(seen):
        raise _too_few(len(used), len(seen), why)
    least_px = max(FLOOR_PX, LEAST_MOVE_PX / factor)
    model, motions = _settle(seen, used, held, reference, least_px)
    if any(stayed[n] > STAYED and not is_identity(motions[n][0]) for n in used):
        model, motions = "still", dict.fromkeys(used, (identity(), 0.0))
        for number in used:
            if stayed[number] <= STAYED:
                why[number] = "the camera moved, while it stood still in all other frames"
    bent = _is_bent(seen, used) and model not in ("still", "stretches")
    if bent:
        # the meshes were found beyond each frame's own homography
        model, motions = "homography", {}
    frames = []
    for number, (frame, reason) in enumerate(zip(seen, why, strict=True)):
        to_frame, residual = motions.get(number, (frame.to_frame, frame.uncertain_px))
        frames.append(
            FrameMotion(
                to_reference=_reversed(to_frame, factor),
                local=frame.local.to_full(factor) if bent and frame.local else None,
                residual_px=residual * factor,
                used=reason is None,
                why=reason,
                agreement=looks[number].agreement,
                sharpness=frame.look.worst,
            )
        )
    return BurstMotion(reference, model, frames)


def _stayed(seen: list[_Seen]) -> list[float]:
    """Return for each frame the share of what pins the camera down; 0 where nothing does."""
    stays = [frame.stays for frame in seen if frame.stays is not None]
    pins = pinned(stays) if stays else None
    if pins is None:
        return [0.0] * len(seen)
    return [1.0 if frame.stays is None else share_of(frame.stays, pins) for frame in seen]


def _is_bent(seen: list[_Seen], used: list[int]) -> bool:
    """Whether most of the burst asks for more than one plane seen through a perfect lens.

    One frame that does so alone has shown something else, such as a passing cloud's shadow.
    """
    asking = sum(seen[number].local is not None for number in used)
    return 2 * asking >= len(used)


def _reversed(to_frame: Motion, factor: int) -> Motion:
    if is_identity(to_frame):
        return identity()
    return to_full(invert(to_frame), factor)


def _settle(
    seen: list[_Seen], used: list[int], held: Reference, reference: int, least_px: float
) -> tuple[MotionModel, dict[int, tuple[Motion, float]]]:
    """Return the model of the burst, and motion and error of each frame used, to the frame."""
    geometry = held.geometry
    others = [number for number in used if number != reference]
    if not others:
        return "still", {reference: (identity(), 0.0)}
    at_reference = _certain(held)
    measured = Measured(
        np.array([geometry.parameters_of(seen[number].to_frame) for number in used]),
        np.array([at_reference if n == reference else seen[n].information for n in used]),
        int(np.median([seen[number].votes for number in others])),
    )
    _, moving_cost = simplest_model(measured, geometry)
    stretches, still_cost = cut_into_stretches(measured, geometry)
    motions: dict[int, tuple[Motion, float]] = {}
    # a stretch of one frame is no stretch
    if still_cost <= moving_cost and len(stretches) <= max(1, len(used) // 2):
        for stretch in stretches:
            motion = _motion_of(stretch, measured, used, reference, held, least_px)
            motions.update(dict.fromkeys(used[stretch], (motion, 0.0)))
        moved = any(not is_identity(motion) for motion, _ in motions.values())
        return ("stretches" if moved else "still"), motions
    moving, _ = simplest_model(measured, geometry, MODEL_FLOOR_PX)
    for number, p, info in zip(used, measured.parameters, measured.information, strict=True):
        nearest = geometry.motion_of(moving.nearest(p, info))
        motions[number] = (nearest, seen[number].uncertain_px)
    motions[reference] = (identity(), 0.0)
    return _name_of(moving.name), motions


def _motion_of(
    stretch: slice,
    measured: Measured,
    used: list[int],
    reference: int,
    held: Reference,
    least_px: float,
) -> Motion:
    """Return the one motion of a stretch: none where it cannot be told from the reference's."""
    if reference in used[stretch]:
        return identity()
    shared = mean_of(measured, stretch, held.geometry)
    if is_nothing(shared, measured, stretch, held.geometry, least_px):
        return identity()
    return held.geometry.motion_of(shared)


def _certain(held: Reference) -> Float64Array:
    """Return the information of the reference's own motion: it is known to be none."""
    return np.asarray(np.linalg.inv(held.geometry.covariance_of(1e-3)), np.float64)


def _name_of(name: str) -> MotionModel:
    names: dict[str, MotionModel] = {
        "shift": "shift", "similarity": "similarity", "homography": "homography",
    }  # fmt: skip
    return names[name]


def _nothing_to_hold() -> BurstError:
    return BurstError(
        "the burst",
        "there is nothing in it to hold on to, as in an empty sky or open water",
        remedy="use the frames as they lie with --hold still",
        code="burst-no-texture",
    )


def _too_few(used: int, count: int, why: list[str | None]) -> BurstError:
    reasons = [reason for reason in why if reason]
    usual = max(set(reasons), key=lambda reason: (reasons.count(reason), reason))
    return BurstError(
        "the burst",
        f"only {used} of {count} frames can be held to one view; of most others, {usual}",
        remedy="use the frames as they lie with --hold still, or a shorter span",
        code="burst-not-held",
    )
