"""Where the frames of a burst looked, found before they add up, and what of the picture all saw."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from stacker.burst import Burst
from stacker.engine.holding import Holding, as_they_lie, held_to
from stacker.engine.passes import FrameOutcome
from stacker.engine.progress import Progress
from stacker.engine.registering import Registering
from stacker.engine.settings import KEEPING_BLENDS, Settings
from stacker.errors import BurstError, OptionError
from stacker.register import (
    ODD_LIGHT,
    BurstMotion,
    FrameMotion,
    is_even_drift,
    is_reference_bumped,
    without_bumped,
)
from stacker.register.geometry import is_identity

# Where nobody asked for it, holding may not cost more of the picture than this share: the camera
# was turned on purpose.
LEAST_AREA = 0.6
DRIFTS = "what is seen drifts slowly and evenly, as the sky or a pan does"
INSTEAD = "; the frames are used as they lie"
# frames of fewer pixels along a side show too little for a motion to be told from a change of light
LEAST_SIDE_PX = 128


def hold(
    burst: Burst,
    places: Sequence[int],
    settings: Settings,
    progress: Progress,
    check_memory: Callable[[], None],
) -> Holding:
    """Return how the frames at ``places`` are put upon each other.

    Parameters
    ----------
    check_memory : raises an OptionError if frames that are moved would not fit.

    Raises
    ------
    OptionError
        The reference named is none of the frames, or the memory is too small.
    BurstError
        There is nothing to hold on to.
    FrameError
        A frame cannot be read and ``settings.on_bad`` is "stop".
    """
    if settings.hold == "still":
        return as_they_lie(burst)
    if settings.hold is None:
        return _held_if_needed(burst, places, settings, progress, check_memory)
    registering = Registering(burst, places, settings, progress)
    check_memory()
    readable, motion = registering.motion()
    bad = {place: FrameOutcome(error=error) for place, error in registering.bad.items()}
    if motion is None:
        return replace(as_they_lie(burst), bad=bad)
    common = settings.crop == "common" or (settings.crop is None and settings.hold != "subject")
    frames = dict(zip(readable, motion.frames, strict=True))
    reference = readable[motion.reference]
    holding = held_to(burst, motion.motion_model, reference, frames, bad, common=common)
    warnings = _doubts(burst, settings, holding, len(readable))
    return replace(holding, warnings=warnings, looking_bytes=registering.peak_bytes)


def _doubts(burst: Burst, settings: Settings, holding: Holding, count: int) -> tuple[str, ...]:
    """Return sentences about what was done as asked, but may not be what was meant."""
    used = [place for place, frame in holding.frames.items() if frame.used]
    if settings.hold == "subject" and 2 * len(used) < count:
        return (f"the subject could be held in {len(used)} of {count} frames only",)
    if settings.hold == "scene" and _drifts(burst, holding.frames):
        sentence = f"{DRIFTS} and was held: --hold still keeps trails of stars as they are"
        return (sentence,)
    return ()


def _drifts(burst: Burst, frames: Mapping[int, FrameMotion]) -> bool:
    """Return whether what is seen moved as no hand moves."""
    used = [place for place, frame in frames.items() if frame.used]
    starts_s = [burst.frames[place].start_s for place in used]
    return is_even_drift([frames[place].to_reference for place in used], starts_s, burst.size)


def _held_if_needed(
    burst: Burst,
    places: Sequence[int],
    settings: Settings,
    progress: Progress,
    check_memory: Callable[[], None],
) -> Holding:
    """Return the holding of the scene where the burst needs it and it can be done without doubt.

    Nothing fails here that would not with frames as they lie.
    """
    if len(places) < 2 or min(burst.size) < LEAST_SIDE_PX:
        return as_they_lie(burst)
    try:
        registering = Registering(burst, places, settings, progress)
        check_memory()
    except OptionError as error:
        if error.code != "option-memory":
            raise
        sentence = "whether the camera moved was not looked at, for want of memory"
        return as_they_lie(burst, f"{sentence}{INSTEAD}, and --memory with more allows it")
    # what was looked at is told by the report's memory alone
    looked = replace(as_they_lie(burst), looking_bytes=registering.peak_bytes)
    watcher = registering.watcher()
    if watcher is not None:
        return replace(looked, watcher=watcher)
    return _registered(burst, registering, settings, looked)


def hold_again(
    burst: Burst, places: Sequence[int], holding: Holding, settings: Settings, progress: Progress
) -> Holding:
    """Return how the frames at ``places`` are put upon each other, having looked at all closely.

    For where those who watched them by ``holding`` are in doubt about some.
    """
    assert holding.watcher is not None
    reference = holding.watcher.reference
    registering = Registering(burst, places, settings, progress, held_to=reference)
    return _registered(burst, registering, settings, replace(holding, watcher=None))


def _registered(
    burst: Burst, registering: Registering, settings: Settings, looked: Holding
) -> Holding:
    """Return the holding after a look at all frames; ``looked`` is the one that moves none."""
    try:
        readable, motion = registering.motion()
        if motion is not None and settings.reference is None and is_reference_bumped(motion):
            registering.held_to = _beside(readable, motion)
            readable, motion = registering.motion()
    except BurstError as error:
        return _instead(looked, _why_not(error))
    if motion is None:
        return looked
    motion = without_bumped(motion)
    used = sum(frame.used for frame in motion.frames)
    # of two frames that differ nobody can say which is the odd one
    if 2 * used <= len(readable):
        return _instead(looked, f"only {used} of {len(readable)} frames can be held to one view")
    if motion.is_still:
        return _still(burst, readable, motion, settings, looked)
    return _moved(burst, readable, motion, registering, settings, looked)


def _beside(readable: list[int], motion: BurstMotion) -> int:
    """Return the place of the frame nearest to the reference that did not look where it did."""
    elsewhere = [
        n for n, f in enumerate(motion.frames) if f.used and not is_identity(f.to_reference)
    ]
    return readable[min(elsewhere, key=lambda n: (abs(n - motion.reference), n))]


def _still(
    burst: Burst, readable: list[int], motion: BurstMotion, settings: Settings, looked: Holding
) -> Holding:
    """Return the holding that moves nothing and leaves out the frames that are not alike."""
    odd = {p: frame for p, frame in zip(readable, motion.frames, strict=True) if frame.why}
    lit = {place for place, frame in odd.items() if frame.why in ODD_LIGHT}
    # lightning and fireworks are what such a blend is for; where most frames are lit by a lamp,
    # the lamp is the subject
    wanted = not set(KEEPING_BLENDS).isdisjoint(settings.blends) or 2 * len(lit) > len(readable)
    kept = {place: odd[place].why or "" for place in odd if wanted and place in lit}
    refused = {place: frame for place, frame in odd.items() if place not in kept}
    return replace(looked, frames=refused, warnings=_kept(burst, kept))


def _moved(
    burst: Burst,
    readable: list[int],
    motion: BurstMotion,
    registering: Registering,
    settings: Settings,
    looked: Holding,
) -> Holding:
    """Return the holding of frames that moved, unless that is what they were meant to do."""
    frames = dict(zip(readable, motion.frames, strict=True))
    if _drifts(burst, frames):
        return _instead(looked, DRIFTS)
    bad = {place: FrameOutcome(error=error) for place, error in registering.bad.items()}
    reference = readable[motion.reference]
    try:
        model = motion.motion_model
        cut = held_to(burst, model, reference, frames, bad, common=True)
    except BurstError:
        return _instead(looked, "no part of the picture is in all frames")
    share = np.prod(cut.region.size) / np.prod(burst.size)
    if share < LEAST_AREA:
        return _instead(looked, f"only {share:.0%} of the picture is in all frames")
    if settings.crop == "full":
        cut = held_to(burst, model, reference, frames, bad, common=False)
    name, (width, height) = burst.frames[reference].name, cut.region.size
    sentence = f"the camera moved: frames are brought to where {name} looked ({width} x {height})"
    return replace(cut, warnings=(sentence,), looking_bytes=looked.looking_bytes)


def _instead(looked: Holding, why: str) -> Holding:
    sentence = f"{why}{INSTEAD}: --hold scene insists, --hold still does without the look"
    return replace(looked, warnings=(sentence,))


def _why_not(error: BurstError) -> str:
    if error.code == "burst-no-texture":
        return "there is nothing in the burst to hold on to, as in an empty sky or open water"
    return error.why


def _kept(burst: Burst, kept: Mapping[int, str]) -> tuple[str, ...]:
    """Return sentences about frames that are odd in light and used."""
    said: dict[str, list[int]] = {}
    for place, why in kept.items():
        said.setdefault(why, []).append(place)
    sentences = []
    for why, places in said.items():
        names = ", ".join(burst.frames[place].name for place in places[:3])
        more = f" and {len(places) - 3} more" if len(places) > 3 else ""
        numbers = ",".join(str(place + 1) for place in places)
        sentences.append(f"{names}{more}: {why}; used all the same, unless --without {numbers}")
    return tuple(sentences)
