"""Buttons that mark the direction and the conditions of a typed reading in one gesture."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import expect

from edgewind.book import open_book

pytestmark = pytest.mark.browser
TYPED = ("time", "pressure [Pa]", "speed [rpm]", "lamp", "envelope temperature [degC]", "note", "exclude")


def test_a_reading_is_marked_with_direction_and_conditions_in_one_gesture(
    one_server: Any, one_root: Path, bench_text: str, visit: Callable[..., Any]
) -> None:
    path = one_root / f"quick{len(list(one_root.glob('*.book')))}.book"
    with open_book(path, make=True) as book:
        book.add_experiment("typed", bench_text.encode(), TYPED)
    page = visit().page
    page.goto(f"{one_server.url}/bench/{path.name}/typed")
    page.fill("#hand-pressure", "1.2")
    page.get_by_role("button", name="Dark leads").click()
    expect(page.locator("#hand-leading_face")).to_have_value("dark")
    expect(page.get_by_role("button", name="Dark leads")).to_have_attribute("aria-pressed", "true")
    page.get_by_role("button", name="Dark and chilled").click()
    expect(page.locator("#hand-lamp")).to_have_value("off")
    expect(page.locator("#hand-envelope")).to_be_focused()
    page.keyboard.type("-20")
    page.fill("#hand-speed", "12")
    page.press("#hand-speed", "Enter")
    expect(page.locator("#hand-stored")).to_contain_text("is stored")
    with open_book(path) as book:
        (cells,) = book.contents("typed").cells_now()
    told = {name: cells[name] for name in ("leading face", "lamp", "envelope temperature", "speed")}
    assert told == {"leading face": "dark", "lamp": "off", "envelope temperature": "-20", "speed": "12"}
    page.get_by_role("button", name="Usual").click()
    expect(page.locator("#hand-lamp")).to_have_value("on")
    page.get_by_role("button", name="Stands still").click()
    expect(page.locator("#hand-speed")).to_have_value("0")
