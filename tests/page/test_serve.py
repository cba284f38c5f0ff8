"""Starting and ending, as a person types it."""

import http.client
import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time

import pytest

from stacker.cli.app import run
from stacker.page.app import make_app
from stacker.page.guard import Pass
from stacker.page.serve import Place, address_of, served_at
from tests.page.conftest import PATIENCE_S


@pytest.fixture
def listener():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        yield taken


def sentence(capsys):
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "Traceback" not in said
    return said


def test_a_port_in_use_is_one_sentence(frames, listener, capsys):
    port = listener.getsockname()[1]
    assert run(["serve", str(frames), "--no-browser", "--port", str(port)]) == 2
    said = sentence(capsys)
    assert f"--port {port}" in said
    assert "another program listens there" in said


def test_a_missing_library_says_how_to_get_it(frames, capsys, monkeypatch):
    monkeypatch.setitem(sys.modules, "uvicorn", None)
    assert run(["serve", str(frames), "--no-browser"]) == 2
    assert "pip install '.[page]'" in sentence(capsys)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["nowhere"], "there is no such folder"),
        ([".", "--output", "nowhere"], "--output nowhere"),
        ([".", "--host", "0.0.0.0"], "--allow-network"),
        ([".", "--port", "70000"], "--port 70000"),
        ([".", "--host", "192.0.2.1", "--allow-network"], "192.0.2.1"),
    ],
)
def test_what_cannot_be_served_is_one_sentence(tmp_path, monkeypatch, capsys, words, said):
    monkeypatch.chdir(tmp_path)
    assert run(["serve", *words, "--no-browser"]) == 2
    assert said in sentence(capsys)


def test_a_burst_and_a_clip_are_opened_first(frames, tmp_path):
    (tmp_path / "surf.mp4").write_bytes(b"")

    def recent(burst):
        return served_at(Place(burst, tmp_path, "127.0.0.1", 0, False)).recent

    assert recent(frames) == "."
    assert recent(frames.parent) is None
    assert recent(tmp_path / "surf.mp4") == "surf.mp4"


def test_the_address_is_one_that_a_browser_can_open():
    admission = Pass(port=8017, token="t")
    assert address_of("127.0.0.1", admission) == "http://127.0.0.1:8017/?token=t"
    assert address_of("0.0.0.0", admission) == "http://127.0.0.1:8017/?token=t"
    assert address_of("::1", admission) == "http://[::1]:8017/?token=t"


@pytest.mark.skipif(os.name != "posix", reason="an interrupt is sent otherwise there")
def test_it_starts_answers_and_ends_at_an_interrupt(frames, tmp_path):
    import urllib.request

    command = [sys.executable, "-m", "stacker", "serve", str(frames), "--no-browser", "--port", "0"]
    with subprocess.Popen(
        command, cwd=tmp_path, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        found = re.search(r"http://\S+", process.stdout.readline())
        assert found is not None
        assert "Ctrl-C" in process.stdout.readline()
        opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
        with opener.open(found[0], timeout=60) as answer:
            assert b"<html" in answer.read()
        process.send_signal(signal.SIGINT)
        _, err = process.communicate(timeout=60)
    assert process.returncode == 0, err
    assert "Traceback" not in err


def test_work_stops_when_the_browser_hangs_up(desk, served, monkeypatch):
    """By a real server: its test client never hangs up."""
    import uvicorn

    from stacker.page import previewing

    begun, ended = threading.Event(), threading.Event()

    def endless(_opened, _chosen, _data, progress):
        begun.set()
        try:
            while True:
                progress.advance()
                time.sleep(0.01)
        finally:
            ended.set()

    monkeypatch.setattr(previewing, "answer", endless)
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen()
        admission = Pass(port=listener.getsockname()[1])
        home = f"127.0.0.1:{admission.port}"
        app = make_app(desk, admission)
        server = uvicorn.Server(uvicorn.Config(app, log_level="error", lifespan="off"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
        thread.start()
        try:
            key = desk.open("harbour")["key"]
            connection = http.client.HTTPConnection(home, timeout=PATIENCE_S)
            cookie = f"{admission.cookie}={admission.secret}"
            headers = {"Origin": f"http://{home}", "Cookie": cookie}
            connection.request("POST", f"/api/burst/{key}/preview", b"{}", headers)
            assert begun.wait(PATIENCE_S)
            assert not ended.is_set()
            connection.close()
            assert ended.wait(PATIENCE_S)
        finally:
            server.should_exit = True
            thread.join(PATIENCE_S)
    assert not thread.is_alive()
