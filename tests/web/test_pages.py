"""A real browser drives the pages: entry by keyboard, reasons beside fields, setting aside, two windows, themes."""

import re
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.etree import ElementTree
from zipfile import ZipFile

import pytest
from playwright.sync_api import Page, expect
from support.pages import SERVER_ENDS, comes_to, serious

from edgewind.bench import read_bench
from edgewind.book import import_folder, open_book
from edgewind.web import page as templates

pytestmark = pytest.mark.browser
EXAMPLE = Path(__file__).parents[2] / "examples" / "two-rotors" / "vane-12mm"
TYPED = (
    "time", "gauge [V]", "pressure [Pa]", "trace", "speed [rpm]", "speed uncertainty [rpm]", "lamp", "sweep", "note",
    "exclude",
)  # fmt: skip
LONG = 480_000
PRESSURES = ("2.10", "2.40", "2.70", "3.00", "3.30", "3.60", "3.90", "4.20", "4.50", "4.80")
SPEEDS = ("100", "150", "210", "260", "300", "310", "295", "250", "200", "150")


@dataclass(frozen=True)
class Shared:
    """One server for many tests, and a book of its own for each."""

    pages: Any
    book: Path

    @property
    def at(self) -> str:
        return f"{self.book.name}/typed"


@pytest.fixture
def shared(one_server: Any, one_root: Path, bench_text: str) -> Shared:
    path = one_root / f"b{len(list(one_root.glob('*.book')))}.book"
    with open_book(path, make=True) as book:
        book.add_experiment("typed", bench_text.encode(), TYPED)
    return Shared(one_server, path)


def fill(shared: Shared) -> None:
    """Ten typed readings in the experiment of a book."""
    with open_book(shared.book, write=True) as book:
        for number, (volts, rpm) in enumerate(zip(PRESSURES, SPEEDS, strict=True)):
            cells = {
                "time": f"2026-03-14 09:{number:02d}:00",
                "gauge": volts,
                "speed": rpm,
                "lamp": "on",
                "sweep": "up",
            }
            book.record("typed", cells)


def readings(shared: Shared) -> list[dict[str, str]]:
    with open_book(shared.book) as book:
        return book.contents("typed").cells_now()


def test_ten_readings_are_typed_with_the_keyboard_alone(shared: Shared, visit: Callable) -> None:
    pages, page = shared.pages, visit().page
    page.goto(pages.url + f"/bench/{shared.at}")
    expect(page.locator("#hand-pressure")).to_be_focused()
    keys = page.keyboard
    for number, (volts, rpm) in enumerate(zip(PRESSURES, SPEEDS, strict=True), start=1):
        keys.type(volts)
        keys.press("Tab")  # how the speed is typed
        if number == 10:
            keys.type("time of one turn")
        keys.press("Tab")
        keys.type("0.4000" if number == 10 else rpm)
        if number == 2:
            keys.press("Tab")
            keys.type("off")
            keys.press("Tab")
            keys.type("up")
        if number == 3:
            keys.press("Tab")
            keys.type("on")
        keys.press("Enter")
        expect(page.locator("#hand-stored")).to_have_text(f"Reading {number} is stored.")
        expect(page.locator("#hand-pressure")).to_be_focused()
        expect(page.locator(f'#readings tr[data-n="{number}"]')).to_be_visible()
        if number == 1:
            expect(page.locator("#next-why")).to_contain_text("log-even start")
    # *Next* has learnt: the readings enclose a maximum, and it asks there; and it says so for this pump
    expect(page.locator("#next-why")).not_to_contain_text("log-even start")
    expect(page.locator("#next-lowest")).to_have_attribute("placeholder", "what it reached so far")
    kept = readings(shared)
    assert [cells["gauge"] for cells in kept] == list(PRESSURES)
    assert [cells["speed"] for cells in kept[:9]] == list(SPEEDS[:9])
    assert float(kept[9]["speed"]) == pytest.approx(150)
    assert float(kept[9]["speed uncertainty"]) == pytest.approx(150 * 1e-4 / 12**0.5 / 0.4, rel=0.01)
    assert [cells["lamp"] for cells in kept[:3]] == ["on", "off", "on"]
    assert [cells["sweep"] for cells in kept[:3]] == ["", "up", "up"]


