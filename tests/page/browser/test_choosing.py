"""Opening a burst and choosing its exposure: span, shutter, blend, frames, and the way back."""

import pytest

from tests.page.browser.conftest import FRAMES


def test_a_burst_opens_with_its_picture_and_frames(desk):
    assert desk.axis_words.startswith(f"Frames 1 to {FRAMES}: {FRAMES} frames within 7.1 s")
    assert desk.reading == f"mean, {FRAMES} frames, open 6 s"
    assert "open 6 s" in desk.page.locator("#now").get_attribute("alt")
    # half a minute of graphs would be none; they come with the frames
    desk.page.locator("#histogram[aria-label]").wait_for()


def test_dragging_an_end_of_the_span(desk):
    before = desk.colours((0.54, 0.5), (0.96, 0.5))
    desk.drag("#end-last", -400)
    desk.wait_for_picture()
    last = int(desk.page.locator("#end-last").get_attribute("aria-valuenow"))
    assert 1 < last < FRAMES
    assert desk.axis_words.startswith(f"Frames 1 to {last}: {last} frames")
    assert f"{last} frames" in desk.reading
    desk.has_command(f"--last {last}")
    assert desk.colours((0.54, 0.5), (0.96, 0.5)) != before


def test_dragging_the_span_as_a_whole(desk):
    desk.drag("#end-last", -500)
    length = int(desk.page.locator("#end-last").get_attribute("aria-valuenow"))
    plot = desk.page.locator(".axis-plot").bounding_box()
    mouse = desk.page.mouse
    mouse.move(plot["x"] + 140, plot["y"] + 40)
    mouse.down()
    mouse.move(plot["x"] + 360, plot["y"] + 40, steps=5)
    mouse.up()
    desk.wait_for_picture()
    first, last = (
        int(desk.page.locator(f"#end-{end}").get_attribute("aria-valuenow"))
        for end in ("first", "last")
    )
    assert first > 1
    assert last - first + 1 == length


def test_a_click_takes_a_frame_out_and_in(desk):
    plot = desk.page.locator(".axis-plot").bounding_box()
    # the first frame begins at the axis' left margin, beside the end of the span
    x, y = plot["x"] + 130, plot["y"] + 40
    desk.page.mouse.click(x, y)
    desk.wait_for_picture()
    assert f"{FRAMES - 1} frames" in desk.reading
    desk.has_command("--without 1")
    assert "left out by you" in desk.axis_words
    desk.page.mouse.click(x, y)
    desk.wait_for_picture()
    assert f"{FRAMES} frames" in desk.reading


def test_the_dial_goes_in_the_steps_of_the_trade(desk):
    dial = desk.page.locator("#dial-turn")
    dial.focus()
    seen = []
    for _ in range(3):
        dial.press("ArrowLeft")
        desk.wait_for_picture()
        seen.append(desk.page.locator("#open").inner_text())
    assert seen == ["4 s", "2 s", "1 s"]
    assert dial.get_attribute("aria-valuetext") == "1 second, 2 frames"
    dial.press("ArrowRight")
    desk.wait_for_picture()
    assert "open 2 s" in desk.reading


def test_turning_the_dial_by_hand(desk):
    box = desk.page.locator("#dial-turn").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + 40
    desk.page.mouse.move(x, y)
    desk.page.mouse.down()
    desk.page.mouse.move(x + 110, y, steps=5)
    desk.page.mouse.up()
    desk.wait_for_picture()
    assert desk.page.locator("#open").inner_text() in ("1 s", "2 s")


@pytest.mark.parametrize("blend", ["lighten", "median", "darken"])
def test_another_blend(desk, blend):
    before = desk.colours((0.54, 0.5), (0.96, 0.5))
    desk.choose("blend", blend)
    assert desk.reading.startswith(blend)
    desk.has_command(f"--blend {blend}")
    assert desk.page.locator("#output").input_value().endswith(f"-{blend}.tif")
    assert desk.colours((0.54, 0.5), (0.96, 0.5)) != before


