"""The options of an exposure that suit a burst, ready to be pasted."""

from __future__ import annotations

from collections.abc import Sequence

from stacker.survey.brightness import Brightness
from stacker.survey.findings import frame_spans
from stacker.survey.records import FrameRecord
from stacker.survey.shake import Stand
from stacker.survey.subject import Subject

# a shake smaller than this is not worth resampling the frames for, px
WORTH_HOLDING_PX = 0.5
# verdicts of frames that spoil a picture
LEFT_OUT = ("unreadable", "black", "flash", "blurred", "elsewhere")


def options_for(
    subject: Subject | None,
    stand: Stand,
    records: Sequence[FrameRecord],
    light: Brightness,
    followed: tuple[int, int, int, int] | None,
    *,
    mend: bool = False,
) -> tuple[str, ...]:
    """Return the words of ``stacker expose`` that suit the burst, but for sources and output.

    Parameters
    ----------
    followed : the box of what the camera followed.
    mend : whether there are hot pixels.
    """
    words = list(subject.options if subject else ("--blend", "mean"))
    pan = subject is not None and subject.name == "pan" and followed is not None
    if pan and followed is not None:
        words += ["--hold", "subject", "--box", ",".join(map(str, followed))]
    elif stand != "unknown" and _shake(records) > WORTH_HOLDING_PX:
        words += ["--hold", "scene"]
    lit_alike = subject is None or subject.name not in ("dusk", "fireworks")
    if stand != "unknown" and lit_alike:
        if light.jumps:
            words += ["--even", "level"]
        elif light.seen:
            words += ["--even", "auto"]
    if mend:
        words += ["--hot-pixels", "mend"]
    without = [record.number for record in records if record.verdict in LEFT_OUT]
    if without and len(without) < len(records):
        words += ["--without", frame_spans(without)]
    return tuple(words)


def _shake(records: Sequence[FrameRecord]) -> float:
    places = [record.place for record in records if record.place is not None]
    return max((place.shake_px for place in places), default=0.0)