def test_bad_entries_are_refused_with_a_reason_beside_the_field(shared: Shared, visit: Callable) -> None:
    pages, page = shared.pages, visit(expected=("status of 400",)).page
    page.goto(pages.url + f"/bench/{shared.at}")
    for field, texts, said in (
        ("pressure", ("", "120"), "type the reading of the gauge"),
        ("pressure", ("three", "120"), "not a number"),
        ("pressure", ("3.2 kg", "120"), "voltage"),
        ("speed", ("3.2", ""), "type the speed"),
        ("speed", ("3.2", "<b>fast</b>"), "not a number"),
        ("speed", ("3.2", "3 Hz"), "turns or radians"),
    ):
        page.fill("#hand-pressure", texts[0])
        page.fill("#hand-speed", texts[1])
        page.press("#hand-speed", "Enter")
        expect(page.locator(f"#hand-{field}-problem")).to_contain_text(said)
        expect(page.locator(f"#hand-{field}")).to_have_attribute("aria-invalid", "true")
        expect(page.locator(f"#hand-{field}")).to_be_focused()
        described = page.get_attribute(f"#hand-{field}", "aria-describedby") or ""
        assert f"hand-{field}-problem" in described.split()
    assert readings(shared) == []
    # put right, it is stored, and the reasons are gone
    page.fill("#hand-speed", "118.2")
    page.press("#hand-speed", "Enter")
    expect(page.locator("#hand-stored")).to_have_text("Reading 1 is stored.")
    expect(page.locator("#hand .problem:not(:empty)")).to_have_count(0)
    page.goto(pages.url + "/begin")
    page.click("#text-place summary")
    for name, text, field, said in (
        ("typed", "", "name", "already"),
        ("../x", "", "name", "not a name"),
        ("new", "[gas]", "bench", "experiment"),
    ):
        page.fill("#begin-name", name)
        if text:
            page.fill("#begin-bench", text)
        page.click("#begin .strong")
        expect(page.locator(f"#begin-{field}-problem")).to_contain_text(said)


def test_typed_text_survives_a_refusal_a_reload_and_a_stopped_server(
    serve: Callable, visit: Callable, tmp_path: Path, bench_text: str
) -> None:
    pages, page = serve(tmp_path), visit(expected=("400", *SERVER_ENDS)).page
    page.goto(pages.url + "/begin")
    page.select_option("#unit-pressure", "mTorr")
    page.reload()
    page.click("#text-place summary")
    expect(page.locator("#begin-pressure_unit")).to_have_value("mTorr")  # the unit chosen at the side holds here too
    broken = bench_text.replace("[light]", "[light", 1)
    page.fill("#begin-bench", broken)
    page.select_option("#begin-speed_unit", "rad/s")
    expect(page.locator("#begin-bench-problem")).to_contain_text("line")
    page.click("#begin button.strong")
    expect(page.locator("#begin-bench")).to_be_focused()
    expect(page.locator("#begin-bench-problem")).to_contain_text("line")
    assert list(tmp_path.glob("*")) == []  # a form that is refused makes no book
    # nothing is selected: the next key adds a character and destroys none; the cursor stands in the line named
    place = page.evaluate(
        "(() => { const a = document.activeElement; return [a.id, a.selectionStart, a.selectionEnd]; })()"
    )
    assert place[0] == "begin-bench" and place[1] == place[2]
    assert broken[: place[1]].count("\n") + 1 == broken[: broken.index("[light")].count("\n") + 1
    page.keyboard.type("#")
    expect(page.locator("#begin-bench")).to_have_value(broken[: place[1]] + "#" + broken[place[1] :])
    page.fill("#begin-bench", bench_text)
    page.reload()
    expect(page.locator("#begin-bench")).to_have_value(bench_text)
    expect(page.locator("#begin-speed_unit")).to_have_value("rad/s")
    page.click("#begin button.strong")
    expect(page.locator("#begin-name-problem")).to_contain_text("name")
    assert list(tmp_path.glob("*")) == []
    page.fill("#begin-name", "typed")
    pages.stop()
    page.click("#begin button.strong")
    expect(page.locator("#begin-problem")).to_contain_text("does not answer")
    expect(page.locator("#begin-name")).to_have_value("typed")
    expect(page.locator("#begin-bench")).to_have_value(bench_text)


