"""One frame and the burst it belongs to."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property
from itertools import groupby, pairwise
from pathlib import Path

import numpy as np

from stacker.burst.orientation import UPRIGHT, turn_upright, turned_size
from stacker.burst.readers.facts import Development, ShrinkingReader
from stacker.burst.readers.registry import reader_for
from stacker.errors import FrameError
from stacker.light.buffers import scratch
from stacker.light.correction import Correction, Retouch
from stacker.light.encoding import Encoding, LightArray, PixelArray, decode_into
from stacker.light.reduce import reduce_codes, reduce_light


@dataclass(frozen=True)
class Frame:
    """One short exposure.

    Parameters
    ----------
    name : file name; in a file with several frames with the frame's place, "clip.mp4#0012".
    path : the file it lies in.
    kind : the kind of file, a name of ``readers.registry.KINDS``.
    number : place within its file, from zero.
    start_s : seconds from the opening of the burst's first frame to the opening of this one.
    shutter_s : how long it was open, in seconds; None where nobody knows.
    size : (width, height) in pixels, upright.
    encoding : what its numbers mean.
    orientation : 1 to 8 as Exif counts them; how the pixels lie in the file.
    camera : maker and model, "" where unknown.
    iso : the sensitivity it was taken at, None where unknown.
    taken : when it was opened by the camera's clock, with a zone where the file gives one.
    exif : the raw Exif block as the file holds it, None where there is none.
    development : how the sensor's numbers become light, None where the file holds finished
        pixels.
    problem : why it cannot be used, None for a sound frame. The other fields of such a frame
        are the burst's.
    """

    name: str
    path: Path
    kind: str
    number: int
    start_s: float
    shutter_s: float | None
    size: tuple[int, int]
    encoding: Encoding
    orientation: int = UPRIGHT
    camera: str = ""
    iso: float | None = None
    taken: datetime | None = None
    exif: bytes | None = field(default=None, repr=False)
    development: Development | None = None
    problem: FrameError | None = None


@dataclass(frozen=True)
class Burst:
    """Frames that belong together, in the order in which they were shot.

    Parameters
    ----------
    frames : at least one of them sound; all sound ones have one size, and numbers of one kind.
        Where their colour spaces differ, a correction brings them into one.
    passed_over : names of the files in a folder that are no pictures.
    warnings : whole sentences, each said once.
    corrections : what is done to the light of each frame, in this order; where there are any,
        or a device's profile makes light of the numbers, frames are given as light.
    retouch : replaces pixels of single frames in the end; small copies are without.
    """

    frames: tuple[Frame, ...]
    passed_over: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    corrections: tuple[Correction, ...] = ()
    retouch: Retouch | None = None

    @cached_property
    def _sound(self) -> Frame:
        return next(frame for frame in self.frames if frame.problem is None)

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) of every sound frame in pixels, upright."""
        return self._sound.size

    @property
    def encoding(self) -> Encoding:
        """What the numbers that ``decode`` gives mean."""
        stored = self._sound.encoding
        return Encoding("float32", stored.space) if self.by_light else stored

    @property
    def by_light(self) -> bool:
        """Whether frames are given as light that was made of what is stored, not as stored."""
        return bool(self.corrections) or self._sound.encoding.device is not None

    def is_converted(self, index: int) -> bool:
        """Whether a frame's numbers are in another colour space than the burst's light."""
        encoding = self.frames[index].encoding
        return encoding.device is not None or encoding != self._sound.encoding

    def corrected(self, *corrections: Correction) -> Burst:
        """Return the burst with more to be done to the light of each frame."""
        return replace(self, corrections=self.corrections + corrections)

    def retouched(self, retouch: Retouch) -> Burst:
        """Return the burst with pixels of some frames replaced."""
        return replace(self, retouch=retouch)

    @property
    def development(self) -> Development | None:
        """How all frames are developed, None where the files hold finished pixels."""
        return self._sound.development

    @cached_property
    def sources(self) -> frozenset[Path]:
        """The files that the frames lie in, resolved."""
        return frozenset(path.resolve() for path in {frame.path for frame in self.frames})

    def gaps_s(self) -> list[float | None]:
        """Return the seconds between the closing of each frame but the last and the next opening.

        None where the shutter is unknown. Never below zero: a nominal shutter may be longer than
        the real one.
        """
        return [
            None if one.shutter_s is None else max(0.0, two.start_s - one.start_s - one.shutter_s)
            for one, two in pairwise(self.frames)
        ]

    def runs(self, indices: Sequence[int]) -> list[tuple[int, ...]]:
        """Return the indices, ascending, in groups whose frames are decoded together.

        The frames of one clip or of one file of several pages make one group; a still is alone.
        """
        ordered = sorted(set(indices))
        by_file = groupby(ordered, key=lambda index: self.frames[index].path)
        return [tuple(group) for _, group in by_file]

    def decode(
        self, indices: Sequence[int], *, out: PixelArray | None = None
    ) -> Iterator[tuple[int, PixelArray]]:
        """Yield (index, pixels) for the frames of one run, upright and C-contiguous.

        Parameters
        ----------
        indices : ascending, all from one of ``runs``.
        out : (H, W, 3) of the encoding's dtype, C-contiguous. It may be filled and yielded for one
            frame after another, so use or copy each picture before asking for the next.

        Yields
        ------
        uint8, uint16 or float32 (H, W, 3) in the burst's encoding.

        Raises
        ------
        FrameError
            The frame has a problem, is cut short or damaged.
        ValueError
            ``out`` does not fit, or the indices are of several runs.

        Notes
        -----
        Threads may decode different frames at once, each with an ``out`` of its own.
        """
        if not indices:
            return
        self._check_request(indices, out)
        before: list[int] = []
        for index in indices:
            if self.frames[index].problem is not None:
                break
            before.append(index)
        decode = self._corrected if self.by_light else self._decode_sound
        for index, pixels in decode(before, out):
            if self.retouch is not None:
                pixels = pixels if pixels.flags.writeable else pixels.copy()
                self.retouch(pixels, index)
            yield index, pixels
        for index in indices[len(before) :]:
            problem = self.frames[index].problem
            if problem is not None:
                raise problem

    def _check_request(self, indices: Sequence[int], out: PixelArray | None) -> None:
        if len({self.frames[index].path for index in indices}) > 1:
            raise ValueError("the indices are of several runs")
        if any(one >= two for one, two in pairwise(indices)):
            raise ValueError("the indices do not ascend")
        width, height = self.size
        shape, dtype = (height, width, 3), np.dtype(self.encoding.stored)
        if out is not None and not (
            out.shape == shape and out.dtype == dtype and out.flags.c_contiguous
        ):
            raise ValueError(f"out must be C-contiguous {dtype} {shape}")

    def _corrected(
        self, indices: Sequence[int], out: PixelArray | None
    ) -> Iterator[tuple[int, LightArray]]:
        """Yield (index, corrected light) of frames without a problem in one file."""
        if not indices:
            return
        width, height = self.size
        stored = self._sound.encoding.stored
        straight = scratch("stored", (height, width, 3), stored)
        for index, pixels in self._decode_sound(indices, straight):
            light = np.empty(pixels.shape, np.float32) if out is None else out
            decode_into(pixels, self.frames[index].encoding, light)
            for correction in self.corrections:
                correction(light, index)
            yield index, light

    def _decode_sound(
        self, indices: Sequence[int], out: PixelArray | None
    ) -> Iterator[tuple[int, PixelArray]]:
        """Yield (index, upright pixels) of frames without a problem in one file."""
        if not indices:
            return
        first = self.frames[indices[0]]
        width, height = turned_size(first.size, first.orientation)
        by_number = {self.frames[index].number: index for index in indices}
        # a picture that has to be turned is decoded elsewhere first
        straight = out
        if first.orientation != UPRIGHT and out is not None:
            straight = scratch("unturned", (height, width, 3), first.encoding.stored)
        reader = reader_for(first.kind, first.development)
        decoded = reader.decode(first.path, sorted(by_number), out=straight)
        for number, pixels in decoded:
            if pixels.shape != (height, width, 3) or pixels.dtype != first.encoding.stored:
                raise FrameError(
                    first.path,
                    "its pixels are not what its header says",
                    remedy="copy it again",
                    code="frame-mismatch",
                )
            yield by_number[number], turn_upright(pixels, first.orientation, out=out)

    def reduced_light(self, index: int, factor: int) -> LightArray:
        """Return the light of one frame averaged over cells, float32 (H // f, W // f, 3).

        Parameters
        ----------
        factor : 1, 2, 4 or 8 pixels a cell.

        Raises
        ------
        FrameError
            As ``decode``.
        """
        for _, pixels in self.decode([index]):
            return reduce_light(pixels, self.encoding, factor)
        raise self._no_picture(index)

    def small_copy(self, index: int, factor: int) -> PixelArray:
        """Return one frame averaged over cells of its numbers, (H // f, W // f, 3).

        In the burst's encoding. Codes are averaged as they are stored, which is quicker than
        their light and does as well for finding out where a frame looked, and for nothing else.

        Raises
        ------
        FrameError
            As ``decode``.
        """
        small = self._decoded_small(index, factor)
        if small is not None:
            return small
        for _, pixels in self.decode([index], out=self._whole_frame()):
            return reduce_codes(pixels, factor)
        raise self._no_picture(index)

    def _decoded_small(self, index: int, factor: int) -> PixelArray | None:
        """Return a frame's small copy as its reader makes it, None where that is not the same."""
        frame = self.frames[index]
        if self.by_light or frame.problem is not None:
            return None
        reader = reader_for(frame.kind, frame.development)
        if not isinstance(reader, ShrinkingReader) or factor not in reader.factors:
            return None
        width, height = frame.size
        if frame.orientation != UPRIGHT and (width % factor or height % factor):
            # cells are counted from the corner that is first in the file
            return None
        small = turn_upright(reader.decode_small(frame.path, factor), frame.orientation)
        return np.ascontiguousarray(small[: height // factor, : width // factor])

    def _whole_frame(self) -> PixelArray:
        """Return this thread's array for a whole frame that is looked at and forgotten."""
        width, height = self.size
        return scratch("whole frame", (height, width, 3), self.encoding.stored)

    def _no_picture(self, index: int) -> FrameError:
        return FrameError(
            self.frames[index].path,
            "it gave no picture",
            remedy="copy it again",
            code="frame-unreadable",
        )
