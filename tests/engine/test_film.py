"""Films show the exposures of their spans."""

import cv2
import numpy as np
import pytest

import stacker
from stacker.bridge import GapVerdict, Patch
from stacker.burst import open_burst
from stacker.engine import FilmChoice, Settings, bridging, film_burst
from stacker.engine.film_pictures import window_starts
from stacker.errors import FrameError, OptionError, StackerError
from stacker.light.srgb import linear_to_srgb
from tests.bursts import write_jpegs

# 8-bit codes, over patches of 9 pixels' width; in a single pixel a step of Cb alone is worth two of
# blue, and the encoder may be off by another
CODES = 2.0
PIXEL_CODES = 6.0
PATCH = (9, 9)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("film") / "burst"
    folder.mkdir()
    rng = np.random.default_rng(1)
    soft = rng.integers(90, 130, (2, 3, 3)).astype(np.float32)
    for number in range(9):
        # evenly brighter or darker from frame to frame, so that no blend makes edges
        light = rng.integers(-30, 90) + rng.integers(-5, 6, 3)
        frame = cv2.resize(soft, (161, 97), interpolation=cv2.INTER_CUBIC) + light
        cv2.imwrite(str(folder / f"KP_{number + 1:04d}.png"), np.clip(frame, 0, 255).astype("u1"))
    return folder


@pytest.fixture(scope="module")
def burst(folder):
    return open_burst([str(folder)], interval_s=0.6, frame_shutter_s=0.5)


def assert_shows(film, number, light):
    """Check a picture of a film against an exposure, as a viewer sees both."""
    shown = open_burst([str(film)]).reduced_light(number, 1)
    height, width = shown.shape[:2]
    difference = 255 * (linear_to_srgb(shown) - linear_to_srgb(light[:height, :width]))
    assert np.abs(cv2.blur(difference, PATCH)).max() <= CODES
    assert np.abs(difference).max() <= PIXEL_CODES
    assert np.abs(difference.mean(axis=(0, 1))).max() <= CODES / 4


@pytest.mark.parametrize("blend", ["mean", "lighten", "max", "darken"])
def test_the_exposure_builds_up(burst, blend, tmp_path):
    report = stacker.film(burst, tmp_path / "film.mp4", blend=blend)
    assert report["film"]["pictures"] == 9
    assert report["film"]["size"] == [160, 96]
    assert report["frames_used"] == 9
    for number in (0, 4, 8):
        shot = stacker.expose(burst, blend=blend, last=number + 1)
        assert_shows(tmp_path / "film.mp4", number, shot.light)


@pytest.mark.parametrize("blend", ["mean", "lighten", "max", "darken"])
def test_a_shutter_slides(burst, blend, tmp_path):
    report = stacker.film(burst, tmp_path / "film.mp4", blend=blend, sliding_s=1.6, first=2)
    assert report["film"]["frames_under_the_shutter"] == 3
    assert report["film"]["pictures"] == 6
    for number in (0, 3, 5):
        span = {"first": number + 2, "last": number + 4}
        assert_shows(
            tmp_path / "film.mp4", number, stacker.expose(burst, blend=blend, **span).light
        )


def test_a_sum_gets_brighter_and_bends(burst, tmp_path):
    stacker.film(burst, tmp_path / "a.mp4", blend="sum", exposure_ev=-4)
    film = open_burst([str(tmp_path / "a.mp4")])
    light = [float(film.reduced_light(k, 1).mean()) for k in range(9)]
    assert light == sorted(light)
    shot = stacker.expose(burst, blend="sum")
    assert light[-1] == pytest.approx(float(shot.light[:96, :160].mean()) / 16, rel=0.02)


@pytest.mark.parametrize("sliding_s", [None, 1.5])
def test_scaling_averages_light(burst, sliding_s, tmp_path):
    stacker.film(burst, tmp_path / "film.mp4", width=80, sliding_s=sliding_s)
    shot = stacker.expose(burst, last=3)
    small = cv2.resize(shot.light, (80, 48), interpolation=cv2.INTER_AREA)
    assert_shows(tmp_path / "film.mp4", 0 if sliding_s else 2, small)


def test_workers_change_nothing(burst, tmp_path):
    for workers in (1, 3):
        stacker.film(burst, tmp_path / f"{workers}.mp4", workers=workers)
    pictures = [open_burst([str(tmp_path / f"{w}.mp4")]).reduced_light(8, 1) for w in (1, 3)]
    assert np.array_equal(*pictures)


def test_a_bad_frame_is_left_out_or_stops(tmp_path):
    write_jpegs(tmp_path / "burst", 6, size=(160, 96))
    broken = tmp_path / "burst" / "KP_0003.jpg"
    broken.write_bytes(broken.read_bytes()[:900])
    burst = open_burst([str(tmp_path / "burst")])
    with pytest.raises(FrameError):
        stacker.film(burst, tmp_path / "a.mp4")
    assert not list(tmp_path.glob("*.mp4")) + list(tmp_path.glob(".*"))
    report = stacker.film(burst, tmp_path / "a.mp4", on_bad="skip", sliding_s=1.0)
    # without it there are five, two of them under the shutter at a time
    assert report["film"]["pictures"] == 4


def test_windows_of_uneven_frames_come_nearest_to_the_time():
    places, shutters = [0, 1, 2, 3, 5, 6], [1.0, 1.0, 2.0, 0.5, 0.5, 1.0]
    starts = window_starts(places, shutters, 2.0)
    assert starts == {1: 0, 2: 2, 3: 2, 5: 3, 6: 3}
    even = window_starts(list(range(50)), [1 / 30] * 50, 0.5)
    assert {end - start for end, start in even.items()} == {14}


