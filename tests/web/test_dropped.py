"""Dropped files are read at once and stored with their bytes; dangerous and useless ones are refused with a reason."""

import gzip
import http.client
import io
import json
import stat
import sys
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote

import numpy as np
import pytest
from openpyxl import Workbook
from playwright.sync_api import Page, expect

from edgewind.bench import Bench
from edgewind.book import open_book
from edgewind.errors import InputError
from edgewind.web.dropped import DroppedFiles, check_members, copy_counted
from edgewind.web.new_experiment import state_key, titles_for
from edgewind.web.tables import form_field_of, rows_of_cells


def trace_text(rpm: float = 120.0, *, seconds: float = 4.0, marks: int = 4, header: str = "time [s],CH1 [V]") -> str:
    """Invented pulses of a tachometer, by a closed form that is not the model under test."""
    time = np.arange(0.0, seconds, 2e-3)
    place = (time * rpm / 60 * marks) % 1.0
    volts = np.where(place < 0.3, 4.0, 0.2) + 0.02 * np.sin(977.0 * time)
    return header + "\n" + "".join(f"{t:.4f},{v:.4f}\n" for t, v in zip(time, volts, strict=True))


@pytest.fixture
def bench(make_bench: Callable[..., Bench]) -> Bench:
    return make_bench(tachometer={"marks": 4})


@pytest.fixture
def files() -> Iterator[DroppedFiles]:
    made = DroppedFiles()
    yield made
    made.close()


def drop(files: DroppedFiles, bench: Bench, name: str, content: bytes) -> list[dict[str, Any]]:
    place = files.place()
    place.write_bytes(content)
    return [one.to_dict() for one in files.take(place, name, bench)]


