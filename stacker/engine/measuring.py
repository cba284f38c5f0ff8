"""What is measured in the rungs of a ladder, on small copies."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from stacker.engine.ladder_pass import LadderPass
from stacker.engine.verdict import EMPTYING_BLENDS, STREAK_BLENDS, Measure
from stacker.survey.smoothness import (
    GreyArray,
    Movement,
    contrast_left,
    find_movement,
    strangeness_left,
    whole_contrast_left,
)
from stacker.survey.streaks import light_at_rest, longest_streak


def measure_rungs(made: LadderPass) -> list[Measure]:
    """Return how smooth each rung is, or how long its streaks are."""
    cells = made.cells
    frames = [np.ascontiguousarray(each[cells]) for each in made.frame_copies.pictures]
    steps = [np.ascontiguousarray(each[cells]) for each in made.step_copies.pictures]
    if len(frames) == 1:
        # a rung of one frame, and no other to hold it against
        return [Measure(contrast_left=1.0)]
    if frames[0].size == 0:
        return [Measure() for _ in made.ends]
    movement = find_movement(frames, valid=made.frame_copies.valid[cells])
    wanted = [step for step, end in enumerate(made.steps) if end in made.ends]
    if made.blend.name in STREAK_BLENDS:
        rest = light_at_rest(frames)
        lengths = [longest_streak(steps[k], rest, movement.noise_sigma) for k in wanted]
        return [Measure(streak_px=length * made.factor) for length in lengths]
    if not movement.found:
        return [Measure() for _ in wanted]
    if made.blend.name in EMPTYING_BLENDS:
        rest = light_at_rest(frames)
        left = [strangeness_left(steps[k], frames, rest, movement) for k in wanted]
        return [Measure(contrast_left=each, vanishing=True) for each in left]
    counts = [made.frames_until(end) for end in made.steps]
    left = _texture_left(steps, counts, movement)
    return [Measure(contrast_left=left[k]) for k in wanted]


def _texture_left(
    steps: Sequence[GreyArray], counts: Sequence[int], movement: Movement
) -> list[float]:
    """Return the contrast of the moving texture at each step, as a share of one frame's.

    Parameters
    ----------
    steps : means of growing parts of the frames; the last is that of all.
    counts : how many frames each is made from.
    """
    whole, count = steps[-1], counts[-1]
    left = [
        contrast_left(part, whole, movement, frames=frames, of=count)
        for part, frames in zip(steps[:-1], counts[:-1], strict=True)
    ]
    half = min(range(len(left)), key=lambda k: abs(2 * counts[k] - count))
    left.append(whole_contrast_left(steps[half], whole, movement, frames=counts[half], of=count))
    return left
