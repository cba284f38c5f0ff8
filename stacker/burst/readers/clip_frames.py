"""The frames of a clip that can be trusted, each with its number.

Frames are made from earlier ones. Once a packet does not decode, what is made from packets behind
it may be wrong without the decoder saying so, until the next key frame starts afresh.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stacker.burst.readers.clip_packets import COPY_CLIP, ClipTimes, opened_clip, undecodable
from stacker.errors import FrameError

if TYPE_CHECKING:
    import av.container
    import av.video.stream

# decoding this many frames costs less than a jump that may miss
NEAR = 24
# packets whose frames a decoder may still hold
MOST_IN_FLIGHT = 64


def first_frame(
    path: Path,
    container: av.container.InputContainer,
    stream: av.video.stream.VideoStream,
) -> Any:
    """Return the first frame that decodes.

    Raises
    ------
    FrameError
        None does.
    """
    import av.error

    try:
        for frame in container.decode(stream):
            return frame
    except av.error.FFmpegError as error:
        raise undecodable(path, error) from error
    raise FrameError(
        path, "no frame of the clip can be decoded", remedy=COPY_CLIP, code="frame-unreadable"
    )


def frames_from(path: Path, times: ClipTimes, start: int) -> Iterator[tuple[int, Any]]:
    """Yield (number, frame) in shown order, at first maybe earlier ones than ``start``.

    Numbers that are missing are those of frames that are damaged, or made from damaged ones.
    """
    last = -1
    try:
        for number, frame in _near(path, times, start, threads=True):
            last = number
            yield number, frame
    except _DamageError:
        # with threads an error comes late: only without is it known which packet is damaged
        for number, frame in _near(path, times, max(start, last + 1), threads=False):
            if number > last:
                yield number, frame


class _DamageError(Exception):
    """A packet does not decode."""


@dataclass(frozen=True)
class _Sent:
    """A packet that the decoder was given: its stamp, and its place among the packets."""

    stamp: int | None
    is_key: bool
    place: int


def _near(path: Path, times: ClipTimes, start: int, *, threads: bool) -> Iterator[tuple[int, Any]]:
    """Yield frames from the last key frame before ``start`` on, or from the first."""
    if times.known and start > NEAR:
        arrived = False
        for number, frame in _numbered(path, times, times.stamps[start], threads=threads):
            if not arrived and number > start:
                break
            arrived = True
            yield number, frame
        if arrived:
            return
    # from the beginning: near enough, or the jump led beyond the wanted frame
    yield from _numbered(path, times, None, threads=threads)


def _numbered(
    path: Path, times: ClipTimes, jump_to: int | None, *, threads: bool
) -> Iterator[tuple[int, Any]]:
    """Yield (number, frame) of the frames that can be trusted."""
    places: dict[int, deque[int]] = {}
    for number, stamp in enumerate(times.stamps):
        places.setdefault(stamp, deque()).append(number)
    with opened_clip(path) as (container, stream):
        stream.thread_type = "AUTO" if threads else "NONE"
        # without this the decoder paints over damage and says nothing
        stream.codec_context.options = {"err_detect": "explode"}
        if jump_to is not None:
            container.seek(jump_to, stream=stream)
        for count, frame in _Trusted(container, stream, stop_at_damage=threads).frames():
            if not times.known:
                yield count, frame
            elif frame.pts is not None and places.get(frame.pts):
                yield places[frame.pts].popleft(), frame


class _Trusted:
    """Decodes packet by packet and keeps account of which frames can be trusted.

    Parameters
    ----------
    stop_at_damage : raise ``_DamageError`` at the first packet that does not decode.
    """

    def __init__(
        self,
        container: av.container.InputContainer,
        stream: av.video.stream.VideoStream,
        *,
        stop_at_damage: bool,
    ) -> None:
        self._packets = container.demux(stream)
        self._stream = stream
        self._stop_at_damage = stop_at_damage
        self._sent = 0
        self._recent: deque[_Sent] = deque(maxlen=MOST_IN_FLIGHT)
        self._started = False
        # since the last damage: whether no key frame came yet, and the stamp of the one that did
        self._lost = False
        self._fresh_from: int | None = None
        self._doubtful: set[int | None] = set()
        # the places of key frames after damage, by their stamps
        self._restarts: dict[int | None, int] = {}

    def frames(self) -> Iterator[tuple[int, Any]]:
        """Yield each trusted frame with its place in shown order, as if none had been lost.

        After damage the place is that of the key frame's packet.
        """
        count = 0
        while True:
            packet = self._next_packet()
            ends = packet is None or packet.size == 0
            if not ends and not packet.is_discard:
                self._recent.append(_Sent(packet.pts, packet.is_keyframe, self._sent))
                self._weigh(self._recent[-1])
                self._sent += 1
            for frame in self._decoded(packet):
                count = self._restarts.pop(frame.pts, count)
                # what comes before the first whole frame was made from frames before the jump
                if frame.is_corrupt and self._started:
                    self._mark_damage(frame.pts)
                if not frame.is_corrupt and self._is_trusted(frame):
                    self._started = True
                    yield count, frame
                count += 1
            if ends:
                return

    def _next_packet(self) -> Any:
        """Return the next packet, None where the file ends or breaks off."""
        import av.error

        try:
            return next(self._packets, None)
        except av.error.FFmpegError:
            # what the decoder still holds comes out
            return None

    def _decoded(self, packet: Any) -> list[Any]:
        """Return the frames that the decoder gives for a packet, in shown order."""
        import av.error

        if packet is not None and packet.is_corrupt:
            self._mark_damage(packet.pts)
            return []
        try:
            return list(self._stream.decode(packet))
        except av.error.EOFError:
            return []
        except av.error.FFmpegError:
            self._mark_damage(packet.pts if packet is not None else None)
            return []

    def _mark_damage(self, stamp: int | None) -> None:
        """Trust neither the frame of that stamp nor what was sent behind it, up to a key frame."""
        if self._stop_at_damage:
            raise _DamageError
        self._lost = True
        self._fresh_from = None
        self._doubtful.add(stamp)
        stamps = [sent.stamp for sent in self._recent]
        if stamp in stamps:
            for sent in list(self._recent)[stamps.index(stamp) + 1 :]:
                self._weigh(sent)

    def _weigh(self, sent: _Sent) -> None:
        """Note whether what a packet will give can be trusted."""
        if self._lost and sent.is_key:
            self._lost = False
            self._fresh_from = sent.stamp
            self._restarts[sent.stamp] = sent.place
        # what is shown before that key frame may be made from frames before it
        limit, stamp = self._fresh_from, sent.stamp
        if self._lost or (limit is not None and stamp is not None and stamp < limit):
            self._doubtful.add(sent.stamp)

    def _is_trusted(self, frame: Any) -> bool:
        if frame.pts is None:
            return not self._lost
        return frame.pts not in self._doubtful
