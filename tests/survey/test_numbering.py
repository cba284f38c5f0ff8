"""What the numbers of files tell, by hand-made names."""

import pytest

from stacker.survey.findings import frame_spans, listed
from stacker.survey.numbering import read_numbering


def names(*numbers, prefix="KP_", end=".jpg"):
    return [f"{prefix}{number:04d}{end}" for number in numbers]


def test_a_whole_burst_has_no_faults():
    found = read_numbering(names(7, 8, 9, 10))
    assert (found.holes, found.doubled, found.backwards) == ((), (), ())


def test_missing_numbers_are_named_after_the_frame_before_them():
    (hole,) = read_numbering(names(1, 2, 5, 6)).holes
    assert hole.after == 1
    assert hole.missing == ("KP_0003", "KP_0004")


def test_a_counter_that_begins_again_is_no_hole():
    found = read_numbering(names(9998, 9999, 1, 2))
    assert not found.holes
    assert not found.backwards


def test_a_hole_over_the_top_is_found():
    (hole,) = read_numbering(names(9998, 1, 2)).holes
    assert hole.missing == ("KP_9999",)


@pytest.mark.parametrize("copy", ["KP_0002 (1).jpg", "KP_0002 copy.jpg", "KP_0002-edited.jpg"])
def test_a_copy_has_the_number_of_its_original(copy):
    found = read_numbering([*names(1, 2), copy, *names(3)])
    assert found.doubled == ((1, 2),)
    assert not found.holes


def test_frames_whose_times_contradict_their_numbers_are_backwards():
    found = read_numbering(names(1, 3, 2, 4))
    assert found.backwards == (2,)
    assert not found.holes


OTHER = [["a.jpg", "b.jpg"], ["KP_0001.jpg", "other_0002.jpg"], ["1.jpg"]]


@pytest.mark.parametrize("other", OTHER)
def test_names_without_a_common_counter_tell_nothing(other):
    found = read_numbering(other)
    assert (found.holes, found.doubled, found.backwards) == ((), (), ())


def test_lists_are_short_and_spans_are_those_of_without():
    assert listed(["a", "b"]) == "a and b"
    assert listed(list("abcdef")) == "a, b, c and 3 more"
    assert frame_spans([9, 3, 7, 8]) == "3,7-9"
