"""A small burst behind a page, and a browser that was let in."""

import shutil
import time

import pytest
from starlette.testclient import TestClient

from stacker.page.app import make_app
from stacker.page.desk import Desk
from stacker.page.folder import Served
from stacker.page.guard import Pass
from tests.bursts import write_jpegs

PORT = 8017
HOME = f"http://127.0.0.1:{PORT}"
# far more than anything here takes, for a machine with much else to do
PATIENCE_S = 60


@pytest.fixture(scope="session")
def frames(tmp_path_factory):
    """Nine frames; below 128 pixels a side nothing is looked for in them, and they lie still."""
    folder = tmp_path_factory.mktemp("frames") / "harbour"
    write_jpegs(folder, 9, size=(96, 64), interval_s=1.0)
    return folder


@pytest.fixture
def served(tmp_path, frames):
    root, output = tmp_path / "bursts", tmp_path / "results"
    shutil.copytree(frames, root / "harbour")
    output.mkdir()
    return Served(root.resolve(), output.resolve())


@pytest.fixture
def desk(served):
    desk = Desk(served)
    yield desk
    desk.close()


@pytest.fixture
def admission():
    return Pass(port=PORT)


@pytest.fixture
def stranger(desk, admission):
    """A browser that was not let in."""
    return TestClient(make_app(desk, admission), base_url=HOME, headers={"Origin": HOME})


@pytest.fixture
def client(stranger, admission):
    """A browser that opened the address with the token."""
    stranger.get(f"/?token={admission.token}")
    return stranger


@pytest.fixture
def opened(client):
    """The key of the burst, all of whose frames were read and looked at."""
    return open_burst(client, "harbour")


def open_burst(client, place):
    answer = client.post("/api/burst", json={"id": place})
    assert answer.status_code == 200, answer.text
    key = answer.json()["key"]
    wait_for(
        client,
        f"/api/burst/{key}/progress",
        lambda told: told["error"] or (told["ready"] and not told["looking"]),
    )
    return key


def wait_for(client, address, is_there):
    """Return what is told at an address once it is so."""
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        told = client.get(address).json()
        if is_there(told):
            return told
        time.sleep(0.01)
    raise AssertionError(f"still {told}")


def finished(client, job):
    """Return what is told of a job that came to its end."""
    return wait_for(
        client,
        f"/api/jobs/{job}",
        lambda told: told["state"] not in ("waiting", "running"),
    )
