"""Where the files go that an exposure leaves: pictures, maps and the report."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

from stacker.errors import OptionError


@dataclass(frozen=True)
class Beside:
    """Files that are written beside the picture, where asked for."""

    report: Path | None
    bridge_map: Path | None
    doubt_map: Path | None
    masks: Path | None = None
    pass_pages: Path | None = None

    def maps(self, blends: tuple[str, ...]) -> dict[str, Path]:
        """Return where the map of each blend's bridge goes."""
        from stacker.engine.settings import BRIDGED_BLENDS

        bridged = tuple(name for name in blends if name in BRIDGED_BLENDS)
        return targets_of(self.bridge_map, bridged) if self.bridge_map is not None else {}

    def check(
        self, targets: dict[str, Path], *, overwrite: bool, sources: Collection[Path] = ()
    ) -> None:
        """Refuse names under which nothing can be written, or that are used twice."""
        from stacker.engine import check_masks
        from stacker.engine.report_file import check_report
        from stacker.engine.stroke_pages import check_pages
        from stacker.finish import check_grey

        taken = dict.fromkeys((target.resolve() for target in targets.values()), "the picture")
        maps = self.maps(tuple(targets))
        for target in maps.values():
            check_grey(target, overwrite=overwrite, sources=sources)
            _check_name("--bridge-map", target, taken)
        taken |= dict.fromkeys((target.resolve() for target in maps.values()), "the map")
        if self.masks is not None:
            check_masks(self.masks, overwrite=overwrite, sources=sources)
        if self.doubt_map is not None:
            check_grey(self.doubt_map, overwrite=overwrite, sources=sources)
            _check_name("--doubt-map", self.doubt_map, taken)
            taken[self.doubt_map.resolve()] = "the map of doubts"
        if self.pass_pages is not None:
            check_pages(self.pass_pages, overwrite=overwrite, sources=sources)
            _check_name("--pass-pages", self.pass_pages, taken)
            taken[self.pass_pages.resolve()] = "the pages of passes"
        if self.report is not None:
            check_report(self.report, overwrite=overwrite, sources=sources)
            _check_name("--report", self.report, taken)


def targets_of(output: Path, blends: tuple[str, ...]) -> dict[str, Path]:
    """Return where each blend's picture goes: the name itself where there is only one."""
    if len(blends) == 1:
        return {blends[0]: output}
    return {name: output.with_name(f"{output.stem}-{name}{output.suffix}") for name in blends}


def _check_name(option: str, target: Path, taken: dict[Path, str]) -> None:
    if target.resolve() in taken:
        raise OptionError(
            f"{option} {target}",
            f"is the name of {taken[target.resolve()]} too",
            remedy="choose another name",
            code="option-value",
        )
