"""Places with a blend of their own, and the subject's box."""

import pytest

from stacker.engine.settings_file import EXPOSING

knows_places = pytest.mark.skipif("regions" not in EXPOSING, reason="it knows no regions yet")


@knows_places
def test_a_painted_place_has_its_own_blend(desk):
    inside, outside = (0.54, 0.5), (0.1, 0.5)
    desk.choose("blend", "lighten")
    before = desk.colours(inside, outside)
    desk.page.locator("#new-place").click()
    desk.page.locator("#place-brush").wait_for()
    desk.drag_on_picture((0.4, 0.5), (0.6, 0.5))
    # the stroke counts once its mask is kept
    desk.has_command("--region")
    desk.wait_for_picture()
    after = desk.colours(inside, outside)
    # the lamp leaves its light in a lighten, and none in a median
    assert sum(after[0]) < sum(before[0]) - 100
    # JPEG's blocks tell their neighbours a little
    assert max(abs(a - b) for a, b in zip(after[1], before[1], strict=True)) <= 2
    assert desk.session()["settings"]["regions"][0]["blend"] == "median"
    desk.page.keyboard.press("Escape")
    desk.page.locator("#undo").click()
    desk.wait_for_picture()
    assert desk.colours(inside) == before[:1]


@knows_places
def test_a_place_filled_by_what_is_still(desk):
    desk.page.locator("#new-place").click()
    desk.page.get_by_role("button", name="what is still").click()
    desk.page.get_by_role("button", name="Remove place 1").wait_for()
    desk.wait_for_picture()
    assert len(desk.session()["settings"]["regions"]) == 1
    desk.page.get_by_role("button", name="Remove place 1").click()
    desk.wait_for_picture()
    assert "regions" not in desk.session()["settings"]


def test_the_subject_is_boxed_on_the_picture(desk):
    desk.page.locator("#hold").get_by_label("subject", exact=True).check()
    # nothing is asked for, and nothing saved, before there is a box
    assert "hold" not in desk.session()["settings"]
    desk.page.locator("#box-draw").click()
    desk.drag_on_picture((0.25, 0.25), (0.5, 0.75))
    desk.has_command("--box 120,80,120,160")
    assert desk.page.locator("#box-w").input_value() == "120"
    assert desk.page.locator("#box-frame").is_visible()
