"""Ways of looking: before and after, flip, magnifier, hatching."""


def test_before_and_after_under_a_line(desk):
    desk.choose("blend", "lighten")
    desk.page.locator("#compare").click()
    before = desk.page.locator("#before-room")
    desk.page.locator("#before[src]").wait_for()
    line = desk.page.locator("#divide")
    line.focus()
    line.press("End")
    assert line.get_attribute("aria-valuenow") == "100"
    line.press("PageDown")
    assert before.evaluate("room => room.style.clipPath") == "inset(0px 10% 0px 0px)"
    desk.drag("#divide", -200)
    assert int(line.get_attribute("aria-valuenow")) < 90


def test_flipping_to_a_version(desk):
    desk.keep()
    desk.choose("blend", "lighten")
    desk.page.keyboard.press("f")
    desk.page.locator("#against").select_option(label="mean 6 s")
    desk.page.locator("#before-tag").filter(has_text="mean 6 s").wait_for()
    assert desk.page.locator("#before-room").is_visible()
    desk.page.keyboard.press("f")
    assert desk.page.locator("#before-room").is_hidden()


def test_the_magnifier_follows_pointer_and_keys(desk):
    desk.page.keyboard.press("m")
    glass = desk.page.locator("#loupe")
    desk.page.locator("#loupe img[src]").wait_for()
    assert "100 % at 240, 160" in glass.inner_text()
    desk.page.keyboard.press("ArrowRight")
    desk.page.keyboard.press("ArrowDown")
    glass.get_by_text("100 % at 245, 165").wait_for()
    desk.page.keyboard.press("Escape")
    glass.wait_for(state="hidden")


def test_what_is_burnt_out_is_hatched(desk):
    slider = desk.page.locator("#exposure")
    slider.focus()
    slider.press("End")
    desk.wait_for_picture()
    desk.page.locator("#clipping").click()
    hatch = desk.page.locator("#hatch-clipping")
    hatch.wait_for()
    assert "blob:" in hatch.evaluate("layer => layer.style.maskImage")
    desk.page.locator("#clipping").click()
    hatch.wait_for(state="hidden")


def test_dark_and_light(desk):
    root = desk.page.locator(":root")
    tone = desk.page.locator("#tone")
    tone.click()
    assert root.get_attribute("data-tone") == "dark"
    dark = root.evaluate("page => getComputedStyle(page).getPropertyValue('--sheet')")
    tone.click()
    assert root.evaluate("page => getComputedStyle(page).getPropertyValue('--sheet')") != dark
