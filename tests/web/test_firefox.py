"""The pages in Debian's Firefox: an experiment begun, traces dropped, a slider moved, every page within the screen.

From an empty folder to a report, with ten traces and a clip, is in the benchmark of the pages.
"""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from support.firefox import Firefox, firefox_path
from support.from_nothing import begin, store_each, traces

from edgewind.book import open_book

pytestmark = pytest.mark.browser


@pytest.fixture
def firefox(tmp_path: Path) -> Iterator[Firefox]:
    path = firefox_path()
    if path is None:
        pytest.skip("no Firefox here: apt-get install firefox-esr")
    window = Firefox(path, tmp_path / "profile")
    yield window
    window.close()


def test_experiment_dropped_traces_and_sliders_work_in_firefox(
    firefox: Firefox, serve: Callable[..., Any], tmp_path: Path
) -> None:
    folder, root = tmp_path / "files", tmp_path / "root"
    folder.mkdir(), root.mkdir()
    taken, url, at = traces(folder, 2), serve(root).url, "lab.book/first"
    begin(firefox, url)
    firefox.give_files(folder)
    store_each(firefox, taken)
    with open_book(root / "lab.book") as book:
        assert len(book.contents("first").files) == len(taken)
    firefox.evaluate('localStorage.setItem(\'edgewind-tour\', \'{"step": -1, "at": ""}\')')
    firefox.open(url + "/question/" + at)
    firefox.wait("document.body.dataset.whatif === 'settled'")
    before = firefox.evaluate("document.querySelector('#optima strong').textContent")
    firefox.evaluate("document.querySelector('#s1').focus()")
    firefox.type(*["ArrowLeft"] * 30)
    firefox.wait(f"document.querySelector('#optima strong').textContent !== '{before}'")
    # a figure opened large, and closed: the cursor goes back
    firefox.click("#speeds + .figuretools button")
    firefox.wait("document.querySelector('dialog.large[open] svg.drawing') !== null")
    firefox.click("dialog.large button.strong")
    firefox.wait("document.activeElement.closest('.figuretools') !== null")
    # every page, at every width: nothing reaches beyond its container
    for path, ready in (
        ("/books", "#begin-link"), ("/begin", "body[data-begin=settled]"), ("/books/" + at, "#readings tr[data-n]"),
        ("/question/" + at, "#optima strong"), ("/gas", "#gas-picture[src]"), ("/bench/" + at, "#readings tr[data-n]"),
    ):  # fmt: skip
        firefox.open(url + path)
        firefox.wait(f"document.querySelector('{ready}') !== null")
        for width in (360, 1280):
            firefox.resize(width)
            # charts are drawn anew for the width, in a frame to come
            firefox.wait(f"innerWidth === {width} && document.documentElement.scrollWidth <= {width} /* {path} */")
    # the bench is the last of them
    number = len(taken) + 1
    firefox.evaluate("document.querySelector('#hand-pressure').focus()")
    firefox.type("12", "Tab", "Tab", "101.5", "Enter")
    firefox.wait(f"document.querySelector('#hand-stored').textContent === 'Reading {number} is stored.'")
    firefox.wait(f"document.querySelector('#readings tr[data-n=\"{number}\"]') !== null")
    assert firefox.complaints == []
