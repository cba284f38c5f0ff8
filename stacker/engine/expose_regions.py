"""The main job with regions: exposures that are made in their own ways, mixed into one picture."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from stacker.blend import find_blend
from stacker.blend.mixing import MaskArray
from stacker.burst import Burst
from stacker.engine.cover import Region as Rectangle
from stacker.engine.expose import Exposure, Part, expose_whole
from stacker.engine.glow import without_glow
from stacker.engine.holding import Holding
from stacker.engine.mixed import (
    Balanced,
    Covers,
    Layer,
    covered_by,
    everywhere,
    layer_of,
    mixed_pieces,
    sure_waiting,
    waiting,
)
from stacker.engine.moments import choose_moments
from stacker.engine.prepare import Prepared, prepare
from stacker.engine.progress import Progress, Silent
from stacker.engine.region import Region
from stacker.engine.region_masks import Masks, masks_of
from stacker.engine.settings import Settings
from stacker.engine.shot import Shot
from stacker.engine.span import span_of, weights_of
from stacker.engine.spool import Spool
from stacker.errors import OptionError, StackerError
from stacker.register import Warp
from stacker.register.masked_warp import MaskedWarp


def expose_burst(
    burst: Burst, settings: Settings, *, progress: Progress | None = None
) -> dict[str, Shot]:
    """Return the exposures by the names of their blends.

    Raises
    ------
    OptionError
        A setting does not fit the burst, or the memory is too small.
    FrameError
        A frame is bad and ``settings.on_bad`` is ``"stop"``.
    BurstError
        No frame is left to make a picture from.
    """
    progress = progress or Silent()
    moments = choose_moments(burst, settings, progress)
    shots = expose_spans(burst, moments.settings, progress, of_moments=bool(moments.found))
    if settings.glow == "out":
        progress.start("looking at the glow of the sky", len(shots))
        for name, shot in shots.items():
            shots[name] = without_glow(shot)
            progress.advance()
    return moments.telling(shots)


def expose_spans(
    burst: Burst, settings: Settings, progress: Progress, *, of_moments: bool
) -> dict[str, Shot]:
    """Return the exposures of spans of frames by the names of their blends.

    ``of_moments`` is whether the spans are those of moments: masks are then looked for in the
    whole burst, as a moment of a dusk does not show what fades. Errors are those of
    ``expose_burst``.
    """
    if not settings.regions and not settings.masks:
        return expose_whole(burst, settings, progress).shots
    for region in settings.regions:
        _check(burst, settings, region)
    masks = masks_of(burst, settings, progress, everywhere=of_moments)
    kept = tuple(region for region in settings.regions if region in masks.shown)
    settings = replace(settings, regions=kept)
    if not kept:
        shots = expose_whole(burst, settings, progress).shots
        return {name: _noting(shot, masks) for name, shot in shots.items()}
    return _Regions(burst, settings, masks, progress).shots()


def _check(burst: Burst, settings: Settings, region: Region) -> None:
    """Refuse a blend that is none and a span beyond the burst, in words that name the region."""
    own = settings.within(region)
    try:
        for name in own.blends:
            find_blend(name)
        weights_of(burst, span_of(burst, own), own)
    except OptionError as error:
        raise OptionError(
            f"{region.option}: {error.where}", error.why, remedy=error.remedy, code=error.code
        ) from error


def _noting(shot: Shot, masks: Masks) -> Shot:
    """Return a shot without regions that says why, and what was found of masks."""
    report = {**shot.report, "warnings": [*masks.warnings, *shot.report["warnings"]]}
    return replace(shot, report=report, masks=masks.found)


@dataclass(eq=False)
class _Group:
    """Regions that share a pass: the same frames, held in the same way.

    Parameters
    ----------
    key : what they have in common.
    filled : their blends, and whether the gaps of each are filled.
    """

    key: Settings
    filled: dict[str, bool] = field(default_factory=dict)

    @property
    def settings(self) -> Settings:
        """What the pass is made with."""
        bridge = True if any(self.filled.values()) else None
        return replace(self.key, blends=tuple(self.filled), bridge=bridge)

    @property
    def bridged(self) -> list[str]:
        """The blends whose gaps are filled."""
        return [name for name, bridge in self.filled.items() if bridge]

    def takes(self, key: Settings, blends: Sequence[str], bridge: bool) -> bool:
        """Return whether a region fits in, and put it in."""
        if key != self.key or any(self.filled.get(name, bridge) != bridge for name in blends):
            return False
        self.filled |= dict.fromkeys(blends, bridge)
        return True


class _Regions:
    """One picture of regions being made."""

    def __init__(self, burst: Burst, settings: Settings, masks: Masks, progress: Progress) -> None:
        self.burst = burst
        self.settings = settings
        self.masks = masks
        self.progress = progress
        self.groups: list[_Group] = []
        # the rest of the picture first, then the regions as they lie over each other
        self.of = [self._group(settings, None)] + [
            self._group(settings.within(region), region) for region in settings.regions
        ]
        self.spool = Spool() if len(self.groups) > 1 else None
        self._prepared: dict[object, Prepared] = {}

    def shots(self) -> dict[str, Shot]:
        """Return the mixed pictures by the names of the main blends."""
        made: dict[int, Exposure] = {}
        layers: dict[tuple[int, str], Layer] = {}
        reference = self.masks.reference
        # what is held to the ground comes first: it says where the sky is to be seen from
        order = sorted(range(len(self.groups)), key=lambda n: self.groups[n].key.hold == "sky")
        for number in order:
            group = self.groups[number]
            part = Part(reference, group.bridged, self._seen(group), self._prepare)
            exposure = expose_whole(self.burst, group.settings, self.progress, part)
            made[number] = exposure
            if reference is None and exposure.holding.warps:
                reference = exposure.holding.reference
            for name, shot in exposure.shots.items():
                layers[number, name] = self._layer(exposure, shot, last=number == order[-1])
        return {name: self._mixed(name, made, layers) for name in self.settings.blends}

    def _group(self, settings: Settings, region: Region | None) -> int:
        """Return the number of the group that makes a region, or the rest."""
        bridge = bool(settings.bridge)
        crop = settings.crop
        if crop is None and settings.hold in ("sky", "subject"):
            # where the sky turns little is seen by all frames; one has to be enough
            crop = "full"
        key = replace(settings, blends=("mean",), regions=(), masks=(), bridge=None, crop=crop)
        for number, group in enumerate(self.groups):
            if group.takes(key, settings.blends, bridge):
                return number
        self.groups.append(_Group(key, dict.fromkeys(settings.blends, bridge)))
        return len(self.groups) - 1

    def _prepare(
        self, burst: Burst, settings: Settings, weights: Sequence[float], progress: Progress
    ) -> Prepared:
        """Return the burst ready to be blended, once for all groups of the same frames."""
        used = tuple(weights)
        if used not in self._prepared:
            self._prepared[used] = prepare(burst, settings, weights, progress)
        return self._prepared[used]

    def _seen(self, group: _Group) -> Any:
        """Return what lets frames that are held to the sky count only where they show sky."""
        held_otherwise = any(other.key.hold != "sky" for other in self.groups)
        if group.key.hold != "sky" or not held_otherwise:
            return None
        shows = self.masks.part_of(
            [self.groups[number] is group for number in self.of], self.settings.regions
        )

        def seen(holding: Holding) -> Holding:
            if holding.instead not in (None, "sky"):
                # the stars could not be held
                return holding
            warps = {
                place: MaskedWarp(
                    warp.to_reference,
                    warp.size,
                    warp.local,
                    mask=shows,
                    to_mask=self.masks.ground_motion(place),
                )
                for place, warp in holding.warps.items()
            }
            return replace(holding, warps=warps)

        return seen

    def _layer(self, exposure: Exposure, shot: Shot, *, last: bool) -> Layer:
        """Return the layer of an exposure; its mask comes when it is known where it lies."""
        holding = exposure.holding
        covers: Covers = everywhere
        if holding.masked:
            warps = _nearest_first(holding, exposure.used)
            covers = covered_by(warps)
        if last or self.spool is None:
            return layer_of(shot.pieces, exposure.rows, holding.region, None, covers)
        width = holding.region.size[0]
        sure = sure_waiting(shot.pieces, width, self.spool) if shot.is_bridged else []
        pieces = waiting(shot.pieces, self.spool)
        return Layer(pieces, exposure.rows, holding.region, None, covers, sure)

    def _mixed(
        self,
        name: str,
        made: Mapping[int, Exposure],
        layers: Mapping[tuple[int, str], Layer],
    ) -> Shot:
        regions = self.settings.regions
        names = [name] + [region.blend or name for region in regions]
        shown: list[MaskArray | None] = [None]
        shown += [self.masks.shown[region] for region in regions]
        shots = [made[n].shots[blend] for n, blend in zip(self.of, names, strict=True)]
        tints = [None] + [_balanced(*each) for each in zip(regions, shots[1:], strict=True)]
        stack = [
            replace(layers[number, blend], mask=mask, balanced=tint)
            for number, blend, mask, tint in zip(self.of, names, shown, tints, strict=True)
        ]
        picture = _common([layer.region for layer in stack])
        rest = shots[0]
        return replace(
            rest,
            pieces=mixed_pieces(stack, picture.rows),
            columns=picture.columns,
            size=picture.size,
            brightest=max(
                shot.brightest if tint is None else tint.brightest
                for shot, tint in zip(shots, tints, strict=True)
            ),
            sources=frozenset().union(self.masks.sources, *(shot.sources for shot in shots)),
            agreeing=rest.agreeing if rest.size == picture.size else None,
            masks=self.masks.found,
            report=self._report(rest, shots[1:], picture),
        )

    def _report(self, rest: Shot, shots: Sequence[Shot], picture: Rectangle) -> dict[str, Any]:
        """Return the report of the rest with what was done in each region."""
        regions = [
            {
                "mask": region.mask,
                "said": region.told(),
                "share": self.masks.share(region),
                **self.masks.details.get(region.mask, {}),
                **{key: shot.report[key] for key in OF_REGION},
                **{key: shot.report[key] for key in ("bridge",) if key in shot.report},
                "blend": shot.report["settings"]["blend"],
                "frames": [each["name"] for each in shot.report["frames"] if each["used"]],
            }
            for region, shot in zip(self.settings.regions, shots, strict=True)
        ]
        warnings = [*self.masks.warnings]
        for shot in (rest, *shots):
            warnings += [each for each in shot.report["warnings"] if each not in warnings]
        rows, columns = picture.rows, picture.columns
        place = {"x": columns.start, "y": rows.start, "width": len(columns), "height": len(rows)}
        settings = {
            **rest.report["settings"],
            "blends": self.settings.blends,
            "bridge": self.settings.bridge,
            "crop": self.settings.crop,
            "masks": self.settings.masks,
            "regions": [asdict(region) for region in self.settings.regions],
        }
        return {
            **rest.report,
            "settings": settings,
            "size": list(picture.size),
            "region": place,
            "regions": regions,
            "warnings": warnings,
        }


# of a region's own report, what the picture's report tells of it
OF_REGION = ("hold", "motion_model", "reference", "frames_used", "open_s", "elapsed_s")


def _balanced(region: Region, shot: Shot) -> Balanced | None:
    """Return the white balance of a region's own; None where it has none."""
    balance = region.balance.told_balance(shot.space)
    return None if balance is None else Balanced(balance, shot.space, shot.brightest)


def _nearest_first(holding: Holding, used: Sequence[int]) -> list[Warp]:
    """Return the warps of frames, the reference's first: it covers most."""
    first = used[0] if holding.reference is None else holding.reference
    order = sorted(used, key=lambda place: abs(place - first))
    return [holding.warps[place] for place in order if place in holding.warps]


def _common(rectangles: Sequence[Rectangle]) -> Rectangle:
    """Return what of the reference all exposures are of.

    Raises
    ------
    StackerError
        They have nothing in common.
    """
    rows = range(
        max(each.rows.start for each in rectangles), min(each.rows.stop for each in rectangles)
    )
    columns = range(
        max(each.columns.start for each in rectangles),
        min(each.columns.stop for each in rectangles),
    )
    if not rows or not columns:
        raise StackerError(
            "--region",
            "the regions, as they are held, have no part of the picture in common",
            remedy="use --crop full, or hold them alike",
            code="region-apart",
        )
    return Rectangle(rows, columns)
