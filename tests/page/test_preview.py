"""What a drag is answered with."""

import json
import shutil
import time
from datetime import timedelta

import cv2
import numpy as np
import pytest
from PIL import Image

from stacker.burst import open_burst as open_frames
from stacker.cli.app import run
from stacker.engine.progress import Silent
from stacker.engine.settings_file import chosen_from
from stacker.engine.shown import show
from stacker.errors import BurstError
from stacker.page.opened import open_place
from stacker.page.spans import preview
from tests.bursts import START, exif_block, write_jpegs
from tests.page.conftest import open_burst

# a preview and the command's: 8-bit codes of both, as the contract has it
CODES = 2
SETTINGS = [
    {"blends": ["mean"]},
    {"blends": ["mean"], "first": 2, "last": 8, "without": [4, 5]},
    {"blends": ["lighten"], "first": 3},
    {"blends": ["darken"], "without": [2]},
    {"blends": ["max"]},
    {"blends": ["median"], "last": 5},
    {"blends": ["median"], "last": 6, "exposure": 0.7},
    {"blends": ["sum"], "last": 4, "exposure": -2.0, "shoulder": True},
    {"blends": ["mean"], "shutter_s": 2.0, "warmth": 20},
    {"blends": ["lighten"], "floor": "true"},
    {"blends": ["lighten"], "tail_s": 5.0},
    {"blends": ["mean"], "ramp_in_s": 3.0},
    {"blends": ["trimmed"]},
    {"blends": ["lights"]},
    {"blends": ["mean"], "even": "level"},
    {"subject": "traffic"},
]


def asked(client, key, settings, **more):
    answer = client.post(f"/api/burst/{key}/preview", json={"settings": settings, **more})
    assert answer.status_code == 200, answer.text
    return answer


def pixels_of(answer):
    return cv2.imdecode(np.frombuffer(answer.content, np.uint8), cv2.IMREAD_COLOR)[..., ::-1]


def grey_of(answer):
    assert answer.headers["content-type"] == "image/png"
    return cv2.imdecode(np.frombuffer(answer.content, np.uint8), cv2.IMREAD_UNCHANGED)


def settled(opened, chosen):
    """Return the preview once it will be no other."""
    while (previewed := preview(opened, chosen, Silent())).passing:
        time.sleep(0.02)
    return previewed


def paint(path, pixels):
    """Put other pixels into a frame, which keeps its time."""
    with Image.open(path) as frame:
        exif = frame.getexif()
    Image.fromarray(pixels).save(path, exif=exif, quality=100, subsampling=0)


@pytest.fixture(scope="module")
def large(tmp_path_factory):
    """Frames of twice the preview's side, so that they are reduced."""
    folder = tmp_path_factory.mktemp("large") / "quay"
    write_jpegs(folder, 9, size=(1600, 96), interval_s=1.0)
    return folder


@pytest.mark.parametrize("settings", SETTINGS, ids=str)
def test_it_is_what_the_command_shows(client, desk, served, large, tmp_path, settings):
    shutil.copytree(large, served.root / "quay")
    key = open_burst(client, "quay")
    opened = desk.find(key)
    chosen = chosen_from(settings)
    previewed = settled(opened, chosen)
    codes = show(previewed.shot, chosen, factor=previewed.factor).codes

    saved, target = tmp_path / "s.json", tmp_path / "preview.png"
    saved.write_text(json.dumps({"settings": settings}))
    burst = str(served.root / "quay")
    assert run(["expose", burst, "--settings", str(saved), "--preview", "-o", str(target)]) == 0
    made = cv2.imread(str(target), cv2.IMREAD_UNCHANGED)[..., ::-1]
    assert made.shape == codes.shape == (48, 800, 3)
    assert np.abs(made / 257 - codes.astype(float)).max() <= CODES


def test_its_headers_tell_what_it_is(client, opened):
    answer = asked(client, opened, {"last": 4})
    assert answer.headers["content-type"] == "image/jpeg"
    assert json.loads(answer.headers["x-open-s"]) == 2.0
    assert answer.headers["x-frames"] == "4"
    assert json.loads(answer.headers["x-notes"]) == []
    assert answer.headers["x-passing"] == "0"
    histogram = json.loads(answer.headers["x-histogram"])
    assert len(histogram["edges_stops"]) == len(histogram["counts"]["r"]) + 1
    for name in "rgb":
        # shares are rounded to six digits
        assert sum(histogram["counts"][name]) == pytest.approx(1, abs=1e-4)
    assert json.loads(answer.headers["x-region"]) == [0, 0, 96, 64]
    assert pixels_of(answer).shape == (64, 96, 3)


def test_the_same_settings_have_the_same_tag(client, opened):
    tags = [asked(client, opened, {"last": last}).headers["etag"] for last in (4, 4, 5)]
    assert tags[0] == tags[1] != tags[2]


