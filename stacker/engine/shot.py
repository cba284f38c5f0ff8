"""An exposure that was built: its light, its colour space and how it came about."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any, Protocol

import cv2
import numpy as np
import numpy.typing as npt

from stacker.blend import Finishing
from stacker.blend.mixing import MaskArray
from stacker.bridge import Confidence
from stacker.burst import Burst
from stacker.engine.laid import BridgedPiece
from stacker.engine.mixed import MixedPiece
from stacker.engine.strokes import Painted
from stacker.light.encoding import CodedLight, LightArray, Picture, as_light
from stacker.light.space import ColourSpace


class Gradient(Protocol):
    """Light that is taken out of a finished picture."""

    def taken_out(self, picture: Picture, top: int) -> LightArray:
        """Return rows of the picture, the first of which is row ``top``, without it."""


# a finished stripe, or what can finish it when asked
Piece = Picture | Finishing


@dataclass(frozen=True, eq=False)
class Shot:
    """A long exposure.

    Parameters
    ----------
    pieces : the picture from top to bottom, of frames' full width.
    columns : those of them that make the picture.
    size : (width, height) in pixels.
    space : the colour space of the light.
    brightest : the greatest light that the blend can give.
    open_s : the open time that was built, in seconds; None if no clock told.
    exif : the Exif block of the first frame.
    burst : the frames as they were opened, for whoever wants to look at them again.
    sources : the files it was made from.
    report : everything that was found and done, ready for JSON.
    agreeing : float32 (h, w), of a median, the share of frames that agree with it, on a small
        copy; None where that was not looked at.
    masks : uint16 (H, W) of the frames' size, the masks by their names in the settings.
    painted : the passes of a lamp, None where none were looked for or found.
    glow : what is taken out of the light of the pieces; None if nothing is.
    """

    pieces: Sequence[Piece]
    columns: range
    size: tuple[int, int]
    space: ColourSpace
    brightest: float
    open_s: float | None
    exif: bytes | None
    burst: Burst
    sources: frozenset[Path]
    report: dict[str, Any]
    agreeing: npt.NDArray[np.float32] | None = None
    masks: Mapping[str, MaskArray] = field(default_factory=dict)
    painted: Painted | None = None
    glow: Gradient | None = None

    def bands(self) -> Iterator[Picture]:
        """Yield the picture from top to bottom, piece by piece."""
        top = 0
        for piece in self.pieces:
            whole = piece if isinstance(piece, np.ndarray | CodedLight) else piece.result()
            band = _cut(whole, self.columns)
            rows = len(band.codes if isinstance(band, CodedLight) else band)
            yield band if self.glow is None else self.glow.taken_out(band, top)
            top += rows

    @property
    def is_bridged(self) -> bool:
        """Whether light of the gaps between frames was put into the picture."""
        reports = (self.report, *self.report.get("regions", ()))
        return any(report.get("bridge", {}).get("bridged") for report in reports)

    def bridge_map(self) -> Confidence:
        """Return where the light of gaps shows and how sure it is, float32 (H, W), 0 to 1.

        0 where the picture is as without the bridge; of a ladder's rung it is not known.
        """
        width, height = self.size
        sure = np.zeros((height, width), np.float32)
        top = 0
        for piece in self.pieces:
            if isinstance(piece, MixedPiece):
                sure[top : top + len(piece.rows)] = piece.confidence(self.columns)
                top += len(piece.rows)
            if isinstance(piece, BridgedPiece):
                rows = piece.rows
                sure[rows.start : rows.stop] = piece.confidence(width)
        return sure

    def doubt_map(self) -> npt.NDArray[np.float32]:
        """Return the share of frames that agree with the median, float32 (H, W), 0 to 1.

        1 everywhere where that was not looked at.
        """
        width, height = self.size
        if self.agreeing is None:
            return np.ones((height, width), np.float32)
        large = cv2.resize(self.agreeing, self.size, interpolation=cv2.INTER_LINEAR)
        return np.asarray(large, np.float32)

    @cached_property
    def light(self) -> LightArray:
        """The whole picture in linear light, float32 (H, W, 3)."""
        return np.concatenate([as_light(band) for band in self.bands()])


def _cut(picture: Picture, columns: range) -> Picture:
    """Return some columns of a picture; the picture itself where they are all."""
    pixels = picture.codes if isinstance(picture, CodedLight) else picture
    if len(columns) == pixels.shape[1]:
        return picture
    pixels = np.ascontiguousarray(pixels[:, columns.start : columns.stop])
    return CodedLight(pixels, picture.table) if isinstance(picture, CodedLight) else pixels
