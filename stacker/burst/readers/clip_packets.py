"""A clip's container: opening it, and when each of its frames is shown, from packets alone.

What is cut off at the end is counted here as far as the container shows it.

Sources: ISO/IEC 14496-12 clause 8.6.6 (edit lists); RFC 8794 clause 4 and RFC 9559 clause 5.1
(the length that a Matroska file says it has).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from statistics import median_high
from typing import TYPE_CHECKING, Any

from stacker.burst.readers.facts import unopened
from stacker.errors import FrameError

if TYPE_CHECKING:
    import av.container
    import av.video.stream

# containers that give stamps in the order of decoding, and count units of time, not frames
ORDER_OF_DECODING = {"avi"}
# of its length; containers round it, and count sound in
SHORT_SHARE, SHORT_S = 0.05, 0.5
COPY_CLIP = "copy the clip again"
EBML_MARK, SEGMENT_MARK = b"\x1aE\xdf\xa3", b"\x18S\x80g"


@dataclass(frozen=True)
class ClipTimes:
    """When each frame is shown, in shown order, in units of the stream.

    ``known`` is whether frames bear these stamps themselves; else frames are counted.
    ``missing`` is how many frames fewer there are than the clip says.
    """

    stamps: tuple[int, ...]
    unit_s: float
    known: bool
    missing: int = 0


@contextmanager
def opened_clip(
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


def read_times(
    path: Path,
    container: av.container.InputContainer,
    stream: av.video.stream.VideoStream,
) -> ClipTimes:
    """Return when each frame is shown, from the packets, without decoding.

    Packets that an edit list hides are left out, as the decoder leaves them out; so are those at
    the end of which the file holds a part only.

    Raises
    ------
    FrameError
        There are no packets.
    """
    import av.error

    packets: list[Any] = []
    hidden = 0
    try:
        for packet in container.demux(stream):
            hidden += packet.is_discard
            if packet.size and not packet.is_discard:
                packets.append(packet)
    except av.error.FFmpegError as error:
        if not packets:
            raise undecodable(path, error) from error
    partial = 0
    while packets and packets[-1].is_corrupt:
        packets.pop()
        partial += 1
    if not packets:
        raise FrameError(
            path, "the clip has no whole frame in it", remedy=COPY_CLIP, code="frame-truncated"
        )
    shown = sorted(packet.pts for packet in packets if packet.pts is not None)
    rate = float(stream.average_rate or stream.guessed_rate or 25)
    if len(shown) < len(packets) or not stream.time_base:
        missing = max(partial, stream.frames - hidden - len(packets))
        return ClipTimes(tuple(range(len(packets))), 1 / rate, False, missing)
    unit_s = float(stream.time_base)
    known = container.format.name not in ORDER_OF_DECODING
    if stream.frames and known:
        missing = stream.frames - hidden - len(packets)
    elif stream.frames:
        step = _usual_step(shown)
        missing = (stream.frames - (shown[-1] - shown[0])) // step - 1
    else:
        missing = _missing_by_length(path, container, shown, unit_s, rate)
    return ClipTimes(tuple(shown), unit_s, known, max(partial, missing))


def undecodable(path: Path, error: Exception) -> FrameError:
    """Return the error for a clip of which FFmpeg can make nothing."""
    why = f"the clip cannot be decoded ({getattr(error, 'strerror', error)})"
    return FrameError(path, why, remedy=COPY_CLIP, code="frame-unreadable")


def _usual_step(shown: Sequence[int]) -> int:
    steps = [two - one for one, two in pairwise(shown) if two > one]
    return median_high(steps) if steps else 1


def _missing_by_length(
    path: Path,
    container: av.container.InputContainer,
    shown: Sequence[int],
    unit_s: float,
    rate: float,
) -> int:
    """Return how many frames are lacking at the end, judged by the length the clip says it has.

    For containers that do not count their frames. Unless the file is seen to be cut short, a small
    difference tells nothing.
    """
    import av

    if not container.duration:
        return 0
    length_s = container.duration / av.time_base
    lacking = (length_s - (shown[-1] - shown[0]) * unit_s) * rate - 1
    if _is_cut_matroska(path):
        return max(1, round(lacking))
    if lacking <= max(SHORT_S, SHORT_SHARE * length_s) * rate:
        return 0
    return round(lacking)


def _is_cut_matroska(path: Path) -> bool:
    """Whether a Matroska file is shorter than it says."""
    with path.open("rb") as file:
        head = file.read(4096)
    if not head.startswith(EBML_MARK):
        return False
    size, place = _ebml_size(head, len(EBML_MARK))
    place += size
    if head[place : place + len(SEGMENT_MARK)] != SEGMENT_MARK:
        return False
    size, place = _ebml_size(head, place + len(SEGMENT_MARK))
    return path.stat().st_size < place + size


def _ebml_size(data: bytes, place: int) -> tuple[int, int]:
    """Return the size of an element and the place behind it; 0 where the size is not known."""
    first = data[place] if place < len(data) else 0
    length = 9 - first.bit_length()
    number = int.from_bytes(data[place : place + length], "big") & ((1 << 7 * length) - 1)
    unknown = number == (1 << 7 * length) - 1
    return 0 if unknown else number, place + length
