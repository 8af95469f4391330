"""A real browser opens the report from disk, with no network, on screens of every width and on paper."""

from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect
from support.pages import comes_to

pytestmark = pytest.mark.browser
INSIDE = "document.documentElement.scrollWidth <= innerWidth"
FIGURES = 10  # two of them of plans, which here propose readings: those that say stop have none
OPEN = "for (const one of document.querySelectorAll('details')) one.open = true"


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1600])
def test_report_opens_without_errors_or_overflow(browser: Browser, two_rotors: Path, scheme: str, width: int) -> None:
    context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme, offline=True)  # type: ignore[arg-type]
    page = context.new_page()
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("requestfailed", lambda request: complaints.append(request.url))
    page.on("dialog", lambda dialog: complaints.append(dialog.message))
    requests: list[str] = []
    page.on("request", lambda request: requests.append(request.url))
    page.goto((two_rotors / "report.html").as_uri())
    assert complaints == []
    assert len(requests) == 1
    comes_to(page, INSIDE, True)
    page.evaluate(OPEN)
    comes_to(page, INSIDE, True)
    expect(page.locator("figure")).to_have_count(FIGURES)
    drawn = "[...document.querySelectorAll('svg.drawing')].filter(s => s.getBoundingClientRect().width > 0).length"
    comes_to(page, drawn, FIGURES)
    paper = {"light": "rgb(251, 249, 243)", "dark": "rgb(20, 23, 28)"}[scheme]
    expect(page.locator("html")).to_have_css("background-color", paper)
    ink = page.evaluate("getComputedStyle(document.querySelector('svg.drawing text')).fill")
    assert ink != paper
    context.close()


@pytest.mark.parametrize("width", [360, 1600])
def test_text_in_figures_stays_inside_them(browser: Browser, two_rotors: Path, width: int) -> None:
    context = browser.new_context(viewport={"width": width, "height": 900}, offline=True)
    page = context.new_page()
    page.goto((two_rotors / "report.html").as_uri())
    page.evaluate(OPEN)
    comes_to(
        page,
        """() => [...document.querySelectorAll('svg.drawing')].flatMap(svg => {
            const frame = svg.getBoundingClientRect();
            return frame.width === 0 ? [] : [...svg.querySelectorAll('text')].filter(text => {
                const box = text.getBoundingClientRect();
                return box.left < frame.left - 1 || box.right > frame.right + 1
                    || box.top < frame.top - 1 || box.bottom > frame.bottom + 1;
            }).map(text => text.textContent);
        })""",
        [],
    )
    context.close()


def test_wide_tables_can_be_reached_by_keyboard(browser: Browser, two_rotors: Path) -> None:
    context = browser.new_context(viewport={"width": 360, "height": 800}, offline=True)
    page = context.new_page()
    page.goto((two_rotors / "report.html").as_uri())
    page.get_by_role("link", name="readings").first.click()  # what is folded opens for its link
    table = page.locator(".scroll", has=page.locator("table.readings")).first
    table.focus()
    page.keyboard.press("ArrowRight")
    page.wait_for_function("document.activeElement.scrollLeft > 0")
    context.close()


def test_report_prints_to_pdf_on_white(browser: Browser, two_rotors: Path, tmp_path: Path) -> None:
    context = browser.new_context(color_scheme="dark", offline=True)
    page = context.new_page()
    page.goto((two_rotors / "report.html").as_uri())
    pdf = page.pdf(format="A4", prefer_css_page_size=True)
    assert pdf.startswith(b"%PDF") and len(pdf) > 50_000
    page.emulate_media(media="print", color_scheme="dark")
    expect(page.locator("html")).to_have_css("background-color", "rgb(255, 255, 255)")
    # what is folded on the screen stands open on paper
    comes_to(page.locator("table.readings").first, "one => one.getBoundingClientRect().height > 100", True)
    comes_to(page.locator(".tall").first, "one => one.scrollHeight <= one.clientHeight + 1", True)
    page.set_viewport_size({"width": 680, "height": 1000})  # A4 within its margins; a wider table shrinks every page
    right = (
        "Math.max(...[...document.querySelectorAll('table, figure')].map((one) => one.getBoundingClientRect().right))"
    )
    assert 0 < page.evaluate(right) <= 681
    context.close()