def test_a_reading_is_set_aside_with_a_reason_and_restored(shared: Shared, visit: Callable) -> None:
    fill(shared)
    pages, page = shared.pages, visit(expected=("400",)).page
    page.goto(pages.url + f"/books/{shared.at}")
    button = page.get_by_role("button", name="Set reading 4 aside")
    button.focus()
    page.keyboard.press("Enter")
    expect(page.locator("#why-text")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("#why-text-problem, #why-problem").first).to_contain_text("No reason")
    page.keyboard.type("the door stood open")
    page.keyboard.press("Enter")
    row = page.locator('#readings tr[data-n="4"]')
    expect(row).to_contain_text("excluded: the door stood open")
    assert readings(shared)[3]["exclude"] == "the door stood open"
    expect(page.get_by_role("button", name="Use reading 4 again")).to_be_focused()
    page.keyboard.press("Enter")
    page.keyboard.type("it was shut after all")
    page.keyboard.press("Enter")
    expect(row.locator(".use")).to_have_text("used")
    with open_book(shared.book) as book:
        changes = book.contents("typed").changes
        assert book.contents("typed").readings[3].cells["speed"] == SPEEDS[3]
    assert [(one.after, one.why) for one in changes] == [
        ("the door stood open", "the door stood open"),
        ("", "it was shut after all"),
    ]
    page.reload()
    expect(page.locator("#changes")).to_contain_text("it was shut after all")
    # a mistyped reading that is excluded stands in the table and does not stretch the chart
    points = page.locator("#curve svg.drawing .point:not(.dim)")
    expect(points).to_have_count(10)
    with open_book(shared.book, write=True) as book:
        book.record(
            "typed",
            {
                "time": "2026-03-14 09:20:00",
                "gauge": "3.10",
                "speed": "31000",
                "lamp": "on",
                "sweep": "up",
                "exclude": "mistyped",
            },
        )
    expect(page.locator('#readings tr[data-n="11"]')).to_contain_text("excluded: mistyped")
    expect(page.locator("#curve svg.drawing .point")).to_have_count(10)
    # triangles show the sense of a sweep: this second one rises, too
    with open_book(shared.book, write=True) as book:
        for number, volts in enumerate(PRESSURES[:3]):
            cells = {"gauge": volts, "speed": SPEEDS[number], "lamp": "on", "sweep": "again"}
            book.record("typed", {"time": f"2026-03-14 09:{30 + number}:00"} | cells)
    expect(page.locator("#curve svg.drawing .point .shape-up")).to_have_count(10)
    expect(page.locator("#curve svg.drawing .point .shape-square")).to_have_count(3)


def test_two_windows_and_another_program_show_the_same_book(shared: Shared, visit: Callable) -> None:
    fill(shared)
    pages = shared.pages
    first, second = visit(), visit(viewport={"width": 390, "height": 800}, color_scheme="dark", has_touch=True)
    for window in (first, second):
        window.page.goto(pages.url + f"/bench/{shared.at}")
        expect(window.page.locator('#readings tr[data-n="10"]')).to_be_visible()
    # typed in the one, seen in the other
    first.page.fill("#hand-pressure", "5.1")
    first.page.fill("#hand-speed", "99")
    first.page.press("#hand-speed", "Enter")
    expect(second.page.locator('#readings tr[data-n="11"]')).to_contain_text("99")
    # both at once: each is stored once
    for window, volts in ((first, "5.2"), (second, "5.3")):
        window.page.fill("#hand-pressure", volts)
        window.page.fill("#hand-speed", "88")
    first.page.press("#hand-speed", "Enter")
    second.page.tap("#hand-store")
    for window in (first, second):
        expect(window.page.locator('#readings tr[data-n="13"]')).to_be_visible()
    assert sorted(cells["gauge"] for cells in readings(shared)[11:]) == ["5.2", "5.3"]
    # another program writes the same book
    with open_book(shared.book, write=True) as book:
        book.record("typed", {"time": "2026-03-14 11:00:00", "gauge": "5.4", "speed": "77", "lamp": "on"})
        book.exclude("typed", 1, "seen by nobody")
    for window in (first, second):
        expect(window.page.locator('#readings tr[data-n="14"]')).to_contain_text("77")
    late = [int(window.page.locator("body").get_attribute("data-seen14") or 0) for window in (first, second)]
    print("shown after, ms:", late)
    # the same entry, sent again because its answer was lost, is stored once
    body = {"pressure": "5.5", "pressure_as": "gauge", "speed": "66", "key": "once"}
    assert pages.told(f"/api/readings/{shared.at}", body) == pages.told(f"/api/readings/{shared.at}", body)
    assert len(readings(shared)) == 15


