"""What registration says about a burst."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from stacker.errors import BurstError
from stacker.register.geometry import Motion, is_identity
from stacker.register.local import LocalCorrection

# So many frames of a burst, and such a share of them, may have been bumped: they are left out. Of
# more than that, and of fewer frames, the camera was moved.
LEAST_FRAMES = 4
MOST_BUMPED = 0.1
BUMPED = "the camera moved, while it stood still in most frames"

MotionModel = Literal["still", "stretches", "shift", "similarity", "homography"]


class UnfitReferenceError(BurstError):
    """Nothing can be held to the reference; ``index`` among the frames that were looked at."""

    index: int = 0


def unfit_reference(index: int, why: str, *, remedy: str, code: str) -> UnfitReferenceError:
    """Return the error for a reference that shows too little; whoever knows its name tells it."""
    error = UnfitReferenceError(f"frame {index + 1}", why, remedy=remedy, code=code)
    error.index = index
    return error


@dataclass(frozen=True, eq=False)
class FrameMotion:
    """Where one frame looked.

    Parameters
    ----------
    to_reference : float64 (3, 3), full-size pixels of the frame to those of the reference.
    local : what to add to a point after that, in pixels of the reference; None for nothing.
    residual_px : how far that is likely off, root mean square over the picture, full-size pixels;
        0 for the reference and for frames held to be still.
    used : whether the frame belongs in the picture.
    why : in words why it does not; None where it does.
    agreement : the share of the picture's texture that lies where the motion says, 0 to 1.
    sharpness : the share of the reference's fine detail that the frame has, about 1.
    weight : how much the frame should count in a mean, above 0 up to 1: less where it is slightly
        blurred. It says nothing of frames that are not used.
    """

    to_reference: Motion
    local: LocalCorrection | None
    residual_px: float
    used: bool
    why: str | None
    agreement: float
    sharpness: float
    weight: float = 1.0


@dataclass(frozen=True, eq=False)
class BurstMotion:
    """Where all frames of a burst looked.

    Parameters
    ----------
    reference : index of the frame that the others are registered to.
    motion_model : ``"still"``, every frame looked where the reference did; ``"stretches"``, a
        tripod that was touched: still but for a few moments; or the simplest model that
        explains how the frames differ.
    frames : one for each frame of the burst, in its order.
    """

    reference: int
    motion_model: MotionModel
    frames: Sequence[FrameMotion]

    @property
    def used(self) -> int:
        """How many frames belong in the picture."""
        return sum(frame.used for frame in self.frames)

    @property
    def is_still(self) -> bool:
        """Whether no frame that is used needs resampling."""
        return all(is_identity(frame.to_reference) for frame in self.frames if frame.used)


def without_bumped(motion: BurstMotion) -> BurstMotion:
    """Return the motion of a burst that stood still, but for a few frames, without these.

    The same motion of any other burst. One frame is not worth resampling and cropping all.
    """
    bumped = [f for f in motion.frames if f.used and not is_identity(f.to_reference)]
    if not _are_few(len(bumped), motion):
        return motion
    frames = [replace(f, used=False, why=BUMPED) if f in bumped else f for f in motion.frames]
    return replace(motion, motion_model="still", frames=frames)


def is_reference_bumped(motion: BurstMotion) -> bool:
    """Return whether the camera stood still, but for a few frames, the reference among them."""
    beside = [f for f in motion.frames if f.used and is_identity(f.to_reference)]
    return motion.motion_model == "stretches" and _are_few(len(beside), motion)


def _are_few(number: int, motion: BurstMotion) -> bool:
    count = len(motion.frames)
    return count >= LEAST_FRAMES and number <= max(1, int(MOST_BUMPED * count))