def test_coarse_is_smaller_and_alike(client, served, opened):
    write_jpegs(served.root / "wide", 4, size=(800, 96))
    key = open_burst(client, "wide")
    fine, coarse = (pixels_of(asked(client, key, {}, side=side)) for side in (1500, 375))
    assert fine.shape == (96, 800, 3)
    assert coarse.shape == (32, 266, 3)
    # JPEG of smooth colours
    assert np.abs(fine.mean(axis=(0, 1)) - coarse.mean(axis=(0, 1))).max() < 2


def test_what_takes_long_waits_until_holding_is_known(desk, served):
    unread = open_place(served, "harbour")
    burst = open_frames(served.root / "harbour")
    for place in range(5):
        unread.plain.put(place, next(burst.decode([place]))[1])
    previewed = preview(unread, chosen_from({"blends": ["lighten"], "floor": "true"}), Silent())
    assert previewed.passing
    assert any("noise floor" in note for note in previewed.notes)


def test_coarse_says_what_it_leaves_away(client, opened):
    answer = asked(client, opened, {"blends": ["lighten"], "floor": "true"}, side=375)
    assert any("noise floor" in note for note in json.loads(answer.headers["x-notes"]))


def test_frames_are_left_out_with_a_reason(client, served):
    write_jpegs(served.root / "bad", 5, size=(96, 64))
    broken = served.root / "bad" / "KP_0003.jpg"
    broken.write_bytes(broken.read_bytes()[:900])
    told = client.post("/api/burst", json={"id": "bad"}).json()
    key = open_burst(client, "bad")
    left_out = client.get(f"/api/burst/{key}/progress").json()["left_out"]
    assert list(left_out) == ["3"]
    answer = asked(client, key, {})
    assert answer.headers["x-frames"] == "4"
    assert any("KP_0003" in note for note in json.loads(answer.headers["x-notes"]))
    assert told["size"] == [96, 64]


def test_graphs_tell_how_bright_frames_are(client, served):
    folder = served.root / "dusk"
    write_jpegs(folder, 5, size=(96, 64))
    for path, grey in zip(sorted(folder.iterdir()), (40, 80, 80, 80, 160), strict=True):
        paint(path, np.full((64, 96, 3), grey, np.uint8))
    key = open_burst(client, "dusk")
    graphs = client.get(f"/api/burst/{key}/progress").json()["graphs"]
    assert graphs["light"][1:4] == [0, 0, 0]
    assert graphs["light"][0] < -1.5
    assert graphs["light"][4] > 1.5
    assert graphs["shake_px"] == [0] * 5


@pytest.mark.parametrize(
    ("settings", "word"),
    [
        ({"nonsense": 1}, "nonsense"),
        ({"first": "two"}, "first"),
        ({"first": 50}, "--first 50"),
        ({"first": True}, "first"),
        ({"blends": ["glow"]}, "glow"),
        ({"blends": ["mean", "lighten"]}, "one"),
        ({"exposure": 1e9}, "--exposure"),
        ({"hold": "subject"}, "--box"),
        ({"box": [1, 2, 3]}, "--box"),
        ({"subject": "nothing"}, "nothing"),
        ({"warmth": 10, "gains": [1, 1, 1]}, "white balance"),
        ([], "settings"),
        (None, "settings"),
    ],
)
def test_what_makes_no_sense_is_a_sentence(client, opened, settings, word):
    answer = client.post(f"/api/burst/{opened}/preview", json={"settings": settings})
    assert answer.status_code == 400
    told = answer.json()
    assert word in told["error"]
    assert told["error"].endswith(".")
    assert told["code"]


@pytest.mark.parametrize("more", [{"side": 10}, {"overlay": "glow"}, {"side": None}])
def test_what_is_asked_beside_is_checked(client, opened, more):
    answer = client.post(f"/api/burst/{opened}/preview", json={"settings": {}, **more})
    assert (answer.status_code, answer.json()["code"]) == (400, "bad-request")


def test_clipping_is_marked_where_it_is(client, served):
    folder = served.root / "burnt"
    write_jpegs(folder, 2, size=(96, 64))
    for path in folder.iterdir():
        picture = np.full((64, 96, 3), 128, np.uint8)
        picture[:, :32], picture[:, 64:] = 255, 0
        paint(path, picture)
    key = open_burst(client, "burnt")
    mask = grey_of(asked(client, key, {}, overlay="clipping"))
    assert mask.shape == (64, 96)
    # JPEG smears over the edges of its blocks of eight
    assert (mask[:, :28] == 255).all()
    assert (mask[:, 68:] == 255).all()
    assert (mask[:, 40:56] == 0).all()