def test_units_and_theme_are_remembered(shared: Shared, visit: Callable) -> None:
    fill(shared)
    pages, page = shared.pages, visit(color_scheme="light").page
    page.goto(pages.url + f"/bench/{shared.at}")
    expect(page.locator("#now-speed")).to_have_text("150.0")
    page.select_option("#unit-speed", "rad/s")
    page.select_option("#unit-pressure", "mTorr")
    page.select_option("#theme", "dark")
    expect(page.locator("#now-speed")).to_have_text("15.71")
    expect(page.locator("#now-pressure")).to_have_text(re.compile(r"^6\d\d$"))  # 4.8 V is 631 mTorr
    page.goto(pages.url + f"/books/{shared.at}")
    expect(page.locator('#readings tr[data-n="10"]')).to_contain_text("15.71")
    expect(page.locator("html")).to_have_css("background-color", "rgb(20, 23, 28)")


def test_a_what_if_change_moves_both_optima(one_server: Any, mine: Path, visit: Callable) -> None:
    page = visit().page
    page.goto(one_server.url + "/question/mine/mine")
    strong = page.locator("#optima strong")
    expect(strong).to_have_count(3, timeout=60_000)
    settled = page.locator('body[data-whatif="settled"]')
    settled.wait_for(state="attached")
    before = strong.all_inner_texts()
    page.focus("#s1")
    for _ in range(30):
        page.keyboard.press("ArrowRight")
    expect(strong.first).not_to_have_text(before[0])
    settled.wait_for(state="attached")
    wider = strong.all_inner_texts()
    assert float(wider[0].split()[0]) < float(before[0].split()[0])  # a wider vane is fastest in thinner gas
    assert float(wider[1].split()[0]) < float(before[1].split()[0])
    from edgewind.rotor import reach
    from edgewind.web.whatif import predict_changed

    bench = read_bench(mine / "bench.toml")
    width = page.locator("#s1-out").inner_text().split()[0]
    same = predict_changed(bench, {"rotor.vane_width": f"{width} mm"})
    assert float(wider[0].split()[0]) == pytest.approx(same["optimum"]["pressure_pa"], rel=0.01)
    assert len(reach(bench)) == len(same["pressure_pa"])
    page.click("#back")
    expect(strong.first).to_have_text(before[0])
    page.select_option("#gas", "He")
    expect(strong.first).not_to_have_text(before[0])


