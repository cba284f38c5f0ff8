"""Nothing is lost: versions, a reload, two tabs, renders and their end."""

import pytest
from PIL import Image


def test_versions_side_by_side(desk):
    desk.keep()
    desk.choose("blend", "lighten")
    desk.keep()
    assert desk.page.locator(".version .name").all_inner_texts() == ["mean 6 s", "lighten 6 s"]
    desk.page.keyboard.press("1")
    desk.wait_for_picture()
    assert desk.reading.startswith("mean")
    desk.page.get_by_role("button", name="Name mean 6 s").click()
    desk.page.get_by_role("textbox", name="Name of the version").fill("silk")
    desk.page.keyboard.press("Enter")
    desk.wait_for_picture()
    assert [each["name"] for each in desk.session()["versions"]] == ["silk", "lighten 6 s"]
    desk.page.get_by_role("button", name="Remove silk").click()
    desk.wait_for_picture()
    assert desk.page.locator(".version").count() == 1


def test_a_reload_loses_nothing(desk):
    desk.choose("blend", "lighten")
    desk.keep()
    desk.drag("#end-last", -300)
    desk.wait_for_picture()
    reading, words = desk.reading, desk.axis_words
    desk.page.reload()
    desk.wait_for_picture()
    assert (desk.reading, desk.axis_words) == (reading, words)
    assert desk.page.locator(".version").count() == 1
    # the way back is there too
    desk.page.locator("#undo").click()
    desk.wait_for_picture()
    assert "6 s" in desk.reading


@pytest.mark.usefixtures("refused")
def test_two_tabs_on_one_burst(desk, visit):
    other = desk.page.context.new_page()
    visit.watch(other)
    other.goto(desk.page.url)
    second = type(desk)(other)
    second.wait_for_picture()
    second.choose("blend", "lighten")
    desk.page.locator("#blend").get_by_label("median", exact=True).check()
    notice = desk.page.locator(".notice")
    notice.get_by_text("Another tab has changed this burst").wait_for()
    notice.get_by_role("button", name="Keep mine as a version beside it").click()
    desk.wait_for_picture()
    assert desk.reading.startswith("median")
    assert [each["name"] for each in desk.session()["versions"]] == ["from this tab"]
    # and the other way round
    second.page.locator("#blend").get_by_label("darken", exact=True).check()
    second.page.get_by_role("button", name="Take what the other tab has").click()
    second.wait_for_picture()
    assert second.reading.startswith("median")
    assert second.page.locator(".version").count() == 1


@pytest.mark.usefixtures("refused")
def test_a_render_lands_in_the_output_folder(desk, served):
    page = desk.page
    desk.choose("blend", "lighten")
    page.locator("#output").fill("by-eye.png")
    page.locator("#render").click()
    page.locator(".job").get_by_text("by-eye.png is there").wait_for()
    target = served.output / "by-eye.png"
    with Image.open(target) as picture:
        assert picture.size == (480, 320)
    written = target.read_bytes()
    # never over another without a clear yes
    desk.choose("blend", "mean")
    page.locator("#render").click()
    page.locator("#full").get_by_role("button", name="Choose another name").wait_for()
    assert target.read_bytes() == written
    page.get_by_role("button", name="Replace it").click()
    page.locator(".job").get_by_text("by-eye.png is there").nth(1).wait_for()
    assert target.read_bytes() != written


def test_a_render_can_be_stopped(desk, served):
    page = desk.page
    for number in range(4):
        page.locator("#output").fill(f"stopped-{number}.tif")
        page.locator("#render").click()
        page.get_by_label(f"stopped-{number}.tif under way").or_(
            page.get_by_text(f"stopped-{number}.tif is there")
        ).first.wait_for()
    rows = page.locator(".job")
    # what ran through before the hand was there is no failure; the last one waits for the others
    stop = rows.last.get_by_role("button", name="Stop")
    if stop.is_visible():
        # the page presses it, so that a picture done meanwhile does not keep the test waiting
        stop.evaluate_all("buttons => buttons.forEach((button) => button.click())")
        stopped = rows.last.get_by_text("was stopped; nothing is left of it")
        stopped.or_(rows.last.get_by_text("stopped-3.tif is there")).first.wait_for()
        assert (served.output / "stopped-3.tif").exists() == (stopped.count() == 0)
    assert not list(served.output.glob("*.part"))


def test_work_goes_on_while_a_picture_is_rendered(desk):
    desk.page.locator("#output").fill("meanwhile.tif")
    desk.page.locator("#render").click()
    desk.choose("blend", "darken")
    assert desk.reading.startswith("darken")
    desk.page.locator(".job").get_by_text("meanwhile.tif is there").wait_for()


def test_choices_outlive_the_program(desk):
    page = desk.page
    # as this tab notes them while the program does not answer
    page.evaluate(
        """() => sessionStorage.setItem(
            "stacker.unsaved." + decodeURIComponent(location.hash.slice(1)),
            JSON.stringify({settings: {blends: ["lighten"]}, versions: [], selected: null}),
        )"""
    )
    page.reload()
    page.get_by_role("button", name="Take them up").click()
    desk.wait_for_picture()
    assert desk.reading.startswith("lighten")
    assert desk.session()["settings"]["blends"] == ["lighten"]


@pytest.mark.usefixtures("refused")
def test_saving_goes_on_when_the_program_answers_again(desk):
    page = desk.page
    page.route("**/session", lambda route: route.abort())
    page.locator("#blend").get_by_label("lighten", exact=True).check()
    page.locator("#saved").get_by_text("Not saved yet: The program does not answer").wait_for()
    page.unroute("**/session")
    desk.wait_for_picture()
    assert desk.session()["settings"]["blends"] == ["lighten"]
