"""Why a frame is left out, in words."""

import pytest

from stacker.register.subject.verdict import Look, verdicts

INSIDE = (0.5, 0.5)
GOOD = Look(0.2, INSIDE, found=True, worst=1.0, best=1.0, error=0.02, uncertain_px=0.02)


@pytest.mark.parametrize(
    ("look", "word"),
    [
        (Look(0.001, INSIDE, found=False), "it is black"),
        (Look(0.2, (1.1, 0.5), found=False), "left the picture"),
        (Look(0.2, (0.5, -0.1), found=False), "left the picture"),
        (Look(0.2, INSIDE, found=False), "cannot be found"),
        (Look(0.2, INSIDE, True, 0.2, 0.9, 0.02, 0.02), "blurred by motion"),
        (Look(0.2, INSIDE, True, 0.2, 0.25, 0.02, 0.02), "out of focus"),
        (Look(0.2, INSIDE, True, 1.0, 1.0, 0.02, 3.0), "too little of the subject"),
    ],
)
def test_each_fault_has_its_words(look, word):
    found = verdicts([GOOD, GOOD, look, GOOD])
    assert word in found[2]
    assert found[:2] == [None, None]


def test_a_comparison_that_is_uncertain_refuses_nothing():
    noisy = Look(0.2, INSIDE, True, 0.4, 0.5, 0.1, 0.1)
    assert verdicts([GOOD, GOOD, noisy, GOOD]) == [None] * 4


def test_nothing_found_at_all_has_reasons_too():
    assert all(verdicts([Look(0.2, INSIDE, found=False)] * 3))