def test_doubt_says_where_there_is_none(client, opened):
    body = {"settings": {}, "overlay": "doubt"}
    answer = client.post(f"/api/burst/{opened}/preview", json=body)
    assert (answer.status_code, answer.json()["code"]) == (404, "no-doubt")


def test_one_frame_alone_is_that_frame_even_if_left_out(client, opened, served):
    settings = {"first": 3, "last": 3, "without": [3], "hold": "still", "blends": ["median"]}
    shown = pixels_of(asked(client, opened, settings))
    frame = next(open_frames(served.root / "harbour").decode([2]))[1]
    # JPEG of quality 90
    assert np.abs(shown.astype(int) - frame).mean() < 3


def test_the_magnifier_shows_full_pixels(client, opened, served):
    body = {"settings": {"blends": ["lighten"]}, "x": 40, "y": 30, "size": 16}
    answer = client.post(f"/api/burst/{opened}/loupe", json=body)
    assert answer.status_code == 200, answer.text
    assert json.loads(answer.headers["x-corner"]) == [32, 22]
    burst = open_frames(served.root / "harbour")
    frames = [next(burst.decode([k]))[1] for k in range(9)]
    truth = np.max(frames, axis=0)[22:38, 32:48]
    shown = pixels_of(answer)
    assert shown.shape == (16, 16, 3)
    # JPEG of quality 90
    assert np.abs(shown.astype(int) - truth).mean() < 4


def test_the_magnifier_stays_within_the_picture(client, opened):
    body = {"settings": {}, "x": -500, "y": 5000, "size": 1000}
    answer = client.post(f"/api/burst/{opened}/loupe", json=body)
    assert pixels_of(answer).shape == (64, 96, 3)
    for wrong in (
        {"x": "a", "y": 1},
        {"x": 1, "y": 1, "size": 10**6},
        {"x": float("1e400"), "y": 1},
    ):
        answer = client.post(
            f"/api/burst/{opened}/loupe",
            content=json.dumps({"settings": {}, **wrong}),
        )
        assert answer.json()["code"] == "bad-request"


def test_events_are_lists(client, opened):
    told = client.get(f"/api/burst/{opened}/events").json()
    for each in (*told["bursts"], *told["passes"]):
        assert 1 <= each["first"] <= each["last"] <= 9


def test_a_burst_that_is_not_open_is_told(client):
    answer = client.get("/api/burst/nothing/progress")
    assert (answer.status_code, answer.json()["code"]) == (404, "no-such-burst")


