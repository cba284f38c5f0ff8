"""Files that are dropped, masks that are painted, the demo."""

import io

import cv2
import numpy as np
import pytest

from stacker.errors import OutputError
from tests.page.conftest import finished, open_burst


def drop(client, *names, content=None):
    files = [("files", (name, io.BytesIO(content or b"none"), "image/jpeg")) for name in names]
    return client.post("/api/upload", files=files)


def test_dropped_frames_are_a_burst(client, served, frames):
    files = [
        ("files", (path.name, path.read_bytes(), "image/jpeg"))
        for path in sorted(frames.iterdir())[:3]
    ]
    answer = client.post("/api/upload", files=files)
    assert answer.status_code == 200, answer.text
    told = answer.json()
    assert told["id"] == "+dropped/KP_0001"
    assert [frame["name"] for frame in told["frames"]] == [name for _, (name, *_) in files]
    kept = served.output / "dropped" / "KP_0001"
    assert (kept / "KP_0002.jpg").read_bytes() == files[1][1][1]
    assert "+dropped/KP_0001" in [b["id"] for b in client.get("/api/hello").json()["bursts"]]
    key = open_burst(client, told["id"])
    assert client.post(f"/api/burst/{key}/preview", json={}).headers["x-frames"] == "3"
    # the same again is another burst
    assert client.post("/api/upload", files=files).json()["id"] == "+dropped/KP_0001-2"


@pytest.mark.parametrize(
    "names", [("x.sh",), ("x.html",), (".jpg",), ("a.jpg", "a.jpg"), ("x",), ("a.jpg", "b.exe")]
)
def test_other_files_are_refused_and_nothing_is_kept(client, served, names):
    answer = drop(client, *names)
    assert (answer.status_code, answer.json()["code"]) == (400, "upload")
    assert not (served.output / "dropped").exists()


@pytest.mark.parametrize("name", ["../../x.jpg", "/etc/x.jpg", "a/../../x.jpg", "..\\..\\x.jpg"])
def test_names_lead_nowhere_else(client, served, frames, name):
    answer = drop(client, name, content=(frames / "KP_0001.jpg").read_bytes())
    assert answer.json()["id"] == "+dropped/x"
    assert [path.name for path in (served.output / "dropped" / "x").iterdir()] == ["x.jpg"]


def test_no_files_is_a_sentence(client):
    for answer in (client.post("/api/upload"), client.post("/api/upload", data={"a": "b"})):
        assert (answer.status_code, answer.json()["code"]) == (400, "upload")


def test_what_is_no_picture_inside_is_told(client):
    answer = drop(client, "x.jpg")
    assert answer.status_code == 400
    assert "x.jpg" in answer.json()["error"]


def test_a_linked_folder_takes_nothing_in(client, served, tmp_path):
    (served.output / "dropped").symlink_to(tmp_path)
    answer = drop(client, "x.jpg")
    assert answer.json()["code"] == "upload"
    assert not (tmp_path / "x").exists()


def painted(size):
    width, height = size
    picture = np.zeros((height, width, 4), np.uint8)
    picture[..., 3] = 255
    picture[:, width // 2 :, :3] = 255
    return cv2.imencode(".png", picture)[1].tobytes()


def test_a_mask_comes_back_and_lies_in_the_output_folder(client, opened, served):
    answer = client.put(f"/api/burst/{opened}/mask/region-1-2.png", content=painted((96, 64)))
    assert answer.json() == {"mask": "harbour.masks/region-1-2.png"}
    kept = cv2.imread(str(served.output / answer.json()["mask"]), cv2.IMREAD_UNCHANGED)
    assert kept.shape == (64, 96)
    back = client.get(f"/api/burst/{opened}/mask/{answer.json()['mask']}")
    mask = cv2.imdecode(np.frombuffer(back.content, np.uint8), cv2.IMREAD_UNCHANGED)
    assert (mask[:, :48] == 0).all()
    assert (mask[:, 48:] == 255).all()


@pytest.mark.parametrize(
    ("name", "content"),
    [("x", b"no picture"), ("x", painted((95, 64))), ("X Y", painted((96, 64))),
     ("x", painted((96, 64))[:60]), ("..", painted((96, 64)))],
)  # fmt: skip
def test_other_masks_are_refused(client, opened, served, name, content):
    answer = client.put(f"/api/burst/{opened}/mask/{name}", content=content)
    assert answer.status_code in (400, 404)
    assert not any(served.output.iterdir())


def test_masks_elsewhere_are_not_given(client, opened, served):
    (served.output / "harbour.masks").mkdir()
    for name in ("nothing.png", "../../bursts/harbour/KP_0001.jpg", "..%2f..%2fx.png"):
        assert client.get(f"/api/burst/{opened}/mask/{name}").status_code == 404


def test_what_moves_is_found_and_other_masks_are_refused_in_words(client, opened, served):
    answer = client.post(f"/api/burst/{opened}/region-fill", json={"of": "moving"})
    assert answer.status_code == 200
    mask = cv2.imdecode(np.frombuffer(answer.content, np.uint8), cv2.IMREAD_UNCHANGED)
    told = client.post("/api/burst", json={"id": "harbour"}).json()
    assert mask.dtype == np.uint8 and list(mask.shape[::-1]) == told["preview_size"]
    # some of the harbour is water, and some is not
    assert mask.min() == 0 and mask.max() > 50
    for wrong, code in (("river", "no-such-mask"), (None, "no-such-mask"), ("sky", None)):
        answer = client.post(f"/api/burst/{opened}/region-fill", json={"of": wrong})
        assert answer.status_code in (400, 404)
        assert code in (None, answer.json()["code"])
        assert answer.json()["error"].endswith(("it", "it."))


def test_the_demo_is_made_in_the_background(client, served, monkeypatch):
    from stacker import demo

    picture = demo.PICTURES[0]
    result = demo.DemoResult(picture, served.output, 3, 1.0, 40.0, 20.0)

    def made(folder, *, progress):
        folder.mkdir()
        yield result

    def halfway(folder, *, progress):
        folder.mkdir()
        raise OutputError(folder, "the disk is full", code="output-disk-full")
        yield

    monkeypatch.setattr(demo, "make_demo", halfway)
    told = finished(client, client.post("/api/demo").json()["job"])
    assert (told["state"], told["code"]) == ("failed", "output-disk-full")
    assert not any(served.output.iterdir())
    monkeypatch.setattr(demo, "make_demo", made)
    told = finished(client, client.post("/api/demo").json()["job"])
    assert (told["state"], told["output"]) == ("done", "+kestrel-point")
    answer = client.post("/api/demo")
    assert (answer.status_code, answer.json()["code"]) == (409, "file-exists")
