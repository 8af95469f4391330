"""The pages in Debian's Firefox: every page without an error and within the screen; typed, dropped, a slider moved."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from support.firefox import Firefox, firefox_path

from edgewind.bench import write_template
from edgewind.book import open_book
from edgewind.web.new_experiment import titles_for

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def firefox(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Firefox]:
    path = firefox_path()
    if path is None:
        pytest.skip("no Firefox here: apt-get install firefox-esr")
    window = Firefox(path, tmp_path_factory.mktemp("firefox") / "profile")
    yield window
    window.close()


def test_a_reading_is_typed_a_trace_is_dropped_and_a_slider_is_moved(
    firefox: Firefox, one_server: Any, one_root: Path, make_bench_text: Callable[..., str]
) -> None:
    text = make_bench_text(tachometer={"marks": 4}, gauge={"kind": "display", "transfer_uncertainty": "10 %"})
    with open_book(one_root / "fox.book", make=True) as book:
        book.add_experiment("any", text.encode(), titles_for(text, "mTorr", "rpm"))
    if not (one_root / "mine").exists():
        write_template(one_root / "mine")
    at, url = "fox.book/any", one_server.url
    firefox.open(url + "/bench/" + at)
    firefox.evaluate('localStorage.setItem(\'edgewind-tour\', \'{"step": -1, "at": ""}\')')
    firefox.wait("document.activeElement.id === 'hand-pressure'")
    firefox.type("12", "Tab", "Tab", "101.5", "Enter")
    firefox.wait("document.querySelector('#hand-stored').textContent === 'Reading 1 is stored.'")
    firefox.wait("document.querySelector('#readings tr[data-n=\"1\"]') !== null")
    trace = one_root.parent / "fox.csv"
    trace.write_text(
        "time [s],CH1 [V]\n"
        + "".join(f"{k / 500:.3f},{4.0 if (k / 500 * 120 / 60 * 4) % 1 < 0.3 else 0.2}\n" for k in range(2000)),
        encoding="utf-8",
    )
    firefox.choose_files("#drop-files", [trace])
    firefox.wait("document.querySelector('#dropped')?.textContent.includes('120.0')")
    firefox.click("#dropped [name=pressure]")
    firefox.type("14", "Enter")
    firefox.wait("document.querySelector('#dropped').textContent.includes('is stored as reading 2')")
    firefox.open(url + "/question/mine/mine")
    firefox.wait("document.body.dataset.whatif === 'settled'")
    before = firefox.evaluate("document.querySelector('#optima strong').textContent")
    firefox.evaluate("document.querySelector('#s1').focus()")
    firefox.type(*["ArrowLeft"] * 30)
    firefox.wait(f"document.querySelector('#optima strong').textContent !== '{before}'")
    firefox.wait("document.querySelector('#answer-text .first')?.textContent.includes('fastest at')")
    # a figure opened large, and closed: the cursor goes back
    firefox.click("#speeds + .figuretools button")
    firefox.wait("document.querySelector('dialog.large[open] svg.drawing') !== null")
    firefox.click("dialog.large button.strong")
    firefox.wait("document.activeElement.closest('.figuretools') !== null")
    # every page, at every width: nothing reaches beyond its container
    for path, ready in (
        ("/books", "#begin-link"), ("/begin", "body[data-begin=settled]"), ("/books/" + at, "#readings tr[data-n]"),
        ("/bench/" + at, "#readings tr[data-n]"), ("/gas", "#gas-picture[src]"),
        ("/question/mine/mine", "#optima strong"),
    ):  # fmt: skip
        for width in (1280, 360):
            firefox.open(url + path, width)
            firefox.wait(f"document.querySelector('{ready}') !== null")
            assert firefox.evaluate("document.documentElement.scrollWidth") <= width, f"{path} at {width}"
    assert firefox.complaints == []
