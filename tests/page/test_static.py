"""The page's files: no inline code, no markup made of data, greys that are grey."""

import re
from pathlib import Path

import pytest

import stacker

STATIC = Path(stacker.__file__).parent / "page" / "static"
SCRIPTS = sorted(STATIC.rglob("*.js"))
SHEETS = sorted(STATIC.rglob("*.css"))
MARKUP = (STATIC / "index.html").read_text()


def test_the_page_has_no_inline_script_or_style():
    assert not re.search(r"<style|\sstyle=|\son\w+=|javascript:", MARKUP)
    assert re.findall(r"<script[^>]*>(.*?)</script>", MARKUP, re.DOTALL) == [""]


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda path: path.name)
def test_scripts_make_no_markup_of_text(path):
    assert not re.search(
        r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\(", path.read_text()
    )


@pytest.mark.parametrize("path", [*SCRIPTS, *SHEETS], ids=lambda path: path.name)
def test_files_stay_readable(path):
    assert len(path.read_text().split("\n")) <= 400


def test_everything_that_is_sought_is_there():
    made = " ".join([MARKUP, *(path.read_text() for path in SCRIPTS)])
    for path in SCRIPTS:
        for name in re.findall(r'find\("([\w-]+)"\)', path.read_text()):
            assert re.search(rf'id="{name}"|id: "{name}"|key\("{name}"', made), (
                f"{path.name}: {name}"
            )


def test_every_module_and_sheet_is_used():
    sources = {path.name: path.read_text() for path in SCRIPTS}
    for path in [*SCRIPTS, *SHEETS]:
        users = [text for name, text in sources.items() if name != path.name]
        assert any(f"./{path.name}" in text for text in users) or path.name in MARKUP, path.name


@pytest.mark.parametrize("name", ["surround", "sheet", "raised", "sunk", "ink", "quiet", "rule"])
def test_what_lies_beside_the_picture_is_neutral(name):
    values = re.findall(rf"--{name}: #(\w+);", (STATIC / "css" / "tones.css").read_text())
    # light, dark by the system's wish, dark by the switch
    assert len(values) == 3
    for value in values:
        assert len({value[0:2], value[2:4], value[4:6]}) == 1


def test_nothing_comes_from_elsewhere():
    for path in [STATIC / "index.html", *SCRIPTS, *SHEETS]:
        addresses = re.findall(r"https?://[^\s\"')]+", path.read_text())
        assert set(addresses) <= {"http://www.w3.org/2000/svg"}, path.name
