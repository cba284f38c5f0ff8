"""A second look at a burst and at its result, for the report as a page."""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from stacker.blend import find_blend
from stacker.engine.look import Look
from stacker.engine.memory import frame_bytes, workers_within
from stacker.engine.passes import worker_count
from stacker.engine.progress import Progress
from stacker.engine.result_look import ResultLook, look_at_result
from stacker.engine.settings import Settings
from stacker.engine.shot import Shot
from stacker.engine.survey import see_burst
from stacker.errors import FrameError
from stacker.light.encoding import Encoding, LightArray, PixelArray, decode
from stacker.light.reduce import reduce_codes
from stacker.register.geometry import Motion, compose, identity, invert, translation
from stacker.survey.composition import composition_of
from stacker.survey.fine_detail import Comparison, compare_detail
from stacker.survey.movers import chosen_frames
from stacker.survey.noise_law import expected_noise_gain
from stacker.survey.report import Seen, conclude
from stacker.survey.review import BurstReview, ResultReview
from stacker.survey.still_squares import (
    WHOLE,
    cover_of_result,
    cut_squares,
    places_in_frame,
    still_squares,
)
from stacker.survey.tones import ToneCounter, Tones, counted_rows

# frames that a result is compared with: the sharpest of the small copies and others, spread evenly
COMPARED, SHARPEST = 8, 2
# frames shown at most, and the pixels along the longer side of each
MOST_SHOWN, THUMB_PX = 60, 180
# why sharpness and noise are not told
TOO_FEW = "there are too few frames to tell what stands still"
ELSEWHERE = (
    "the frames were brought to the {what}, so the ground does not stand still in the result"
)
NOTHING_STILL = "nothing in the picture stands still, is lit well and lies within all frames"


@dataclass(frozen=True, eq=False)
class Compared:
    """A result and what it was compared with, for pictures.

    Parameters
    ----------
    review : the figures.
    look : what was seen of the result.
    squares : for each frame compared, its squares as they are stored; None where it has none.
    """

    review: ResultReview
    look: ResultLook
    squares: Sequence[Sequence[PixelArray | None]]


