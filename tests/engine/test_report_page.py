"""The report as a page: its figures against the truth, and that it is whole and safe."""

import json
import re
from html.parser import HTMLParser

import numpy as np
import pytest
import tifffile

import stacker
from stacker.engine.progress import Silent
from stacker.engine.review import review_shots
from stacker.errors import OptionError, OutputError
from tests.benchmarks.subjects import shoot
from tests.bursts import write_jpegs

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
    """Eight frames from a tripod, one with a name that means harm."""
    folder = shoot(tmp_path_factory.mktemp("quay") / "b", "quay", seed=2, size=(240, 160), frames=8)
    paths = sorted(folder.glob("*.jpg"))
    paths[0].rename(folder / NASTY)
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
    assert len(pictures) > 8 and len(drawings) >= 4
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


def test_a_tripod_burst_is_as_sharp_as_its_frames_and_has_the_noise_of_the_law(tmp_path):
    # 16 bit: 8 bits' steps are as coarse as the noise
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


def write_noisy(folder, *, shifts, size=SIZE):
    """Write 16-bit frames of a textured and a bare half, shifted to the right by whole pixels."""
    from stacker.light.srgb import linear_to_srgb

    folder.mkdir()
    rng = np.random.default_rng(6)
    width, height = size
    wide = np.full((height, width + 40, 3), 0.3)
    coarse = rng.uniform(0.1, 0.5, (height // 4, (width + 40) // 8, 1))
    wide[:, : (width + 40) // 2] = np.kron(coarse, np.ones((4, 4, 1)))[:, : (width + 40) // 2]
    for number, shift in enumerate(shifts):
        light = wide[:, 20 + shift : 20 + shift + width]
        light = np.clip(light + 0.006 * rng.normal(size=light.shape), 0, 1)
        code = np.rint(linear_to_srgb(light) * 65535).astype(np.uint16)
        tifffile.imwrite(folder / f"KP_{number:04d}.tif", code, photometric="rgb")


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
