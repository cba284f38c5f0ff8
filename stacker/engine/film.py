"""A burst as a film: the exposure building up, or a shutter that slides over the burst."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from stacker.blend import Blend, find_blend
from stacker.blend.sliding import window_row_bytes
from stacker.burst import Burst
from stacker.engine.bridging import Found, if_affordable
from stacker.engine.doubts import Doubts
from stacker.engine.film_gaps import GapsOnTheWay, look_for_film, told_of_film
from stacker.engine.film_pictures import (
    BuildUp,
    FilmMaker,
    Sliding,
    fitted,
    intake_of_window,
    scaler,
    window_starts,
)
from stacker.engine.memory import (
    BAND_BYTES,
    MODEST_BYTES,
    PROGRAM_BYTES,
    SHARE_OF_FREE,
    PassPlan,
    free_memory,
    laying_bytes,
)
from stacker.engine.passes import FrameOutcome, FramePass, Stripe, worker_count
from stacker.engine.progress import Progress, Silent
from stacker.engine.ready import Ready, make_ready, nothing_left
from stacker.engine.report import make_report
from stacker.engine.settings import Settings
from stacker.engine.shutters import counts_for, known_shutter
from stacker.engine.span import span_of, weights_of
from stacker.errors import BurstError, OptionError
from stacker.finish.clip import ClipWriter, check_clip, clip_size, frame_rate, place_clip
from stacker.finish.tone import Tone, apply
from stacker.light.encoding import Picture
from stacker.version import PROGRAM

# blends that a film can be made of: their accumulators do not grow with the frames
FILM_BLENDS = ("mean", "lighten", "max", "darken", "sum")
# what ordinary screens show, unless told otherwise
USUAL_WIDTH = 1920
# light of a full-size picture while it is scaled, and that of the film's while it is encoded
LIGHT_PIXEL_BYTES = 12
# the encoder looks ahead over so many frames of 1.5 bytes a pixel
ENCODER_FRAMES = 60
OPTION = "--sliding"


@dataclass(frozen=True, kw_only=True)
class FilmChoice:
    """How a film is made, besides the exposure's settings.

    Parameters
    ----------
    fps : pictures per second.
    width : in pixels, even; that of the frames, but at most 1920, if None.
    sliding_s : open time of a shutter that slides over the burst, in seconds; the exposure of the
        first frame, the first two and so on builds up if None.
    exposure_ev, shoulder : as in ``save``.
    overwrite : replace a file that is there; never one of the sources.
    """

    fps: float = 24.0
    width: int | None = None
    sliding_s: float | None = None
    exposure_ev: float = 0.0
    shoulder: bool = False
    overwrite: bool = False

    @property
    def rate(self) -> Fraction:
        """The pictures per second as a fraction."""
        return frame_rate(self.fps)


def film_burst(
    burst: Burst,
    target: Path,
    settings: Settings,
    choice: FilmChoice,
    *,
    progress: Progress | None = None,
) -> dict[str, Any]:
    """Return the report, having written the film.

    Raises
    ------
    StackerError
        The settings or the burst do not allow it, or the film cannot be written.
    """
    progress = progress or Silent()
    check_film(burst, target, settings, choice)
    look = look_for_film(
        make_ready(burst, settings, progress), find_blend(settings.blends[0]), settings, progress
    )
    ready = look.ready
    film = _Film(ready, settings, choice, look.found)
    check_clip(target, overwrite=choice.overwrite, sources=film.sources)
    with place_clip(
        target,
        size=film.size,
        fps=choice.rate,
        space=film.burst.encoding.space,
        overwrite=choice.overwrite,
        sources=film.sources,
    ) as writer:
        outcomes = film.run(writer, progress)
        if writer.frames == 0:
            raise nothing_left(film.burst, {**ready.outcomes, **outcomes})
        pictures = writer.frames
    return film.report(target, outcomes, pictures)


def check_film(burst: Burst, target: Path, settings: Settings, choice: FilmChoice) -> None:
    """Refuse what makes no film, before anything is read.

    Raises
    ------
    StackerError
        One sentence about the first thing that is wrong.
    """
    _refuse_what_has_no_film(settings)
    if settings.bridge and choice.sliding_s is not None:
        raise OptionError(
            "--bridge",
            f"fills the gaps of an exposure that builds up, not those under {OPTION}",
            remedy="leave one of them out",
            code="option-film",
        )
    Tone(exposure_ev=choice.exposure_ev)
    frame_rate(choice.fps)
    clip_size(burst.size, choice.width, usual=USUAL_WIDTH)
    check_clip(target, overwrite=choice.overwrite, sources=burst.sources)
    span = span_of(burst, settings)
    weights = weights_of(burst, span, settings)
    places = [place for place in span if weights[place] > 0]
    _check_length(burst, places, choice)
    if_affordable(burst, weights, [find_blend(settings.blends[0])], settings)


def _refuse_what_has_no_film(settings: Settings) -> None:
    name = ",".join(settings.blends)
    find_blend(settings.blends[0])
    refused = {
        f"--blend {name}": name not in FILM_BLENDS,
        "--floor true": settings.floor == "true",
        "--tail": settings.tail_s is not None,
        "--weights": settings.weights is not None,
        "--region": bool(settings.regions),
        "--ramp-in, --ramp-out": settings.ramp_in_s > 0 or settings.ramp_out_s > 0,
    }
    for option, given in refused.items():
        if given:
            raise OptionError(
                option,
                "no film is made of that",
                remedy=f"a film has one plain blend: {', '.join(FILM_BLENDS)}",
                code="option-film",
            )


def _check_length(burst: Burst, places: list[int], choice: FilmChoice) -> None:
    if len(places) < 2:
        raise BurstError(
            burst.frames[places[0]].name if places else "the burst",
            "one frame makes no film",
            remedy="give at least 2",
            code="burst-one-frame",
        )
    if choice.sliding_s is None:
        return
    (count,) = counts_for([burst.frames[p] for p in places], [choice.sliding_s], option=OPTION)
    if count == len(places):
        raise OptionError(
            f"{OPTION} {choice.sliding_s:g}",
            "the shutter is as long as the burst and has nowhere to slide",
            remedy=f"give a shorter time, or leave {OPTION} out to see the exposure build up",
            code="option-span",
        )


class _Film:
    """What is known of a film before its first picture."""

    def __init__(
        self, ready: Ready, settings: Settings, choice: FilmChoice, found: Found | None
    ) -> None:
        self.ready, self.settings, self.choice = ready, settings, choice
        self.burst, self.holding = ready.burst, ready.holding
        self.places = ready.places
        _check_length(self.burst, self.places, choice)
        self.size = clip_size(self.holding.region.size, choice.width, usual=USUAL_WIDTH)
        self.scaled = self.size[0] < self.holding.region.size[0] - 1
        self.sources = frozenset(self.burst.sources) | ready.prepared.sources
        self.blend: Blend = find_blend(settings.blends[0])
        # pictures are scaled, or taken back again: on the grid of light that knows no codes
        self.intake = replace(self.holding.intake(self.burst, ready.weights), codes=None)
        encoding = self.intake.encoding
        self.gaps = None if found is None else GapsOnTheWay(found, self.blend, ready, encoding)
        self.starts = self._window_starts()
        order = {place: number for number, place in enumerate(self.places)}
        windows = [order[end] - order[start] + 1 for end, start in self.starts.items()]
        self.longest = max(windows, default=0)
        self.plan = self._planned()

    def _window_starts(self) -> Mapping[int, int]:
        if self.choice.sliding_s is None:
            return {}
        shutters_s = [known_shutter(self.burst.frames[p], OPTION) for p in self.places]
        return window_starts(self.places, shutters_s, self.choice.sliding_s)

    def _planned(self) -> PassPlan:
        """Return how many workers fit into the memory beside what the film holds."""
        rows, width = self.holding.region.rows, self.burst.size[0]
        full = len(rows) * width * LIGHT_PIXEL_BYTES
        film = self.size[0] * self.size[1] * (LIGHT_PIXEL_BYTES + ENCODER_FRAMES * 3 // 2)
        held = PROGRAM_BYTES + BAND_BYTES + self.ready.prepared.held_bytes + film
        window = self._window_bytes()
        if self.starts:
            held += window + (full if self.scaled else 0)
        else:
            held += len(rows) * self.blend.row_bytes(self.intake, width) + full
        if self.gaps is not None:
            held += laying_bytes(len(rows) * width, [self.gaps.joins]) + full
        frame = self.ready.frame_bytes + (full if self.holding.warps else 0)
        wished = min(worker_count(self.settings.workers), len(self.places))
        allowed = self.settings.memory or max(MODEST_BYTES, round(SHARE_OF_FREE * free_memory()))
        workers = min(wished, (allowed - held) // frame)
        if workers < 1:
            raise self._too_much(held + frame, window, allowed)
        return PassPlan((rows,), workers, held + workers * frame)

    def _window_bytes(self) -> int:
        if not self.starts:
            return 0
        intake = intake_of_window(self.intake, scaled=self.scaled)
        row = window_row_bytes(self.blend, intake, self.size[0], self.longest)
        return row * self.size[1]

    def _too_much(self, needed: int, window: int, allowed: int) -> OptionError:
        remedy = f"allow more by --memory {-(-needed // 10**6)}MB, or give a smaller --width"
        if not window:
            return OptionError(
                "--memory",
                f"a film of these frames takes {needed / 1e6:.0f} MB, and {allowed / 1e6:.0f} may "
                "be used",
                remedy=remedy,
                code="option-memory",
            )
        width, height = self.size
        return OptionError(
            f"{OPTION} {self.choice.sliding_s:g}",
            f"the {self.longest} frames under the shutter, {width} x {height} pixels each, take "
            f"{window / 1e6:.0f} MB of {needed / 1e6:.0f}, and {allowed / 1e6:.0f} may be used",
            remedy=f"{remedy} or a shorter time",
            code="option-memory",
        )

    def run(self, writer: ClipWriter, progress: Progress) -> dict[int, FrameOutcome]:
        """Return what came of each frame, having handed all pictures to the writer."""
        region = self.holding.region
        shown = self.longest or len(self.places)
        summed = self.blend.name == "sum"
        tone = Tone(
            exposure_ev=self.choice.exposure_ev,
            shoulder=self.choice.shoulder,
            brightest=float(shown) if summed else 1.0,
        )

        def show_full(picture: Picture) -> None:
            light = fitted(picture, region.columns, self.size, scaled=self.scaled)
            show(light)

        def show(picture: Picture) -> None:
            toned = apply(tone, picture)
            light = toned if isinstance(toned, np.ndarray) else toned.light()
            writer.add(light)

        maker: FilmMaker
        if self.starts:
            maker = Sliding(
                self.blend,
                self.intake,
                len(region.rows),
                region.columns,
                starts=self.starts,
                size=self.size,
                scale=scaler(self.size) if self.scaled else None,
                show=show,
            )
        else:
            size = len(region.rows), self.burst.size[0]
            maker = BuildUp(self.blend, self.intake, *size, show_full, self.gaps)
        frame_pass = FramePass(
            self.burst,
            self.places,
            [Stripe(region.rows, [maker])],
            brightest_frame=self.blend.brightest_frame(self.intake),
            on_bad=self.settings.on_bad,
            progress=progress,
            warps=self.holding.warps,
            masked=self.holding.masked,
        )
        threads = cv2.getNumThreads()
        cv2.setNumThreads(1)
        try:
            progress.start("filming", len(self.places))
            return frame_pass.run(self.plan.workers)
        finally:
            cv2.setNumThreads(threads)

    def report(
        self, target: Path, outcomes: Mapping[int, FrameOutcome], pictures: int
    ) -> dict[str, Any]:
        """Return what was found and done."""
        known = {**self.ready.outcomes, **outcomes}
        weights = [
            0.0 if place in known and known[place].error is not None else weight
            for place, weight in enumerate(self.ready.weights)
        ]
        report = make_report(
            self.ready.prepared,
            self.holding,
            self.settings,
            blend=self.blend.name,
            program=PROGRAM,
            span=self.ready.span,
            weights=weights,
            counting=weights,
            outcomes=known,
            plan=self.plan,
            bridged=told_of_film(self.gaps, self.ready, self.settings),
            doubts=Doubts(),
        )
        return {
            **report,
            "output": str(target),
            "film": {
                "pictures": pictures,
                "fps": float(self.choice.rate),
                "size": list(self.size),
                "seconds": round(pictures / float(self.choice.rate), 6),
                "sliding_s": self.choice.sliding_s,
                "frames_under_the_shutter": self.longest or None,
            },
        }
