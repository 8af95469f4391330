"""The tour: five steps by keyboard, with the invented example; left and resumed."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import expect
from support.pages import comes_to, serious

from edgewind.book import open_book
from edgewind.web.routes.tour import EXAMPLE

pytestmark = pytest.mark.browser


def test_the_tour_has_five_steps_by_keyboard(serve: Callable, visit: Callable, tmp_path: Path) -> None:
    """By one person at a desk, then by another with a telephone, who finds the example that is there already."""
    pages = serve(tmp_path)
    take_the_tour(pages, visit, 1280, tmp_path, books=0)
    take_the_tour(pages, visit, 360, tmp_path, books=1)
    with open_book(tmp_path / f"{EXAMPLE}.book") as book:
        assert book.experiments() == [EXAMPLE]


INSIDE = """one => {
    const box = one.getBoundingClientRect();
    return box.width > 0 && box.left >= 0 && box.right <= innerWidth && box.top > 0;
}"""


def take_the_tour(pages: Any, visit: Callable, width: int, root: Path, *, books: int) -> None:
    """All five steps, from so many books in the folder."""
    page = visit(tour=True, viewport={"width": width, "height": 780}).page
    page.goto(pages.url)
    tour = page.get_by_role("complementary")
    expect(tour).to_contain_text("Tour, step 1 of 5")
    expect(tour).to_contain_text("invented: nothing in it was measured")
    assert len(list(root.glob("*.book"))) == books, "nothing is made before it is asked for"
    page.get_by_role("button", name="Copy the invented example here").focus()
    page.keyboard.press("Enter")
    for step, (title, where) in enumerate(
        [("At the bench", "/bench/"), ("The question", "/question/"), ("What if", "/question/"),
         ("The gas itself", "/gas")], start=2
    ):  # fmt: skip
        expect(tour).to_contain_text(f"Tour, step {step} of 5")
        heading = tour.get_by_role("heading", name=title)
        expect(heading).to_be_focused()  # a screen reader reads on from here
        page.wait_for_url(re.compile(where))
        expect(page.locator(".toured")).to_have_count(1)
        comes_to(tour, INSIDE, True, f"step {step} at {width}: the tour stands beyond the screen")
        if step == 2:
            assert serious(page, where, f"step {step}") == []
        page.keyboard.press("Tab")
        if step < 5:
            expect(tour.get_by_role("button", name="Next")).to_be_focused()
            page.keyboard.press("Enter")
    tour.get_by_role("button", name="End the tour").click()
    expect(tour).to_be_hidden()


def test_the_tour_is_left_and_resumed(serve: Callable, visit: Callable, tmp_path: Path) -> None:
    pages: Any = serve(tmp_path)
    page = visit(tour=True).page
    page.goto(pages.url)
    tour = page.get_by_role("complementary")
    tour.get_by_role("button", name="Copy the invented example here").click()
    expect(tour).to_contain_text("step 2 of 5")
    # on another page it says where it stands
    page.goto(pages.url + "/gas")
    expect(tour).to_contain_text("step 2 of 5")
    tour.get_by_role("button", name="Continue the tour").click()
    expect(tour.get_by_role("heading", name="At the bench")).to_be_focused()
    page.keyboard.press("Escape")
    expect(tour).to_be_hidden()
    page.reload()
    expect(page.locator("#now-pressure")).to_be_visible()
    expect(tour).to_be_hidden()
    page.get_by_role("button", name="Tour").click()
    expect(tour).to_contain_text("step 1 of 5")
    # the example is there already: it is found, not made again
    tour.get_by_role("button", name="Copy the invented example here").click()
    expect(tour).to_contain_text("step 2 of 5")
    assert [path.name for path in tmp_path.glob("*.book")] == [f"{EXAMPLE}.book"]
    tour.get_by_role("button", name="Back").click()
    expect(tour).to_contain_text("step 1 of 5")


def test_a_single_book_does_not_offer_the_example(serve: Callable, tmp_path: Path) -> None:
    with open_book(tmp_path / "alone.book", make=True):
        pass
    pages = serve(tmp_path / "alone.book")
    status, content, _ = pages.ask("/api/tour", {})
    assert status == 400 and b"for one book only" in content
