"""A sweep on the virtual bench, from the first click to the report; and one whose server is killed under it."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, Route, expect

from edgewind.book import check_book, open_book
from edgewind.live import unfinished

pytestmark = pytest.mark.browser


def begin(page: Page, pressures: str) -> None:
    """From the first click to a sweep that runs."""
    page.get_by_role("link", name="At the bench", exact=True).click()
    page.select_option("#sweep-folder", "virtual")
    page.fill("#sweep-pressures", pressures)
    page.fill("#sweep-name", "swept")
    if page.input_value("#sweep-book") == "":
        page.fill("#sweep-new_book", "lab.book")
    page.get_by_role("button", name="Make ready").click()
    dialog = page.locator("#caution")
    expect(dialog).to_contain_text("valve")
    expect(dialog).to_contain_text("Glass under vacuum can implode")
    expect(dialog).to_contain_text("The rules of your laboratory")
    page.get_by_role("button", name="I have seen to this: begin").click()
    page.wait_for_url("**/bench/lab.book/swept")


def test_a_sweep_from_the_first_click_to_the_report(serve: Callable, visit: Callable, virtual_folder: Path) -> None:
    pages, window = serve(virtual_folder), visit()
    page: Page = window.page
    page.goto(pages.url)
    page.get_by_role("link", name="At the bench", exact=True).click()
    # what no sweep could be is refused beside its field, and leaves no book behind
    page.fill("#sweep-pressures", "fast")
    page.get_by_role("button", name="Make ready").click()
    expect(page.locator("#sweep-pressures-problem")).to_contain_text("no pressures")
    assert not (virtual_folder / "lab.book").exists()
    # made ready and then not begun: nothing moved, and it does not count as cut off
    page.fill("#sweep-pressures", "1 Pa")
    page.get_by_role("button", name="Make ready").click()
    page.get_by_role("button", name="Not now").click()
    expect(page.get_by_role("button", name="Make ready")).to_be_enabled()
    assert unfinished("", virtual_folder / "lab.book", "virtual") == []

    begin(page, "0.5Pa:8Pa:7")
    expect(page.locator("#now-pressure")).to_have_text(re.compile(r"\d"))
    expect(page.locator("#steer-step")).to_contain_text("of 7")
    page.click("#pause")
    expect(page.locator("#phase-text")).to_contain_text("paused")
    page.fill("#note-text", "the lamp hums")
    page.press("#note-text", "Enter")
    page.click("#resume")
    expect(page.locator("#phase-text")).not_to_contain_text("paused")
    expect(page.locator('#readings tr[data-n="2"]')).to_be_visible(timeout=240_000)
    expect(page.locator("#trace svg")).to_be_visible()
    page.click("#pause")  # a step that is shown may be over when the click arrives
    expect(page.locator("#phase-text")).to_contain_text("paused")
    page.get_by_role("button", name="Skip this step").click()
    expect(page.locator("#events")).to_contain_text("skipped by the user")
    page.click("#resume")
    expect(page.locator("#phase-text")).to_contain_text("The sweep is over: finished", timeout=300_000)
    expect(page.locator('#readings tr[data-n="6"]')).to_be_visible()
    with open_book(virtual_folder / "lab.book") as book:
        contents = book.contents("swept")
    assert len(contents.readings) == 6
    assert any("the lamp hums" in cells["note"] for cells in contents.cells_now())
    page.get_by_role("link", name="Why it turns").click()
    expect(page.locator("#answer-text")).to_contain_text("fastest at", timeout=240_000)
    expect(page.locator("#mechanisms tbody tr")).to_have_count(6)
    with page.expect_popup() as opened:
        page.get_by_role("link", name="Open the report").click()
    expect(opened.value.locator("h1")).to_contain_text("Invented rotor")
    assert [one for one in window.complaints if "400" not in one] == []


def test_who_types_before_the_scripts_are_here_loses_nothing(
    serve: Callable, visit: Callable, virtual_folder: Path
) -> None:
    """A button pressed too early is pressed again when its script is there; a name typed too early stays."""
    pages, window = serve(virtual_folder), visit()
    page: Page = window.page
    held: list[Route] = []
    page.route("**/static/begin-sweep.js*", lambda route: held.append(route))
    page.goto(pages.url + "/bench", wait_until="commit")
    page.fill("#sweep-pressures", "1 Pa")
    page.fill("#sweep-name", "early")
    page.press("#sweep-name", "Enter")
    assert page.locator("#caution").is_hidden()
    assert page.url == pages.url + "/bench"
    while not held:
        page.wait_for_timeout(20)
    for route in held:
        route.continue_()
    expect(page.locator("#caution")).to_contain_text("1 step.")
    expect(page.locator("#sweep-name")).to_have_value("early")
    page.get_by_role("button", name="Not now").click()
    expect(page.get_by_role("button", name="Make ready")).to_be_enabled()
    assert unfinished("", virtual_folder / "lab.book", "early") == []
    assert window.complaints == []


def test_a_server_killed_in_a_sweep_loses_nothing(serve: Callable, visit: Callable, virtual_folder: Path) -> None:
    pages, window = serve(virtual_folder), visit()
    page: Page = window.page
    page.goto(pages.url)
    begin(page, "2Pa:8Pa:2")
    expect(page.locator('#readings tr[data-n="1"]')).to_be_visible(timeout=240_000)
    port = pages.port
    pages.kill()
    expect(page.locator("#trouble")).to_contain_text("No word from the server")
    with open_book(virtual_folder / "lab.book") as book:
        before = [dict(reading.cells) for reading in book.contents("swept").readings]
    assert len(before) >= 1
    pages.start(port)
    # the page finds the server again by itself
    expect(page.locator("#trouble")).to_be_hidden()
    page.reload()
    page.get_by_role("button", name="Go on with it").click()
    expect(page.locator("#caution")).to_contain_text("The sweep goes on")
    page.get_by_role("button", name="I have seen to this: begin").click()
    expect(page.locator("#phase-text")).to_contain_text("The sweep is over: finished", timeout=300_000)
    with open_book(virtual_folder / "lab.book") as book:
        contents = book.contents("swept")
    assert [dict(reading.cells) for reading in contents.readings][: len(before)] == before
    steps = [reading.key.split("/")[1] for reading in contents.readings]
    assert steps == ["0001", "0002"]
    assert check_book(virtual_folder / "lab.book").whole
