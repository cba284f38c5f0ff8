"""Whatever is known, a plan comes out whole or is refused in a sentence."""

import json
import math
import re
from datetime import date

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from stacker.cli.plan_words import WIDTH, as_markdown, as_text
from stacker.engine.subjects import PRESETS
from stacker.errors import OptionError
from stacker.plan import SUBJECTS, make_plan
from stacker.plan.facts import SPANS
from stacker.plan.sensors import FORMATS


def _number(name: str, least: float, greatest: float) -> st.SearchStrategy[float]:
    if name == "frames":
        return st.integers(1, 1000)
    if least > 0:
        # small and large sizes alike
        return st.floats(math.log(least), math.log(greatest)).map(
            lambda power: min(max(math.exp(power), least), greatest)
        )
    return st.floats(least, greatest)


ALL_FACTS: dict[str, st.SearchStrategy[object]] = {
    **{name: _number(name, *span[1:]) for name, span in SPANS.items()},
    "sensor": st.sampled_from([each.name for each in FORMATS]),
    "cold": st.booleans(),
}
PLACE = {
    "latitude_deg": ALL_FACTS["latitude_deg"],
    "longitude_deg": ALL_FACTS["longitude_deg"],
    "date": st.dates(date(1900, 1, 1), date(2100, 12, 31)),
    "zone": st.sampled_from(["UTC", "Asia/Kathmandu", "-03:30"]),
}


def _facts_of(names: set[str], *, placed: bool) -> st.SearchStrategy[dict[str, object]]:
    chosen = {name: ALL_FACTS[name] for name in names}
    return st.fixed_dictionaries({**chosen, **(PLACE if placed else {})})


# few at a time, as more would nearly always contradict each other
FACTS = st.sets(st.sampled_from(sorted(ALL_FACTS)), max_size=5).flatmap(
    # an evening costs more than all else: one in eight
    lambda names: st.integers(0, 7).flatmap(lambda die: _facts_of(names, placed=die == 7))
)


@settings(max_examples=150, deadline=None)
# a frame longer than the usual time on site
@example("clouds", {"frame_shutter_s": 400.0})
# what all but stands
@example("clouds", {"flow_m_s": 5e-324})
@example("traffic", {"speed_m_s": 5e-324})
@given(st.sampled_from(sorted(SUBJECTS)), FACTS)
def test_any_facts_make_a_plan_or_a_sentence(subject, facts):
    try:
        plan = make_plan(subject, **facts)
    except OptionError as error:
        assert str(error).endswith(".") and "\n" not in str(error)
        return
    json.dumps(plan.to_dict(), allow_nan=False)
    lines = as_text(plan).splitlines()
    assert max(map(len, lines)) <= WIDTH
    for text in (*lines, as_markdown(plan)):
        assert "nan" not in text.split() and "inf" not in text.split()
    assert plan.noise.gain <= math.sqrt(plan.frames) * (1 + 1e-9)


@pytest.mark.parametrize("subject", SUBJECTS)
def test_numbers_stay_with_their_units(subject):
    text = as_text(make_plan(subject))
    assert not re.search(r"\d\n +(?:s|min|h|px|mm|cm|m|MB|GB|stops|%)\b", text)
    # the pattern finds what it looks for
    assert re.search(r"\d s\b", text)


@pytest.mark.parametrize("name", list(PRESETS))
def test_the_noise_told_is_that_of_the_blend_chosen_for_the_subject(name):
    """Plans and exposures each have a table of the subjects; both must say the same."""
    plan = make_plan(name)
    chosen = {choice.option: choice.value for choice in PRESETS[name].choices}
    assert plan.blend == chosen["blend"]
    assert plan.true_floor == (chosen.get("floor") == "true")
    text = as_text(plan)
    assert ("lighten" in text) == (plan.blend == "lighten")
    assert ("The median has" in text) == (plan.blend == "median")
