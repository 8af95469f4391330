"""From an empty folder to a report by the pages: invented files to drop, and the steps that a person takes.

One script for every browser: it asks a `Window` to click, type and wait, and `chromium.py` and `firefox.py` do it.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Protocol

import numpy as np
import pytest

from support.clips import ClipScene, render

GREATEST_PA, GREATEST_RPM, STEP_S = 2.0, 140.0, 2e-3
PRESSURES = np.geomspace(0.15, 20.0, 10)


class Window(Protocol):
    """What the script asks of a browser."""

    def open(self, url: str) -> None:
        """Open an address."""

    def evaluate(self, expression: str) -> Any:
        """Return a value of the page, by way of JSON."""

    def wait(self, expression: str) -> Any:
        """Return a value of the page once it is true."""

    def click(self, selector: str) -> None:
        """Click on an element with the mouse, or tap on it."""

    def type(self, *keys: str) -> None:
        """Press keys: names such as Enter, or text."""

    def give_files(self, folder: Path) -> None:
        """Give the page the files of a folder, as a person does in this browser."""

    def follow(self, selector: str) -> None:
        """Click on a link that opens a tab of its own, and stay in that."""


def speed_at(pressure_pa: float) -> float:
    """Invented speed, rpm: a closed form that is not the model under test."""
    ratio = pressure_pa / GREATEST_PA
    return GREATEST_RPM * 4 * ratio / (1 + ratio) ** 2


def pulses(rpm: float, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Invented pulses of four marks that are not quite alike, with noise."""
    random = np.random.default_rng(seed)
    time = np.arange(0.0, 5.0, STEP_S)
    turn = (time * rpm / 60 + random.uniform()) % 1.0
    volts = np.full(time.size, 0.2)
    for mark, width in enumerate((0.070, 0.078, 0.066, 0.074)):
        volts[(turn >= mark / 4) & (turn < mark / 4 + width)] = 4.0 - 0.1 * mark
    return time, volts + random.normal(0, 0.03, time.size)


def comma(time: np.ndarray, volts: np.ndarray) -> str:
    return "time [s],CH1 [V]\n" + "".join(f"{t:.4f},{v:.4f}\n" for t, v in zip(time, volts, strict=True))


def semicolons(time: np.ndarray, volts: np.ndarray) -> str:
    rows = "".join(f"{1e3 * t:.1f};{v:.4f}\r\n" for t, v in zip(time, volts, strict=True)).replace(".", ",")
    return "\ufeffZeit;Kanal A\r\n(ms);(V)\r\n\r\n" + rows


def block(time: np.ndarray, volts: np.ndarray) -> str:
    head = f"Record Length,{time.size}\nSample Interval,{STEP_S:.3e}\nHorizontal Units,s\nProbe,1\n"
    return head + "Time,CH1\n" + "".join(f"{t:.4f},{v:.4f}\n" for t, v in zip(time, volts, strict=True))


def header(time: np.ndarray, volts: np.ndarray) -> str:
    head = f"X,CH1,Start,Increment,\nSequence,Volt,-4.0e-03,{STEP_S:.1e},\n"
    return head + "".join(f"{k},{v:.4f},,,\n" for k, v in enumerate(volts))


def tabs(time: np.ndarray, volts: np.ndarray) -> str:
    return "time(us)\tCH1(mV)\n" + "".join(f"{1e6 * t:.0f}\t{1e3 * v:.1f}\n" for t, v in zip(time, volts, strict=True))


STYLES = (comma, semicolons, block, header, tabs)


def traces(folder: Path, count: int = 10) -> dict[str, float]:
    """Write traces in styles that change; returns the pressure at which each was taken."""
    found = {}
    for number, pressure in enumerate(PRESSURES[:count]):
        style = STYLES[number % len(STYLES)]
        path = folder / f"{number:02d}-{style.__name__}.csv"
        path.write_text(style(*pulses(speed_at(pressure), number)), encoding="utf-8")
        found[path.name] = float(pressure)
    return found


def recorded(folder: Path) -> dict[str, float]:
    """Write ten traces and a clip; returns the pressure at which each was taken."""
    found = traces(folder)
    clip = render(ClipScene(speed_at(2.6) / 60), folder / "turning.mp4")
    return found | {clip.name: 2.6}


def begin(window: Window, url: str, book: str = "lab") -> None:
    """An experiment in a new book, by the form: a gauge that is read off its display."""
    window.open(url)
    window.wait("document.querySelector('#begin-link') !== null && document.readyState === 'complete'")
    if window.evaluate("!document.querySelector('#tour').hidden"):
        window.click("#tour button.quiet")
    window.click("#begin-link")
    window.wait(_SETTLED)
    window.click("#begin-name")
    window.type("first")
    _choose(window, "#begin-book", "option => option.value === ''")
    window.evaluate("document.querySelector('#begin-new_book').select()")
    window.type(f"{book}.book")
    # The form is not settled while the change is on its way; what is chosen is the text by then.
    _choose(window, "#preset-gauge", "(option, place) => place === 1")
    window.wait("document.querySelector('#begin-bench').value.includes('kind = \"display\"')")
    window.wait(_SETTLED)
    window.click("#begin button.strong")
    window.wait(f"location.pathname === '/bench/{book}.book/first' && document.activeElement?.id === 'hand-pressure'")


_SETTLED = "document.body?.dataset.begin === 'settled'"


def _choose(window: Window, selector: str, wanted: str) -> None:
    """Choose an option by the keyboard: the one for which `wanted`, a function of the page, is true."""
    steps = window.evaluate(
        "((list) => { list.focus(); "
        f"return [...list.options].findIndex({wanted}) - list.selectedIndex; }})(document.querySelector('{selector}'))"
    )
    window.type(*(["ArrowDown"] * steps if steps > 0 else ["ArrowUp"] * -steps))


def store_each(window: Window, taken: dict[str, float]) -> None:
    """Type the pressure beside each file, and Enter."""
    window.wait(f"document.querySelectorAll('#dropped li').length === {len(taken)}")
    for number, (name, pressure) in enumerate(taken.items(), start=1):
        entry = f'#dropped li[data-name="{name}"]'
        words = window.evaluate(f"document.querySelector({json.dumps(entry)}).querySelector('.large').textContent")
        assert float(words.split("(")[0]) == pytest.approx(speed_at(pressure), rel=5e-3), name
        assert words.endswith("rpm")
        window.click(f"{entry} [name=pressure]")
        window.type(f"{pressure:.4g} Pa", "Enter")
        window.wait(
            f"document.querySelector({json.dumps(entry)}).textContent.includes('is stored as reading {number},')"
        )


def to_the_report(window: Window) -> None:
    """From the bench to the answer and its report."""
    window.click('nav a[href^="/question"]')
    window.wait("document.querySelector('#answer-text .first')?.textContent.includes('fastest at')")
    window.follow("#report")
    window.wait("document.querySelector('h1') !== null && document.body.textContent.includes('11 readings')")
