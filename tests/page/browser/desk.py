"""What a person does on the page, by the words that stand there."""

import re


class Desk:
    """The page of one tab."""

    def __init__(self, page) -> None:
        self.page = page

    def open(self, name: str) -> None:
        """Open a burst from the start, and wait for its picture."""
        self.page.get_by_role("button", name=re.compile(f"^{re.escape(name)}")).click()
        self.wait_for_picture()

    def wait_for_picture(self) -> None:
        """Wait until the fine picture of what is chosen is there, and all is saved."""
        self.page.locator("#now[src]").wait_for()
        self.page.locator(".seen:not(.working)").wait_for()
        self.page.locator("#saved").get_by_text("Saved", exact=True).wait_for()

    def choose(self, group: str, answer: str) -> None:
        """Choose one of the answers to a question of the sheet."""
        self.page.locator(f"#{group}").get_by_label(answer, exact=True).check()
        self.wait_for_picture()

    def keep(self) -> None:
        """Keep what is on the screen as a version."""
        before = self.page.locator(".version").count()
        self.page.locator("#keep").click()
        self.page.locator(".version").nth(before).wait_for()
        self.wait_for_picture()

    def drag(self, where: str, by: float) -> None:
        """Drag an element along by so many pixels."""
        box = self.page.locator(where).bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        mouse = self.page.mouse
        mouse.move(x, y)
        mouse.down()
        mouse.move(x + by, y, steps=6)
        mouse.up()

    def drag_on_picture(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        """Drag over the picture; places are shares of its width and height."""
        box = self.page.locator("#sight").bounding_box()
        mouse = self.page.mouse

        def at(share: tuple[float, float]) -> tuple[float, float]:
            return box["x"] + share[0] * box["width"], box["y"] + share[1] * box["height"]

        mouse.move(*at(start))
        mouse.down()
        mouse.move(*at(end), steps=6)
        mouse.up()

    @property
    def reading(self) -> str:
        """What the picture is said to be."""
        return self.page.locator("#reading").inner_text()

    @property
    def axis_words(self) -> str:
        """What the axis says of the span."""
        return self.page.locator("#axis-words").inner_text()

    def has_command(self, part: str) -> None:
        """Wait until the command for what is on the screen has a part."""
        self.page.locator("#command").filter(has_text=part).wait_for()

    def colours(self, *places: tuple[float, float]) -> list[list[int]]:
        """Return the colours on the screen at places of the picture, shares of it."""
        return self.page.evaluate(
            """places => {
                const image = document.querySelector("#now");
                const canvas = document.createElement("canvas");
                canvas.width = image.naturalWidth;
                canvas.height = image.naturalHeight;
                const pen = canvas.getContext("2d");
                pen.drawImage(image, 0, 0);
                return places.map(([x, y]) => [...pen.getImageData(
                    Math.floor(x * canvas.width), Math.floor(y * canvas.height), 1, 1
                ).data.slice(0, 3)]);
            }""",
            [list(place) for place in places],
        )

    def session(self) -> dict:
        """Return what the server has saved of the burst that is open."""
        return self.page.evaluate(
            """async () => {
                const { openBurst, readSession } = await import("/static/js/server.js");
                const id = decodeURIComponent(location.hash.slice(1));
                return readSession((await openBurst(id)).key);
            }"""
        )
