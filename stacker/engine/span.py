"""Which frames take part, and how much each of them counts."""

from __future__ import annotations

from collections.abc import Sequence

from stacker.burst import Burst, Frame
from stacker.engine.settings import Settings
from stacker.errors import OptionError

# light that falls with this power of time falls evenly in lightness, nearly as codes of sRGB do
EVEN_TO_THE_EYE = 2.4


def span_of(burst: Burst, settings: Settings) -> range:
    """Return the places (from 0) of the frames between ``first`` and ``last`` or ``shutter_s``.

    Raises
    ------
    OptionError
        The span lies beyond the burst, is empty, or its open time is not known.
    """
    if settings.moment is not None:
        # it was looked for before, where that is done
        raise OptionError(
            f"--moment {settings.moment}",
            "is for stacker expose alone",
            remedy="give the frames by --first and --last; stacker expose tells them",
            code="option-moment",
        )
    count = len(burst.frames)
    first = 1 if settings.first is None else settings.first
    last = count if settings.last is None else settings.last
    for option, place in (("--first", first), ("--last", last)):
        if not 1 <= place <= count:
            raise OptionError(
                f"{option} {place}",
                f"the burst has {count} frame{'s' if count != 1 else ''}",
                remedy=f"give a number from 1 to {count}",
                code="option-span",
            )
    if first > last:
        raise OptionError(
            f"--first {first} --last {last}",
            "the span is empty",
            remedy="the first frame must not come after the last",
            code="option-span",
        )
    if settings.shutter_s is not None:
        last = _nearest_last(burst.frames, first, settings)
    return range(first - 1, last)


def _nearest_last(frames: Sequence[Frame], first: int, settings: Settings) -> int:
    """Return the last frame, counted from 1, for the open time nearest to the one wanted.

    Frames that are left out, or known to be bad and skipped, do not count.
    """
    shutter_s = settings.shutter_s or 0.0
    open_s, best = 0.0, (float("inf"), first)
    for place in range(first, len(frames) + 1):
        skipped = frames[place - 1].problem is not None and settings.on_bad == "skip"
        if skipped or place in settings.without:
            continue
        shutter = frames[place - 1].shutter_s
        if shutter is None:
            raise OptionError(
                f"--shutter {shutter_s:g}",
                f"the shutter time of {frames[place - 1].name} is not known",
                remedy="add --frame-shutter SECONDS, or choose by --first and --last",
                code="option-span",
            )
        open_s += shutter
        best = min(best, (abs(open_s - shutter_s), place))
    return best[1]


def weights_of(burst: Burst, span: range, settings: Settings) -> tuple[float, ...]:
    """Return one weight per frame of the whole burst, 0 outside the span.

    Weights are relative: the greatest becomes 1. But for poses they are visibilities.

    Raises
    ------
    OptionError
        The number of weights given is not that of the span, or all weights come to nothing.
    """
    given = settings.weights or (1.0,) * len(span)
    if len(given) != len(span):
        raise OptionError(
            "--weights",
            f"there are {len(given)} weights for {len(span)} frames",
            remedy="give one number per frame of the span",
            code="option-weights",
        )
    for number in settings.without:
        if not 1 <= number <= len(burst.frames):
            raise OptionError(
                f"--without {number}",
                f"the burst has {len(burst.frames)} frames",
                remedy=f"give numbers from 1 to {len(burst.frames)}",
                code="option-span",
            )
    weights = [0.0] * len(burst.frames)
    for place, weight in zip(span, given, strict=True):
        if place + 1 in settings.without:
            continue
        ramp = _ramp(burst.frames, span, place, settings)
        weights[place] = weight * ramp
    greatest = max(weights)
    if greatest == 0:
        raise OptionError(
            "--weights",
            "no frame has any weight",
            remedy="give at least one a number above 0",
            code="option-weights",
        )
    if "poses" in settings.blends:
        if greatest > 1:
            raise OptionError(
                f"--weights {greatest:g}",
                "nothing is more than wholly visible",
                remedy="give numbers from 0 to 1 for poses: 1 is solid, 0.4 a ghost",
                code="option-weights",
            )
        return tuple(weights)
    return tuple(weight / greatest for weight in weights)


def fading_of(
    burst: Burst, weights: Sequence[float], settings: Settings
) -> tuple[float, ...] | None:
    """Return how much of each frame's light is left in a lighten with a tail, 0 to 1.

    Light fades with its distance in time from the brightest frame, in even steps to the eye,
    and is gone after ``tail_s``. None where nothing fades.
    """
    if settings.tail_s is None:
        return None
    middles = [frame.start_s + (frame.shutter_s or 0.0) / 2 for frame in burst.frames]
    used = [middle for middle, weight in zip(middles, weights, strict=True) if weight > 0]
    first, last = min(used), max(used)
    brightest = {"start": last, "end": first, "both": (first + last) / 2}[settings.tail_to]
    left = [max(0.0, 1 - abs(middle - brightest) / settings.tail_s) for middle in middles]
    # of an even number of frames none is taken in the very middle
    greatest = max(value for value, weight in zip(left, weights, strict=True) if weight > 0)
    if greatest == 0:
        raise OptionError(
            f"--tail {settings.tail_s:g}",
            "is shorter than the time from one frame to the next",
            remedy="give more seconds",
            code="option-value",
        )
    return tuple((value / greatest) ** EVEN_TO_THE_EYE for value in left)


def _ramp(frames: Sequence[Frame], span: range, place: int, settings: Settings) -> float:
    """Return how far the shutter is open on average while a frame is taken, 0 to 1.

    The opening rises evenly over ``ramp_in_s`` from the span's start and falls evenly over
    ``ramp_out_s`` to its end.
    """
    if settings.ramp_in_s == 0 and settings.ramp_out_s == 0:
        return 1.0
    for index in span:
        if frames[index].shutter_s is None:
            raise OptionError(
                "--ramp-in, --ramp-out",
                f"the shutter time of {frames[index].name} is not known",
                remedy="add --frame-shutter SECONDS",
                code="option-span",
            )
    start_s, end_s = frames[span[0]].start_s, _end_s(frames[span[-1]])
    opening_s, closing_s = frames[place].start_s, _end_s(frames[place])
    # a frame's share is taken at several moments: the corners of the ramp may lie within it
    moments = [opening_s + (closing_s - opening_s) * (k + 0.5) / 16 for k in range(16)]
    total = 0.0
    for moment in moments:
        rise = (moment - start_s) / settings.ramp_in_s if settings.ramp_in_s else 1.0
        fall = (end_s - moment) / settings.ramp_out_s if settings.ramp_out_s else 1.0
        total += min(1.0, max(0.0, rise), max(0.0, fall))
    return total / len(moments)


def _end_s(frame: Frame) -> float:
    return frame.start_s + (frame.shutter_s or 0.0)
