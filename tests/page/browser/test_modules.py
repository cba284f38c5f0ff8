"""Known answers of the page's own small sums, asked in the browser."""

import pytest


@pytest.fixture(scope="module")
def asked(browser, served):
    """Evaluates an expression in which ``m`` is a module of the page."""
    page = browser.new_page()
    page.goto(served.address)
    yield lambda module, expression: page.evaluate(
        f"async () => {{ const m = await import('/static/js/{module}.js'); return {expression}; }}"
    )
    page.close()


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (1 / 60, "1/60 s"),
        (0.5, "0.5 s"),
        (1, "1 s"),
        (12.4, "12 s"),
        (60, "1 min"),
        (75, "1 min 15 s"),
        (2880, "48 min"),
        (3900, "1 h 5 min"),
        (7200, "2 h"),
    ],
)
def test_times_in_words(asked, value, words):
    assert asked("words", f"m.seconds({value})") == words


def test_times_as_they_are_spoken(asked):
    assert asked("words", "m.spokenSeconds(1 / 60)") == "1/60 of a second"
    assert asked("words", "m.spokenSeconds(90)") == "1 minute 30 seconds"


FRAMES = "Array.from({length: 10}, (_, i) => ({n: i + 1, shutter_s: 0.5, problem: null}))"


@pytest.mark.parametrize(
    ("wanted", "settings", "span"),
    [
        (2, "{}", (1, 4)),
        (2, "{first: 4}", (4, 7)),
        # where the burst ends too early the shutter opens earlier
        (4, "{first: 8}", (3, 10)),
        # frames that take no part count for nothing
        (1, "{without: [2]}", (1, 3)),
        (100, "{first: 5}", (1, 10)),
        (0.01, "{first: 5}", (5, 5)),
    ],
)
def test_the_span_for_a_shutter(asked, wanted, settings, span):
    found = asked("span", f"m.spanFor({wanted}, {FRAMES}, {settings})")
    assert (found["first"], found["last"]) == span


def test_weights_stay_with_their_frames(asked):
    settings = "{first: 3, last: 6, weights: [1, 0.5, 0, 1]}"
    moved = asked("span", f"m.spanSettings({settings}, {{first: 4, last: 8}}, 10)")
    assert moved["weights"] == [0.5, 0, 1, 1, 1]
    away = asked("span", f"m.spanSettings({settings}, {{first: 8, last: 9}}, 10)")
    assert away.get("weights") is None


def test_a_store_goes_back_and_forth(asked):
    told = asked(
        "store",
        """(() => {
            const store = m.makeStore({settings: {}, versions: [], selected: null}, "a-test");
            store.live({exposure: 1});
            store.live({exposure: 2});
            store.change({}, "exposure");
            store.change({blends: ["lighten"]}, "blend");
            store.undo();
            const middle = store.get().settings;
            store.undo();
            const start = store.get().settings;
            store.redo();
            store.redo();
            return [middle, start, store.get().settings, store.canRedo()];
        })()""",
    )
    assert told == [{"exposure": 2}, {}, {"exposure": 2, "blends": ["lighten"]}, False]
