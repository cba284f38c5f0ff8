"""Opening a burst: find the files, read their headers, put the frames in order and in time."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import get_args

from stacker.burst.clock import Moment, check_overrides, time_frames
from stacker.burst.frame import Burst, Frame
from stacker.burst.master_file import refusal_of_master
from stacker.burst.one_space import settle_colours
from stacker.burst.order import Ordered, in_shot_order
from stacker.burst.orientation import UPRIGHT, turned_size
from stacker.burst.readers.facts import Development, FrameFacts, Highlights
from stacker.burst.readers.registry import development_of, halved, kind_of_suffix, reader_of
from stacker.burst.sources import Source, SourceFile, Sources, find_sources
from stacker.burst.uniform import Form, check_uniform
from stacker.errors import FrameError, OptionError
from stacker.light.encoding import Encoding

# headers are read with the interpreter's lock held most of the time
INSPECTING_THREADS = 4
# how results of this program name what made them, whatever its version
OWN_SOFTWARE = "stacker "


@dataclass(frozen=True)
class _Found:
    """One frame before it has its place: facts, or the problem in their stead."""

    file: SourceFile
    number: int
    several: bool
    facts: FrameFacts | None
    problem: FrameError | None = None

    @property
    def name(self) -> str:
        name = self.file.path.name
        return f"{name}#{self.number + 1:04d}" if self.several else name

    @property
    def form(self) -> Form | None:
        if self.facts is None or self.file.kind is None:
            return None
        return Form(
            turned_size(self.facts.size, self.facts.shot.orientation),
            self.facts.encoding.stored,
            self.file.kind.moving,
            self.facts.shot.camera,
        )


def open_burst(
    source: Source | Sequence[Source],
    *,
    interval_s: float | None = None,
    frame_shutter_s: float | None = None,
    highlights: Highlights = "clip",
    half: bool = False,
    strict: bool = False,
    upright: bool = True,
) -> Burst:
    """Return the burst that lies in a folder, in files or in a clip; headers only are read.

    Parameters
    ----------
    source : a folder (not what lies in folders below it), a file, a clip, a pattern such as
        ``"IMG_*.jpg"``, or several of those. A list is a set of files: the frames are put in the
        order of their capture times, or of their names where times do not tell.
    interval_s : seconds from start to start, in place of the clock's.
    frame_shutter_s : how long every frame was open, in place of what the files say.
    highlights : of raw frames: "clip", or "blend" to keep what is left of burnt-out colours in a
        darker picture.
    half : raw frames at half their size and a quarter of the time, for a quick look.
    strict : guess nothing about colour: frames whose embedded profile cannot be used have a
        problem, and so have those in another colour space than the first one's. Otherwise the
        former are taken as the burst's, or as sRGB, and the light of the latter is converted.
    upright : turn frames as their orientation says. Calibration frames are not turned: they belong
        together however the camera lay.

    Raises
    ------
    BurstError
        Nothing there, no pictures, or two bursts in one folder.
    FrameError
        Not one frame can be used: the first one's problem.
    OptionError
        A time that is no number above zero, or highlights of an unknown sort.

    Notes
    -----
    Frames that cannot be used stay in their place with ``problem`` set. Without capture times and
    interval frames are taken as one directly after the other, or as one second apart where the
    shutter is unknown as well. A clip's shutter is taken as the median spacing of its frames.
    Raw frames all take the white balance and the scale of the first sound one.
    """
    check_overrides(interval_s, frame_shutter_s)
    _check_highlights(highlights)
    sources = find_sources(source)
    if half:
        sources = replace(sources, files=tuple(_halved(file) for file in sources.files))
    everything = [frame for frames in _inspected(sources) for frame in frames]
    if not upright:
        everything = [_as_it_lies(frame) for frame in everything]
    everything = [_if_no_master(frame) for frame in everything]
    found = _fitting([frame for frame in everything if not _is_result(frame)] or everything)
    ordered = _ordered(found)
    placed = [found[place] for place in ordered.places]
    moments = [_moment(frame, time) for frame, time in zip(placed, ordered.times_s, strict=True)]
    timing = time_frames(moments, interval_s=interval_s, frame_shutter_s=frame_shutter_s)
    colours = settle_colours(
        [frame.file.path.with_name(frame.name) for frame in placed],
        [None if frame.problem else frame.facts for frame in placed],
        strict=strict,
    )
    placed = _with_problems(placed, colours.problems)
    example = next(frame for frame in placed if frame.facts and frame.problem is None)
    development = _development(placed, highlights)
    frames = tuple(
        _frame(frame, example, encoding, start_s, shutter_s, development)
        for frame, encoding, start_s, shutter_s in zip(
            placed, colours.encodings, timing.starts_s, timing.shutters_s, strict=True
        )
    )
    results = tuple(frame.name for frame in everything if _is_result(frame))
    if len(results) == len(everything):
        results = ()
    warnings = _warnings(sources, placed, ordered) + colours.warnings + timing.warnings
    if results:
        warnings += (f"{results[0]}{_and_more(results)}: made by this program, so no frame.",)
    return Burst(frames, sources.passed_over + results, warnings, colours.corrections)


def _halved(file: SourceFile) -> SourceFile:
    return file if file.kind is None else replace(file, kind=halved(file.kind))


def _is_result(frame: _Found) -> bool:
    """Whether a file that nobody named is a long exposure that lies among its frames."""
    return not frame.file.named and _is_own(frame)


def _is_own(frame: _Found) -> bool:
    return frame.facts is not None and frame.facts.shot.software.startswith(OWN_SOFTWARE)


def is_own_result(path: Path) -> bool:
    """Return whether a file is a picture that this program made, as far as its header tells."""
    kind = kind_of_suffix(path)
    if kind is None or kind.moving:
        return False
    try:
        facts = reader_of(kind.name).inspect(path)
    except FrameError:
        return False
    return bool(facts) and facts[0].shot.software.startswith(OWN_SOFTWARE)


def _if_no_master(frame: _Found) -> _Found:
    """Return the frame, with a problem if somebody named a master as one."""
    if not (frame.file.named and _is_own(frame)):
        return frame
    problem = refusal_of_master(frame.file.path)
    return replace(frame, facts=None, problem=problem) if problem else frame


def _and_more(names: Sequence[str]) -> str:
    return f" and {len(names) - 1} more" if len(names) > 1 else ""


def _inspected(sources: Sources) -> list[list[_Found]]:
    """Return the frames of each file, read by a few threads at once."""
    if len(sources.files) == 1:
        return [_inspect(sources.files[0])]
    threads = min(INSPECTING_THREADS, os.cpu_count() or 1)
    with ThreadPoolExecutor(threads) as pool:
        return list(pool.map(_inspect, sources.files))


def _inspect(file: SourceFile) -> list[_Found]:
    if file.kind is None:
        return [_Found(file, 0, False, None, file.problem)]
    try:
        facts = reader_of(file.kind.name).inspect(file.path)
    except FrameError as error:
        return [_Found(file, 0, False, None, error)]
    several = len(facts) > 1 or file.kind.moving
    return [_Found(file, number, several, each) for number, each in enumerate(facts)]


def _as_it_lies(frame: _Found) -> _Found:
    if frame.facts is None:
        return frame
    shot = replace(frame.facts.shot, orientation=UPRIGHT)
    return replace(frame, facts=replace(frame.facts, shot=shot))


def _fitting(found: list[_Found]) -> list[_Found]:
    """Return the frames with those that do not fit marked; raise where none is sound."""
    if all(frame.facts is None for frame in found):
        first = next(frame.problem for frame in found if frame.problem is not None)
        raise first
    problems = check_uniform(
        [frame.file.path for frame in found],
        [frame.name for frame in found],
        [frame.form for frame in found],
    )
    return _with_problems(found, problems)


def _with_problems(found: list[_Found], problems: Sequence[FrameError | None]) -> list[_Found]:
    """Return the frames with what was found wrong with them; raise where none is sound."""
    marked = [
        replace(frame, problem=frame.problem or problem)
        for frame, problem in zip(found, problems, strict=True)
    ]
    first = next((frame.problem for frame in marked if frame.problem is not None), None)
    if first is not None and all(frame.problem is not None for frame in marked):
        raise first
    return marked


def _ordered(found: list[_Found]) -> Ordered:
    """Return the frames in shot order: files by time and name, the frames of a file as they lie."""
    first_of: dict[Path, int] = {}
    for place, frame in enumerate(found):
        first_of.setdefault(frame.file.path, place)
    firsts = list(first_of.values())
    times = _seconds([_taken(found[place]) for place in firsts])
    files = in_shot_order([found[place].file.path.name for place in firsts], times)
    places: list[int] = []
    times_s: list[float | None] = []
    for rank, time in zip(files.places, files.times_s, strict=True):
        start = firsts[rank]
        stop = firsts[rank + 1] if rank + 1 < len(firsts) else len(found)
        places.extend(range(start, stop))
        # pages of one file share one stamp, which tells nothing about the later ones
        times_s.extend([time, *[None] * (stop - start - 1)])
    return Ordered(tuple(places), tuple(times_s), files.jump_s)


def _taken(frame: _Found) -> datetime | None:
    return frame.facts.shot.taken if frame.facts else None


def _seconds(taken: list[datetime | None]) -> list[float | None]:
    """Return times in seconds on one clock; zones count only where every time has one."""
    known = [time for time in taken if time is not None]
    if not known:
        return [None] * len(taken)
    zoned = all(time.tzinfo is not None for time in known)
    clocks = [time if time is None or zoned else time.replace(tzinfo=UTC) for time in taken]
    first = min(time for time in clocks if time is not None).replace(microsecond=0)
    return [None if time is None else (time - first).total_seconds() for time in clocks]


def _moment(frame: _Found, time_s: float | None) -> Moment:
    if frame.facts is None:
        return Moment(None, False, None, str(frame.file.path), None)
    shot = frame.facts.shot
    return Moment(time_s, shot.fine, shot.shutter_s, str(frame.file.path), frame.facts.offset_s)


def _check_highlights(highlights: str) -> None:
    known = get_args(Highlights)
    if highlights not in known:
        raise OptionError(
            f"--highlights {highlights}",
            "no such choice",
            remedy=f"choose {' or '.join(known)}",
            code="option-highlights",
        )


def _development(placed: list[_Found], highlights: Highlights) -> Development | None:
    """Return how the first frame that can be used wants all of them to be developed."""
    for frame in placed:
        if frame.problem is not None or frame.file.kind is None:
            continue
        try:
            development = development_of(frame.file.kind.name, frame.file.path)
        except FrameError:
            # its problem is told when it is decoded
            continue
        return development and replace(development, highlights=highlights)
    return None


def _frame(
    found: _Found,
    example: _Found,
    encoding: Encoding | None,
    start_s: float,
    shutter_s: float | None,
    development: Development | None,
) -> Frame:
    """Return the finished frame; one without facts of its own borrows the example's."""
    own = found.facts or example.facts
    assert own is not None
    kind = found.file.kind or example.file.kind
    assert kind is not None and example.facts is not None
    mine = found.facts is not None
    size = turned_size(own.size, own.shot.orientation)
    return Frame(
        name=found.name,
        path=found.file.path,
        kind=kind.name,
        number=found.number,
        start_s=start_s,
        shutter_s=shutter_s,
        size=size,
        encoding=encoding or own.encoding,
        orientation=own.shot.orientation,
        camera=own.shot.camera,
        iso=own.shot.iso,
        taken=own.shot.taken if mine else None,
        exif=own.exif if mine else None,
        development=development if kind.developed else None,
        problem=found.problem,
    )


def _warnings(sources: Sources, placed: list[_Found], ordered: Ordered) -> tuple[str, ...]:
    """Return what readers and ordering had to say, each thing once with its count."""
    said: list[str] = []
    if sources.doubled:
        files = "file was" if sources.doubled == 1 else "files were"
        said.append(f"{sources.doubled} {files} named twice and used once.")
    notes: Counter[str] = Counter()
    first: dict[str, str] = {}
    for frame in placed:
        about = (frame.file.note,) if frame.number == 0 and frame.file.note else ()
        for note in (*about, *(frame.facts.notes if frame.facts else ())):
            notes[note] += 1
            first.setdefault(note, frame.name)
    for note, count in notes.items():
        others = f" and {count - 1} more" if count > 1 else ""
        said.append(f"{first[note]}{others}: {note}.")
    if ordered.jump_s:
        hours = ordered.jump_s / 3600
        said.append(
            f"The camera's clock was set back by {hours:g} h within the burst; "
            "the times after that are moved on."
        )
    return tuple(said)
