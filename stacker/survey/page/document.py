"""The whole page, from top to bottom."""

from __future__ import annotations

import json
from string import Template

from stacker.survey.page.burst_sections import (
    burnt_section,
    filling_section,
    light_section,
    stand_section,
    time_section,
)
from stacker.survey.page.content import Content, ShownResult
from stacker.survey.page.markup import folded, listed, paragraph, section, text
from stacker.survey.page.result_sections import (
    critique_section,
    picture_section,
    sharpness_section,
    tones_section,
)
from stacker.survey.page.strip import frames_section
from stacker.survey.page.style import STYLE
from stacker.wording import spoken

# $ has a meaning in templates: whatever goes in is put in once and not looked at again
PAGE = Template(
    """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<title>$title</title>
<style>$style</style>
</head>
<body>
<main>
<header>
<h1>$title</h1>
$lead
</header>
$body
<footer>$footer</footer>
</main>
</body>
</html>
"""
)


def page_of(content: Content) -> str:
    """Return the page: HTML that shows everything by itself, without a network."""
    first = content.results[0]
    results = "".join(
        _result(content, shown, alone=len(content.results) == 1) for shown in content.results
    )
    return PAGE.substitute(
        title=text(content.title),
        style=STYLE,
        lead=paragraph(_lead(content), "quiet"),
        body=results
        + frames_section(content)
        + stand_section(content)
        + light_section(content)
        + burnt_section(content)
        + time_section(content)
        + filling_section(content)
        + _how(content),
        footer=text(f"Written by {first.review.report['program']}. Everything is in this file."),
    )


def _result(content: Content, shown: ShownResult, *, alone: bool) -> str:
    """Return all that concerns one result."""
    title = "" if alone else f"<h2>{text(shown.review.blend)}</h2>\n"
    return (
        f'<article class="result">\n{title}'
        + picture_section(shown)
        + critique_section(content, shown)
        + tones_section(shown)
        + sharpness_section(shown)
        + "</article>\n"
    )


def _lead(content: Content) -> str:
    """Return the burst in one sentence."""
    rhythm, survey = content.burst.survey.rhythm, content.burst.survey
    count, (width, height) = len(survey.frames), survey.size
    words = [f"From {count} frame{'s' if count != 1 else ''} of {width} x {height} px"]
    if rhythm.shutter_s is not None:
        words.append(f"{spoken(rhythm.shutter_s)} each")
    if rhythm.interval_s is not None:
        words.append(f"one every {spoken(rhythm.interval_s)}")
    return ", ".join(words) + "."


def _how(content: Content) -> str:
    """Return the notes of the program, and the settings that make the picture again."""
    notes = dict.fromkeys(
        note for shown in content.results for note in shown.review.report["warnings"]
    )
    said = listed(text(note) for note in notes)
    settings = "".join(
        f"<pre><code>{text(json.dumps(shown.review.report['settings'], indent=1, default=str))}"
        "</code></pre>\n"
        for shown in content.results
    )
    return section(
        "How it was made", said, folded("All settings", settings)
    )  # fmt: skip
