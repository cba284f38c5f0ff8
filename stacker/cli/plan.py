"""``stacker plan``: what to shoot, before the shot."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

from stacker.cli import plan_options as options
from stacker.cli.quantities import evening_date
from stacker.cli.quantities import pixels as count_of_pixels
from stacker.cli.subject import LIST
from stacker.cli.telling import tell, telling_errors
from stacker.errors import OptionError

if TYPE_CHECKING:
    from stacker.plan import Plan

FORMATS = ("text", "markdown", "json")


def plan(
    subject: options.Subject = None,
    focal_length: options.FocalLength = None,
    sensor: options.Sensor = None,
    pixels: options.Pixels = None,
    pixel_pitch: options.PixelPitch = None,
    aperture: options.Aperture = None,
    iso: options.Iso = None,
    read_noise: options.ReadNoise = None,
    by_hand: options.ByHand = False,
    stabiliser: options.Stabiliser = None,
    ev: options.Ev = None,
    metered: options.Metered = None,
    frames: options.Frames = None,
    frame_shutter: options.FrameShutter = None,
    shutter: options.Shutter = None,
    elapsed: options.Elapsed = None,
    interval: options.Interval = None,
    gap: options.Gap = None,
    distance: options.Distance = None,
    speed: options.Speed = None,
    angle: options.Angle = None,
    flow: options.Flow = None,
    texture: options.Texture = None,
    tide: options.Tide = None,
    busy: options.Busy = None,
    blur: options.Blur = None,
    declination: options.Declination = None,
    direction: options.Direction = None,
    altitude: options.Altitude = None,
    latitude: options.Latitude = None,
    longitude: options.Longitude = None,
    date: options.Date = None,
    morning: options.Morning = False,
    zone: options.Zone = None,
    frame_size: options.FrameSize = None,
    sample: options.Sample = None,
    card: options.Card = None,
    battery: options.Battery = None,
    cold: options.Cold = False,
    format: options.Format = "text",  # noqa: A002 - the option's name
    output: options.Output = None,
    overwrite: options.Overwrite = False,
) -> None:
    """Plan a burst: frames, card, noise, what will be seen, the evening's light, cautions.

    Silky water:   stacker plan --for water --flow 0.5 --metered 1/8

    Stars:         stacker plan --for stars --focal-length 20mm --sensor "APS-C 1.5"

    A dusk:        stacker plan --for dusk --latitude 54.5N --longitude 3.6W --date 2026-10-20
    """
    with telling_errors():
        if format not in FORMATS:
            raise OptionError(
                f"--format {format}",
                "no such format",
                remedy=f"choose {FORMATS[0]}, {FORMATS[1]} or {FORMATS[2]}",
                code="option-choice",
            )
        from stacker.plan import Facts, plan_of

        if subject is None or subject == LIST:
            tell(_list_of_subjects())
            return
        size, megapixels = count_of_pixels(pixels) if pixels is not None else (None, None)
        facts = Facts(
            subject=subject,
            sensor=sensor,
            pixels=size,
            megapixels=megapixels,
            pitch_um=pixel_pitch,
            focal_mm=focal_length,
            aperture=aperture,
            iso=iso,
            read_noise_e=read_noise,
            by_hand=by_hand,
            stabiliser_stops=stabiliser,
            ev=ev,
            metered_s=metered,
            frames=frames,
            frame_shutter_s=frame_shutter,
            open_s=shutter,
            elapsed_s=elapsed,
            interval_s=interval,
            gap_s=gap,
            frame_bytes=_frame_size(frame_size, sample),
            card_bytes=card,
            battery_s=battery,
            cold=cold,
            distance_m=distance,
            speed_m_s=speed,
            angle_deg=angle,
            flow_m_s=flow,
            texture_m=texture,
            tide_m_h=tide,
            busy=busy,
            blur_px=blur,
            declination_deg=declination,
            direction_deg=direction,
            altitude_deg=altitude,
            latitude_deg=latitude,
            longitude_deg=longitude,
            date=evening_date(date) if date is not None else None,
            morning=morning,
            zone=zone,
        )
        text = _written(plan_of(facts), format)
        if output is None:
            tell(text.rstrip("\n"))
            return
        from stacker.finish import place_file

        sources = [sample] if sample is not None else []
        with place_file(output, overwrite=overwrite, sources=sources) as file:
            file.write(text.encode())
        tell(f"{output}: the plan, as {format}")


def _written(plan: Plan, form: str) -> str:
    from stacker.cli.plan_words import as_markdown, as_text

    if form == "json":
        return json.dumps(plan.to_dict(), indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    return as_markdown(plan) if form == "markdown" else as_text(plan)


def _list_of_subjects() -> str:
    from stacker.plan import SUBJECTS

    lines = ["stacker plan --for SUBJECT, with what you know; the rest is assumed and told.", ""]
    lines += [f"{each.name:<16}{each.title}: {each.reads_well}" for each in SUBJECTS.values()]
    return "\n".join(lines)


def _frame_size(given: float | None, sample: Path | None) -> float | None:
    """Return the bytes of one frame: as told, or those of a file."""
    if sample is None:
        return given
    if given is not None:
        raise OptionError(
            "--frame-size and --sample",
            "say the same thing twice",
            remedy="leave one of them out",
            code="option-span",
        )
    try:
        size = sample.stat().st_size if sample.is_file() else 0
    except OSError:
        size = 0
    if size == 0:
        raise OptionError(
            f"--sample {sample}",
            "is no file to take the size of",
            remedy="name one that this camera made",
            code="option-value",
        )
    return float(size)