def test_rotors_are_compared_imported_and_exported(
    serve: Callable, visit: Callable, hold: Callable, tmp_path: Path
) -> None:
    for name, width, scale in (("narrow", 12, 1.0), ("wide", 20, 0.6)):
        folder = tmp_path / name
        folder.mkdir()
        text = (EXAMPLE / "bench.toml").read_text().replace("12.0 +/- 0.1 mm", f"{width}.0 +/- 0.1 mm")
        (folder / "bench.toml").write_text(text, encoding="utf-8")
        lines = ["time [s],pressure [Pa],speed [rpm]"]
        lines += [f"{k},{0.05 * scale * 1.5**k:.4g},{40 - 1.2 * (k - 6) ** 2 / 2:.1f}" for k in range(13)]
        (folder / "readings.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    with open_book(tmp_path / "lab.book", make=True) as book:
        import_folder(book, tmp_path / "narrow")
    shutil.rmtree(tmp_path / "narrow")
    pages, page = serve(tmp_path), visit().page
    hold(pages, "studies")  # so that there is time to cancel the one ordered here
    page.goto(pages.url)
    boxes = page.get_by_role("checkbox")
    expect(boxes).to_have_count(2)
    for box in boxes.all():
        box.check()
    with page.expect_request(lambda request: request.url.endswith("/api/studies")) as ordered:
        page.get_by_role("button", name="Compare those ticked").click()
    of = [{"slug": "lab.book", "experiment": "narrow"}, {"slug": "wide", "experiment": "wide"}]
    assert ordered.value.post_data_json == {"of": of, "fit": False}
    page.get_by_role("button", name="Cancel the study").click()
    expect(page.locator("#study-ended")).to_contain_text("The study was cancelled.")
    # a folder is taken into the book, and an experiment comes home as a folder
    page.goto(pages.url + "/books")
    page.get_by_role("button", name="import into a book: wide").click()
    page.get_by_role("button", name="Import", exact=True).click()
    page.wait_for_url("**/books/lab.book/wide")
    with page.expect_download() as kept:
        page.get_by_role("link", name="Export as a folder").click()
    with ZipFile(kept.value.path()) as archive:
        assert archive.read("readings.csv") == (folder / "readings.csv").read_bytes()
        assert archive.read("bench.toml") == (folder / "bench.toml").read_bytes()


def test_every_page_is_accessible(shared: Shared, mine: Path, visit: Callable) -> None:
    """No serious finding of axe-core in light or dark, on a wide screen or a phone; no word outside a drawing.

    No element is wider than its container, at any width from a phone to a large screen.
    """
    fill(shared)
    with open_book(shared.book, write=True) as book:
        book.exclude("typed", 2, "the door stood open")
    pages, at = shared.pages, "/" + shared.at
    studied = "/question/mine/mine"  # one study for this and the tests of the question
    window = visit(expected=("404",), color_scheme="light")
    page: Page = window.page
    found: list[Any] = []
    for path, ready in (
        (studied, "#mechanisms table"), ("/books", "#begin-link"), ("/begin", "body[data-begin=settled]"),
        ("/books" + at, '#readings tr[data-n="10"]'),
        ("/bench", ".listing a"), ("/bench" + at, '#readings tr[data-n="10"]'), ("/question", ".listing a"),
        ("/gas", "#gas-kn"), ("/nowhere", "h1"),
    ):  # fmt: skip
        page.goto(pages.url + path)
        expect(page.locator(ready).first).to_be_attached(timeout=LONG)  # a study, on a loaded machine
        if path == studied:  # the units chosen hold in sentences too
            expect(page.locator("#answer-text .first")).to_contain_text(" Pa")
            page.select_option("#unit-pressure", "mTorr")
            expect(page.locator("#answer-text .first")).to_contain_text(" mTorr")
            # a pressure that the sentence gives in mTorr as well, or an interval, is said once
            expect(page.locator("#answer-text .first")).not_to_contain_text("mTorr (")
            expect(page.locator("#answer-text .first")).not_to_contain_text(" Pa")
            page.select_option("#unit-pressure", "Pa")
        for width in (1920, 1280, 768, 360):
            page.set_viewport_size({"width": width, "height": 900})
            comes_to(page, f"innerWidth === {width} && Math.max({width}, {SCROLLED})", width, f"{path} at {width}")
            for fault in (WIDER, WORDS_OUTSIDE, CLOSED):  # charts are drawn anew for the width, in a frame to come
                comes_to(page, fault, [], f"{path} at {width}")
        if path in ("/bench" + at, "/begin"):
            found += serious(page, path, "phone")
        page.set_viewport_size({"width": 1440, "height": 900})
        found += serious(page, path, "light")
        if path in (studied, "/bench" + at, "/begin", "/gas"):  # every colour and kind of element is on these
            page.emulate_media(color_scheme="dark")
            found += serious(page, path, "dark", ("color-contrast",))  # nothing else changes with the light
            page.emulate_media(color_scheme="light")
    assert found == []
    # a window that opens over the page
    page.goto(pages.url + "/books" + at)
    page.get_by_role("button", name="Set reading 1 aside").click()
    assert serious(page, "/books" + at, "dialog") == []


def test_a_gauge_out_of_range_is_named_inside_its_dial(
    serve: Callable, visit: Callable, tmp_path: Path, bench_text: str
) -> None:
    """Speeds that are counted turns, which come from no trace and cannot be typed here either."""
    folder = tmp_path / "counted"
    folder.mkdir()
    (folder / "bench.toml").write_text(bench_text, encoding="utf-8")
    rows = ["time,pressure [Pa],turns,in [s],lamp", "2026-03-14 10:00,over-range,12,60,on"]
    (folder / "readings.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    with open_book(tmp_path / "lab.book", make=True) as book:
        import_folder(book, folder)
    pages, window = serve(tmp_path), visit()
    page: Page = window.page
    page.goto(pages.url + "/bench/lab.book/counted")
    dial = page.locator("#now-pressure")
    expect(dial).to_have_text("over-range")
    for width in (1280, 800, 360):
        page.set_viewport_size({"width": width, "height": 900})
        comes_to(dial, "one => one.scrollWidth <= one.clientWidth + 1", True)
    expect(page.locator(".hand")).to_contain_text("no column for a typed speed: it holds counted turns")
    expect(page.locator(".hand")).not_to_contain_text("come from traces")
    assert window.complaints == []


SCROLLED = "document.documentElement.scrollWidth"


# Elements that reach beyond the inner edge of the one they stand in; where that scrolls, the test would hide it.
WIDER = """() => [...document.querySelectorAll('main *')].filter(one => {
    const box = one.getBoundingClientRect(), around = one.parentElement.getBoundingClientRect();
    if (!box.width || !box.height || !around.width) return false;
    if (one.closest('svg, .unseen, option')) return false;
    if (getComputedStyle(one).position === 'absolute') return false;
    return box.right > around.right + 1.5 || box.left < around.left - 1.5;
}).map(one => one.outerHTML.slice(0, 90))"""


# Figures that have no button to open them large.
CLOSED = """() => [...document.querySelectorAll('.chart')].filter(
    one => one.querySelector('svg.drawing') && !one.nextElementSibling?.matches('.figuretools:not([hidden])')
).map(one => one.id)"""


# Words of a drawing that stand outside it.
WORDS_OUTSIDE = """() => [...document.querySelectorAll('svg.drawing')].flatMap(svg => {
    const frame = svg.getBoundingClientRect();
    return [...svg.querySelectorAll('text')].filter(text => {
        const box = text.getBoundingClientRect();
        return box.left < frame.left - 2 || box.right > frame.right + 2 || box.bottom > frame.bottom + 2;
    }).map(text => text.textContent);
})"""


def test_a_figure_is_enlarged_and_saved(shared: Shared, visit: Callable) -> None:
    """By keyboard; the files stand by themselves; and the cursor goes back to where it was."""
    fill(shared)
    pages, page = shared.pages, visit().page
    page.goto(pages.url + f"/books/{shared.at}")
    button = page.get_by_role("button", name="Open large, save").first
    expect(page.locator("svg.drawing .point").first).to_be_attached()
    button.focus()
    page.keyboard.press("Enter")
    large = page.get_by_role("dialog")
    expect(large.locator("svg.drawing .point").first).to_be_attached()
    comes_to(large.locator("svg.drawing"), "one => one.getBoundingClientRect().width > 1200", True)
    assert serious(page, "/books", "large figure") == []
    with page.expect_download() as png:
        large.get_by_role("button", name="Save as PNG").click()
    content = Path(png.value.path()).read_bytes()
    assert png.value.suggested_filename.endswith(".png") and content[:8] == b"\x89PNG\r\n\x1a\n"
    assert int.from_bytes(content[16:20], "big") >= 1920
    with page.expect_download() as svg:
        large.get_by_role("button", name="Save as SVG").click()
    drawn = ElementTree.fromstring(Path(svg.value.path()).read_bytes())
    words = [one.text for one in drawn.iter("{http://www.w3.org/2000/svg}text")]
    assert "pressure (Pa)" in words and "speed (rpm)" in words
    assert not [one for one in drawn.iter() if "class" in one.attrib or "var(" in str(one.attrib)]
    page.keyboard.press("Escape")
    expect(button).to_be_focused()


def test_the_first_page_is_small(shared: Shared, visit: Callable) -> None:
    fill(shared)
    pages, window = shared.pages, visit()
    window.page.goto(pages.url)
    weight = window.page.evaluate("performance.getEntries().reduce((sum, one) => sum + (one.transferSize || 0), 0)")
    assert weight < 300_000


def test_lines_of_scripts_are_short_enough_to_be_read() -> None:
    found = [
        (path.name, number)
        for path in (Path(templates.__file__).parent / "static").glob("*.js")
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1)
        if len(line) > 120
    ]
    assert found == []
