"""The order of frames: names, counters that begin again, times, clocks that jump."""

from __future__ import annotations

import random

from hypothesis import given
from hypothesis import strategies as st

from stacker.burst.order import by_name, in_shot_order, natural_key


def _sorted(names: list[str]) -> list[str]:
    return [names[place] for place in by_name(names)]


def test_digits_count_by_value_and_case_does_not_matter() -> None:
    assert _sorted(["IMG_10.jpg", "img_9.jpg", "IMG_2.jpg"]) == [
        "IMG_2.jpg",
        "img_9.jpg",
        "IMG_10.jpg",
    ]


@given(st.lists(st.integers(0, 10**9), min_size=1, max_size=30, unique=True), st.text(max_size=5))
def test_numbers_without_leading_zeros_sort_by_value(numbers: list[int], stem: str) -> None:
    names = [f"a{stem}_{number}x" for number in numbers]
    expected = [f"a{stem}_{number}x" for number in sorted(numbers)]
    assert sorted(names, key=natural_key) == expected


@given(st.lists(st.text(max_size=12), min_size=1, max_size=12), st.randoms())
def test_order_does_not_depend_on_the_order_given(names: list[str], rng: random.Random) -> None:
    shuffled = names[:]
    rng.shuffle(shuffled)
    assert _sorted(names) == _sorted(shuffled)


@given(st.integers(0, 9999), st.integers(2, 40), st.randoms())
def test_a_counter_goes_on_over_its_top(first: int, count: int, rng: random.Random) -> None:
    shot = [f"DSC{(first + place) % 10000:04d}.JPG" for place in range(count)]
    found = shot[:]
    rng.shuffle(found)
    assert _sorted(found) == shot


def test_a_hole_in_the_middle_is_no_new_beginning() -> None:
    names = ["IMG_1000.jpg", "IMG_1001.jpg", "IMG_8000.jpg", "IMG_8001.jpg"]
    assert _sorted(names) == names


def test_times_come_before_names() -> None:
    ordered = in_shot_order(["b.jpg", "a.jpg", "c.jpg"], [1.0, 2.0, 0.0])
    assert ordered.places == (2, 0, 1)
    assert ordered.times_s == (0.0, 1.0, 2.0)


def test_equal_times_fall_back_on_names_with_the_counter_going_on() -> None:
    names = ["IMG_0001.jpg", "IMG_9998.jpg", "IMG_0002.jpg", "IMG_9999.jpg"]
    assert in_shot_order(names, [5.0, 5.0, 6.0, 5.0]).places == (1, 3, 0, 2)
    assert in_shot_order(names, [None] * 4).places == (1, 3, 0, 2)
    assert in_shot_order(names, [5.0] * 4).places == (1, 3, 0, 2)


def test_a_frame_without_a_time_stays_beside_its_neighbour() -> None:
    names = ["IMG_1.jpg", "IMG_2.jpg", "IMG_3.jpg"]
    assert in_shot_order(names, [10.0, None, 12.0]).places == (0, 1, 2)


def test_a_clock_set_back_is_mended() -> None:
    names = [f"IMG_{number:04d}.jpg" for number in (9998, 9999, 1, 2)]
    ordered = in_shot_order(names, [7200.0, 7205.0, 3610.0, 3615.0])
    assert ordered.places == (0, 1, 2, 3)
    assert ordered.times_s == (7200.0, 7205.0, 7210.0, 7215.0)
    assert ordered.jump_s == 3600.0


def test_a_jump_that_is_no_zone_is_left_alone() -> None:
    names = [f"IMG_{number:04d}.jpg" for number in (1, 2, 3, 4)]
    ordered = in_shot_order(names, [7200.0, 7205.0, 1234.0, 1239.0])
    assert ordered.places == (2, 3, 0, 1)
    assert ordered.jump_s == 0.0


def test_names_that_do_not_follow_each_other_are_left_to_their_times() -> None:
    names = [f"IMG_{number:04d}.jpg" for number in (1, 2, 7, 8)]
    ordered = in_shot_order(names, [7200.0, 7205.0, 3610.0, 3615.0])
    assert ordered.places == (2, 3, 0, 1)
