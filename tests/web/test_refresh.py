"""A page redrawn during use: figures, focus, selection and typed text are kept."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Route, WebSocketRoute, expect
from support.from_nothing import comma, pulses, traces

from edgewind.bench import write_template
from edgewind.bench.form import write_units
from edgewind.book import open_book

pytestmark = pytest.mark.browser
LOADED = '#readings tr[data-n="1"]'
TITLES = ("time", "pressure [Pa]", "speed [rpm]", "lamp")


def record(path: Path, numbers: range) -> None:
    with open_book(path, write=True) as book:
        for n in numbers:
            cells = {"time": f"2026-03-14 09:{n:02d}:00", "pressure": f"{0.2 * 1.4**n:.3g}", "speed": str(40 + 5 * n)}
            book.record("typed", cells | {"lamp": "on"})


def test_focus_selection_and_figures_are_kept_while_readings_arrive(
    one_server: Any, one_root: Path, visit: Callable, bench_text: str
) -> None:
    path = one_root / "refreshed.book"
    with open_book(path, make=True) as book:
        book.add_experiment("typed", bench_text.encode(), TITLES)
    record(path, range(4))
    window = visit()
    page = window.page
    page.goto(one_server.url + "/books/refreshed.book/typed")
    points = page.locator("#curve svg.drawing .point")
    expect(points).to_have_count(4)

    button = page.get_by_role("button", name="Open large, save").first
    button.press("Enter")
    large = page.get_by_role("dialog").locator("svg.drawing")
    expect(large.locator(".point")).to_have_count(4)
    page.evaluate("for (const one of document.querySelectorAll('svg.drawing')) one.dataset.held = 'yes'")
    record(path, range(4, 5))
    expect(points).to_have_count(5)  # the page behind it goes on
    expect(large).to_have_attribute("data-held", "yes")
    expect(large.locator(".point")).to_have_count(4)
    page.set_viewport_size({"width": 1200, "height": 800})  # drawn anew to another width: still the same drawing
    expect(large).to_have_attribute("data-held", "yes")
    page.keyboard.press("Escape")
    expect(button).to_be_focused()
    expect(page.locator("#curve svg.drawing")).to_have_attribute("data-held", "yes")

    aside = page.get_by_role("button", name="Set reading 2 aside")
    aside.focus()
    cell = "#readings tr[data-n='3'] td.number"
    page.evaluate(f'getSelection().selectAllChildren(document.querySelector("{cell}"))')
    chosen = page.evaluate("String(getSelection())")
    record(path, range(5, 6))
    expect(page.locator("#readings tr[data-n='6']")).to_be_attached()
    expect(aside).to_be_focused()
    assert chosen and page.evaluate("String(getSelection())") == chosen


def test_text_typed_beside_a_dropped_file_stays_with_that_file(
    one_server: Any, one_root: Path, visit: Callable, bench_text: str, tmp_path: Path
) -> None:
    with open_book(one_root / "dropped-twice.book", make=True) as book:
        book.add_experiment("typed", bench_text.encode(), ("time", "pressure [Pa]", "trace", "lamp"))
    (name,) = traces(tmp_path, 1)
    window = visit()
    page = window.page
    page.goto(one_server.url + "/bench/dropped-twice.book/typed")
    page.set_input_files("#drop-files", [tmp_path / name])
    entry = page.locator("#dropped li", has_text=name)
    entry.locator("[name=pressure]").fill("2.4")
    entry.locator("[name=lamp]").select_option("off")
    page.reload()
    page.set_input_files("#drop-files", [tmp_path / name])
    expect(entry.locator("[name=pressure]")).to_have_value("2.4")
    expect(entry.locator("[name=lamp]")).to_have_value("off")
    expect(entry.locator(".guess")).to_contain_text("that you typed for this file before")
    # Another recording under the same name is not this one.
    (tmp_path / name).write_text(comma(*pulses(77.0, 5)), encoding="utf-8")
    page.reload()
    page.set_input_files("#drop-files", [tmp_path / name])
    expect(entry.locator(".large")).to_contain_text(re.compile(r"^7[67]\."))
    expect(entry.locator("[name=pressure]")).to_have_value("")


def test_a_partly_filled_sweep_form_survives_a_reload(virtual_folder: Path, serve: Callable, visit: Callable) -> None:
    pages, window = serve(virtual_folder), visit()
    page = window.page
    page.goto(pages.url + "/bench")
    page.fill("#sweep-pressures", "1Pa:9Pa:5")
    page.check("[name=up_and_down]")
    page.reload()
    expect(page.locator("#sweep-pressures")).to_have_value("1Pa:9Pa:5")
    expect(page.locator("[name=up_and_down]")).to_be_checked()
    expect(page.locator("#sweep-name")).to_have_value("virtual")


def test_the_page_states_when_no_reading_is_worth_its_time(
    one_server: Any, one_root: Path, visit: Callable, bench_text: str
) -> None:
    with open_book(one_root / "stopped.book", make=True) as book:
        book.add_experiment("typed", bench_text.encode(), TITLES)
    window = visit()
    page = window.page
    page.route("**/api/next/**", lambda route: route.fulfill(json={"sentence": "Stop: the gauge dominates at 2.0 Pa."}))
    page.goto(one_server.url + "/bench/stopped.book/typed")
    expect(page.locator("#next")).to_have_text("Stop: the gauge dominates at 2.0 Pa.")


def test_a_table_says_that_its_readings_are_being_loaded(
    one_server: Any, one_root: Path, mine: Path, visit: Callable, bench_text: str
) -> None:
    with open_book(one_root / "awaited.book", make=True) as book:
        book.add_experiment("typed", bench_text.encode(), TITLES)
    record(one_root / "awaited.book", range(1))
    table = visit(java_script_enabled=False).page
    table.goto(one_server.url + "/books/awaited.book/typed")
    expect(table.locator("#readings tbody")).to_have_text("The readings are being loaded…")

    page = visit(expected=("400",)).page
    page.goto(one_server.url + "/books/awaited.book/typed")
    expect(page.locator(LOADED)).to_be_visible()
    expect(page.locator("#readings tbody tr")).to_have_count(1)
    held: list[Route] = []
    page.route("**/api/readings/**", lambda route: held.append(route))
    page.goto(one_server.url + "/books/mine/mine")
    expect(page.locator("#readings tbody")).to_have_text("The readings are being loaded…")
    page.select_option("#unit-speed", "rad/s")  # draws anew what is there: no reading yet, and it must not say so
    expect(page.locator("#curve")).not_to_contain_text("No reading yet")
    while not held:
        page.wait_for_timeout(20)
    held[0].continue_()
    expect(page.locator(LOADED)).to_be_visible()
    expect(page.locator("#readings .waiting")).to_have_count(0)
    page.unroute("**/api/readings/**")

    write_template(one_root / "unread")
    (one_root / "unread" / "readings.csv").unlink()
    page.goto(one_server.url + "/books/unread/unread")
    expect(page.locator("#readings tbody")).to_have_text("The readings could not be loaded.")
    expect(page.locator("#trouble")).to_contain_text("there is no such file")


def test_pages_of_readings_say_that_they_are_loading_and_do_not_move_when_the_readings_arrive(
    one_server: Any, one_root: Path, visit: Callable, bench_text: str
) -> None:
    with open_book(one_root / "coming.book", make=True) as book:
        book.add_experiment("typed", bench_text.encode(), TITLES)
        book.add_experiment("none", bench_text.encode(), TITLES)
    record(one_root / "coming.book", range(6))
    held: list[WebSocketRoute] = []
    for width in (1280, 390):
        window = visit(viewport={"width": width, "height": 800})
        page = window.page
        page.route_web_socket("**/live/**", lambda line: held.append(line))
        for kind in ("bench", "books"):
            page.goto(f"{one_server.url}/{kind}/coming.book/typed")
            for place in ("#curve", "#readings tbody"):
                words = page.locator(place + " [aria-live=polite]")
                expect(words).to_have_text("The readings are being loaded…")
                expect(page.locator(place)).to_have_text("The readings are being loaded…")
            top = "document.getElementById('readings').getBoundingClientRect().top + scrollY"
            before = page.evaluate(top)
            page.select_option("#unit-speed", "rad/s")  # what is awaited is not drawn as none
            expect(page.locator("#curve")).to_have_text("The readings are being loaded…")
            while not held:
                page.wait_for_timeout(20)
            held.pop().connect_to_server()
            expect(page.locator("#curve svg.drawing .point")).to_have_count(6)
            expect(page.locator(LOADED)).to_be_visible()
            assert abs(page.evaluate(top) - before) < 6, (kind, width)
            expect(page.get_by_text("The readings are being loaded…")).to_have_count(0)

            page.goto(f"{one_server.url}/{kind}/coming.book/none")  # known to be none before the feed says so
            expect(page.locator("#readings tbody")).to_have_text("No reading yet.")
            expect(page.locator("#curve")).to_contain_text("reading")
            while not held:
                page.wait_for_timeout(20)
            held.pop().connect_to_server()
            expect(page.locator("#readings tbody")).to_have_text("No reading yet.")
    record_one = {"time": "2026-03-14 10:00:00", "pressure": "1", "speed": "50", "lamp": "on"}
    with open_book(one_root / "coming.book", write=True) as book:
        book.record("none", record_one)
    expect(page.locator("#readings tbody tr")).to_have_count(1)
    expect(page.locator(LOADED)).to_be_visible()


def test_a_page_begins_in_the_units_that_its_bench_states_and_keeps_those_chosen(
    one_server: Any, one_root: Path, visit: Callable, bench_text: str
) -> None:
    with open_book(one_root / "units.book", make=True) as book:
        book.add_experiment("typed", write_units(bench_text, "mTorr", "rad/s").encode(), TITLES)
        book.record("typed", {"time": "2026-03-14 09:00:00", "pressure": "1.333", "speed": "60", "lamp": "on"})
    page = visit().page
    page.goto(one_server.url + "/bench/units.book/typed")
    expect(page.locator("#now-pressure")).to_have_text("10.0")
    expect(page.locator("#now-speed")).to_have_text("6.283")
    expect(page.locator("#unit-pressure")).to_have_value("mTorr")
    page.select_option("#unit-pressure", "Pa")
    page.reload()
    expect(page.locator("#now-pressure")).to_have_text("1.33")
    expect(page.locator("#now-speed")).to_have_text("6.283")
    page.goto(one_server.url + "/books")
    expect(page.locator("#unit-speed")).to_have_value("rpm")
