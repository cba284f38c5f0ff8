"""From what was seen in each frame to the motion of the burst."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from stacker.errors import BurstError
from stacker.register.geometry import Motion, identity, invert, is_identity, to_full
from stacker.register.motion import BUMPED, BurstMotion, FrameMotion, MotionModel
from stacker.register.scene.mesh import Bend
from stacker.register.scene.models import Float64Array
from stacker.register.scene.pair import Reference
from stacker.register.scene.pinned import Stays, pinned, share_of
from stacker.register.scene.stretches import (
    FLOOR_PX,
    MODEL_FLOOR_PX,
    Measured,
    cut_into_stretches,
    is_nothing,
    mean_of,
    sharing_errors,
    simplest_model,
)
from stacker.register.scene.verdict import Look, verdicts, weights_of

# a frame in which more than this share of what never moves has stayed looked where the others did
STAYED = 0.5
# ... and so did one whose own motion is less than this, pixels of the copy, or than so many times
# what it is likely off
MOVED_PX = 0.1
MOVED_ERRORS = 4.0
# A stretch that moved less than this, in full-size pixels, stays as it is: half a percent of the
# finest contrast is lost, and pixels that are not resampled are worth more.
LEAST_MOVE_PX = 0.1
# In a burst that moves, a frame nearer to the reference than this, px of the copy, is its twin.
STANDS_PX = 1e-3


@dataclass(frozen=True, eq=False)
class Seen:
    """What is kept of a frame once its picture is gone.

    ``to_frame`` from the reference's copy to the frame's, ``information`` (8, 8) about it;
    ``uncertain_px`` how far it is likely off; ``votes`` tiles that were heard; ``local`` what it
    asks for beyond a homography; ``stays`` None for the reference itself.
    """

    look: Look
    to_frame: Motion
    information: Float64Array
    uncertain_px: float
    votes: int
    local: Bend | None
    stays: Stays | None


def conclude(seen: list[Seen], held: Reference, reference: int, factor: int) -> BurstMotion:
    """Return the verdict on every frame and the motion of those that are used."""
    stayed = _stayed(seen)
    looks = [
        replace(
            frame.look,
            agreement=max(frame.look.agreement, share),
            # what has stayed where it was is as good as asked
            sure=True if share > STAYED else frame.look.sure,
        )
        for frame, share in zip(seen, stayed, strict=True)
    ]
    why = verdicts(looks)
    why[reference] = None
    used = [number for number, reason in enumerate(why) if reason is None]
    if 2 * len(used) < len(seen):
        raise _too_few(len(used), len(seen), why)
    least_px = max(FLOOR_PX, LEAST_MOVE_PX / factor)
    model, motions = _settle(seen, used, held, reference, least_px)
    if any(stayed[n] > STAYED and not is_identity(motions[n][0]) for n in used):
        model, motions = "still", dict.fromkeys(used, (identity(), 0.0))
        for number in used:
            if stayed[number] <= STAYED and _has_moved(seen[number], held):
                why[number] = BUMPED
    bent = _is_bent(seen, used) and model not in ("still", "stretches")
    if bent:
        # the meshes were found beyond each frame's own homography
        model, motions = "homography", {}
    frames = []
    weights = weights_of(looks)
    for number, (frame, reason) in enumerate(zip(seen, why, strict=True)):
        to_frame, residual = motions.get(number, (frame.to_frame, frame.uncertain_px))
        local = frame.local if bent else None
        if local:
            residual = float(np.hypot(residual, local.left_px))
        frames.append(
            FrameMotion(
                to_reference=_reversed(to_frame, factor),
                local=local.local.to_full(factor) if local else None,
                residual_px=residual * factor,
                used=reason is None,
                why=reason,
                agreement=looks[number].agreement,
                sharpness=frame.look.worst,
                weight=1.0 if number == reference else weights[number],
            )
        )
    return BurstMotion(reference, model, frames)


def _stayed(seen: list[Seen]) -> list[float]:
    """Return for each frame the share of what pins the camera down; 0 where nothing does."""
    stays = [frame.stays for frame in seen if frame.stays is not None]
    pins = pinned(stays) if stays else None
    if pins is None:
        return [0.0] * len(seen)
    return [1.0 if frame.stays is None else share_of(frame.stays, pins) for frame in seen]


def _has_moved(frame: Seen, held: Reference) -> bool:
    """Whether a frame in which little has stayed looked elsewhere: walkers may stand in front."""
    away_px = held.geometry.rms(held.geometry.parameters_of(frame.to_frame))
    return away_px > max(MOVED_PX, MOVED_ERRORS * frame.uncertain_px)


def _is_bent(seen: list[Seen], used: list[int]) -> bool:
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
    seen: list[Seen], used: list[int], held: Reference, reference: int, least_px: float
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
    each = sharing_errors(measured, used.index(reference), geometry)
    _, moving_cost = simplest_model(measured, geometry)
    stretches, still_cost = cut_into_stretches(each, geometry)
    motions: dict[int, tuple[Motion, float]] = {}
    # a stretch of one frame is no stretch
    if still_cost <= moving_cost and len(stretches) <= max(1, len(used) // 2):
        for stretch in stretches:
            motion = _motion_of(stretch, stretches, each, used.index(reference), held, least_px)
            motions.update(dict.fromkeys(used[stretch], (motion, 0.0)))
        moved = any(not is_identity(motion) for motion, _ in motions.values())
        return ("stretches" if moved else "still"), motions
    moving, _ = simplest_model(measured, geometry, MODEL_FLOOR_PX)
    for number, p, info in zip(used, measured.parameters, measured.information, strict=True):
        nearest = moving.nearest(p, info)
        stands = geometry.rms(nearest) < STANDS_PX
        motion = identity() if stands else geometry.motion_of(nearest)
        motions[number] = (motion, seen[number].uncertain_px)
    motions[reference] = (identity(), 0.0)
    return _name_of(moving.name), motions


def _motion_of(
    stretch: slice,
    stretches: list[slice],
    measured: Measured,
    reference: int,
    held: Reference,
    least_px: float,
) -> Motion:
    """Return the one motion of a stretch: none where it cannot be told from the reference's.

    ``reference`` is the place of the reference among the frames measured.
    """
    own = next(one for one in stretches if one.start <= reference < one.stop)
    if stretch == own:
        return identity()
    parameters = mean_of(measured, stretch, held.geometry) - mean_of(measured, own, held.geometry)
    if is_nothing(parameters, measured, (stretch, own), held.geometry, least_px):
        return identity()
    return held.geometry.motion_of(parameters)


def _certain(held: Reference) -> Float64Array:
    """Return the information of the reference's own motion: it is known to be none."""
    return np.asarray(np.linalg.inv(held.geometry.covariance_of(1e-3)), np.float64)


def _name_of(name: str) -> MotionModel:
    names: dict[str, MotionModel] = {
        "shift": "shift", "similarity": "similarity", "homography": "homography",
    }  # fmt: skip
    return names[name]


def _too_few(used: int, count: int, why: list[str | None]) -> BurstError:
    reasons = [reason for reason in why if reason]
    usual = max(set(reasons), key=lambda reason: (reasons.count(reason), reason))
    return BurstError(
        "the burst",
        f"only {used} of {count} frames can be held to one view; of most others, {usual}",
        remedy="use the frames as they lie with --hold still, or a shorter span",
        code="burst-not-held",
    )
