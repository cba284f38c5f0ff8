"""The report as a page: its figures against the truth, and that it is whole and safe."""

import json
import re
from datetime import timedelta
from html.parser import HTMLParser

import numpy as np
import pytest
from PIL import Image

import stacker
from stacker.engine.progress import Silent
from stacker.engine.review import review_shots
from stacker.errors import OptionError, OutputError
from stacker.light.srgb import linear_to_srgb
from tests.bursts import START, exif_block, write_jpegs, write_tiffs

SIZE = (480, 320)
NASTY = 'KP <b onload="x">&\'$title.jpg'


class Page(HTMLParser):
    """What a browser would make of the page."""

    VOID = ("meta", "img", "br")

    def __init__(self, text):
        super().__init__()
        self.tags, self.open, self.words = [], [], []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.words.append(data)

    def having(self, tag):
        return [attrs for name, attrs in self.tags if name == tag]


@pytest.fixture(scope="module")
def quay(tmp_path_factory):
    """Eight frames from a tripod, a bright square that wanders, one name that means harm."""
    folder = tmp_path_factory.mktemp("quay") / "b"
    folder.mkdir()
    for number, light in enumerate(noisy([0] * 8)):
        light[200:240, 40 * number : 40 * number + 40] = 0.9
        code = np.rint(linear_to_srgb(light) * 255).astype(np.uint8)
        exif = exif_block(START + timedelta(seconds=2 * number), 0.5)
        name = folder / (f"KP_{number:04d}.jpg" if number else NASTY)
        Image.fromarray(code).save(name, quality=95, exif=exif)
    return folder


@pytest.fixture(scope="module")
def page(quay, tmp_path_factory):
    """The page of two blends, one frame left out."""
    shots = stacker.expose_several(
        stacker.open_burst(quay), blends=["mean", "lighten"], without=(4,), workers=2
    )
    target = tmp_path_factory.mktemp("page") / "both.html"
    stacker.save_report(list(shots.values()), target)
    return target.read_text("utf-8")


def test_the_page_is_whole_and_needs_nothing_else(page):
    parsed = Page(page)
    assert parsed.open == []
    assert "//" not in re.sub(r"base64,[^\"]*", "", page)
    for tag, attrs in parsed.tags:
        assert tag not in ("script", "link", "iframe", "object")
        for name in ("src", "href", "xlink:href"):
            assert attrs.get(name, "#").startswith(("#", "data:image/"))
    assert "url(" not in page.replace("url(#", "")
    # 100 frames are to stay below 3 MB
    assert len(page) < 1.2e6


def test_every_picture_has_words(page):
    parsed = Page(page)
    pictures, drawings = parsed.having("img"), parsed.having("svg")
    assert len(pictures) > 10 and len(drawings) >= 4
    assert all(attrs["alt"] for attrs in pictures)
    assert all(attrs["aria-label"] and attrs["role"] == "img" for attrs in drawings)


def test_dark_rooms_and_paper_are_thought_of(page):
    assert "prefers-color-scheme: dark" in page
    assert "@media print" in page and "size: A4" in page
    assert "#808080" not in page


def test_names_do_no_harm(page):
    parsed = Page(page)
    assert not parsed.having("b") or all(not attrs for attrs in parsed.having("b"))
    assert NASTY in " ".join(parsed.words)


def test_both_blends_and_the_frame_left_out_are_told(page):
    words = " ".join(" ".join(Page(page).words).split())
    assert "left out as asked" in words
    for title in ("mean", "lighten", "What went well", "Tones", "Open and shut"):
        assert title in words
    assert page.count('class="result"') == 2


def test_what_moves_is_told_within_three_hundredths(page):
    told = re.search(r"Map of the frame: ([\d.]+) % holds motion, ([\d.]+) % is empty", page)
    # the square sweeps 320 x 40 px of 480 x 320; the frame left out is looked at too
    assert float(told[1]) == pytest.approx(100 * 320 * 40 / (480 * 320), abs=3)
    # the bare half, but for what was swept of it
    assert float(told[2]) == pytest.approx(100 * (0.5 - 80 * 40 / (480 * 320)), abs=4)


