"""From an empty folder to a report by the pages: invented files to drop, and the steps that a person takes."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Page, expect

from support.clips import ClipScene, render

GREATEST_PA, GREATEST_RPM, STEP_S = 2.0, 140.0, 2e-3
PRESSURES = np.geomspace(0.15, 20.0, 10)
LONG = 240_000


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


def recorded(folder: Path) -> dict[str, float]:
    """Write ten traces and a clip; returns the pressure at which each was taken."""
    found = {}
    for number, pressure in enumerate(PRESSURES):
        style = STYLES[number % len(STYLES)]
        path = folder / f"{number:02d}-{style.__name__}.csv"
        path.write_text(style(*pulses(speed_at(pressure), number)), encoding="utf-8")
        found[path.name] = float(pressure)
    clip = render(ClipScene(speed_at(2.6) / 60), folder / "turning.mp4")
    return found | {clip.name: 2.6}


def begin(page: Page, url: str, book: str = "lab") -> None:
    """An experiment in a new book, by the form: a gauge that is read off its display."""
    page.goto(url)
    page.get_by_role("link", name="Begin an experiment").first.click()
    page.locator("body[data-begin=settled]").wait_for(state="attached")
    page.locator("#begin-name").click()
    page.keyboard.type("first")
    page.select_option("#begin-book", "")
    page.fill("#begin-new_book", f"{book}.book")
    page.select_option("#preset-gauge", index=1)
    page.locator("body[data-begin=settled]").wait_for(state="attached")
    page.get_by_role("button", name="Begin", exact=True).click()
    page.wait_for_url(f"**/bench/{book}.book/first")


def store_each(page: Page, taken: dict[str, float]) -> None:
    """Type the pressure beside each file, and Enter."""
    expect(page.locator("#dropped li")).to_have_count(len(taken), timeout=LONG)
    for number, (name, pressure) in enumerate(taken.items(), start=1):
        entry = page.locator("#dropped li").filter(has_text=name)
        expect(entry.locator(".large")).to_contain_text("rpm")
        found = float(entry.locator(".large").inner_text().split("(")[0].split(" ")[0])
        assert found == pytest.approx(speed_at(pressure), rel=5e-3), name
        field = entry.locator("[name=pressure]")
        field.click()
        page.keyboard.type(f"{pressure:.4g} Pa")
        page.keyboard.press("Enter")
        expect(entry).to_contain_text(f"is stored as reading {number}")


def to_the_report(page: Page) -> None:
    """From the bench to the answer and its report."""
    page.get_by_role("link", name="Why it turns").click()
    expect(page.locator("#answer-text .first")).to_contain_text("fastest at", timeout=LONG)
    with page.expect_popup() as opened:
        page.get_by_role("link", name="Open the report").click()
    expect(opened.value.locator("h1").first).to_be_visible(timeout=LONG)
    expect(opened.value.locator("body")).to_contain_text("11 readings")
