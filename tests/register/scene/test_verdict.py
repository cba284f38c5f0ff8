"""The verdict on a frame follows what is known of it."""

from dataclasses import replace

import pytest

from stacker.register.scene.verdict import Look, verdicts, weights_of

GOOD = Look(
    mean_light=0.2, dim_light=0.05, detail=1e-4, agreement=0.9,
    worst=0.95, best=1.0, error=0.01, uncertain_px=0.01, needed=0.07,
)  # fmt: skip


def verdict_on(odd: Look) -> str | None:
    """Return the verdict on one frame among good ones, all of which must pass."""
    found = verdicts([GOOD, GOOD, odd, GOOD, GOOD])
    assert found[:2] + found[3:] == [None] * 4
    return found[2]


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"mean_light": 0.001, "agreement": 0.0}, "black"),
        ({"mean_light": 0.9, "dim_light": 0.6, "agreement": 0.3}, "flash"),
        ({"detail": 1e-6, "agreement": 0.0}, "covered"),
        ({"agreement": 0.02}, "bumped"),
        ({"worst": 0.1, "best": 0.6, "detail": 6e-5}, "motion"),
        ({"worst": 0.1, "best": 0.12, "detail": 1e-5}, "focus"),
        ({"uncertain_px": 5.0}, "recognised"),
        ({"agreement": 0.2, "sure": False}, "recognised"),
    ],
)
def test_what_is_wrong_is_said(changes, word):
    assert word in verdict_on(replace(GOOD, **changes))


@pytest.mark.parametrize(
    "changes",
    [
        {"agreement": 0.12},
        {"mean_light": 0.4, "dim_light": 0.1},  # a stop brighter
        {"mean_light": 0.6, "dim_light": 0.05},  # fireworks: the dark parts stay dark
        {"mean_light": 0.01, "dim_light": 0.002},  # darker, but all there
        {"worst": 0.3, "best": 0.4, "error": 0.1},  # too noisy to say
        {"worst": 0.75},
        {"worst": 0.3, "best": 0.6},  # walkers cover what is compared; all detail is there
    ],
)
def test_what_is_usual_passes(changes):
    assert verdict_on(replace(GOOD, **changes)) is None


def test_repeating_windows_ask_for_more_agreement():
    look = replace(GOOD, agreement=0.3)
    assert verdict_on(look) is None
    assert "bumped" in verdict_on(replace(look, needed=0.5))


def test_a_whole_burst_that_seems_less_sharp_is_not_blurred():
    """By night every frame seems to have less detail than the reference."""
    looks = [replace(GOOD, worst=0.4, best=0.45) for _ in range(6)]
    assert verdicts(looks) == [None] * 6


def dusk(count: int = 24) -> list[Look]:
    """Return frames of a dusk by four stops: the lamps' detail grows on the reference's places."""
    share = [2 ** (-4 * number / (count - 1)) for number in range(count)]
    return [
        replace(GOOD, mean_light=0.3 * s, dim_light=0.1 * s, worst=1 - 0.7 * s, best=1 - 0.7 * s)
        for s in share
    ]


def test_a_dusk_is_not_out_of_focus():
    """Lit windows on walls that fade: the first frames have a third of the last ones' detail."""
    assert verdicts(dusk()) == [None] * 24
    # the change bends, and a line is drawn through it: by less than the sixth that is forgiven
    assert weights_of(dusk()) == [1.0] * 24


@pytest.mark.parametrize("number", [1, 5, 12, 22])
def test_a_blurred_frame_of_a_dusk_is_found(number):
    looks = dusk()
    looks[number] = replace(
        looks[number], worst=0.3 * looks[number].worst, best=0.32 * looks[number].best, detail=1e-6
    )
    found = verdicts(looks)
    assert "focus" in (found.pop(number) or "")
    assert found == [None] * 23


def test_slight_blur_counts_less():
    looks = [GOOD, GOOD, replace(GOOD, worst=0.6), GOOD, GOOD]
    weights = weights_of(looks)
    assert weights[:2] + weights[3:] == [1.0] * 4
    # what three errors are given in its favour makes 0.63 of 0.95, against 0.85 for a sharp one
    assert weights[2] == pytest.approx((0.63 / 0.95 / 0.85) ** 2)


def test_noise_alone_costs_no_weight():
    looks = [GOOD, GOOD, replace(GOOD, worst=0.6, error=0.2), GOOD]
    assert weights_of(looks) == [1.0] * 4
