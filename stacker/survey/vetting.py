"""The verdict on a single frame, from its light, its sharpness and where it looked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from stacker.register import BurstMotion
from stacker.survey.brightness import Brightness
from stacker.survey.findings import place_in_words
from stacker.survey.records import FrameRecord
from stacker.survey.shake import BELIEVED
from stacker.survey.soft_light import Lit
from stacker.wording import spoken_share

# detail in its worst direction, as a share of the usual, below which a frame is blurred or soft
BLURRED, SOFT = 0.5, 0.8
# parts of this size cannot be told apart from noise: frames of a noisy burst scatter in sharpness
SCATTERED = 3.0


def relative_sharpness(motion: BurstMotion | None) -> list[float] | None:
    """Return each frame's detail against the usual of the burst; None where it is not known."""
    if motion is None:
        return None
    usual = float(np.median([f.sharpness for f in motion.frames if f.used]))
    return [frame.sharpness / max(usual, 1e-9) for frame in motion.frames]


def with_lit(
    records: Sequence[FrameRecord],
    number_of: Mapping[int, int],
    lit: Sequence[Lit],
    size: tuple[int, int],
) -> tuple[FrameRecord, ...]:
    """Return the records with the frames of which a part is lit told as such, if good otherwise.

    Parameters
    ----------
    number_of : the place among the records of each index of ``lit``.
    size : (width, height) of a frame.
    """
    marked = list(records)
    for each in lit:
        place = number_of[each.index]
        if marked[place].good:
            why = f"{spoken_share(each.share)} of the picture, {place_in_words(each.box, size)}"
            marked[place] = replace(marked[place], verdict="lit", why=why)
    return tuple(marked)


def verdicts_of(
    motion: BurstMotion | None, light: Brightness, sharpness: Sequence[float] | None
) -> list[tuple[str, str]]:
    """Return for each frame ``"good"`` or what it is, in a word, and why, in a clause."""
    count = len(light.stops)
    if sharpness is not None:
        spread = 1.4826 * float(np.median(np.abs(np.asarray(sharpness) - 1)))
        soft = min(SOFT, 1 - SCATTERED * spread)
    found = []
    for index in range(count):
        frame = motion.frames[index] if motion else None
        why = (frame.why or "") if frame else ""
        if index in light.black:
            found.append(("black", why or "it is black"))
        elif index in light.flashed:
            found.append(("flash", why or "a flash or other light lit all of it"))
        elif frame is None or sharpness is None:
            # a frame alone has nothing to be held to
            found.append(("good", "") if count == 1 else ("unknown", "it cannot be compared"))
        elif not frame.used and frame.agreement < BELIEVED:
            found.append(("elsewhere", why))
        elif sharpness[index] < BLURRED:
            found.append(("blurred", why or "much of its fine detail is gone"))
        elif not frame.used:
            found.append(("not held", why))
        elif sharpness[index] < soft:
            found.append(
                ("soft", f"it has {spoken_share(sharpness[index])} of the usual fine detail")
            )
        else:
            found.append(("good", ""))
    return found