@pytest.mark.parametrize(
    ("settings", "choice", "word"),
    [
        (Settings(last=1), {}, "one frame makes no film"),
        (Settings(blends=("median",)), {}, "--blend median"),
        (Settings(blends=("mean", "max")), {}, "--blend mean,max"),
        (Settings(), {"fps": 0}, "--fps 0"),
        (Settings(), {"width": 81}, "--width 81"),
        (Settings(), {"sliding_s": 30}, r"--sliding 30: the frames are open for 4\.5 s in all"),
        (Settings(), {"sliding_s": 4.5}, "nowhere to slide"),
        (Settings(), {"sliding_s": -1}, "--sliding -1"),
        (Settings(memory=10**6), {"sliding_s": 2}, "4 frames under the shutter"),
        (Settings(memory=10**6), {}, "--memory"),
        (Settings(tail_s=3.0), {}, "--tail"),
        (Settings(bridge=True), {"sliding_s": 2}, "--bridge: .* under --sliding"),
        (Settings(bridge=True, memory=112 * 10**6), {}, "to bridge gaps"),
    ],
)
def test_what_makes_no_film_is_one_sentence(burst, tmp_path, settings, choice, word):
    with pytest.raises(StackerError, match=word) as error:
        film_burst(burst, tmp_path / "a.mp4", settings, FilmChoice(**choice))
    assert "\n" not in str(error.value)
    assert list(tmp_path.iterdir()) == []


class MadeUp:
    """A bridge whose light tells the gap: a box further right for each."""

    def __init__(self, joins, count):
        self.joins = joins
        self.gaps = [GapVerdict(True)] * (count - 1)

    def between(self, number, earlier, later):
        assert earlier.mean() != later.mean()
        light = np.full((60, 18, 3), 0.9 if self.joins == "greater" else 0.4, np.float32)
        return [Patch(20, 18 * number, light, np.ones((60, 18), np.float32))]


@pytest.fixture
def made_up(monkeypatch):
    def choose(joins, frames, exposed, weights, counts, workers, sky):
        for number in range(len(exposed)):
            frames(number)
        return {"made up": MadeUp(joins, len(exposed))}

    monkeypatch.setattr(bridging, "choose_bridges", choose)


@pytest.mark.parametrize("workers", [1, 3])
@pytest.mark.parametrize("blend", ["lighten", "mean", "sum", "max"])
def test_gaps_are_bridged_as_the_film_goes(burst, blend, workers, made_up, tmp_path):
    ev = -4 if blend == "sum" else 0
    choices = {"blend": blend, "workers": workers, "exposure_ev": ev, "bridge": True}
    report = stacker.film(burst, tmp_path / "film.mp4", **choices)
    assert [gap["bridged"] for gap in report["gaps"]] == [True] * 8
    assert report["bridge"]["words"] == "all 8 gaps were bridged, by made up"
    # what this bridge puts into a gap does not hang on the frames that follow
    for number in (0, 3, 8):
        shot = stacker.expose(burst, blend=blend, bridge=True, last=number + 1)
        inside = shown_inside_boxes(tmp_path / "film.mp4", number)
        expected = linear_to_srgb(np.clip(shot.light * 2.0**ev, 0, 1))[30:70, :160]
        difference = 255 * (inside - expected)
        # the middle of each box, away from its edges: 4:2:0 smears colour over them
        for left in range(0, 144, 18):
            part = difference[:, left + 6 : left + 12]
            assert np.abs(part.mean(axis=(0, 1))).max() <= CODES


def shown_inside_boxes(film, number):
    """Return the rows of a film's picture that lie inside of the boxes, in codes of 0 to 1."""
    return linear_to_srgb(open_burst([str(film)]).reduced_light(number, 1))[30:70]


@pytest.mark.parametrize("number", [1, 3, 6])
def test_a_bad_frame_of_a_bridged_film_is_as_if_it_had_never_been(number, made_up, tmp_path):
    write_jpegs(tmp_path / "burst", 6, size=(160, 96))
    broken = tmp_path / "burst" / f"KP_000{number}.jpg"
    broken.write_bytes(broken.read_bytes()[:900])
    burst = open_burst([str(tmp_path / "burst")])
    choices = {"blend": "lighten", "bridge": True}
    with pytest.raises(FrameError, match="--on-bad skip"):
        stacker.film(burst, tmp_path / "a.mp4", **choices)
    report = stacker.film(burst, tmp_path / "a.mp4", on_bad="skip", **choices)
    broken.unlink()
    without = open_burst([str(tmp_path / "burst")])
    same = stacker.film(without, tmp_path / "b.mp4", **choices)
    assert report["gaps"] == same["gaps"] and len(report["gaps"]) == 4
    pictures = [open_burst([str(tmp_path / f"{f}.mp4")]).reduced_light(4, 1) for f in "ab"]
    assert np.array_equal(*pictures)


def test_a_film_without_a_clock_is_not_bridged_and_says_so(folder, made_up, tmp_path):
    report = stacker.film(open_burst([str(folder)]), tmp_path / "a.mp4", bridge=True)
    assert any("--frame-shutter" in warning for warning in report["warnings"])
    assert not any(gap["bridged"] for gap in report["gaps"])


def test_without_a_clock_nothing_slides(folder, tmp_path):
    with pytest.raises(OptionError, match="--frame-shutter"):
        stacker.film(open_burst([str(folder)]), tmp_path / "a.mp4", sliding_s=1.0)