def test_a_tripod_burst_is_as_sharp_as_its_frames_and_has_the_noise_of_the_law(tmp_path):
    folder = tmp_path / "b"
    write_noisy(folder, shifts=[0] * 9)
    shot = stacker.expose(stacker.open_burst(folder))
    review = review_shots([shot], [shot.report], Silent()).results[0].review
    assert review.comparison.sharpness == pytest.approx(1.0, abs=0.02)
    # eighty squares of noise: a ratio to 2 %
    assert review.comparison.noise_gain == pytest.approx(3.0, rel=0.06)
    assert review.expected_gain == pytest.approx(3.0)


def test_a_shaken_burst_used_as_it_lies_is_soft_and_says_so(tmp_path):
    folder = tmp_path / "b"
    write_noisy(folder, shifts=[0, 3, -2, 5, 1, -4, 2, -3, 4])
    burst = stacker.open_burst(folder)
    sharp = {}
    for hold in ("still", "scene"):
        shot = stacker.expose(burst, hold=hold)
        stacker.save_report(shot, tmp_path / f"{hold}.html")
        review = review_shots([shot], [shot.report], Silent()).results[0].review
        sharp[hold] = review.comparison.sharpness
    assert sharp["still"] < 0.6
    assert sharp["scene"] > 0.9
    still, held = ((tmp_path / f"{hold}.html").read_text() for hold in ("still", "scene"))
    assert "--hold scene" in still and "of the fine contrast" in still
    assert "--hold scene" not in held


def noisy(shifts, size=SIZE):
    """Yield light of a textured and a bare half, shifted to the right by whole pixels."""
    rng = np.random.default_rng(6)
    width, height = size
    wide = np.full((height, width + 40, 3), 0.3)
    coarse = rng.uniform(0.1, 0.5, (height // 4, (width + 40) // 8, 1))
    wide[:, : (width + 40) // 2] = np.kron(coarse, np.ones((4, 4, 1)))[:, : (width + 40) // 2]
    for shift in shifts:
        light = wide[:, 20 + shift : 20 + shift + width]
        yield np.clip(light + 0.006 * rng.normal(size=light.shape), 0, 1)


def write_noisy(folder, *, shifts):
    """Write such frames in 16 bits: 8 bits' steps would be as coarse as the noise."""
    write_tiffs(
        folder,
        [np.rint(linear_to_srgb(light) * 65535).astype(np.uint16) for light in noisy(shifts)],
    )


def test_a_few_plain_frames_make_a_page_too(tmp_path):
    write_jpegs(tmp_path / "b", 2)
    shot = stacker.expose(stacker.open_burst(tmp_path / "b"), blend="sum")
    report = stacker.save(shot, tmp_path / "a.jpg", shoulder=True, exposure_ev=-1)
    stacker.save_report(shot, tmp_path / "a.HTM", report=report)
    words = " ".join(Page((tmp_path / "a.HTM").read_text()).words)
    assert "Not measured" in words
    assert "a.jpg" in words


def test_the_suffix_decides(tmp_path, monkeypatch):
    write_jpegs(tmp_path / "b", 2)
    shot = stacker.expose(stacker.open_burst(tmp_path / "b"))
    stacker.save_report(shot, tmp_path / "a.json")
    assert json.loads((tmp_path / "a.json").read_text())["format"] == 1
    with pytest.raises(OutputError, match="exists"):
        stacker.save_report(shot, tmp_path / "a.json")
    source = tmp_path / "b" / "KP_0001.jpg"
    with pytest.raises(OutputError, match="source"):
        stacker.save_report(shot, source, overwrite=True)
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with pytest.raises(OptionError, match=r"--report: drawing needs .*pip install matplotlib"):
        stacker.save_report(shot, tmp_path / "a.html")
    assert not (tmp_path / "a.html").exists()
