"""``stacker expose``: from a burst to a finished picture."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from stacker.cli import moments, night, options, regions
from stacker.cli.beside import Beside, targets_of
from stacker.cli.choices import said, said_of_files
from stacker.cli.strokes import Passes, PassPages, tell_passes, write_pass_pages
from stacker.cli.subject import LIST, Subject
from stacker.cli.telling import note, showing_progress, tell, telling_errors, telling_of
from stacker.cli.words import spoken
from stacker.errors import OptionError

if TYPE_CHECKING:
    from stacker.engine import Shot
    from stacker.engine.settings_file import Chosen


def expose(
    context: typer.Context,
    burst: options.Burst,
    output: options.PictureIfAny = None,
    moment: moments.Moment = None,
    first: options.First = None,
    last: options.Last = None,
    shutter: options.Shutter = None,
    without: options.Without = None,
    keep_bursts: options.KeepBursts = None,
    on_bad: options.OnBad = "stop",
    hold: options.Hold = None,
    reference: options.Reference = None,
    box: options.Box = None,
    crop: options.Crop = None,
    subject: Subject = None,
    blend: options.Blend = ["mean"],  # noqa: B006 - typer reads it as a constant
    ramp_in: options.RampIn = 0.0,
    ramp_out: options.RampOut = 0.0,
    weights: options.Weights = None,
    trim: options.Trim = None,
    floor: options.Floor = "plain",
    tail: options.Tail = None,
    tail_to: options.TailTo = "start",
    even: options.Even = "off",
    bridge: options.Bridge = None,
    region: regions.Regions = [],  # noqa: B006 - typer reads it as a constant
    save_masks: regions.SaveMasks = None,
    passes: Passes = [],  # noqa: B006
    keep_planes: night.KeepPlanes = True,
    glow: night.Glow = "keep",
    dark: night.Dark = [],  # noqa: B006 - typer reads it as a constant
    flat: night.Flat = [],  # noqa: B006
    bias: night.Bias = [],  # noqa: B006
    hot_pixels: night.HotPixels = "auto",
    highlights: night.Highlights = "clip",
    half: night.Half = False,
    exposure: options.Exposure = 0.0,
    shoulder: options.Shoulder = False,
    warmth: options.Warmth = None,
    gains: options.Gains = None,
    neutral: options.Neutral = None,
    depth: options.Depth = None,
    space: options.Space = None,
    keep_location: options.KeepLocation = False,
    overwrite: options.Overwrite = False,
    strict: options.Strict = False,
    report: options.Report = None,
    bridge_map: options.BridgeMap = None,
    doubt_map: options.DoubtMap = None,
    pass_pages: PassPages = None,
    interval: options.Interval = None,
    frame_shutter: options.FrameShutter = None,
    memory: options.Memory = None,
    workers: options.Workers = None,
    settings_file: options.SettingsFile = None,
    preview: options.Preview = False,
    quiet: options.Quiet = False,
) -> None:
    """Make a long exposure from a burst of short frames.

    Water like silk:  stacker expose frames/ -o water.tif

    Trails of light:  stacker expose frames/ --for traffic -o trails.tif

    An empty square:  stacker expose "IMG_*.JPG" --blend median -o square.jpg

    A clip, 2 s long: stacker expose surf.mp4 --first 50 --shutter 2 -o surf.png
    """
    with telling_errors():
        from stacker.engine.region import NAMED_MASKS
        from stacker.engine.settings_file import Chosen, read_settings

        given = said(context) | said_of_files(context)
        if doubt_map is not None:
            given["doubts"] = True
        if save_masks is not None:
            given["masks"] = NAMED_MASKS
        if pass_pages is not None:
            given["find_passes"] = True
        saved = read_settings(settings_file) if settings_file is not None else Chosen()
        chosen = saved.under(given, subject)
        settings = chosen.settings
        if trim is not None and "trimmed" not in settings.blends:
            note("--trim counts only with --blend trimmed", quiet=quiet)
        if (tail is not None or floor != "plain") and "lighten" not in settings.blends:
            note("--floor and --tail count only with --blend lighten", quiet=quiet)
        if LIST in passes:
            tell_passes(burst, settings, chosen.opening, quiet=quiet)
            return
        if output is None:
            raise OptionError(
                "--output",
                "no name for the picture is given",
                remedy="give one such as -o picture.tif; stacker expose --help tells more",
                code="option-output",
            )
        if bridge_map is not None and not settings.bridge:
            note("--bridge-map counts only with --bridge", quiet=quiet)
            bridge_map = None
        if doubt_map is not None and "median" not in settings.blends:
            note("--doubt-map counts only with --blend median", quiet=quiet)
            doubt_map = None
        beside = Beside(report, bridge_map, doubt_map, save_masks, pass_pages)
        _expose(burst, output, chosen, beside, preview=preview, overwrite=overwrite, quiet=quiet)


def _expose(
    sources: list[str],
    output: Path,
    chosen: Chosen,
    beside: Beside,
    *,
    preview: bool,
    overwrite: bool,
    quiet: bool,
) -> None:
    from stacker.blend import find_blend
    from stacker.burst import open_burst
    from stacker.engine import expose_burst, save, save_masks, write_report
    from stacker.engine.preview import balance_in_preview, expose_preview
    from stacker.finish import Tone, check_place, check_target, depth_of, save_grey, space_named

    settings, balance = chosen.settings, chosen.balance
    finishing, opening = chosen.finishing, chosen.opening
    for name in settings.blends:
        find_blend(name)
    Tone(exposure_ev=finishing["exposure_ev"])
    if finishing["space"] is not None:
        space_named(finishing["space"])
    targets = targets_of(output, settings.blends)
    for target in targets.values():
        depth_of(target, finishing["depth"])
        check_target(target, overwrite=overwrite)
    beside.check(targets, overwrite=overwrite)
    burst = open_burst(sources, **opening)
    balance.check(burst.size)
    if opening["highlights"] != "clip" and burst.development is None:
        note("--highlights counts only for raw frames", quiet=quiet)
    if opening["half"] and burst.development is None:
        note("--half counts only for raw frames", quiet=quiet)
    for target in targets.values():
        check_target(target, overwrite=overwrite, sources=burst.sources)
    beside.check(targets, overwrite=overwrite, sources=burst.sources)
    with showing_progress(quiet=quiet) as progress:
        expose_them = expose_preview if preview else expose_burst
        shots = expose_them(burst, settings, progress=progress)
        # now the calibration frames are known too
        burst_and_masters = next(iter(shots.values())).sources
        for target in targets.values():
            check_place(target, overwrite=overwrite, sources=burst_and_masters)
        beside.check(targets, overwrite=overwrite, sources=burst_and_masters)
        first_shot = next(iter(shots.values()))
        balance = balance_in_preview(balance, first_shot) if preview else balance
        white_balance = balance.balance_for(first_shot)
        progress.start("writing", len(shots))
        reports = []
        for name, shot in shots.items():
            target = targets[name]
            report = save(
                shot, target, white_balance=white_balance, overwrite=overwrite, **finishing
            )
            reports.append(report)
            progress.advance()
        for name, target in beside.maps(settings.blends).items():
            save_grey(
                target,
                shots[name].bridge_map(),
                overwrite=overwrite,
                sources=burst_and_masters,
            )
        if beside.masks is not None:
            save_masks(next(iter(shots.values())), beside.masks, overwrite=overwrite)
        if beside.doubt_map is not None:
            save_grey(
                beside.doubt_map,
                shots["median"].doubt_map(),
                overwrite=overwrite,
                sources=burst_and_masters,
            )
        write_pass_pages(shots, beside.pass_pages, finishing, progress, overwrite=overwrite)
        if beside.report is not None:
            write_report(
                tuple(shots.values()),
                beside.report,
                reports=reports,
                overwrite=overwrite,
                progress=progress,
            )
    if "sum" in shots and finishing["exposure_ev"] >= 0 and not finishing["shoulder"]:
        note("a sum is soon beyond white: --shoulder or --exposure -3 keep its shades", quiet=quiet)
    in_vain = settings.reference is not None or settings.crop is not None
    if in_vain and all(each["motion_model"] == "identity" for each in reports):
        words = "count only with --hold scene, sky or subject, and where frames are held"
        note(f"--reference and --crop {words}", quiet=quiet)
    telling_of(reports, quiet=quiet)
    for name, shot in shots.items():
        tell(_summary(name, targets[name], shot))
        if "bridge" in shot.report:
            of = f"{name}: " if len(shots) > 1 else ""
            tell(f"{of}{shot.report['bridge']['words']}")


def _summary(blend: str, target: Path, shot: Shot) -> str:
    frames = shot.report["frames_used"]
    width, height = shot.size
    words = f"{target}: {blend} of {frames} frame{'s' if frames != 1 else ''}"
    if shot.open_s:
        words += f", open for {spoken(shot.open_s)}"
        if shot.report["elapsed_s"] and frames > 1:
            words += f" in all, over {spoken(shot.report['elapsed_s'])}"
    for region in shot.report.get("regions", ()):
        words += f"; in {region['mask']} {region['blend']} of {region['frames_used']}"
    return f"{words}, {width} x {height} pixels"
