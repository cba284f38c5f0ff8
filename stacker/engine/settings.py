"""Everything that can be chosen for an exposure, as one frozen object.

The command and the function make one of these and hand it on, so that they cannot drift apart.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal, get_args

from stacker.engine.region import NAMED_MASKS, SPANNING, USUAL, Region, check_moment, region_of
from stacker.engine.stroke_change import StrokeChange
from stacker.engine.subjects import ChosenFor
from stacker.errors import OptionError

OnBad = Literal["stop", "skip"]
Hold = Literal["still", "scene", "sky", "subject"]
Crop = Literal["common", "full"]
Floor = Literal["plain", "true"]
TailTo = Literal["start", "end", "both"]
Even = Literal["off", "auto", "level", "sky", "ground"]
HotPixels = Literal["auto", "mend", "keep"]
Glow = Literal["keep", "out"]
Planes = Literal["keep", "out"]
# blends in which the gaps between frames show: they keep the greatest light, or add light up
KEEPING_BLENDS, ADDING_BLENDS = ("lighten", "lights", "max"), ("mean", "sum")
BRIDGED_BLENDS = (*KEEPING_BLENDS, *ADDING_BLENDS)


@dataclass(frozen=True, kw_only=True)
class Settings:
    """How a burst becomes a picture.

    Parameters
    ----------
    blends : names of blends; several share one pass over the files.
    hold : what is held still; ``still`` uses the frames as they lie, ``scene`` brings them to where
        one of them looked, if the burst needs it, ``sky`` holds the stars, ``subject`` what is in
        the box.
    box : x, y, width and height in pixels of the first frame used; for ``subject``.
    reference : name or number of that frame; a sharp one near the middle if None.
    crop : what leaves of frames that were moved: ``common``, what all of them saw, or ``full``, all
        that the reference saw; common if None, but full for ``subject``.
    moment : the frames about a moment, in place of a span: ``auto`` for that at which sky and
        lamps of a dusk balance, or a time by the frames' own clock, such as ``21:21``.
    first, last : span of frames, counted from 1, both ends included; the whole burst if None.
    without : frames to leave out, counted from 1 in the whole burst.
    shutter_s : open time in seconds that the span from ``first`` on should come nearest to.
    ramp_in_s, ramp_out_s : time over which the shutter opens and closes gradually, in seconds.
    weights : one factor per frame of the span, 0 or more, relative to the greatest; all 1 if None.
    floor : of a lighten: ``plain`` keeps the greatest value everywhere, ``true`` only where it
        stands clear of the noise, and the mean elsewhere.
    tail_s : of a lighten: seconds over which light fades to nothing, away from its brightest
        frame; light does not fade if None.
    tail_to : the side to which it fades; with ``both`` the middle of the span is brightest.
    bridge : whether to fill the gaps between frames; False if None.
    trim : limits of the trimmed mean below and above, in standard deviations.
    even : gains per frame against uneven light; ``auto`` takes out flicker and keeps slow changes
        such as dusk, ``level`` brings all frames to one light, ``off`` leaves them as they are;
        ``sky`` and ``ground`` take flicker out of that part alone, by what keeps still there.
    keep_bursts : of fireworks: how many bursts to keep, or ``auto`` for as many as fill the sky;
        frames of the others are left out. All if None.
    find_passes : of light painting: whether to look for the passes of the lamp, and tell them.
    passes : what becomes of passes, each named once.
    glow : the gradient of a night sky: ``out`` makes it as dark everywhere as where it is darkest.
    planes : of star trails: whether streaks of planes and satellites are kept, or taken ``out`` of
        the frames.
    doubts : of a median: whether to look for what stood in one place for more than half of the
        frames, and so stays.
    darks, flats, biases : folders, patterns or files of calibration frames, or one master file;
        none if empty.
    hot_pixels : ``mend`` looks for hot and dead pixels in the burst too, ``keep`` leaves them,
        ``auto`` mends those that darks and flats show.
    on_bad : stop at a frame that cannot be read, or skip it.
    memory : bytes that may be used; a share of what is free if None.
    workers : threads; one per processor if None.
    regions : parts of the picture that are made in their own way; each lies over those before it.
    masks : names of masks that are to be found, whether or not a region is theirs: ``sky``,
        ``ground``, ``moving``, ``still``.
    subject : what the subject chose of these, which is given up where it cannot be done.
    """

    blends: tuple[str, ...] = ("mean",)
    hold: Hold | None = None
    reference: str | None = None
    crop: Crop | None = None
    box: tuple[float, ...] | None = None
    moment: str | None = None
    first: int | None = None
    last: int | None = None
    without: tuple[int, ...] = ()
    shutter_s: float | None = None
    ramp_in_s: float = 0.0
    ramp_out_s: float = 0.0
    weights: tuple[float, ...] | None = None
    floor: Floor = "plain"
    tail_s: float | None = None
    tail_to: TailTo = "start"
    bridge: bool | None = None
    trim: tuple[float, float] = (3.0, 3.0)
    even: Even = "off"
    keep_bursts: int | Literal["auto"] | None = None
    find_passes: bool = False
    passes: tuple[StrokeChange, ...] = ()
    planes: Planes = "keep"
    glow: Glow = "keep"
    doubts: bool = False
    darks: tuple[str, ...] = ()
    flats: tuple[str, ...] = ()
    biases: tuple[str, ...] = ()
    hot_pixels: HotPixels = "auto"
    on_bad: OnBad = "stop"
    memory: int | None = None
    workers: int | None = None
    regions: tuple[Region, ...] = ()
    masks: tuple[str, ...] = ()
    subject: ChosenFor | None = None

    def __post_init__(self) -> None:
        if self.hold is not None:
            _choice("--hold", self.hold, get_args(Hold))
        if self.crop is not None:
            _choice("--crop", self.crop, get_args(Crop))
        _check_box(self.hold, self.box)
        _choice("--even", self.even, get_args(Even))
        _choice("--floor", self.floor, get_args(Floor))
        _choice("--tail-to", self.tail_to, get_args(TailTo))
        _choice("--hot-pixels", self.hot_pixels, get_args(HotPixels))
        _choice("planes", self.planes, get_args(Planes))
        _choice("--glow", self.glow, get_args(Glow))
        _choice("--on-bad", self.on_bad, get_args(OnBad))
        named: dict[str, object] = {
            "--dark": self.darks,
            "--flat": self.flats,
            "--bias": self.biases,
        }
        for option, sources in named.items():
            # a text would be taken apart into its letters
            if isinstance(sources, str | Path):
                raise OptionError(
                    option,
                    f"{str(sources)!r} is no tuple of names",
                    remedy=f"give ({str(sources)!r},)",
                    code="option-value",
                )
        for name in ("darks", "flats", "biases"):
            # the report is text; a Path, which opens like a name, becomes one
            object.__setattr__(self, name, tuple(str(each) for each in getattr(self, name)))
        if not self.blends:
            raise OptionError("--blend", "no blend is named", code="option-blend")
        if self.bridge and not set(self.blends) & set(BRIDGED_BLENDS):
            raise OptionError(
                "--bridge",
                f"{' and '.join(self.blends)} knows no gaps that could be filled",
                remedy=f"leave it out, or blend by {', '.join(BRIDGED_BLENDS)}",
                code="option-bridge",
            )
        if self.shutter_s is not None:
            _positive("--shutter", self.shutter_s)
        if self.tail_s is not None:
            _positive("--tail", self.tail_s)
        for option, seconds in (("--ramp-in", self.ramp_in_s), ("--ramp-out", self.ramp_out_s)):
            if not (math.isfinite(seconds) and seconds >= 0):
                raise _nonsense(option, seconds, "0 or more seconds")
        if self.keep_bursts not in (None, "auto") and (
            not isinstance(self.keep_bursts, int) or self.keep_bursts < 1
        ):
            raise OptionError(
                f"--keep-bursts {self.keep_bursts}",
                "is no number of bursts",
                remedy="give 1 or more, or auto",
                code="option-value",
            )
        if self.workers is not None and self.workers < 1:
            raise _nonsense("--workers", self.workers, "1 or more")
        if self.last is not None and self.shutter_s is not None:
            raise OptionError(
                "--shutter",
                "the span is given twice",
                remedy="give --last or --shutter, not both",
                code="option-span",
            )
        has_span = any(getattr(self, name) is not None for name in SPANNING)
        check_moment("--moment", self.moment, has_span)
        for limit in self.trim:
            _positive("--trim", limit)
        for weight in self.weights or ():
            if not (math.isfinite(weight) and weight >= 0):
                raise _nonsense("--weights", weight, "numbers of 0 or more")

        object.__setattr__(self, "regions", tuple(region_of(each) for each in self.regions))
        for region in self.regions:
            self.within(region)
        for name in self.masks:
            _choice("masks", name, NAMED_MASKS)

    def within(self, region: Region) -> Settings:
        """Return the settings of the pictures that a region is made of, without regions.

        Raises
        ------
        OptionError
            What the region says makes no sense; the sentence names the region.
        """
        said = region.said()
        blends = self.blends if region.blend is None else (region.blend,)
        if "bridge" not in said and not set(blends) & set(BRIDGED_BLENDS):
            said["bridge"] = None
        if "moment" in said:
            said = {**dict.fromkeys(SPANNING), **said}
        elif region.has_span:
            said["moment"] = None
        if {"shutter_s"} <= set(said) and "last" not in said:
            said["last"] = None
        if {"last"} <= set(said) and "shutter_s" not in said:
            said["shutter_s"] = None
        if said.get("hold", self.hold) != "subject":
            said["box"] = None
        subject = self.subject
        if said.get("hold") == USUAL:
            said["hold"] = None
        if subject is not None and "hold" in said:
            # the subject's own hold is another one
            subject = replace(
                subject, choices=tuple(c for c in subject.choices if c.option != "hold")
            )
        try:
            return replace(self, blends=blends, regions=(), masks=(), subject=subject, **said)
        except OptionError as error:
            raise OptionError(
                f"{region.option}: {error.where}", error.why, remedy=error.remedy, code=error.code
            ) from error

    def is_chosen(self, option: str) -> bool:
        """Return whether the subject chose an option, so that nothing may fail for it."""
        return self.subject is not None and self.subject.chose(option)


def _check_box(hold: Hold | None, box: tuple[float, ...] | None) -> None:
    """Refuse a subject without a box, a box without a subject, and a box that is none."""
    if (hold == "subject") != (box is not None):
        raise OptionError(
            "--hold subject" if box is None else "--box",
            "needs --box" if box is None else "is for --hold subject",
            remedy="give the subject's place in the first frame, such as --box 1200,800,300,200"
            if box is None
            else "give both, or leave it out",
            code="option-box",
        )
    if box is None:
        return
    if len(box) != 4 or not all(map(math.isfinite, box)) or min(box[2:]) <= 0:
        raise OptionError(
            f"--box {','.join(f'{value:g}' for value in box)}",
            "is no box",
            remedy="give X,Y,WIDTH,HEIGHT in pixels, such as 1200,800,300,200",
            code="option-box",
        )


def _choice(option: str, value: str, choices: tuple[str, ...]) -> None:
    if value not in choices:
        raise OptionError(
            f"{option} {value}",
            "no such choice in this version",
            remedy="choose " + " or ".join(filter(None, (", ".join(choices[:-1]), choices[-1]))),
            code="option-choice",
        )


def _positive(option: str, value: float) -> None:
    if not (math.isfinite(value) and value > 0):
        raise _nonsense(option, value, "a number above 0")


def _nonsense(option: str, value: float, wanted: str) -> OptionError:
    return OptionError(
        f"{option} {value:g}", "makes no sense here", remedy=f"give {wanted}", code="option-value"
    )
