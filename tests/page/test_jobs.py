"""Work in the background: its turns, its end, what it leaves."""

import threading

import numpy as np
import pytest

from stacker.burst import open_burst as open_frames
from stacker.cli.app import run
from stacker.errors import FrameError
from stacker.page.answers import PageError
from stacker.page.jobs import FAULT, MOST_TOLD, MOST_WAITING, CancelledError, Job, Jobs, Outcome
from tests.page.conftest import PATIENCE_S, finished


@pytest.fixture
def jobs():
    jobs = Jobs()
    yield jobs
    jobs.close()


def test_jobs_are_done_one_at_a_time_in_their_order(jobs):
    running, seen = threading.Semaphore(1), []

    def work(number):
        def act(job):
            assert running.acquire(blocking=False), "two at once"
            seen.append(number)
            running.release()
            return Outcome(str(number))

        return act

    made = [jobs.add("one", work(number)) for number in range(5)]
    wait(made[-1])
    assert seen == list(range(5))
    assert [each["output"] for each in jobs.told()] == ["4", "3", "2", "1", "0"]


def test_a_running_job_stops_at_its_next_step(jobs):
    begun, go_on = threading.Event(), threading.Event()

    def work(job):
        job.start("frames", 10)
        begun.set()
        go_on.wait(PATIENCE_S)
        job.advance()
        raise AssertionError("it went on")

    job = jobs.add("long", work)
    assert begun.wait(PATIENCE_S)
    job.cancel()
    go_on.set()
    wait(job)
    assert job.state == "cancelled"
    assert job.told()["error"] is None


def test_one_that_waits_is_cancelled_at_once_and_never_begins(jobs):
    go_on = threading.Event()
    first = jobs.add("first", lambda _: go_on.wait(PATIENCE_S) and Outcome())
    second = jobs.add("second", lambda _: pytest.fail("it began"))
    second.cancel()
    assert second.state == "cancelled"
    go_on.set()
    wait(first)
    last = jobs.add("last", lambda _: Outcome())
    wait(last)
    assert (first.state, second.state, last.state) == ("done", "cancelled", "done")


def test_an_error_is_a_sentence_and_a_fault_of_ours_says_so(jobs, capsys):
    def wrong(job):
        raise FrameError("KP_1.jpg", "is damaged", code="frame-truncated")

    def fault(job):
        raise ZeroDivisionError

    first, second = jobs.add("one", wrong), jobs.add("two", fault)
    wait(second)
    assert first.told()["error"] == "KP_1.jpg: is damaged."
    assert first.told()["code"] == "frame-truncated"
    assert second.told()["error"] == FAULT
    wait(jobs.add("three", lambda _: Outcome()))
    assert "ZeroDivisionError" in capsys.readouterr().err


def test_too_many_are_refused_and_old_ones_forgotten(jobs):
    go_on = threading.Event()
    jobs.add("first", lambda _: go_on.wait(PATIENCE_S) and Outcome())
    with pytest.raises(PageError) as caught:
        for _ in range(MOST_WAITING + 2):
            jobs.add("more", lambda _: Outcome())
    assert caught.value.code == "busy"
    go_on.set()
    wait_all(jobs)
    for _ in range(MOST_TOLD):
        wait(jobs.add("short", lambda _: Outcome()))
    assert len(jobs.told()) <= MOST_TOLD


def test_the_time_left_is_told_by_the_steps_so_far(monkeypatch):
    now = [100.0]
    monkeypatch.setattr("stacker.page.jobs.time.monotonic", lambda: now[0])
    job = Job("work", lambda _: Outcome())
    job.state = "running"
    job.start("frames", 10)
    assert job.told()["left_s"] is None
    for _ in range(4):
        job.advance()
    now[0] += 2.0
    assert job.told()["left_s"] == 3.0
    assert (job.told()["done"], job.told()["of"], job.told()["stage"]) == (4, 10, "frames")


def test_closing_ends_what_runs():
    jobs, begun = Jobs(), threading.Event()

    def work(job):
        begun.set()
        while True:
            job.advance()

    job = jobs.add("endless", work)
    assert begun.wait(PATIENCE_S)
    jobs.close()
    assert job.state == "cancelled"


def wait(job):
    """Wait until a job came to its end."""
    ended = threading.Event()
    for _ in range(PATIENCE_S * 100):
        if job.state not in ("waiting", "running"):
            return
        ended.wait(0.01)
    raise AssertionError(job.told())