@dataclass
class _Kept:
    """What is kept of frames while they are at hand, by their place.

    Parameters
    ----------
    factor : by which thumbnails are reduced.
    middle : the frame whose tones are told.
    corners : of frames to compare with, the corners of their squares, for each result; not known
        before the burst was surveyed.
    """

    factor: int
    middle: int
    weights: tuple[float, float, float]
    encoding: Encoding
    corners: Mapping[int, Sequence[Sequence[tuple[int, int] | None]]] = field(default_factory=dict)
    thumbs: dict[int, PixelArray] = field(default_factory=dict)
    squares: dict[int, list[list[PixelArray | None]]] = field(default_factory=dict)
    tones: Tones | None = None
    turn: threading.Lock = field(default_factory=threading.Lock)

    def show(self, place: int, pixels: PixelArray) -> None:
        """Look at a frame, for the first or for the second time."""
        if place not in self.thumbs:
            thumb = reduce_codes(pixels, self.factor)
            with self.turn:
                self.thumbs[place] = thumb
        if place in self.corners:
            squares = [cut_squares(pixels, corners) for corners in self.corners[place]]
            with self.turn:
                self.squares[place] = squares
        if place == self.middle and self.tones is None:
            counter = ToneCounter(self.weights)
            counted = pixels[:: counted_rows((pixels.shape[1], pixels.shape[0]))]
            rows = max(1, 2**18 // pixels.shape[1])
            for top in range(0, len(counted), rows):
                counter.add(decode(np.ascontiguousarray(counted[top : top + rows]), self.encoding))
            self.tones = counter.tones()

    def fail(self, place: int, error: FrameError) -> None:
        """Do without: that it cannot be read was told when the picture was made."""


@dataclass(frozen=True, eq=False)
class Review:
    """Everything that the page tells.

    Parameters
    ----------
    burst : what there is to tell of the burst.
    results : one for each result.
    thumbs : small copies of some frames as they are stored, by their number from 1.
    """

    burst: BurstReview
    results: Sequence[Compared]
    thumbs: Mapping[int, PixelArray]


def review_shots(
    shots: Sequence[Shot], reports: Sequence[Mapping[str, Any]], progress: Progress
) -> Review:
    """Return what there is to tell of exposures that were made from one burst.

    Parameters
    ----------
    reports : of each exposure, as it was saved.

    Notes
    -----
    Reads every file once more, and ``COMPARED`` of them twice; of bursts of more than
    ``MOST_SHOWN`` frames as many as are shown.
    """
    burst, report = shots[0].burst, reports[0]
    settings = _settings(report)
    used = [frame["number"] - 1 for frame in report["frames"] if frame["used"]]
    kept = _Kept(
        max(1, max(burst.size) // THUMB_PX),
        used[len(used) // 2],
        burst.encoding.space.luminance_weights,
        burst.encoding,
    )
    # of a long burst not every thumbnail can be kept until it is known which are shown
    short = len(report["frames"]) <= MOST_SHOWN
    seen = see_burst(burst, settings, progress=progress, also=kept.show if short else None)
    survey = conclude(seen)
    movers = seen.analysis.movers if seen.analysis else None
    first = report["frames"][0]["number"] - 1
    where = _Where(seen, report, first)
    compared = _compared(seen, used, first) if movers is not None else []
    looks, corners = [], []
    for shot, own in zip(shots, reports, strict=True):
        squares: list[tuple[int, int]] = []
        if movers is not None and not _held_otherwise(own):
            scale = round(movers.scale)
            cover = cover_of_result(movers.cover, scale, where.to_result(), shot.size)
            squares = still_squares(cover, scale, shot.size)
        looks.append(look_at_result(shot, own, squares))
        corners.append(squares)
    kept.corners = {
        p: [places_in_frame(c, where.to_frame(p), burst.size) for c in corners] for p in compared
    }
    shown = _shown(survey.frames, report, used)
    wanted = compared if short else sorted({*shown, *compared, kept.middle})
    progress.start("comparing with the frames", len(wanted))
    Look(burst, _workers(shots[0], settings)).at(wanted, kept.show, kept.fail)
    for _ in wanted:
        progress.advance()
    results = []
    for number, (shot, own) in enumerate(zip(shots, reports, strict=True)):
        look = looks[number]
        places = [place for place in compared if place in kept.squares]
        of_frames = [kept.squares[place][number] for place in places]
        comparison, why_not = _comparison(shot, own, look, of_frames, movers is None)
        if survey.stand != "tripod" and own["motion_model"] == "identity":
            # smeared texture cannot be told from noise
            comparison = replace(comparison, noise_gain=None, lift_stops=None)
        review = ResultReview(
            report=own,
            tones=look.tones,
            frame_tones=kept.tones or look.tones,
            comparison=comparison,
            not_compared=why_not,
            expected_gain=_expected(own),
            names=[burst.frames[place].name for place in places],
        )
        results.append(Compared(review, look, of_frames))
    return Review(
        BurstReview(
            survey,
            movers,
            composition_of(movers) if movers is not None else None,
            seen.burnt,
        ),
        results,
        {place + 1: kept.thumbs[place] for place in shown if place in kept.thumbs},
    )


def _settings(report: Mapping[str, Any]) -> Settings:
    """Return the settings for a survey of the same frames."""
    said, frames = report["settings"], report["frames"]
    return Settings(
        first=frames[0]["number"],
        last=frames[-1]["number"],
        memory=said["memory"],
        workers=said["workers"],
        on_bad="skip",
    )


class _Where:
    """Where the result shows what the survey's reference and the frames show."""

    def __init__(self, seen: Seen, report: Mapping[str, Any], first: int) -> None:
        self._motion = seen.motion
        self._index = {first + place: index for index, place in enumerate(seen.looked_at)}
        names = [frame["name"] for frame in report["frames"]]
        self._reference = first + names.index(report["reference"])
        region = report["region"]
        self._cut = translation(-region["x"], -region["y"])

    def _to_survey(self, place: int) -> Motion:
        """Return what takes a frame's pixels to those of the survey's reference."""
        index = self._index.get(place)
        if self._motion is None or index is None:
            return identity()
        return self._motion.frames[index].to_reference

    def to_result(self) -> Motion:
        """Return what takes pixels of the survey's reference to those of the result."""
        return compose(self._cut, invert(self._to_survey(self._reference)))

    def to_frame(self, place: int) -> Motion:
        """Return what takes the result's pixels to those of a frame."""
        return compose(invert(self._to_survey(place)), invert(self.to_result()))


def _held_otherwise(report: Mapping[str, Any]) -> bool:
    """Whether the frames were brought together by something else than the ground."""
    return report["hold"] in ("sky", "subject")


def _compared(seen: Seen, used: Sequence[int], first: int) -> list[int]:
    """Return the places of frames to compare with: the sharpest, and others spread evenly."""
    records = {first + at: seen.records[at] for at in seen.looked_at}
    sound = [place for place in used if place in records]
    ranked = sorted(sound, key=lambda place: -(records[place].sharpness or 0.0))
    return sorted({*ranked[:SHARPEST], *chosen_frames(sound, COMPARED - SHARPEST)})


def _shown(frames: Sequence[Any], report: Mapping[str, Any], used: Sequence[int]) -> list[int]:
    """Return the places of frames to show: first, last, odd ones, and others spread evenly."""
    every = [frame["number"] - 1 for frame in report["frames"]]
    if len(every) <= MOST_SHOWN:
        return every
    bad = {record.number - 1 for record in frames if not record.good}
    odd = sorted(bad | (set(every) - set(used)))
    kept = {every[0], every[-1], *chosen_frames(odd, MOST_SHOWN // 2)}
    return sorted(kept | set(chosen_frames(every, MOST_SHOWN - len(kept))))


def _comparison(
    shot: Shot,
    report: Mapping[str, Any],
    look: ResultLook,
    of_frames: Sequence[Sequence[PixelArray | None]],
    too_few: bool,
) -> tuple[Comparison, str]:
    """Return sharpness and noise against the frames, or why they cannot be told."""
    if too_few or len(of_frames) < 2:
        return Comparison(), TOO_FEW
    if _held_otherwise(report):
        what = {"sky": "stars", "subject": "subject"}[report["hold"]]
        return Comparison(), ELSEWHERE.format(what=what)
    added = sum(f["weight"] for f in report["frames"] if f["used"])
    scale = np.float32(1 / added if report["settings"]["blend"] == "sum" else 1)
    comparison = compare_detail(
        look.squares[..., 1] * scale, [green_squares(shot, squares) for squares in of_frames]
    )
    if comparison.sharpness is None and comparison.noise_gain is None:
        return comparison, NOTHING_STILL
    return comparison, ""


def green_squares(shot: Shot, squares: Sequence[PixelArray | None]) -> LightArray:
    """Return the green light of a frame's squares, float32 (S, side, side), NaN for none."""
    out = np.full((len(squares), WHOLE, WHOLE), np.nan, np.float32)
    for number, pixels in enumerate(squares):
        if pixels is not None:
            out[number] = decode(pixels, shot.burst.encoding)[..., 1]
    return out


def _expected(report: Mapping[str, Any]) -> float | None:
    said = report["settings"]
    weights = [frame["weight"] for frame in report["frames"] if frame["used"]]
    blend = find_blend(said["blend"]).name
    fading = said["tail_s"] is not None
    return expected_noise_gain(
        blend, weights, true_floor=said["floor"] == "true", fading=fading and blend == "lighten"
    )


def _workers(shot: Shot, settings: Settings) -> int:
    burst = shot.burst
    frame = frame_bytes(
        burst.size,
        burst.encoding.stored,
        developed=burst.development is not None,
        corrected=burst.by_light,
    )
    return workers_within(settings.memory, worker_count(settings.workers), frame)[0]
