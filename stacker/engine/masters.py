"""Master frames: the exact median of calibration frames, made or read, and whether they fit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from stacker.blend import Intake, find_blend
from stacker.burst import Burst, open_burst
from stacker.burst.as_stored import as_stored, is_raw, stored_size
from stacker.burst.master_file import read_master
from stacker.burst.readers.mosaic import read_mosaic, unpack
from stacker.engine.memory import frame_bytes, plan_passes
from stacker.engine.passes import FramePass, make_stripes, offering_to_skip, worker_count
from stacker.engine.progress import Progress
from stacker.engine.settings import OnBad
from stacker.errors import BurstError, OptionError
from stacker.light.calibration import full_share, mean_level
from stacker.light.encoding import CODE_MAX, LightArray, as_light
from stacker.light.master import Master, MasterKind

# what a person calls the frames of each kind
FRAMES = {"dark": "darks", "flat": "flats", "bias": "bias frames"}
# shutters and sensitivities that differ by less are the same, said in another way
SAME = 0.02
# of a flat that is burnt out
MUCH_FULL = 0.01
# mean light, of white, that no sensor gathers in the dark
BRIGHT_DARK = 0.1


@dataclass(frozen=True)
class Found:
    """A master with the files it comes from, and what a person should know about it."""

    master: Master
    sources: frozenset[Path]
    names: tuple[str, ...]
    warnings: tuple[str, ...] = ()


def obtain_master(
    kind: MasterKind,
    sources: Sequence[str],
    *,
    on_bad: OnBad,
    memory: int | None,
    workers: int | None,
    progress: Progress,
) -> Found:
    """Return the master in a finished file, or the one made from frames.

    Parameters
    ----------
    sources : one file that this program wrote, or what ``open_burst`` takes.

    Raises
    ------
    OptionError
        The master is one of another kind.
    StackerError
        The frames cannot be used.
    """
    path = Path(sources[0])
    master = read_master(path) if len(sources) == 1 and path.is_file() else None
    if master is None:
        burst = open_burst(list(sources), upright=False)
        made = make_master(
            kind, burst, on_bad=on_bad, memory=memory, workers=workers, progress=progress
        )
        return Found(made, burst.sources, tuple(sources), _about_making(made, len(burst.frames)))
    if master.kind != kind:
        raise OptionError(
            f"--{kind} {path}",
            f"it is a master {master.kind}",
            remedy=f"give it as --{master.kind}",
            code="master-kind",
        )
    return Found(master, frozenset([path.resolve()]), tuple(sources))


def _about_making(made: Master, count: int) -> tuple[str, ...]:
    """Return whole sentences on a master made from so many frames."""
    frames, said = FRAMES[made.kind], []
    if made.frames < count:
        said.append(f"{count - made.frames} of {count} {frames} cannot be read and are left out")
    if made.frames == 1:
        said.append(
            f"the {frames} are one frame only, whose noise goes into the picture: take ten or "
            "more; a pattern belongs in quotes, or all its files but the first count as the burst's"
        )
    return tuple(said)


def make_master(
    kind: MasterKind,
    burst: Burst,
    *,
    on_bad: OnBad = "stop",
    memory: int | None = None,
    workers: int | None = None,
    progress: Progress,
) -> Master:
    """Return the median of calibration frames, of each value for itself.

    Raises
    ------
    FrameError
        A frame is bad and ``on_bad`` is ``"stop"``.
    BurstError
        No frame is left.
    OptionError
        The memory is too small.
    """
    stored = as_stored(burst)
    places = [place for place, frame in enumerate(stored.frames) if frame.problem is None]
    for frame in stored.frames:
        if frame.problem is not None and on_bad == "stop":
            raise offering_to_skip(frame.problem)
    progress.start(f"median of the {FRAMES[kind]}", len(places))
    median, used = _median(stored, places, on_bad, memory, workers, progress)
    first = burst.frames[used[0]]
    shutters = [burst.frames[place].shutter_s for place in used]
    mosaic = read_mosaic(first.path) if is_raw(burst) else None
    if mosaic is not None:
        # the median of two codes lies on a half at the finest
        codes = unpack(median, stored_size(first)[0]).astype(np.float64)
        median = np.ascontiguousarray(np.rint(codes * (2 * CODE_MAX)) / 2, np.float32)
    return Master(
        median,
        kind,
        len(used),
        camera=first.camera,
        iso=first.iso,
        shutter_s=shutters[0],
        space="" if mosaic else burst.encoding.space.name,
        mosaic=mosaic,
    )


def _median(
    burst: Burst,
    places: list[int],
    on_bad: OnBad,
    memory: int | None,
    workers: int | None,
    progress: Progress,
) -> tuple[LightArray, list[int]]:
    """Return the median of frames, float32 (H, W, 3), and which of them were sound."""
    blend = find_blend("median")
    bad: set[int] = set()
    while True:
        good = [place for place in places if place not in bad]
        if not good:
            raise BurstError(
                burst.frames[0].name,
                "no frame can be used",
                remedy="copy the files again from the card",
                code="burst-no-frames",
            )
        weights = tuple(float(place in good) for place in range(len(burst.frames)))
        intake = Intake(burst.encoding, weights, ordered=True)
        plan = plan_passes(
            [blend],
            intake,
            range(burst.size[1]),
            burst.size[0],
            workers=min(worker_count(workers), len(good)),
            memory=memory,
            frame=frame_bytes(
                burst.size, burst.encoding.stored, developed=False, corrected=burst.by_light
            ),
        )
        bands: list[LightArray] = []
        failed: set[int] = set()
        for band in plan.bands:
            stripes = make_stripes([blend], intake, band, burst.size, plan.workers)
            outcomes = FramePass(
                burst,
                good,
                stripes,
                brightest_frame=blend.brightest_frame(intake),
                on_bad=on_bad,
                progress=progress,
            ).run(plan.workers)
            failed |= {place for place, outcome in outcomes.items() if outcome.error}
            if failed:
                break
            bands += [as_light(stripe.accumulators[0].result()) for stripe in stripes]
        if not failed:
            return np.concatenate(bands), good
        # the median shall be that of the sound frames alone
        bad |= failed


def warnings_of(master: Master, burst: Burst, *, scaled: bool) -> tuple[str, ...]:
    """Return whole sentences on how a master was taken otherwise than the frames.

    Parameters
    ----------
    scaled : whether the dark was scaled to the frames' shutter.
    """
    frame = next(each for each in burst.frames if each.problem is None)
    frames, said = FRAMES[master.kind], []
    if master.camera and frame.camera and master.camera != frame.camera:
        said.append(
            f"the {frames} were taken with {master.camera}, the frames with {frame.camera}: "
            "another sensor has other faults"
        )
    if master.kind == "flat":
        lost = full_share(master)
        if lost > MUCH_FULL:
            said.append(
                f"{lost:.0%} of the flats is burnt out: nothing can be evened out there; expose "
                "them to half of white"
            )
        return tuple(said)
    bright = mean_level(master)
    if bright > BRIGHT_DARK:
        said.append(
            f"the {frames} are as bright as {bright:.0%} of white: were they taken with the lens "
            "cap on?"
        )
    if _known_to_differ(master.iso, frame.iso):
        said.append(
            f"the {frames} were taken at ISO {master.iso:g}, the frames at ISO {frame.iso:g}: "
            "what is subtracted is too much or too little"
        )
    if master.kind == "dark" and not scaled and _known_to_differ(master.shutter_s, frame.shutter_s):
        said.append(
            f"the darks were open for {master.shutter_s:g} s, the frames for "
            f"{frame.shutter_s:g} s: what is subtracted is too much or too little; take darks "
            "with the frames' shutter, or add --bias and they are scaled"
        )
    if master.mosaic is None and master.space != burst.encoding.space.name:
        said.append(
            f"the {frames} are in the colours of {master.space or 'an unnamed profile'}, the "
            f"frames in those of {burst.encoding.space.name or 'an unnamed profile'}, and are "
            "taken as if they were too; save both the same way"
        )
    return tuple(said)


def _known_to_differ(one: float | None, two: float | None) -> bool:
    return one is not None and two is not None and not same(one, two)


def same(one: float | None, two: float | None) -> bool:
    """Whether two times or sensitivities are known and the same, but for how they are told."""
    return one is not None and two is not None and abs(one - two) <= SAME * max(one, two)


def check_fits(master: Master, burst: Burst, names: Sequence[str]) -> None:
    """Refuse a master of another size or sort than the frames.

    Raises
    ------
    OptionError
        ``master-mismatch``.
    """
    frame = next(each for each in burst.frames if each.problem is None)
    frames, size = FRAMES[master.kind], stored_size(frame)
    why = ""
    if (master.mosaic is not None) != is_raw(burst):
        sorts = ("finished pictures", "raw files")
        raw = master.mosaic is not None
        why = f"the {frames} are {sorts[raw]}, the frames {sorts[not raw]}"
    elif master.size != size:
        why = "the {} are {} x {} pixels, the frames {} x {}".format(frames, *master.size, *size)
    elif master.mosaic and read_mosaic(frame.path).pattern != master.mosaic.pattern:
        why = f"the colours lie otherwise on the sensor of the {frames} than on the frames'"
    if why:
        raise OptionError(
            f"--{master.kind} {' '.join(names)}",
            why,
            remedy=f"give {frames} from the same camera, saved the same way",
            code="master-mismatch",
        )
