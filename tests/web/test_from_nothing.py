"""From an empty folder to a report with mouse and keyboard alone; ten traces of five styles and a clip are dropped.

The benchmark of the pages drives Firefox by the same script, and Chromium at a phone's width.
"""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from edgewind.book import open_book

pytest.importorskip("imageio_ffmpeg")
from support.chromium import Chromium
from support.from_nothing import begin, recorded, store_each, to_the_report

pytestmark = pytest.mark.browser


def test_an_empty_folder_becomes_a_report_by_mouse_and_keyboard_alone(
    serve: Callable[..., Any], visit: Callable[..., Any], tmp_path: Path
) -> None:
    folder, root = tmp_path / "files", tmp_path / "root"
    folder.mkdir(), root.mkdir()
    taken, pages, window = recorded(folder), serve(root), visit()
    chromium = Chromium(window.page)
    begin(chromium, pages.url)
    chromium.give_files(folder)
    store_each(chromium, taken)
    to_the_report(chromium)
    with open_book(root / "lab.book") as book:
        assert len(book.contents("first").files) == len(taken)


def test_figures_are_legible_from_two_metres_on_a_phone(one_server: Any, visit: Callable[..., Any]) -> None:
    """A digit of 7 mm, at 0.16 mm a pixel of a phone, is twice what a healthy eye resolves at two metres (2.9 mm).

    Five minutes of arc for a sign that is just read: the Landolt ring of ISO 8596, clause 3 (a copy of it read).
    """
    page: Page = visit(viewport={"width": 360, "height": 780}, has_touch=True, is_mobile=True).page
    begin(Chromium(page, touch=True), one_server.url, book="phone")
    height = page.locator("#now-speed").evaluate("one => parseFloat(getComputedStyle(one).fontSize)")
    assert 0.16 * 0.72 * height > 7.0
