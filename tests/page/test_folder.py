"""Nothing outside of the served folder is seen, and nothing outside of the output is written."""

import shutil

import pytest

from stacker.page.answers import PageError
from stacker.page.folder import Served


def test_bursts_are_listed_three_folders_deep(client, served, frames):
    shutil.copytree(frames, served.root / "a" / "b" / "deep")
    shutil.copytree(frames, served.root / "a" / "b" / "c" / "deeper")
    shutil.copytree(frames, served.root / ".hidden")
    (served.root / "clip.mp4").write_bytes(b"")
    told = client.get("/api/hello").json()
    places = {each["id"]: each["frames"] for each in told["bursts"]}
    assert places == {"harbour": 9, "a/b/deep": 9, "clip.mp4": None}
    assert told["folder"] == "bursts"
    assert {each["name"] for each in told["blends"]} >= {"mean", "median"}


@pytest.mark.parametrize(
    "place",
    ["..", "../results", "harbour/../..", "/etc", "", "nothing", "+../bursts", "+other", "a\0b", 7,
     None, "+dropped/../../bursts"],
)  # fmt: skip
def test_other_places_are_no_bursts(client, served, place):
    answer = client.post("/api/burst", json={"id": place})
    if place == "":
        # the served folder itself, in which there are no frames
        assert answer.status_code == 400
        return
    assert (answer.status_code, answer.json()["code"]) == (404, "no-such-burst")


def test_a_linked_folder_that_leads_out_is_no_burst(client, served, frames, tmp_path):
    shutil.copytree(frames, tmp_path / "private")
    (served.root / "way").symlink_to(tmp_path / "private")
    assert client.post("/api/burst", json={"id": "way"}).json()["code"] == "no-such-burst"
    assert [each["id"] for each in client.get("/api/hello").json()["bursts"]] == ["harbour"]


def test_a_linked_frame_that_leads_out_is_refused(client, served, frames, tmp_path):
    shutil.copy(frames / "KP_0001.jpg", tmp_path / "private.jpg")
    (served.root / "harbour" / "KP_0010.jpg").symlink_to(tmp_path / "private.jpg")
    answer = client.post("/api/burst", json={"id": "harbour"})
    assert (answer.status_code, answer.json()["code"]) == (400, "link-outside")
    assert "KP_0010.jpg" in answer.json()["error"]


def test_calibration_frames_lie_in_the_served_folder(client, opened, tmp_path):
    for name in ("darks", "flats", "biases"):
        settings = {name: [str(tmp_path)]}
        answer = client.post(f"/api/burst/{opened}/preview", json={"settings": settings})
        assert (answer.status_code, answer.json()["code"]) == (404, "no-such-burst")


@pytest.mark.parametrize(
    "name", ["../x.tif", "a/x.tif", "/x.tif", "", ".x.tif", "..", None, 3, "x\n.tif", "a\\..\0"]
)
def test_results_have_plain_names(served, name):
    with pytest.raises(PageError) as caught:
        served.target(name)
    assert caught.value.code == "bad-name"


def test_a_result_does_not_follow_a_link_out(served, tmp_path):
    (served.output / "x.tif").symlink_to(tmp_path / "elsewhere.tif")
    with pytest.raises(PageError):
        served.target("x.tif")


def test_a_loop_of_links_ends(tmp_path):
    (tmp_path / "loop").symlink_to(tmp_path)
    assert Served(tmp_path.resolve(), tmp_path.resolve()).bursts() == []
