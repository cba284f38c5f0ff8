"""Holding a subject still over a whole burst."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace

import numpy as np

from stacker.errors import BurstError
from stacker.light.encoding import LightArray
from stacker.register.geometry import (
    Motion,
    apply,
    identity,
    invert,
    is_identity,
    to_full,
    translation,
)
from stacker.register.motion import BurstMotion, FrameMotion, MotionModel, unfit_reference
from stacker.register.scene.grey import LUMINANCE, Grey, grey_of
from stacker.register.scene.models import SHIFT, SIMILARITY
from stacker.register.subject.box import outline_of, reduced_box
from stacker.register.subject.follow import REACH_PX, Follower, find
from stacker.register.subject.patch import patch_about
from stacker.register.subject.search import moved_to
from stacker.register.subject.settle import Fine, Patches, Sighting, common_template, refined
from stacker.register.subject.simplest import needs_shift, needs_similarity
from stacker.register.subject.template import Template, first_template, levels_of
from stacker.register.subject.verdict import Look, verdicts

Source = Callable[[int], LightArray]

# frames that are read ahead of the one that is looked at
AHEAD = 3
# Parts of frames about the subject that are kept for the fine fit; beyond it frames are read
# again.
KEPT_BYTES = 192 << 20


@dataclass
class _Seen:
    """What following the subject left behind."""

    lights: list[float] = field(default_factory=list)
    expected: list[Motion] = field(default_factory=list)
    sightings: dict[int, Sighting] = field(default_factory=dict)


def register_subject(
    source: Source,
    count: int,
    *,
    box: tuple[float, float, float, float],
    factor: int = 1,
    weights: tuple[float, float, float] = LUMINANCE,
    reference: int = 0,
    size: tuple[int, int] | None = None,
    workers: int = 1,
    on_frame: Callable[[int, int], None] | None = None,
) -> BurstMotion:
    """Return where the frames of a burst looked, held to the subject in a box.

    Parameters
    ----------
    source : returns the light of frame ``index``, float32 (h, w, 3), linear, reduced by
        ``factor`` (see ``subject_factor``); all of one size. Called from several threads, and
        for some frames up to four times.
    count : how many frames there are.
    box : x and y of its first pixel, width and height, in full-size pixels of frame 0. A good
        third of it may be background.
    factor : by which the frames were reduced; motions are returned for the full size.
    weights : the share of each channel in the luminance.
    reference : index of the frame in which the subject stays where it is.
    size : (width, height) of the full-size frames; ``factor`` times the copy's where None.
    workers : threads; the result is the same for any number.
    on_frame : called as ``on_frame(done, count)`` now and then, in the calling thread.

    Returns
    -------
    The motion model is ``"still"``, ``"shift"`` or ``"similarity"``. A frame without the subject
    has ``used`` False and ``why`` in words; ``residual_px`` and ``agreement`` are of the box.

    Raises
    ------
    OptionError
        The box reaches beyond the picture or is too small.
    BurstError
        What is in the box has no texture; the reference does not show it; or no other frame does.
    """

    def read(number: int) -> Grey:
        return grey_of(source(number), weights)

    with ThreadPoolExecutor(workers) as pool:
        start = read(0)
        full = size or (factor * start.size[0], factor * start.size[1])
        outline = outline_of(reduced_box(box, full, factor))
        first = first_template(outline, start, levels_of(outline, start))
        if not first.has_texture:
            raise _no_texture(box)
        seen = _follow(read, count, first, pool, on_frame)
        template, fits = _fits(read, first, seen, count, pool)
        turns = needs_similarity(
            template,
            [fit.to_frame for fit in fits.values()],
            [fit.information for fit in fits.values()],
            _votes(fits),
        )
        if not turns:
            fits = _as_shifts(template, fits, seen, read, pool)
    if reference not in fits:
        # the first frame shows it by definition
        raise _not_in_reference(reference) if reference else _no_texture(box)
    if count > 1 and len(fits) < 2:
        raise _lost(box)
    model = _model_of(template, fits, turns, reference)
    return _conclude(template, fits, seen, model, reference, factor, start.size)


def _follow(
    read: Callable[[int], Grey],
    count: int,
    first: Template,
    pool: Executor,
    on_frame: Callable[[int, int], None] | None,
) -> _Seen:
    """Return where the subject was on a first look at each frame."""
    follower = Follower(first)
    seen = _Seen()
    kept = 0
    for number, frame in _in_order(read, count, pool):
        seen.lights.append(frame.mean_light)
        seen.expected.append(follower.predicted(number))
        # in the first frame the subject is where the box says
        found = follower.look(number, frame) if number else follower.motion
        if found is not None:
            patch = patch_about(frame, first.outline, found, first.coarsest + 1)
            kept += patch.bytes if patch else 0
            kept_patch = patch if kept < KEPT_BYTES else None
            seen.sightings[number] = Sighting(number, found, kept_patch)
        if on_frame:
            on_frame(number + 1, count)
    return seen


def _in_order(
    read: Callable[[int], Grey], count: int, pool: Executor
) -> Iterator[tuple[int, Grey]]:
    """Yield every frame in its turn, a few being read ahead."""
    waiting: deque[Future[Grey]] = deque()
    for number in range(count + AHEAD):
        if number < count:
            waiting.append(pool.submit(read, number))
        if number >= AHEAD:
            yield number - AHEAD, waiting.popleft().result()


def _fits(
    read: Callable[[int], Grey], first: Template, seen: _Seen, count: int, pool: Executor
) -> tuple[Template, dict[int, Fine]]:
    """Return the common template, and the fine fit of each frame in which the subject is."""
    patches = Patches(read, first)
    sightings = [seen.sightings[number] for number in sorted(seen.sightings)]
    template = common_template(first, sightings, patches, pool)
    missing = [number for number in range(count) if number not in seen.sightings]

    def again(number: int) -> Motion | None:
        found = find(template, read(number), _between(number, seen, template), REACH_PX)
        return None if found is None else found.to_frame

    # the common template knows the subject better than the one that followed it
    for number, to_frame in zip(missing, pool.map(again, missing), strict=True):
        if to_frame is not None:
            seen.sightings[number] = Sighting(number, to_frame, None)
    sightings = [seen.sightings[number] for number in sorted(seen.sightings)]
    return template, refined(template, sightings, patches, SIMILARITY, pool)


def _between(number: int, seen: _Seen, template: Template) -> Motion:
    """Return where the subject should be in a frame by the frames before and after it."""
    known = np.array(sorted(seen.sightings))
    nearest = seen.sightings[int(known[np.argmin(np.abs(known - number))])].to_frame
    middle = template.outline.middle
    places = np.array([apply(seen.sightings[int(n)].to_frame, [middle])[0] for n in known])
    x, y = (float(np.interp(number, known, places[:, axis])) for axis in (0, 1))
    return moved_to(nearest, middle, (x, y))


def _as_shifts(
    template: Template,
    fits: dict[int, Fine],
    seen: _Seen,
    read: Callable[[int], Grey],
    pool: Executor,
) -> dict[int, Fine]:
    """Return the fits as pure shifts."""
    middle = template.outline.middle
    sightings = []
    for number, fit in fits.items():
        x, y = apply(fit.to_frame, [middle])[0]
        plain = moved_to(identity(), middle, (float(x), float(y)))
        sightings.append(replace(seen.sightings[number], to_frame=plain))
    return refined(template, sightings, Patches(read, template), SHIFT, pool)


def _votes(fits: dict[int, Fine]) -> int:
    return int(np.median([fit.votes for fit in fits.values()])) if fits else 0


def _model_of(
    template: Template, fits: dict[int, Fine], turns: bool, reference: int
) -> MotionModel:
    """Return the name of the simplest model that explains the fits."""
    if turns:
        return "similarity"
    others = [fit for number, fit in fits.items() if number != reference]
    home = fits[reference].to_frame[:2, 2]
    moves = needs_shift(
        template,
        [fit.to_frame[:2, 2] - home for fit in others],
        [fit.information for fit in others],
        _votes(fits),
    )
    return "shift" if moves else "still"


def _conclude(
    template: Template,
    fits: dict[int, Fine],
    seen: _Seen,
    model: MotionModel,
    reference: int,
    factor: int,
    size: tuple[int, int],
) -> BurstMotion:
    """Return the verdict on every frame and the motion of those that are used."""
    looks = [_look(number, seen, fits, template, size) for number in range(len(seen.lights))]
    why = verdicts(looks)
    why[reference] = None
    home = fits[reference].to_frame
    frames = []
    for number, reason in enumerate(why):
        fit = fits.get(number)
        to_frame = fit.to_frame if fit else seen.expected[number]
        motion = to_full(home @ invert(to_frame), factor)
        if model == "shift":
            # free of the rounding of matrices
            motion = translation(float(motion[0, 2]), float(motion[1, 2]))
        if number == reference or (model == "still" and fit):
            motion = identity()
        residual = fit.uncertain_px * factor if fit else float(np.hypot(*size)) * factor
        frames.append(
            FrameMotion(
                to_reference=motion,
                local=None,
                residual_px=0.0 if is_identity(motion) else residual,
                used=reason is None,
                why=reason,
                agreement=fit.agreement if fit else 0.0,
                sharpness=looks[number].worst,
            )
        )
    return BurstMotion(reference, model, frames)


def _look(
    number: int, seen: _Seen, fits: dict[int, Fine], template: Template, size: tuple[int, int]
) -> Look:
    """Return what the verdict on a frame is to know."""
    x, y = apply(seen.expected[number], [template.outline.middle])[0]
    expected = (float(x) / size[0], float(y) / size[1])
    fit = fits.get(number)
    if fit is None:
        return Look(seen.lights[number], expected, found=False)
    return Look(
        mean_light=seen.lights[number],
        expected=expected,
        found=True,
        worst=fit.sharpness.worst,
        best=fit.sharpness.best,
        error=fit.sharpness.error,
        uncertain_px=fit.uncertain_px,
    )


def _named(box: tuple[float, float, float, float]) -> str:
    return "--box " + ",".join(f"{value:g}" for value in box)


def _no_texture(box: tuple[float, float, float, float]) -> BurstError:
    return BurstError(
        _named(box),
        "there is too little detail in the box to follow",
        remedy="draw it around something with edges, or use --hold still",
        code="subject-no-texture",
    )


def _not_in_reference(reference: int) -> BurstError:
    return unfit_reference(
        reference,
        "the subject cannot be found in it, so that nothing can be held to where it is there",
        remedy="name another --reference",
        code="subject-not-in-reference",
    )


def _lost(box: tuple[float, float, float, float]) -> BurstError:
    return BurstError(
        _named(box),
        "what is in the box cannot be found again in any other frame",
        remedy="draw it closer around the subject, or use --hold still",
        code="subject-lost",
    )
