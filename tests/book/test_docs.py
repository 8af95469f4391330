"""The example in docs/book.md runs and has its stated result."""

import re
from pathlib import Path

from edgewind.book import check_book, open_book
from edgewind.book.schema import metadata

PAGE = Path(__file__).parents[2] / "docs" / "book.md"


def test_the_example_of_the_page_runs(tmp_path, monkeypatch, bench_text):
    (program,) = re.findall(r"```python\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.S)
    (tmp_path / "bench.toml").write_text(bench_text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    exec(compile(program, str(PAGE), "exec"), {"raw_bytes": b"time [s],voltage [V]\n0,1\n1,2\n"})
    with open_book("lab.book") as book:
        contents = book.contents("vane-12mm")
    assert contents.table().splitlines() == [
        "time,gauge [V],trace,lamp,exclude",
        "2026-03-14T09:36:57.120,3.296,traces/001.csv,on,the door stood open",
    ]
    assert contents.readings[0].cells["gauge"] == "3.269"
    assert check_book("lab.book").whole


def test_every_table_is_described():
    page = PAGE.read_text(encoding="utf-8")
    assert all(f"`{table}`" in page for table in metadata.tables)
