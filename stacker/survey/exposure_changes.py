"""Settings of the camera that changed within a burst, or that it chose by itself."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from stacker.survey.findings import Finding, listed
from stacker.survey.records import FrameRecord

# shutters and apertures are rounded differently by one camera's modes
SAME = 0.02


# of one frame, by the names of Exif's facts: shutter_s, iso, f_number, focal_mm, camera, lens,
# auto_exposure, auto_white, flash; None or "" where nobody knows
CameraSettings = Mapping[str, float | str | bool | None]


@dataclass(frozen=True)
class _Setting:
    """A setting that should stay: how it is called, told, and what its change does."""

    name: str
    title: str
    told: Callable[[Any], str]
    effect: str


def _seconds(shutter_s: float) -> str:
    return f"1/{round(1 / shutter_s)} s" if shutter_s < 0.3 else f"{shutter_s:.3g} s"


SETTINGS = (
    _Setting("shutter_s", "shutter", _seconds, "the frames differ in light and in blur"),
    _Setting("iso", "ISO", lambda iso: f"{iso:.0f}", "the frames differ in light and in noise"),
    _Setting("f_number", "aperture", lambda f: f"f/{f:.3g}", "the frames differ in light"),
    _Setting("focal_mm", "focal length", lambda f: f"{f:.3g} mm", "the picture grows or shrinks"),
    _Setting("camera", "camera", str, "frames of two cameras do not lie upon each other"),
    _Setting("lens", "lens", str, "frames through two lenses do not lie upon each other"),
)
LIGHT_SETTINGS = ("shutter_s", "iso", "f_number")


def setting_changes(
    settings: Sequence[CameraSettings], records: Sequence[FrameRecord]
) -> list[Finding]:
    """Return a finding for each setting that did not stay, and for what was left to the camera.

    Parameters
    ----------
    settings : of each frame, as ``records``.
    """
    findings = []
    for setting in SETTINGS:
        known = [
            (record, value)
            for record, each in zip(records, settings, strict=True)
            if (value := each.get(setting.name))
        ]
        changed = [(r, one, two) for (_, one), (r, two) in pairwise(known) if _differ(one, two)]
        if not changed:
            continue
        record, one, two = changed[0]
        more = f", and {len(changed) - 1} times more after it" if len(changed) > 1 else ""
        light = setting.name in LIGHT_SETTINGS
        findings.append(
            Finding(
                f"{setting.name.split('_')[0]}-changes",
                "caution",
                f"The {setting.title} changes at {record.name} from {setting.told(one)} to "
                f"{setting.told(two)}{more}: {setting.effect}.",
                "The camera was on an automatic mode, or it was set anew in between.",
                "--even level brings the light to one level."
                if light
                else "Use the frames on one side of the change: see --first and --last.",
                tuple(r.number for r, _, _ in changed),
            )
        )
    return findings + _automatics(settings, records)


def _differ(one: Any, two: Any) -> bool:
    if isinstance(one, str) or isinstance(two, str):
        return bool(one != two)
    return bool(abs(one - two) > SAME * max(one, two))


def _automatics(
    settings: Sequence[CameraSettings], records: Sequence[FrameRecord]
) -> list[Finding]:
    findings = []
    fired = [r for r, each in zip(records, settings, strict=True) if each.get("flash")]
    if fired and len(fired) < len(records):
        findings.append(
            Finding(
                "flash-fired",
                "caution",
                f"The camera's flash fired in {listed([r.name for r in fired])}.",
                "The flash was left on automatic.",
                "Leave these frames out with --without.",
                tuple(r.number for r in fired),
            )
        )
    for name, code, what, remedy in (
        ("auto_exposure", "auto-exposure", "exposure", "Next time set shutter, aperture and ISO."),
        ("auto_white", "auto-white", "white balance", "Next time choose a fixed one."),
    ):
        auto = [r for r, each in zip(records, settings, strict=True) if each.get(name)]
        if auto:
            findings.append(
                Finding(
                    code,
                    "note",
                    f"The {what} was automatic.",
                    "The camera was set so; it may change from frame to frame.",
                    remedy,
                )
            )
    return findings