def wait_all(jobs):
    """Wait until none waits."""
    for told in jobs.told():
        wait(jobs.find(told["id"]))


class TestRendering:
    def ask(self, client, key, output="water.tif", **more):
        body = {"settings": {"blends": ["lighten"], "last": 6}, "output": output, **more}
        return client.post(f"/api/burst/{key}/render", json=body)

    def test_the_result_is_the_commands(self, client, opened, served, tmp_path):
        told = finished(client, self.ask(client, opened).json()["job"])
        assert told["state"] == "done", told
        assert told["output"] == "water.tif"
        own = tmp_path / "own.tif"
        burst = str(served.root / "harbour")
        assert run(["expose", burst, "--blend", "lighten", "--last", "6", "-o", str(own)]) == 0
        one, two = (
            next(open_frames([path]).decode([0]))[1] for path in (served.output / "water.tif", own)
        )
        np.testing.assert_array_equal(one, two)

    def test_a_file_that_is_there_stays_without_a_clear_yes(self, client, opened, served):
        target = served.output / "water.tif"
        target.write_bytes(b"mine")
        for unclear in ({}, {"overwrite": False}, {"overwrite": 1}, {"overwrite": "true"}):
            answer = self.ask(client, opened, **unclear)
            assert (answer.status_code, answer.json()["code"]) == (409, "file-exists")
        assert target.read_bytes() == b"mine"
        told = finished(client, self.ask(client, opened, overwrite=True).json()["job"])
        assert told["state"] == "done"
        assert target.read_bytes() != b"mine"

    @pytest.mark.parametrize(
        ("output", "code"),
        [("../x.tif", "bad-name"), ("x.gif", "output-suffix"), ("x", "output-suffix"),
         (None, "bad-name")],
    )  # fmt: skip
    def test_names_are_checked_before(self, client, opened, served, output, code):
        answer = self.ask(client, opened, output=output)
        assert (answer.status_code, answer.json()["code"]) == (400, code)
        assert not any(served.output.iterdir())

    def test_frames_are_never_written_over(self, client, served):
        from stacker.page.folder import Served
        from tests.page.conftest import open_burst

        inside = Served(served.root, served.root / "harbour")
        object.__setattr__(served, "output", inside.output)
        key = open_burst(client, "harbour")
        before = (inside.output / "KP_0001.jpg").read_bytes()
        answer = self.ask(client, key, output="KP_0001.jpg", overwrite=True)
        assert (answer.status_code, answer.json()["code"]) == (400, "output-is-source")
        assert (inside.output / "KP_0001.jpg").read_bytes() == before

    def test_cancelled_leaves_nothing_behind(self, client, opened, served, monkeypatch):
        begun, go_on = threading.Event(), threading.Event()
        advance = Job.advance

        def slow(job):
            begun.set()
            go_on.wait(PATIENCE_S)
            advance(job)

        monkeypatch.setattr(Job, "advance", slow)
        name = self.ask(client, opened).json()["job"]
        assert begun.wait(PATIENCE_S)
        assert client.get(f"/api/jobs/{name}").json()["state"] == "running"
        client.delete(f"/api/jobs/{name}")
        go_on.set()
        assert finished(client, name)["state"] == "cancelled"
        assert not any(served.output.iterdir())

    def test_others_are_answered_meanwhile(self, client, opened, monkeypatch):
        go_on = threading.Event()
        start = Job.start

        def held(job, stage, total):
            if job.what != "answer":
                go_on.wait(PATIENCE_S)
            start(job, stage, total)

        monkeypatch.setattr(Job, "start", held)
        name = self.ask(client, opened).json()["job"]
        answer = client.post(f"/api/burst/{opened}/preview", json={"settings": {}})
        assert answer.status_code == 200
        assert client.get("/api/jobs").json()["jobs"][0]["id"] == name
        go_on.set()
        assert finished(client, name)["state"] == "done"

    def test_an_unknown_job_is_told(self, client):
        answer = client.get("/api/jobs/nothing")
        assert (answer.status_code, answer.json()["code"]) == (404, "no-such-job")


def test_an_answer_that_nobody_waits_for_is_given_up():
    import asyncio

    from stacker.page.leaving import while_wanted

    class Gone:
        async def is_disconnected(self):
            return True

    def work(progress):
        while True:
            progress.advance()

    with pytest.raises(PageError) as caught:
        asyncio.run(while_wanted(Gone(), work))
    assert caught.value.code == "given-up"
    assert issubclass(CancelledError, Exception)
