"""What goes onto the page: figures, and pictures as files of their own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from stacker.survey.review import BurstReview, ResultReview


@dataclass(frozen=True)
class Pair:
    """One square of a single frame, and the same square of the result, both as PNG."""

    frame: bytes
    result: bytes


@dataclass(frozen=True, eq=False)
class ShownResult:
    """A result and its pictures.

    Parameters
    ----------
    picture : JPEG of the whole.
    limits : JPEG of what is burnt out or black.
    detail, grain : a square with detail, and an even one with its contrast raised; None where
        nothing was measured.
    """

    review: ResultReview
    picture: bytes
    limits: bytes
    detail: Pair | None
    grain: Pair | None


@dataclass(frozen=True, eq=False)
class Content:
    """All that the page shows.

    Parameters
    ----------
    title : of the page.
    thumbs : JPEGs of some frames, by their number from 1.
    motion : JPEG of what moved and what is empty; None where that is not known.
    burnt : JPEG of what is burnt out in any frame; None where nothing is.
    """

    title: str
    burst: BurstReview
    results: Sequence[ShownResult]
    thumbs: Mapping[int, bytes]
    motion: bytes | None
    burnt: bytes | None = None