def zipped(members: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return out.getvalue()


def workbook(rows: list[list[Any]], extra: dict[str, bytes] | None = None) -> bytes:
    book, out = Workbook(), io.BytesIO()
    assert book.active is not None
    for row in rows:
        book.active.append(row)
    book.save(out)
    if extra:
        with zipfile.ZipFile(out, "a") as archive:
            for name, content in extra.items():
                archive.writestr(name, content)
    return out.getvalue()


def test_a_trace_and_a_zipped_folder_of_traces_are_measured(files: DroppedFiles, bench: Bench) -> None:
    (found,) = drop(files, bench, "a.csv", trace_text(120.0).encode())
    assert found["kind"] == "trace" and found["problem"] == ""
    assert found["speed_rad_s"] == pytest.approx(4 * np.pi, rel=2e-3)
    assert found["turns"] and found["whole"] and found["interval_s"] == pytest.approx(2e-3)
    several = {f"day/{rpm}.csv": trace_text(rpm).encode() for rpm in (60.0, 90.0)}
    several |= {
        "day/c.csv.gz": gzip.compress(trace_text(144.0).encode()),
        "__MACOSX/x": b"x",
        "day/read me.pdf": b"%PDF",
    }
    found_all = drop(files, bench, "day.zip", zipped(several))
    speeds = [one["speed_rad_s"] for one in found_all if one["kind"] == "trace"]
    assert speeds == pytest.approx([2 * np.pi, 3 * np.pi, 4.8 * np.pi], rel=3e-3)
    (refused,) = [one for one in found_all if one["kind"] == "refused"]
    assert "cannot be read" in refused["problem"] and refused["name"].endswith("read me.pdf")


@pytest.mark.parametrize(
    ("name", "content", "why"),
    [
        ("setup.exe", b"MZ\x90\x00" + bytes(100), "program"),
        ("trace.csv", b"MZ\x90\x00" + bytes(100), "program"),
        ("trace.csv", b"\x7fELF" + bytes(100), "program"),
        ("run.sh", b"#!/bin/sh\nrm x\n", "script"),
        ("empty.csv", b"", "empty"),
        ("photo.png", b"\x89PNG\r\n\x1a\n" + bytes(50), "cannot be read"),
        ("out.zip", zipped({"../../outside.csv": b"x"}), "leads out of the ZIP"),
        ("out.zip", zipped({"C:\\windows\\x.csv": b"x"}), "leads out of the ZIP"),
        ("out.zip", zipped({"/etc/x.csv": b"x"}), "leads out of the ZIP"),
        ("two.zip", zipped({"inner.zip": zipped({"a.csv": b"x"})}), "ZIP within the ZIP"),
        ("bomb.zip", zipped({"a.csv": bytes(30_000_000)}), "would unpack to 30 MB"),
        ("many.zip", zipped({f"{k}.csv": b"" for k in range(301)}), "301 files"),
        ("broken.zip", b"PK\x03\x04 not a zip", "not a ZIP"),
        ("sheet.xlsx", b"not a workbook", "not a workbook"),
        ("sheet.xlsx", workbook([["a", "b"]], {"xl/externalLinks/externalLink1.xml": b"<x/>"}), "links to other"),
        ("sheet.xlsx", workbook([["a", "b"]], {"xl/vbaProject.bin": b"x"}), "macros"),
        ("sheet.xlsx", workbook([["colour", "taste"], ["red", "sweet"]]), "no sheet begins with titles"),
    ],
)  # fmt: skip
def test_dangerous_and_useless_files_are_refused(
    files: DroppedFiles, bench: Bench, name: str, content: bytes, why: str
) -> None:
    (found,) = drop(files, bench, name, content)
    assert found["kind"] == "refused" and why in found["problem"], found
    assert list(files._folder.iterdir()) == [], "bytes of a refused file were left behind"


def test_a_workbook_without_its_reader_is_refused_with_what_to_install(
    files: DroppedFiles, bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    content = workbook([["pressure [Pa]", "speed [rpm]"], [1, 2]])
    monkeypatch.setitem(sys.modules, "openpyxl", None)
    (found,) = drop(files, bench, "day.xlsx", content)
    assert found["kind"] == "refused" and "a CSV file needs nothing" in found["problem"], found
    assert 'pip install "edgewind[spreadsheet]"' in found["problem"]


def test_a_link_in_a_zip_and_a_false_length_are_refused() -> None:
    link = zipfile.ZipInfo("a.csv")
    link.external_attr = (stat.S_IFLNK | 0o777) << 16
    with pytest.raises(InputError, match="link"):
        check_members([link], 100)
    # whatever length the archive states, what comes out is counted
    with pytest.raises(InputError, match="larger than"):
        copy_counted(io.BytesIO(bytes(3_000_000)), io.BytesIO(), 2_000_000)


def test_a_workbook_and_a_csv_become_typed_rows(files: DroppedFiles, bench: Bench) -> None:
    rows = [["Pressure (mTorr)", "speed [rpm]", "lamp", "leading face", "Colour"], [7.5, 120, "on", "dark", "red"]]
    for name, content in (
        ("day.xlsx", workbook(rows)),
        ("day.csv", "\n".join(",".join(map(str, row)) for row in rows).encode()),
        ("tag.csv", b"Pressure (mTorr);speed [rpm];lamp;leading face;Colour\n7,5;120;on;dark;red\n"),
    ):
        (found,) = drop(files, bench, name, content)
        assert found["kind"] == "table", found
        (row,) = found["rows"]
        assert row["pressure"].replace(",", ".") == "7.5 mTorr" and row["speed"] == "120 rpm"
        assert (row["lamp"], row["leading_face"], row["pressure_as"]) == ("on", "dark", "pressure")
        assert found["left_out"] == ["Colour"] and found["guessed"] == []
    (found,) = drop(files, bench, "sums.xlsx", workbook([*rows, ["=A2*2", 80]]))
    assert len(found["rows"]) == 2 and "without saved values read as empty (A3)" in found["guessed"][0]
    assert "no unit" in rows_of_cells([["pressure", "speed [rpm]"], ["1", "2"]])["guessed"][0]
    assert form_field_of("Gauge [V]") == ("gauge", "V") and form_field_of("") == ("", "")


def test_a_guessed_value_is_confirmed_with_one_click(tmp_path: Path, bench_text: str) -> None:
    with open_book(tmp_path / "lab.book", make=True) as book:
        book.add_experiment("e", bench_text.encode(), titles_for(bench_text, "Pa", "rpm"))
        state_key(book, "e", "interval", "1 ms")
        text = book.contents("e").bench.decode()
        assert 'interval = "1 ms"' in text
        assert text.replace('interval = "1 ms"\n', "") == bench_text, "comments and order are lost"
        with pytest.raises(InputError, match="cannot be stated here"):
            state_key(book, "e", "path", "x")
        with pytest.raises(InputError):
            state_key(book, "e", "interval", "three")


@pytest.fixture
def dropping(one_server: Any, one_root: Path, make_bench_text: Callable[..., str]) -> tuple[Any, Path, str]:
    """The server, a book, and the address of an experiment in it that takes anything."""
    path = one_root / f"drop{len(list(one_root.glob('drop*.book')))}.book"
    text = make_bench_text(tachometer={"marks": 4}, gauge={"kind": "display", "transfer_uncertainty": "10 %"})
    with open_book(path, make=True) as book:
        book.add_experiment("any", text.encode(), titles_for(text, "mTorr", "rpm"))
    return one_server, path, f"{path.name}/any"


def test_two_gigabytes_are_refused_before_they_are_sent(dropping: tuple[Any, Path, str]) -> None:
    pages, _, at = dropping
    line = http.client.HTTPConnection("127.0.0.1", pages.port, timeout=60)
    line.putrequest("POST", f"/api/files/{at}?name=long.csv")
    line.putheader("origin", pages.url)
    line.putheader("content-length", "2000000000")
    line.endheaders()
    answer = line.getresponse()
    assert answer.status == 413
    assert "too large (2,000 MB" in json.loads(answer.read())["problem"]
    line.close()


def test_dropped_files_become_stored_readings(dropping: tuple[Any, Path, str], visit: Callable) -> None:
    """Ten traces in a ZIP, one alone and a sheet; stored with their bytes; a likely mistake needs a confirmation."""
    (pages, path, at), page = dropping, visit(expected=("400",)).page
    page.goto(pages.url + "/bench/" + at)
    content = trace_text(120.0).encode()
    page.set_input_files("#drop-files", [
        {"name": "alone.csv", "mimeType": "text/csv", "buffer": content},
        {"name": "setup.exe", "mimeType": "application/octet-stream", "buffer": b"MZ" + bytes(60)},
        {"name": "day.csv", "mimeType": "text/csv",
         "buffer": b"pressure [mTorr],speed [rpm],leading face\n10,60,dark\n20,90,dark\n30,100,dark\n"},
    ])  # fmt: skip
    expect(page.locator("#dropped")).to_contain_text("120.0")
    expect(page.locator("#dropped .refused")).to_contain_text("a Windows program")
    # the rows of the table stand in the sheet, each checked
    sheet = page.locator("#sheet tbody tr")
    expect(sheet.nth(2).locator(".verdictcell")).to_contain_text("✓")
    page.click("#sheet-store")
    expect(page.locator("#sheet-state")).to_have_text("3 stored.")
    expect(page.locator('#readings tr[data-n="3"]')).to_contain_text("dark leads")
    # a pressure far outside what was measured is asked about, and stored when it is confirmed
    entry = page.locator("#dropped form")
    entry.locator("[name=pressure]").fill("9000")
    entry.get_by_role("button", name="Store").click()
    expect(entry).to_contain_text("300 times the highest so far")
    entry.locator("[name=pressure]").fill("15")
    entry.get_by_role("button", name="Store").click()
    expect(page.locator("#dropped")).to_contain_text("is stored as reading 4")
    with open_book(path) as book:
        contents = book.contents("any")
        (kept,) = [file for file in contents.files if file.path.endswith("alone.csv")]
        out = io.BytesIO()
        book.copy_file("any", kept.path, out)
    assert out.getvalue() == content
    assert [cells["pressure"] for cells in contents.cells_now()] == ["10", "20", "30", "15"]
    # cells are pasted with their titles; a bad row says why and stays
    page.locator("#sheet [name=pressure]").first.focus()
    page.evaluate("""(text) => {
        const data = new DataTransfer();
        data.setData("text/plain", text);
        const event = new ClipboardEvent("paste", { clipboardData: data, bubbles: true, cancelable: true });
        document.activeElement.dispatchEvent(event);
    }""", "speed [rpm]\tpressure [Pa]\tnote\n95\t3,5\tpasted\nfast\t4\tbad\n200\t4.05\ttwice\n")  # fmt: skip
    expect(sheet.nth(0).locator(".verdictcell")).to_contain_text("✓")
    expect(sheet.nth(1).locator(".verdictcell")).to_contain_text("not a number")
    expect(sheet.nth(2).locator(".verdictcell")).to_contain_text("were the marks counted right")
    page.reload()
    expect(sheet.nth(1).locator("[name=note]")).to_have_value("bad")  # the sheet survives, and stands open
    page.click("#sheet-store")
    expect(page.locator("#sheet-state")).to_contain_text("1 stored, 1 questioned, 1 refused")
    page.click("#sheet-store")
    expect(page.locator("#sheet-state")).to_contain_text("1 stored, 1 refused")
    with open_book(path) as book:
        assert [cells["note"] for cells in book.contents("any").cells_now()[4:]] == ["pasted", "twice"]


def test_a_folder_and_a_clip_are_dragged_onto_the_page(
    dropping: tuple[Any, Path, str], visit: Callable, drag: Callable, tmp_path: Path
) -> None:
    """All that lies in it, and a clip with its patches drawn; two gigabytes are refused before they are read."""
    pytest.importorskip("imageio_ffmpeg")
    from support.clips import ClipScene, render

    (pages, path, at), window = dropping, visit()
    day = tmp_path / "day"
    (day / "morning").mkdir(parents=True)
    (day / "one.csv").write_text(trace_text(90.0), encoding="utf-8")
    (day / "morning" / "two.csv").write_text(trace_text(144.0), encoding="utf-8")
    (day / ".hidden").write_text("x", encoding="utf-8")
    with (day / "morning" / "long.csv").open("wb") as sparse:
        sparse.truncate(2_000_000_000)
    clip = render(ClipScene(2.3), tmp_path / "turning.mp4")
    page: Page = window.page
    page.goto(pages.url + "/bench/" + at)
    drag(page, "#drop", [day, clip])
    entry = page.locator("#dropped li")
    expect(entry).to_have_count(4)
    refused = entry.filter(has_text="long.csv")
    expect(refused).to_contain_text("the file is too large (2000 MB; limit 256 MB)")
    for name, speed in (("one.csv", "90.0"), ("two.csv", "144.0"), ("turning.mp4", "138.0")):
        expect(entry.filter(has_text=name)).to_contain_text(speed)
    seen = entry.filter(has_text="turning.mp4")
    assert seen.locator("svg.clip image").get_attribute("href").startswith("data:image/png;base64,")
    assert seen.locator("svg.clip .patch").count() > 10
    x, y, width, height = (float(one) for one in seen.locator("svg.clip").get_attribute("viewBox").split())
    assert (x, y, width) == (0, 0, 160) and height == pytest.approx(120, rel=0.02)
    seen.locator("[name=pressure]").fill("12")
    seen.get_by_role("button", name="Store").click()
    expect(page.locator("#dropped")).to_contain_text("is stored as reading 1")
    expect(page.locator('#readings tr[data-n="1"]')).to_contain_text("138.0")
    with open_book(path) as book:
        (kept,) = book.contents("any").files
        out = io.BytesIO()
        book.copy_file("any", kept.path, out)
    assert out.getvalue() == clip.read_bytes()
    # the same by the camera of a phone: the button takes a video, and is there where fingers are
    camera = page.locator("#drop-clip")
    assert (camera.get_attribute("accept"), camera.get_attribute("capture")) == ("video/*", "environment")
    page.set_viewport_size({"width": 360, "height": 780})
    expect(page.get_by_text("Record a clip")).to_be_visible()
    page.set_input_files("#drop-clip", clip)
    expect(entry.filter(has_text="turning.mp4").filter(has_text="138.0")).to_have_count(1)


def test_a_name_cannot_leave_the_book(dropping: tuple[Any, Path, str]) -> None:
    pages, path, at = dropping
    name = quote("../../..\\evil\u202e/trace one.csv")
    status, told, _ = pages.ask(f"/api/files/{at}?name={name}", trace_text().encode())
    (found,) = json.loads(told)["files"]
    assert status == 200 and found["kind"] == "trace"
    body = {"drop": found["id"], "key": "k", "pressure": "10", "pressure_as": "pressure"}
    assert pages.ask(f"/api/readings/{at}", body)[0] == 200
    with open_book(path) as book:
        (kept,) = book.contents("any").files
    assert kept.path.startswith("traces/") and kept.path.endswith("trace-one.csv") and ".." not in kept.path
    assert pages.ask(f"/api/readings/{at}", body | {"key": "k2"})[0] == 400  # it was stored, and is not kept aside
