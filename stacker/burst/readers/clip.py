"""Clips: every frame with its own time stamp, turned as the clip's flag says.

Sources: ITU-T H.273 (primaries, transfer curves, matrices and range); ISO/IEC 14496-12 clause
8.3.2 (the matrix by which a track is shown).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

from stacker.burst.colour import space_of_numbers
from stacker.burst.exif import ShotFacts
from stacker.burst.readers.clip_frames import first_frame, frames_from
from stacker.burst.readers.clip_packets import COPY_CLIP, ClipTimes, opened_clip, read_times
from stacker.burst.readers.clip_picture import Converter, has_deep_samples, notes_on, orientation_of
from stacker.burst.readers.facts import FILE_ENDS, FrameFacts, LostFramesError, refuse_absurd_size
from stacker.light.encoding import Encoding, PixelArray


class ClipReader:
    """Reads the first video stream of a clip."""

    def inspect(self, path: Path) -> list[FrameFacts]:
        """Return the facts of every frame: times from the packets, form from the first frame.

        Raises
        ------
        FrameError
            No video in it, or its first frame cannot be decoded.
        """
        with opened_clip(path) as (container, stream):
            times = read_times(path, container, stream)
            taken = _creation_time(container.metadata.get("creation_time", ""))
        with opened_clip(path) as (container, stream):
            first = first_frame(path, container, stream)
            context = stream.codec_context
            space, notes = space_of_numbers(int(context.color_primaries), int(context.color_trc))
            deep = has_deep_samples(first)
            turned = orientation_of(first)
            size = (int(first.width), int(first.height))
            notes += notes_on(first)
        refuse_absurd_size(path, "the clip", size, remedy=COPY_CLIP)
        encoding = Encoding("uint16" if deep else "uint8", space)
        facts = []
        for stamp in times.stamps:
            offset_s = (stamp - times.stamps[0]) * times.unit_s
            when = taken + timedelta(seconds=offset_s) if taken else None
            shot = ShotFacts(orientation=turned, taken=when, fine=True)
            facts.append(FrameFacts(size, encoding, shot, offset_s=offset_s))
        facts[0] = replace(facts[0], notes=notes)
        facts[-1] = replace(facts[-1], notes=facts[-1].notes + _told_missing(times))
        return facts

    def decode(
        self, path: Path, numbers: Sequence[int], *, out: PixelArray | None
    ) -> Iterator[tuple[int, PixelArray]]:
        """Yield frames, uint8 or uint16 (H, W, 3); see ``Reader``.

        Frames lie one upon another in a clip: those before a wanted one are decoded too, from
        the last key frame on where it is far from the start.
        """
        if not numbers:
            return
        with opened_clip(path) as (container, stream):
            times = read_times(path, container, stream)
        wanted = deque(numbers)
        convert = Converter(path)
        resumes = None
        for number, frame in frames_from(path, times, wanted[0]):
            if number > wanted[0]:
                resumes = number
                break
            if number == wanted[0]:
                yield wanted.popleft(), convert(frame, number, out)
                if not wanted:
                    return
        raise _lost(path, wanted[0], resumes)


def frame_name(path: Path, number: int) -> str:
    """Return how a frame of a clip is called, counted from one."""
    return f"{path.name}#{number + 1:04d}"


def _told_missing(times: ClipTimes) -> tuple[str, ...]:
    """Return what to say about frames that the clip should hold at its end."""
    if not times.missing:
        return ()
    whole = len(times.stamps) + times.missing
    last = f"the last {times.missing}" if times.missing > 1 else "the last"
    return (f"the clip breaks off: {last} of its {whole} frames cannot be had",)


def _lost(path: Path, number: int, resumes: int | None) -> LostFramesError:
    """Return the error for a frame that cannot be had, and for those up to the next that can."""
    where = str(path.with_name(frame_name(path, number)))
    if resumes is None:
        why = "the clip ends before this frame or is damaged from here on"
        return LostFramesError(where, why, remedy=COPY_CLIP, code=FILE_ENDS)
    why = "the clip is damaged here"
    return LostFramesError(where, why, remedy=COPY_CLIP, code="frame-unreadable", resumes=resumes)


def _creation_time(text: str) -> datetime | None:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        return None


READER = ClipReader()