@pytest.fixture(scope="module")
def handheld(tmp_path_factory):
    """Frames of one scene that look elsewhere each time, by parts of a pixel too."""
    rng = np.random.default_rng(8)
    scene = np.zeros((320, 420, 3), np.float32)
    for grain in (3, 9, 27):
        noise = rng.random((320 // grain + 2, 420 // grain + 2, 3), np.float32)
        scene += cv2.resize(noise, (420, 320), interpolation=cv2.INTER_CUBIC)
    scene = 230 * (scene - scene.min()) / np.ptp(scene)
    folder = tmp_path_factory.mktemp("handheld") / "cliff"
    folder.mkdir()
    places = [(0, 0), (1.5, -2), (3.25, 1), (-2, 2.5), (0.5, 4), (-3, -1.75), (2, 2), (4, -3)]
    for number, (x, y) in enumerate(places, start=1):
        shift = np.array([[1, 0, x], [0, 1, y]], np.float32)
        moved = cv2.warpAffine(scene, shift, (420, 320), flags=cv2.INTER_CUBIC)
        pixels = np.clip(moved[20:-20, 20:-20], 0, 255).astype(np.uint8)
        exif = exif_block(START + timedelta(seconds=number), 0.5)
        Image.fromarray(pixels).save(folder / f"KP_{number}.jpg", quality=97, exif=exif)
    return folder


@pytest.mark.parametrize(
    "settings",
    [{}, {"blends": ["lighten"]}, {"blends": ["median"], "hold": "scene"},
     {"hold": "scene", "crop": "full"}, {"hold": "scene", "first": 2, "reference": "KP_4.jpg"}],
    ids=str,
)  # fmt: skip
def test_a_held_burst_is_what_the_command_shows(client, desk, served, handheld, tmp_path, settings):
    shutil.copytree(handheld, served.root / "cliff")
    key = open_burst(client, "cliff")
    opened, chosen = desk.find(key), chosen_from(settings)
    previewed = settled(opened, chosen)
    codes = show(previewed.shot, chosen, factor=previewed.factor).codes
    target = tmp_path / "x.png"
    chosen_file = tmp_path / "s.json"
    chosen_file.write_text(json.dumps(settings))
    words = ["expose", str(served.root / "cliff"), "--settings", str(chosen_file), "--preview"]
    assert run([*words, "-o", str(target)]) == 0
    made = cv2.imread(str(target), cv2.IMREAD_UNCHANGED)[..., ::-1] / 257
    if settings.get("first"):
        # a span is shown within what the whole burst saw, and rendered within what it saw itself
        assert codes.shape[0] <= made.shape[0]
        return
    assert made.shape == codes.shape
    assert np.abs(made - codes.astype(float)).max() <= CODES
    region = json.loads(asked(client, key, settings).headers["x-region"])
    # frames as small as these are not reduced
    assert region[2:] == [codes.shape[1], codes.shape[0]]
    assert (min(region[:2]) > 0) == ("crop" not in settings)
    shake = client.get(f"/api/burst/{key}/progress").json()["graphs"]["shake_px"]
    assert 3 < max(shake) < 12


def test_a_part_of_a_held_burst_is_shown_in_its_place(client, served, handheld):
    shutil.copytree(handheld, served.root / "cliff")
    key = open_burst(client, "cliff")
    whole = pixels_of(asked(client, key, {})).astype(int)
    body = {"settings": {}, "x": 150, "y": 100, "size": 40}
    answer = client.post(f"/api/burst/{key}/loupe", json=body)
    x, y = json.loads(answer.headers["x-corner"])
    part = pixels_of(answer).astype(int)
    # JPEG of quality 90, twice
    assert np.abs(whole[y : y + 40, x : x + 40] - part).mean() < 4


def test_times_that_are_given_count(client, opened):
    settings = {"interval_s": 4.0, "frame_shutter_s": 3.0, "shutter_s": 6.0}
    answer = asked(client, opened, settings)
    assert (answer.headers["x-frames"], json.loads(answer.headers["x-open-s"])) == ("2", 6.0)
    answer = asked(client, opened, {"shutter_s": 2.0})
    assert answer.headers["x-frames"] == "4"


def test_what_a_preview_does_not_show_is_said(client, opened):
    for settings in ({"darks": ["harbour"]}, {"hot_pixels": "mend"}, {"highlights": "blend"}):
        notes = json.loads(asked(client, opened, settings).headers["x-notes"])
        assert any("in the result only" in note for note in notes)


def test_an_odd_frame_is_left_out_as_the_command_leaves_it(client, desk, served, tmp_path):
    rng = np.random.default_rng(9)
    scene = cv2.GaussianBlur(rng.integers(0, 256, (160, 240, 3), np.uint8), (0, 0), 1.5)
    folder = served.root / "tripod"
    folder.mkdir()
    for number in range(1, 9):
        noise = rng.integers(0, 6, scene.shape, np.uint8)
        pixels = cv2.add(scene, noise) if number != 5 else np.zeros_like(scene)
        exif = exif_block(START + timedelta(seconds=number), 0.5)
        Image.fromarray(pixels).save(folder / f"KP_{number}.jpg", quality=95, exif=exif)
    key = open_burst(client, "tripod")
    assert list(client.get(f"/api/burst/{key}/progress").json()["left_out"]) == ["5"]
    answer = asked(client, key, {})
    assert answer.headers["x-frames"] == "7"
    assert any("KP_5.jpg" in note for note in json.loads(answer.headers["x-notes"]))
    chosen = chosen_from({})
    previewed = preview(desk.find(key), chosen, Silent())
    codes = show(previewed.shot, chosen).codes
    assert run(["expose", str(folder), "--preview", "-o", str(tmp_path / "x.png")]) == 0
    made = cv2.imread(str(tmp_path / "x.png"), cv2.IMREAD_UNCHANGED)[..., ::-1] / 257
    assert np.abs(made - codes.astype(float)).max() <= CODES


def test_a_burst_is_opened_once_until_its_files_change(client, desk, served, opened):
    first = desk.find(opened)
    client.post("/api/burst", json={"id": "harbour"})
    assert desk.find(opened) is first
    # something else in the folder is no change of the burst
    (served.root / "harbour" / "notes.txt").write_text("x")
    client.post("/api/burst", json={"id": "harbour"})
    assert desk.find(opened) is first
    (served.root / "harbour" / "KP_0009.jpg").unlink()
    told = client.post("/api/burst", json={"id": "harbour"}).json()
    assert len(told["frames"]) == 8
    assert told["key"] == opened
    assert desk.find(opened) is not first


def test_before_a_frame_was_read_one_is_asked_to_wait(desk, served):
    unread = open_place(served, "harbour")
    with pytest.raises(BurstError) as caught:
        preview(unread, chosen_from({}), Silent())
    assert caught.value.code == "not-yet"
    unread.plain.put(2, next(open_frames(served.root / "harbour").decode([2]))[1])
    previewed = preview(unread, chosen_from({"blends": ["median"]}), Silent())
    assert (previewed.shot.report["frames_used"], previewed.passing) == (1, True)
