"""Frames that were decoded ahead are the frames."""

import threading
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

import stacker
from stacker.burst import Burst
from stacker.engine.frame_light import FrameLight
from stacker.engine.frames_ahead import FramesAhead, _Asked
from stacker.engine.holding import as_they_lie
from stacker.engine.progress import Silent
from stacker.errors import FrameError
from tests.bursts import write_jpegs

COUNT = 9
ORDER = [0, 1, 2, 4, 5, 6, 3, 3, 0, 1, 2, 3, 4, 5, 6, 7, 8, 8, 2]


class Counted(Silent):
    """A progress that counts."""

    def __init__(self):
        self.done = 0

    def advance(self):
        self.done += 1


@pytest.fixture(scope="module")
def burst(tmp_path_factory):
    folder = tmp_path_factory.mktemp("ahead") / "burst"
    write_jpegs(folder, COUNT)
    return stacker.open_burst(folder)


@pytest.fixture(scope="module")
def film(burst, tmp_path_factory):
    target = tmp_path_factory.mktemp("ahead") / "film.mp4"
    stacker.film(burst, target)
    return stacker.open_burst(target)


def ahead_of(burst, ahead, progress=None):
    places = range(len(burst.frames))
    return FramesAhead(burst, places, as_they_lie(burst), ahead, progress or Silent())


@pytest.mark.parametrize("ahead", [0, 1, 3])
@pytest.mark.parametrize("kind", ["burst", "film"])
def test_every_frame_is_its_own_in_any_order(kind, ahead, request):
    frames = request.getfixturevalue(kind)
    alone = FrameLight(frames, range(COUNT), as_they_lie(frames))
    counted = Counted()
    with ahead_of(frames, ahead, counted) as light_of:
        for number in ORDER:
            np.testing.assert_array_equal(light_of(number), alone(number))
    assert counted.done == COUNT


def test_threads_may_ask_at_once(burst):
    alone = FrameLight(burst, range(COUNT), as_they_lie(burst))
    expected = [alone(number) for number in range(COUNT)]
    with ahead_of(burst, 2) as light_of, ThreadPoolExecutor(4) as pool:
        for number, light in enumerate(pool.map(light_of, range(COUNT))):
            np.testing.assert_array_equal(light, expected[number])


def test_frames_are_decoded_ahead_and_once(burst, monkeypatch):
    decoded, helped = [], threading.Event()
    decode, caller = Burst.decode, threading.current_thread()

    def noting(self, indices, **options):
        decoded.append(indices[0])
        if threading.current_thread() is not caller:
            helped.set()
        return decode(self, indices, **options)

    monkeypatch.setattr(Burst, "decode", noting)
    with ahead_of(burst, 2) as light_of:
        for number in range(COUNT):
            light_of(number)
    assert helped.is_set()
    assert sorted(decoded) == list(range(COUNT))


def test_a_frame_that_cannot_be_read_is_told_when_it_is_asked_for(tmp_path):
    write_jpegs(tmp_path, 4)
    burst = stacker.open_burst(tmp_path)
    broken = tmp_path / "KP_0003.jpg"
    broken.write_bytes(broken.read_bytes()[:700])
    with ahead_of(burst, 2) as light_of:
        light_of(0), light_of(1)
        with pytest.raises(FrameError, match="KP_0003"):
            light_of(2)
        light_of(3)


def test_runs_are_seen_through():
    asked = _Asked()
    hits, likely = 0, []
    numbers = [start + k for start in range(0, 48, 8) for k in range(3)]
    for number in numbers:
        hits += number in likely
        likely = asked.after(number, 1, 100)
    # the first frame, and the first two jumps, which nobody could know
    assert hits >= len(numbers) - 5
