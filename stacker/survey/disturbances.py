"""Findings about what passes and is not the subject, and about the sensor's own lights."""

from __future__ import annotations

from collections.abc import Sequence

from stacker.survey.findings import Finding, frame_spans, listed, place_in_words
from stacker.survey.hot_pixels import HotPixels
from stacker.survey.records import FrameRecord
from stacker.survey.soft_light import Veil
from stacker.survey.visitors import Visitor
from stacker.wording import spoken_share

# hot pixels that are named by their places, and per million pixels from which on they are many
NAMED, MANY = 3, 100
# share of the frames that are told by their numbers; of more, the whole burst is meant
MOST_TOLD = 0.5
# what a veil does to a picture of each subject, and what helps
VEILS = {
    "fireworks": "Choose shells from before the smoke with --last, or leave the worst frames out "
    "with --without; next time shoot with the wind across the view or from behind.",
    "star-trails": "Trails fade or break there. Choose the clear stretch with --first and --last.",
    "water": "A mean draws them soft, which may be welcome; --without leaves the worst frames out.",
    "crowd": "A median may show parts of several skies; --without leaves the worst frames out.",
}
VEILED = "--without leaves the worst frames out; --even does not help, as only a part changes."


def veil_findings(
    veil: Veil | None, read: Sequence[FrameRecord], subject: str, size: tuple[int, int]
) -> list[Finding]:
    """Return a finding about clouds or smoke. ``read`` are the frames that could be read."""
    if veil is None:
        return []
    names = [read[index].name for index in veil.indices]
    numbers = tuple(read[index].number for index in veil.indices)
    when = f"most in {listed(names)}"
    if len(numbers) > MOST_TOLD * len(read):
        when = "through most of the burst"
    elif len(numbers) > 1:
        when += f" (numbers {frame_spans(numbers)})"
    return [
        Finding(
            "clouds-or-smoke",
            "note",
            f"Something soft drifts through {spoken_share(veil.share)} of the picture, "
            f"{place_in_words(veil.box, size)}, {when}: the light there changes by "
            f"{veil.stops:.2g} stops while the rest keeps its own.",
            "Clouds or their shadows, fog or smoke, or a lamp that brightened or dimmed.",
            VEILS.get(subject, VEILED),
            numbers,
        )
    ]


def visitor_findings(
    visitors: Sequence[Visitor], read: Sequence[FrameRecord], size: tuple[int, int]
) -> list[Finding]:
    """Return a finding about birds and the like. ``read`` are the frames that could be read."""
    if not visitors:
        return []
    places = [f"{read[v.index].name} ({place_in_words(v.box, size)})" for v in visitors]
    numbers = tuple(sorted({read[v.index].number for v in visitors}))
    which = frame_spans(numbers)
    return [
        Finding(
            "small-visitor",
            "note",
            f"Something small passes where nothing else moves, in {listed(places)}.",
            "A bird, an insect or an aircraft.",
            f"A median never shows it, and a mean of many frames hardly; --without {which} leaves "
            "it out.",
            numbers,
        )
    ]


def hot_pixel_findings(hot: HotPixels | None, size: tuple[int, int]) -> list[Finding]:
    """Return a finding about pixels that shine, or stay dark, in every frame."""
    if hot is None or not hot.places:
        return []
    many = hot.count > MANY * size[0] * size[1] / 1e6
    places = listed([f"{x},{y}" for x, y in hot.places])
    found = len(hot.places)
    single = found == 1 and hot.share == 1
    counted = f"{hot.count} pixel{'s are' if hot.count != 1 else ' is'} hot or dead"
    if hot.share < 1:
        counted = (
            f"About {hot.count} pixels are hot or dead, by {found} found in "
            f"{spoken_share(hot.share)} of the picture"
        )
    return [
        Finding(
            "hot-pixels",
            "caution" if many else "note",
            f"{counted}: the same in every frame, at {places}.",
            "Photosites of the sensor leak light, the more the warmer it is and the longer they "
            "are open.",
            f"--hot-pixels mend takes {'it' if single else 'them'} out; a --dark, shot with the "
            "lens cap on, does so as well.",
        )
    ]