def test_a_subject_chooses_the_rest(desk):
    desk.page.locator("#subject").select_option("traffic")
    desk.wait_for_picture()
    assert desk.page.locator("#blend").get_by_label("lighten", exact=True).is_checked()
    assert desk.page.get_by_label("Keep the dark clean").is_checked()
    assert (
        "Chosen for traffic: lamps leave their trails"
        in desk.page.locator("#blend-words").inner_text()
    )
    desk.has_command("--for traffic")
    # what is said besides wins
    desk.choose("blend", "median")
    assert desk.reading.startswith("median")
    assert "A median knows no gaps" in desk.page.locator("#bridge-words").inner_text()


def test_undo_and_redo(desk):
    desk.choose("blend", "lighten")
    desk.choose("blend", "median")
    desk.page.keyboard.press("Control+z")
    desk.wait_for_picture()
    assert desk.reading.startswith("lighten")
    desk.page.locator("#undo").click()
    desk.wait_for_picture()
    assert desk.reading.startswith("mean")
    assert desk.page.locator("#undo").is_disabled()
    desk.page.keyboard.press("Control+Shift+z")
    desk.wait_for_picture()
    assert desk.reading.startswith("lighten")


def test_brightness_is_seen_while_it_is_pulled(desk):
    before = desk.colours((0.5, 0.5))[0]
    slider = desk.page.locator("#exposure")
    slider.focus()
    for _ in range(10):
        slider.press("ArrowLeft")
    desk.wait_for_picture()
    after = desk.colours((0.5, 0.5))[0]
    assert all(now < then for now, then in zip(after, before, strict=True))
    desk.has_command("--exposure=-1")


def test_single_frames_by_scrubbing_and_playing(desk):
    desk.page.locator(".cursor").focus()
    desk.page.keyboard.press("ArrowRight")
    alone = desk.page.locator("#alone")
    alone.wait_for()
    assert f"Frame 2 of {FRAMES} frames" in alone.inner_text()
    desk.page.keyboard.press("Escape")
    alone.wait_for(state="hidden")
    desk.page.locator("#play").click()
    alone.filter(has_text="Frame 4").wait_for()
    desk.page.locator("#play").click()
    desk.page.locator("#leave-alone").click()
    desk.wait_for_picture()
    assert desk.reading.startswith("mean")


def test_a_nearer_look_at_the_axis(desk):
    page = desk.page
    assert page.locator("#farther").is_disabled()
    page.locator("#nearer").click()
    page.locator("#farther:enabled").wait_for()
    box = page.locator("#end-first").bounding_box()
    plot = page.locator(".axis-plot").bounding_box()
    # the middle of the burst fills the axis; the first frame is beyond its left end
    assert box["x"] < plot["x"]
    page.mouse.move(plot["x"] + 300, plot["y"] + 90)
    page.mouse.down()
    page.mouse.move(plot["x"] + 900, plot["y"] + 90, steps=4)
    page.mouse.up()
    page.wait_for_timeout(100)
    # and in sight again, the axis moved along under the hand
    assert page.locator("#end-first").bounding_box()["x"] > plot["x"]
    assert f"{FRAMES} frames" in desk.reading
    page.locator("#farther").click()
    page.locator("#farther:disabled").wait_for()


def test_scrubbing_along_the_times(desk):
    page = desk.page
    plot = page.locator(".axis-plot").bounding_box()
    page.mouse.move(plot["x"] + 130, plot["y"] + 8)
    page.mouse.down()
    page.locator("#alone").get_by_text("Frame 1 of").wait_for()
    page.mouse.move(plot["x"] + 500, plot["y"] + 8, steps=4)
    page.mouse.up()
    page.locator("#alone").get_by_text("Frame 6 of").wait_for()
