"""A served folder with one burst, and a browser that looks at it.

Skipped where there is no browser: Debian's chromium, and Playwright for Python to drive it.
"""

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tests.bursts import START, exif_block
from tests.page.browser.desk import Desk

playwright = pytest.importorskip("playwright.sync_api", reason="Playwright is not installed")
pytest.importorskip("starlette", reason="the page's libraries are not installed")

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
COMMAND = (sys.executable, "-m", "stacker", "serve")
FRAMES = 12


@dataclass(frozen=True)
class Served:
    """A running server: where bursts lie, where results go, and the address to open."""

    root: Path
    output: Path
    address: str

    def add_burst(self, name: str, frames: int = FRAMES) -> None:
        """Put a burst there, half a second open out of each 0.6."""
        folder = self.root / name
        folder.mkdir()
        for number in range(frames):
            start = START + timedelta(seconds=0.6 * number)
            Image.fromarray(_frame(number)).save(
                folder / f"KP_{number + 1:04d}.jpg", quality=92, exif=exif_block(start, 0.5)
            )


def _frame(number: int) -> np.ndarray:
    """Return a wall that keeps still, and a lamp that goes by in front of it."""
    rng = np.random.default_rng(7)
    wall = rng.integers(40, 130, (20, 30, 3), dtype=np.uint8)
    pixels = np.asarray(Image.fromarray(wall).resize((480, 320), Image.Resampling.NEAREST)).copy()
    left = 40 * number
    pixels[150:170, left : left + 40] = (230, 220, 190)
    noise = np.random.default_rng(number).normal(0, 2, pixels.shape)
    return np.clip(pixels + noise, 0, 255).astype(np.uint8)


def _serve(root: Path, output: Path) -> Iterator[Served]:
    root.mkdir()
    output.mkdir()
    command = [*COMMAND, str(root), "-o", str(output), "--port", "0", "--no-browser"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server:
        assert server.stdout is not None
        address = server.stdout.readline().split()[-1]
        yield Served(root, output, address)
        server.terminate()


@pytest.fixture(scope="package")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """One server for all tests; each has a burst of its own in it."""
    folder = tmp_path_factory.mktemp("page")
    yield from _serve(folder / "bursts", folder / "results")


@pytest.fixture
def served_empty(tmp_path: Path) -> Iterator[Served]:
    """A server whose folder has no burst."""
    yield from _serve(tmp_path / "bursts", tmp_path / "results")


@pytest.fixture(scope="package")
def browser() -> Iterator[object]:
    """The browser, without a window.

    It is gone after the tests of this folder: its driver keeps an event loop running, beside which
    other tests could start none.
    """
    found = next(filter(None, map(shutil.which, BROWSERS)), None)
    if found is None:
        words = f"there is no browser here: none of {', '.join(BROWSERS)}"
        # where one was promised, going without would hide what is broken
        if os.environ.get("STACKER_TESTS_NEED_BROWSER"):
            pytest.fail(words)
        pytest.skip(words)
    # the browser's own walls need a user who is not root
    own = ["--no-sandbox"] if os.geteuid() == 0 else []
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=found, args=own)
        yield browser
        browser.close()


@pytest.fixture
def visit(browser, request) -> Iterator[object]:
    """Opens an address as a new visitor; afterwards nothing may have been complained of."""
    contexts, complaints = [], []

    def open_page(address: str, **manner: object) -> Desk:
        manner = {"viewport": {"width": 1280, "height": 800}, "reduced_motion": "reduce", **manner}
        context = browser.new_context(**manner)
        context.set_default_timeout(20_000)
        contexts.append(context)
        page = context.new_page()
        watch(page)
        page.goto(address)
        return Desk(page)

    def watch(page) -> None:
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("console", lambda said: said.type == "error" and complaints.append(said.text))

    open_page.watch = watch
    yield open_page
    for context in contexts:
        context.close()
    if "refused" in request.fixturenames:
        complaints = [each for each in complaints if "Failed to load resource" not in each]
    assert complaints == []


@pytest.fixture
def refused() -> None:
    """For tests that ask for a refusal, which the browser complains of."""


@pytest.fixture
def desk(visit, served, request) -> Desk:
    """The page with a burst of this test open."""
    name = re.sub(r"\W|_", "-", request.node.name.removeprefix("test_")).strip("-")
    served.add_burst(name)
    desk = visit(served.address)
    desk.open(name)
    return desk
