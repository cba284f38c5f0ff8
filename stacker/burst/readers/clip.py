"""Clips: every frame with its own time stamp, turned as the clip's flag says.

Sources: ITU-T H.273 (matrix coefficients and range); ISO/IEC 14496-12 clause 8.3.2 (the matrix
by which a track is shown). Numbers are taken as sRGB whatever transfer curve the clip names.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stacker.burst.exif import ShotFacts
from stacker.burst.readers.clip_picture import Converter, has_deep_samples, orientation_of
from stacker.burst.readers.facts import FILE_ENDS, FrameFacts, refuse_absurd_size, unopened
from stacker.errors import FrameError
from stacker.light.encoding import Encoding, PixelArray
from stacker.light.space import SRGB

if TYPE_CHECKING:
    import av.container
    import av.packet
    import av.video.stream

# decoding this many frames costs less than a jump that may miss
NEAR = 24
ORDER_OF_DECODING = {"avi"}
# of its length; containers round it, and count sound in
SHORT_SHARE, SHORT_S = 0.05, 0.5
COPY_CLIP = "copy the clip again"


@dataclass(frozen=True)
class _Times:
    """When each frame is shown, in shown order, in units of the stream.

    ``known`` is whether frames bear these stamps themselves; else frames are counted.
    ``missing`` is how many frames fewer there are than the clip says.
    """

    stamps: tuple[int, ...]
    unit_s: float
    known: bool
    missing: int = 0


class ClipReader:
    """Reads the first video stream of a clip."""

    def inspect(self, path: Path) -> list[FrameFacts]:
        """Return the facts of every frame: times from the packets, form from the first frame.

        Raises
        ------
        FrameError
            No video in it, or its first frame cannot be decoded.
        """
        with _opened(path) as (container, stream):
            times = _read_times(path, container, stream)
            taken = _creation_time(container.metadata.get("creation_time", ""))
        with _opened(path) as (container, stream):
            first = _first_frame(path, container, stream)
            deep = has_deep_samples(first)
            turned = orientation_of(first)
            size = (int(first.width), int(first.height))
        refuse_absurd_size(path, "the clip", size, remedy=COPY_CLIP)
        encoding = Encoding("uint16" if deep else "uint8", SRGB)
        facts = []
        for stamp in times.stamps:
            offset_s = (stamp - times.stamps[0]) * times.unit_s
            when = taken + timedelta(seconds=offset_s) if taken else None
            shot = ShotFacts(orientation=turned, taken=when, fine=True)
            facts.append(FrameFacts(size, encoding, shot, offset_s=offset_s))
        if times.missing:
            cut = f"the clip breaks off: it holds {times.missing} frames fewer than it says"
            facts[-1] = replace(facts[-1], notes=(cut,))
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
        with _opened(path) as (container, stream):
            times = _read_times(path, container, stream)
        wanted = deque(numbers)
        convert = Converter(path)
        last_seen = -1
        for number, frame in _frames_from(path, times, wanted[0]):
            last_seen = number
            if number > wanted[0]:
                break
            if number == wanted[0]:
                yield wanted.popleft(), convert(frame, number, out)
                if not wanted:
                    return
        raise _lost(path, wanted[0], last_seen)


def frame_name(path: Path, number: int) -> str:
    """Return how a frame of a clip is called, counted from one."""
    return f"{path.name}#{number + 1:04d}"


def _lost(path: Path, number: int, last_seen: int) -> FrameError:
    """Return the error for a frame that the decoder did not give."""
    where = str(path.with_name(frame_name(path, number)))
    cut = last_seen < number
    why = (
        "the clip ends before this frame or is damaged here" if cut else "the clip is damaged here"
    )
    code = FILE_ENDS if cut else "frame-unreadable"
    return FrameError(where, why, remedy=COPY_CLIP, code=code)


@contextmanager
def _opened(
    path: Path,
) -> Iterator[tuple[av.container.InputContainer, av.video.stream.VideoStream]]:
    """Open a clip and its first video stream."""
    import av
    import av.error
    import av.logging

    try:
        # a damaged title must not stop the reading
        container = av.open(str(path), metadata_errors="replace")
    except av.error.FFmpegError as error:
        why = f"the clip cannot be opened ({error.strerror})"
        raise FrameError(path, why, remedy=COPY_CLIP, code="frame-unreadable") from error
    except OSError as error:
        raise unopened(path, error) from error
    with container:
        if not container.streams.video:
            raise FrameError(
                path, "the clip has no video in it", remedy="name another one", code="no-video"
            )
        yield container, container.streams.video[0]


def _read_times(
    path: Path,
    container: av.container.InputContainer,
    stream: av.video.stream.VideoStream,
) -> _Times:
    """Return when each frame is shown, from the packets, without decoding.

    Packets that an edit list hides are left out, as the decoder leaves them out.
    """
    import av.error

    stamps: list[int | None] = []
    hidden = 0
    try:
        for packet in container.demux(stream):
            hidden += packet.is_discard
            if packet.size and not packet.is_discard:
                stamps.append(packet.pts)
    except av.error.FFmpegError as error:
        if not stamps:
            raise _undecodable(path, error) from error
    shown = sorted(stamp for stamp in stamps if stamp is not None)
    if not stamps:
        raise FrameError(
            path, "the clip has no frames in it", remedy=COPY_CLIP, code="frame-truncated"
        )
    missing = max(0, stream.frames - hidden - len(stamps))
    if not stream.frames and shown:
        missing = _missing_by_length(container, stream, shown)
    if len(shown) == len(stamps) and stream.time_base:
        # stamps in an AVI are the right ones, but follow the order of decoding, not of showing
        known = container.format.name not in ORDER_OF_DECODING
        return _Times(tuple(shown), float(stream.time_base), known, missing)
    rate = stream.average_rate or stream.guessed_rate or 25
    return _Times(tuple(range(len(stamps))), 1 / float(rate), False, missing)


def _missing_by_length(
    container: av.container.InputContainer,
    stream: av.video.stream.VideoStream,
    shown: Sequence[int],
) -> int:
    """Return how many frames are lacking at the end, judged by the length the clip says it has.

    For containers that do not count their frames.
    """
    import av

    rate = float(stream.average_rate or stream.guessed_rate or 0)
    if not container.duration or not stream.time_base or not rate:
        return 0
    length_s = container.duration / av.time_base
    lacking_s = length_s - (shown[-1] - shown[0]) * float(stream.time_base)
    if lacking_s <= 1 / rate + max(SHORT_S, SHORT_SHARE * length_s):
        return 0
    return round(lacking_s * rate) - 1


def _undecodable(path: Path, error: Exception) -> FrameError:
    why = f"the clip cannot be decoded ({getattr(error, 'strerror', error)})"
    return FrameError(path, why, remedy=COPY_CLIP, code="frame-unreadable")


def _creation_time(text: str) -> datetime | None:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        return None


def _first_frame(
    path: Path,
    container: av.container.InputContainer,
    stream: av.video.stream.VideoStream,
) -> Any:
    import av.error

    try:
        for frame in container.decode(stream):
            return frame
    except av.error.FFmpegError as error:
        raise _undecodable(path, error) from error
    raise FrameError(
        path, "no frame of the clip can be decoded", remedy=COPY_CLIP, code="frame-unreadable"
    )


def _frames_from(path: Path, times: _Times, start: int) -> Iterator[tuple[int, Any]]:
    """Yield (number, frame) as decoded, at first maybe earlier ones than ``start``."""
    if times.known and start > NEAR:
        arrived = False
        for number, frame in _decoded(path, times, times.stamps[start]):
            if not arrived and number > start:
                break
            arrived = True
            yield number, frame
        if arrived:
            return
    # from the beginning: near enough, or the jump led beyond the wanted frame
    yield from _decoded(path, times, None)


def _decoded(path: Path, times: _Times, jump_to: int | None) -> Iterator[tuple[int, Any]]:
    """Yield (number, frame), whole frames only; numbers missing are those that are damaged."""
    places: dict[int, deque[int]] = {}
    for number, stamp in enumerate(times.stamps):
        places.setdefault(stamp, deque()).append(number)
    with _opened(path) as (container, stream):
        stream.thread_type = "AUTO"
        # without this the decoder paints over damage and says nothing
        stream.codec_context.options = {"err_detect": "explode"}
        if jump_to is not None:
            container.seek(jump_to, stream=stream)
        for count, frame in enumerate(_surviving(container, stream)):
            if not times.known:
                yield count, frame
            elif frame.pts is not None and places.get(frame.pts):
                yield places[frame.pts].popleft(), frame


def _surviving(
    container: av.container.InputContainer, stream: av.video.stream.VideoStream
) -> Iterator[Any]:
    """Yield the frames that decode without fault, going on after those that do not."""
    import av.error

    packets = container.demux(stream)
    while True:
        try:
            packet = next(packets, None)
        except av.error.FFmpegError:
            # the file breaks off here: what the decoder still holds comes out
            packet = None
        try:
            frames = stream.decode(packet)
        except av.error.EOFError:
            return
        except av.error.FFmpegError:
            frames = []
        yield from (frame for frame in frames if not frame.is_corrupt)
        if packet is None or packet.size == 0:
            return


READER = ClipReader()
