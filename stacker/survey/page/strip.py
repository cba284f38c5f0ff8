"""The frames of the burst as a strip, and what became of each."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from stacker.survey.page.content import Content
from stacker.survey.page.markup import folded, listed, paragraph, picture, section, text
from stacker.survey.records import FrameRecord
from stacker.wording import spoken, spoken_share

# rows of the table of all frames; a page of ten thousand rows opens in nobody's browser
MOST_ROWS = 2000


def frames_section(content: Content) -> str:
    """Return the strip, and a table of the frames that opens when asked for."""
    report = content.results[0].review.report
    records = {record.number: record for record in content.burst.survey.frames}
    strip: list[str] = []
    for frame in report["frames"]:
        number = frame["number"]
        if number not in content.thumbs:
            continue
        strip.append(_shown(content.thumbs[number], frame, records.get(number)))
    items = "".join(strip)
    out = [frame for frame in report["frames"] if not frame["used"]]
    return section(
        "The frames",
        paragraph(_headline(report, len(out), len(strip))),
        f'<ul class="strip">\n{items}</ul>\n' if items else "",
        _left_out(out, set(content.thumbs)),
        folded("All frames in figures", _table(report, records)),
    )


def _headline(report: Mapping[str, Any], out: int, shown: int) -> str:
    used = report["frames_used"]
    words = f"{used} frame{'s' if used != 1 else ''} made the picture"
    if out:
        words += f"; {out} {'were' if out > 1 else 'was'} left out"
    if report["motion_model"] not in ("identity", "still"):
        words += f"; they were brought to where {report['reference']} looked"
    every = len(report["frames"])
    return f"{words}." + (f" {shown} of {every} are shown." if shown < every else "")


def _shown(thumb: bytes, frame: Mapping[str, Any], record: FrameRecord | None) -> str:
    """Return one frame of the strip."""
    odd = record is not None and not record.good
    fate = _fate(frame, record)
    kind = "out" if not frame["used"] else "odd" if odd else ""
    alt = f"Frame {frame['number']}, {frame['name']}" + (f": {fate}" if fate else "")
    below = f"{frame['number']}" + (f": {fate}" if fate else "")
    of_kind = f' class="{kind}"' if kind else ""
    return f"<li{of_kind}>{picture(thumb, alt, lazy=True)}{text(below)}</li>\n"


def _fate(frame: Mapping[str, Any], record: FrameRecord | None) -> str:
    """Return in a few words what is odd about a frame; "" for nothing."""
    if not frame["used"]:
        why = str(frame["why"])
        return why if why.startswith("left out") else f"left out, {why}"
    if record is not None and not record.good:
        return f"used, though {record.verdict}"
    return ""


def _left_out(out: list[Mapping[str, Any]], shown: set[int]) -> str:
    """Return those that were left out and are not in the strip, as when they cannot be read."""
    hidden = [frame for frame in out if frame["number"] not in shown]
    return listed(text(f"{f['name']}: {_fate(f, None)}.") for f in hidden[:20])


def _table(report: Mapping[str, Any], records: Mapping[int, FrameRecord]) -> str:
    """Return a table of the frames."""
    begin = report["frames"][0]["start_s"]
    heads = ("", "file", "opened", "shutter", "light", "sharpness", "shake", "burnt out", "")
    rows = []
    for frame in report["frames"][:MOST_ROWS]:
        record = records.get(frame["number"])
        place = record.place if record else None
        light = record.light_stops if record else None
        sharp = record.sharpness if record else None
        clipped = frame["clipped"]
        cells = (
            frame["number"],
            frame["name"],
            f"{frame['start_s'] - begin:.3g} s",
            "" if frame["shutter_s"] is None else spoken(frame["shutter_s"]),
            "" if light is None else f"{light:+.2f} stops",
            "" if sharp is None else f"{spoken_share(sharp)}",
            "" if place is None else f"{place.shake_px:.2f} px",
            "" if clipped is None else spoken_share(clipped),
            _fate(frame, record),
        )
        rows.append("<tr>" + "".join(f"<td>{text(cell)}</td>" for cell in cells) + "</tr>\n")
    head = "".join(f"<th>{text(name)}</th>" for name in heads)
    more = len(report["frames"]) - MOST_ROWS
    rest = paragraph(f"{more} more are in the report as JSON.") if more > 0 else ""
    return f"<table><thead><tr>{head}</tr></thead><tbody>\n{''.join(rows)}</tbody></table>\n{rest}"
