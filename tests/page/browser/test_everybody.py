"""For keyboards alone, for those who listen, on a tablet, and on a first visit."""

from pathlib import Path

import pytest

from tests.page.browser.conftest import FRAMES

AXE = Path(__file__).parent / "vendor" / "axe.min.js"


def findings(page) -> list[str]:
    """Return what axe finds that is serious or worse."""
    page.evaluate(AXE.read_text())
    found = page.evaluate("async () => (await axe.run()).violations")
    return [
        f"{each['id']}: {node['html'][:120]}"
        for each in found
        if each["impact"] in ("serious", "critical")
        for node in each["nodes"]
    ]


@pytest.mark.parametrize("tone", ["light", "dark"])
def test_nothing_serious_for_axe(visit, served, tone):
    name = f"axe-{tone}"
    served.add_burst(name)
    desk = visit(served.address, color_scheme=tone)
    desk.page.get_by_role("button", name=name).wait_for()
    assert findings(desk.page) == []
    desk.open(name)
    desk.keep()
    desk.page.locator("#compare").click()
    if desk.page.locator("#new-place").is_visible():
        desk.page.locator("#new-place").click()
        desk.page.locator("#place-brush").wait_for()
    assert findings(desk.page) == []
    desk.page.keyboard.press("Escape")
    desk.page.locator("#help-open").click()
    assert findings(desk.page) == []


def test_by_keyboard_alone(visit, served):
    served.add_burst("keys-only")
    page = visit(served.address).page
    burst = page.get_by_role("button", name="keys-only")
    burst.wait_for()
    for _ in range(40):
        page.keyboard.press("Tab")
        if burst.evaluate("key => key === document.activeElement"):
            break
    page.keyboard.press("Enter")
    desk = type(visit(served.address))(page)
    desk.wait_for_picture()
    page.keyboard.press("a")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Tab")
    page.keyboard.press("PageDown")
    desk.wait_for_picture()
    assert f"{FRAMES - 6} frames" in desk.reading
    page.keyboard.press("Shift+ArrowRight")
    desk.wait_for_picture()
    assert desk.axis_words.startswith(f"Frames 3 to {FRAMES - 4}")
    page.keyboard.press("Tab")
    for _ in range(4):
        page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    page.keyboard.press("Escape")
    desk.wait_for_picture()
    assert f"{FRAMES - 7} frames" in desk.reading
    page.keyboard.press("k")
    page.locator(".version").wait_for()
    page.keyboard.press("?")
    page.get_by_role("heading", name="Keys").wait_for()
    page.keyboard.press("Escape")
    page.get_by_role("heading", name="Keys").wait_for(state="hidden")


def test_single_keys_can_be_switched_off(desk):
    page = desk.page
    page.locator("#help-open").click()
    page.get_by_label("Single keys do something").uncheck()
    page.get_by_role("button", name="Close").click()
    page.keyboard.press("k")
    page.keyboard.press("c")
    assert page.locator("#compare").get_attribute("aria-pressed") == "false"
    assert page.locator(".version").count() == 0


def test_on_a_tablet(visit, served):
    served.add_burst("tablet")
    manner = {"viewport": {"width": 820, "height": 1180}, "has_touch": True}
    desk = visit(served.address, **manner)
    desk.page.get_by_role("button", name="tablet").tap()
    desk.wait_for_picture()
    for place in ("#sight", "#dial-turn", ".axis-plot", "#keep"):
        box = desk.page.locator(place).bounding_box()
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= 820
    # nothing to move sideways
    assert desk.page.evaluate("document.documentElement.scrollWidth") <= 820
    desk.page.locator("#blend label", has_text="lighten").tap()
    desk.wait_for_picture()
    assert desk.reading.startswith("lighten")


def test_a_first_visit_offers_the_demo(served_empty, visit):
    page = visit(served_empty.address).page
    page.get_by_text("There is no burst in bursts yet").wait_for()
    assert page.get_by_role("button", name="Make the demo bursts").is_enabled()
    assert page.locator("#undo").is_hidden()


def test_dropped_files_become_a_burst(served, served_empty, visit):
    served.add_burst("to-drop", frames=5)
    desk = visit(served_empty.address)
    desk.page.locator("#pick-files").set_input_files(sorted((served.root / "to-drop").iterdir()))
    desk.wait_for_picture()
    assert desk.axis_words.startswith("Frames 1 to 5")


@pytest.mark.usefixtures("refused")
def test_what_cannot_be_is_told_in_place(desk):
    page = desk.page
    page.locator("#output").fill("picture.gif")
    page.locator("#render").click()
    said = page.locator("#full .said")
    said.wait_for()
    assert "gif" in said.inner_text()
