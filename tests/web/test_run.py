"""A run through a change from the pages: its form, live figure, buttons, and its complete record in the book."""

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import expect
from support.pages import SERVER_ENDS, comes_to

from edgewind.book import BookSource, open_book
from edgewind.live import parse_run, read_plan
from edgewind.live.columns import titles_of
from edgewind.signals import read_experiment
from edgewind.web.errors import FieldError
from edgewind.web.run_form import RunForm, run_from_form

ASKED = {"pressure": "2 Pa", "what": "reversal", "when": "30 s", "envelope": "-20", "duration": "10 min"}


def test_a_form_becomes_a_run() -> None:
    found = run_from_form(RunForm(**ASKED)).run
    assert found == parse_run("2 Pa, lamp off at 30 s, envelope to -20 degC at standstill, 10 min")
    found = run_from_form(
        RunForm(what="other", other="gas let in", when="1 min", lamp_first="off", speed_from="typed")
    ).run
    assert found == parse_run("lamp off first, speed typed, gas let in at 1 min")
    assert run_from_form(RunForm(duration="90")).run == parse_run("90 s")
    assert parse_run(run_from_form(RunForm()).run.text) == run_from_form(RunForm()).run  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"pressure": "2 kg"}, "pressure"),
        ({"pressure": "-2 Pa"}, "pressure"),
        ({"what": "fly"}, "what"),
        ({"what": "other"}, "other"),
        ({"what": "other", "other": "gas, then more"}, "other"),
        ({"when": "soon"}, "when"),
        ({"when": "20 min"}, "duration"),
        ({"envelope": ""}, "envelope"),
        ({"envelope": "-300 degC"}, "envelope"),
        ({"envelope": "2000 K"}, "envelope"),
        ({"duration": "0 s"}, "duration"),
        ({"duration": "3000 h"}, "duration"),
        ({"lamp_first": "off"}, "lamp_first"),
        ({"lamp_first": "blue"}, "lamp_first"),
        ({"speed_from": "guess"}, "speed_from"),
        ({"envelope_first": "warm"}, "envelope_first"),
    ],
)
def test_invalid_runs_are_refused_beside_their_field(fields: dict[str, str], field: str) -> None:
    with pytest.raises(FieldError) as caught:
        run_from_form(RunForm(**ASKED | fields))
    assert caught.value.field == field


FIVE_MINUTES_CHILLED = """() => {
    const at = /envelope to \u221220 degC, at ([\\d.]+) s/.exec(document.querySelector('#run-marks').textContent),
        drawn = document.querySelector('#run-speeds svg').getAttribute('aria-label'),
        end = /moments of ([\\d.]+) s/.exec(drawn);
    return Boolean(at && end) && Number(end[1]) > Number(at[1]) + 300;
}"""


@pytest.mark.browser
def test_a_run_is_started_drawn_and_marked_on_a_page_and_survives_its_server(
    serve: Callable[..., Any], visit: Callable[..., Any], virtual_folder: Path
) -> None:
    place = virtual_folder / "lab.book"
    with open_book(place, make=True) as book:
        titles = titles_of(read_plan(virtual_folder / "virtual"))
        book.add_experiment("swept", (virtual_folder / "virtual" / "bench.toml").read_bytes(), titles)
    first = serve(virtual_folder)
    status, told, _ = first.ask("/api/runs", {"folder": "virtual", "book": "lab.book", "name": "swept", "what": "mine"})
    assert status == 400 and "pressure" in json.loads(told)["fix"]  # the valve is on a wire, and closed at first
    page = visit(expected=SERVER_ENDS).page
    page.goto(f"{first.url}/bench/lab.book/swept")
    page.get_by_text("Record a run", exact=True).click()
    page.fill("#run-pressure", "2.5 Pa")
    page.select_option("#run-what", "mine")
    expect(page.locator("#run-cautions [data-of=cold]")).to_be_visible()
    page.reload()
    expect(page.locator("#run-pressure")).to_be_visible()  # what is half filled is shown again
    expect(page.locator("#run-pressure")).to_have_value("2.5 Pa")
    page.fill("#run-duration", "20 h")
    page.press("#run-duration", "Enter")
    expect(page.locator("#caution-list")).to_contain_text("Cold glass under vacuum")
    page.locator("#caution-yes").click()
    page.locator("#run-lamp").click()  # once the run has begun
    expect(page.locator("#run-marks")).to_contain_text("lamp off")
    first.stop()
    second = serve(virtual_folder)
    page.goto(f"{second.url}/bench/lab.book/swept")
    expect(page.locator("#run-marks")).to_contain_text("lamp off")
    expect(page.locator("#run-lamp")).to_have_text("Lamp on now")
    page.set_viewport_size({"width": 360, "height": 740})
    page.locator("#run-chilled").click()
    expect(page.locator("#run-marks")).to_contain_text("envelope to \u221220 degC")
    expect(page.locator("#run-speeds svg")).to_have_attribute("aria-label", re.compile("it passed zero"))
    comes_to(page, FIVE_MINUTES_CHILLED, True)  # of the bench, so that the rotor reverses at its fastest
    comes_to(page, "document.documentElement.scrollWidth <= 360", True)
    page.locator("#run-end").press("Enter")
    expect(page.locator("#readings tbody")).to_contain_text("run: lamp 100 to 0 %")
    expect(page.locator("#through-title")).to_be_focused()  # the button it was on is gone
    expect(page.locator("#run-drawing-title")).to_have_text("The run of reading 1")
    rows = second.told("/api/runs/lab.book/swept/1")["rows"]  # what a page draws once the recorder has ended
    assert [row[5] for row in rows if row[5]] == ["lamp off", "envelope to -20 degC"]
    assert second.ask("/api/runs/lab.book/swept/2")[0] == 404
    with open_book(place) as book:
        found = read_experiment(BookSource(book, "swept"))
    (run,) = found.runs.values()
    assert run.signed and set(run.changes) >= {"lamp", "envelope"}
    assert np.nanmin(run.speed_rad_s) < -0.5 < 5 < np.nanmax(run.speed_rad_s)
