"""A window of Chromium by Playwright, with the verbs of `from_nothing.Window`."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

from playwright.sync_api import Error, Page

from support.pages import LIMIT_MS, looking


class Chromium:
    """A page of Chromium.

    Parameters
    ----------
    page : Page
        The page.
    touch : bool
        Whether elements are tapped, and files chosen, as on a phone; else clicked, and dragged onto the page.
    """

    def __init__(self, page: Page, *, touch: bool = False) -> None:
        self.page, self._touch = page, touch

    def open(self, url: str) -> None:
        """Open an address."""
        self.page.goto(url)

    def evaluate(self, expression: str) -> Any:
        """Return a value of the page, by way of JSON."""
        return self.page.evaluate(expression)

    def wait(self, expression: str, limit_s: float = 240.0) -> Any:
        """Return a value of the page once it is true."""
        latest = time.monotonic() + limit_s
        while not (found := self._seen(expression)):
            assert time.monotonic() < latest, f"never true: {expression}"
            self.page.wait_for_timeout(50)
        return found

    def _seen(self, expression: str) -> Any:
        try:
            return self.page.evaluate(looking(expression, "found"))
        except Error as error:
            if "xecution context" in str(error) or "Cannot find context" in str(error):  # another page is being opened
                return None
            raise

    def click(self, selector: str) -> None:
        """Click on an element, or tap on it."""
        (self.page.tap if self._touch else self.page.click)(selector)

    def type(self, *keys: str) -> None:
        """Press keys: names such as Enter, or text."""
        for key in keys:
            if key in ("Enter", "Tab", "Escape") or key.startswith("Arrow"):
                self.page.keyboard.press(key)
            else:
                self.page.keyboard.type(key)

    def give_files(self, folder: Path) -> None:
        """Drag a folder onto the page, as a file manager does; choose its files where there is no mouse."""
        if self._touch:
            with self.page.expect_file_chooser() as chosen:
                self.page.tap("label[for=drop-files]")
            chosen.value.set_files(sorted(folder.iterdir()))
        else:
            drag(self.page, "#drop", [folder])

    def follow(self, selector: str) -> None:
        """Click on a link that opens a tab of its own, and stay in that."""
        with self.page.expect_popup() as opened:
            self.click(selector)
        self.page = opened.value


def drag(page: Page, place: str, paths: list[Path]) -> None:
    """Drag files and folders of this machine onto an element, as a file manager does."""
    session = page.context.new_cdp_session(page)
    data = {"items": [], "files": [str(path) for path in paths], "dragOperationsMask": 1}

    def send(kind: str, box: dict[str, float]) -> None:
        session.send("Input.dispatchDragEvent", {"type": kind, "x": box["x"] + 40, "y": box["y"] + 20, "data": data})

    latest = time.monotonic() + LIMIT_MS / 1000
    while True:  # what stands above it may still grow
        page.locator(place).scroll_into_view_if_needed()
        box = page.locator(place).evaluate(STILL)
        send("dragEnter", box), send("dragOver", box)
        if page.locator(place).evaluate("one => one.classList.contains('over')"):
            break
        send("dragCancel", box)
        assert time.monotonic() < latest, f"{place} is not under the pointer"
    send("drop", box)
    session.detach()


# Where an element lies, once it has lain there for two frames.
STILL = """async (one) => {
    const place = () => { const { x, y } = one.getBoundingClientRect(); return { x, y }; };
    for (let before = place(), same = 0; ; ) {
        await new Promise(requestAnimationFrame);
        const now = place();
        same = now.x === before.x && now.y === before.y ? same + 1 : 0;
        if (same > 1) return now;
        before = now;
    }
}"""
