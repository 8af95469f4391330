"""Readings are added, corrected by further rows, and never altered; the same in SQLite and in PostgreSQL."""

import io
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from edgewind.book import BookError, TraceFile, check_book, open_book
from edgewind.book.schema import metadata
from edgewind.errors import InputError

CELLS = {"time": "2026-03-14 09:00:00", "gauge": "2.50", "lamp": "on"}


def bytes_of(book, path):
    stream = io.BytesIO()
    book.copy_file("rotor", path, stream)
    return stream.getvalue()


def test_a_reading_and_its_trace_are_read_back_as_written(book):
    content = bytes(range(256)) * 9000  # over two pieces
    assert book.record("rotor", CELLS, TraceFile("traces/1.csv", content)) == 1
    contents = book.contents("rotor")
    (reading,) = contents.readings
    assert {name: cell for name, cell in reading.cells.items() if cell} == {**CELLS, "trace": "traces/1.csv"}
    assert reading.trace_path == "traces/1.csv"
    assert bytes_of(book, "traces/1.csv") == content
    assert contents.sheet.columns[1] == ("gauge", "V")


def test_a_trace_may_be_stored_from_a_file(book, tmp_path):
    (tmp_path / "scope.bin").write_bytes(b"\x00\xff" * 700_000)
    book.record("rotor", CELLS, TraceFile("traces/1.bin", tmp_path / "scope.bin"))
    assert bytes_of(book, "traces/1.bin") == (tmp_path / "scope.bin").read_bytes()


def test_a_reading_and_its_trace_are_stored_together_or_not_at_all(book):
    book.record("rotor", CELLS, TraceFile("traces/1.csv", b"x"))
    with pytest.raises(BookError, match=r"'traces/1\.csv' is already in the book"):
        book.record("rotor", {**CELLS, "time": "2026-03-14 09:00:01"}, TraceFile("traces/1.csv", b"y"))
    missing = TraceFile("traces/2.csv", Path("/nowhere/at/all"))
    with pytest.raises(BookError, match="cannot be written or read"):
        book.record("rotor", {**CELLS, "time": "2026-03-14 09:00:02"}, missing)
    contents = book.contents("rotor")
    assert (len(contents.readings), len(contents.files)) == (1, 1)


def test_a_repeated_call_with_the_same_key_is_stored_once(book):
    trace = TraceFile("traces/1.csv", b"x")
    assert book.record("rotor", CELLS, trace, key="mine") == book.record("rotor", CELLS, trace, key="mine") == 1
    with pytest.raises(BookError, match="another reading has the key"):
        book.record("rotor", {**CELLS, "gauge": "2.51"}, trace, key="mine")
    assert len(book.contents("rotor").readings) == 1


def test_corrections_are_new_rows_with_the_old_value_and_a_reason(book):
    book.record("rotor", {**CELLS, "speed": "70"})
    book.correct("rotor", 1, "speed", "7.0", "slip of the decimal point", made_by="Ada")
    contents = book.contents("rotor")
    assert contents.readings[0].cells["speed"] == "70"
    (change,) = contents.changes
    assert (change.reading, change.cell, change.before, change.after) == (1, "speed", "70", "7.0")
    assert (change.why, change.made_by) == ("slip of the decimal point", "Ada")
    assert ",7.0," in contents.table() and "70" not in contents.table()


def test_an_exclusion_and_its_withdrawal_both_stay_in_the_history(book):
    book.record("rotor", {**CELLS, "speed": "7"})
    before = book.contents("rotor").table()
    book.exclude("rotor", 1, "the door stood open")
    assert book.contents("rotor").table() == before.replace("note\n", "note,exclude\n").replace(
        "on,\n", "on,,the door stood open\n"
    )
    book.reinstate("rotor", 1, "it was the other door")
    contents = book.contents("rotor")
    assert contents.table() == before
    assert [change.why for change in contents.changes] == ["the door stood open", "it was the other door"]


def test_a_typed_speed_may_replace_a_trace(book):
    book.record("rotor", CELLS, TraceFile("traces/1.csv", b"x"))
    book.change("rotor", 1, {"trace": "", "speed": "12"}, "the trace is of the other rotor")
    assert book.contents("rotor").cells_now()[0]["speed"] == "12"
    book.change("rotor", 1, {"trace": "traces/2.csv", "speed": ""}, "found", TraceFile("traces/2.csv", b"y"))
    assert book.contents("rotor").traces_now()["traces/2.csv"] == "traces/2.csv"


def test_a_new_bench_description_keeps_the_earlier_version(book, bench_text):
    changed = bench_text.replace("12 mm", "13 mm").encode()
    assert book.revise_bench("rotor", changed, "measured again") == 2
    contents = book.contents("rotor")
    assert contents.bench == changed
    assert [version.content for version in contents.benches] == [bench_text.encode(), changed]


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        ({"gauge": "2,5"}, "'2,5' is not a number"),
        ({"gauge": "nan"}, "'nan' is not a number"),
        ({"time": "yesterday"}, "'yesterday' is not a time"),
        ({"lamp": "dim"}, "does not say whether the lamp was on"),
        ({"gauge": ""}, "the reading has no pressure"),
        ({"speed": ""}, "the reading has no speed"),
        ({"pressure": "3"}, "the table has no 'pressure'"),
        ({"note": "a\x00b"}, "contains NUL or invalid Unicode"),
        ({"note": "\ud800"}, "contains NUL or invalid Unicode"),
        ({"trace": "traces/9.csv", "speed": ""}, "no trace 'traces/9.csv' is kept"),
        ({"time": "2026-03-14 08:00:00"}, "already exists"),
    ],
)
def test_a_reading_that_a_study_cannot_read_is_refused_and_not_stored(book, cells, said):
    book.record("rotor", {**CELLS, "time": "2026-03-14 08:00:00", "speed": "1"})
    with pytest.raises(InputError) as raised:
        book.record("rotor", {**CELLS, "speed": "7", **cells})
    assert said in str(raised.value)
    assert len(book.contents("rotor").readings) == 1


@pytest.mark.parametrize("path", ["../x", "/x", "a/../b", "", "a//b", "bench.toml", "history/changes.csv", "a\nb", "."])
def test_paths_outside_the_experiment_folder_are_refused(book, path):
    with pytest.raises(InputError):
        book.record("rotor", CELLS, TraceFile(path, b"x"))


def test_a_correction_needs_a_reason_an_existing_reading_and_a_valid_result(book):
    book.record("rotor", {**CELLS, "speed": "7"})
    for arguments, said in (
        ((1, "speed", "8", " "), "no reason is given"),
        ((2, "speed", "8", "why"), "has no reading 2"),
        ((1, "sped", "8", "why"), "has no 'sped'"),
        ((1, "speed", "fast", "why"), "'fast' is not a number"),
    ):
        with pytest.raises(InputError) as raised:
            book.correct("rotor", *arguments)
        assert said in str(raised.value)
    assert not book.contents("rotor").changes


def test_times_are_compared_after_corrections(book):
    book.record("rotor", {**CELLS, "speed": "7"})
    book.correct("rotor", 1, "time", "2026-03-14 09:00:07", "clock was slow")
    book.record("rotor", {**CELLS, "speed": "8"})
    with pytest.raises(InputError, match="already exists"):
        book.record("rotor", {**CELLS, "speed": "8", "time": "2026-03-14 09:00:07"})


def test_rows_cannot_be_altered_by_another_program(book, target, raw):
    book.record("rotor", CELLS, TraceFile("traces/1.csv", b"x"))
    book.exclude("rotor", 1, "reason")
    run = raw(target)
    for table in metadata.tables:
        column = "name" if table == "experiments" else "experiment"
        statements = [f"DELETE FROM {table}", f"UPDATE {table} SET {column} = {column}"]
        if "://" in target:
            replace = f"INSERT INTO {table} SELECT * FROM {table} LIMIT 1 ON CONFLICT DO NOTHING"
            statements += [f"TRUNCATE {table} CASCADE", "SET session_replication_role = replica"]
            run(replace)
        else:
            statements += [
                f"INSERT OR REPLACE INTO {table} SELECT * FROM {table} LIMIT 1",
                f"REPLACE INTO {table} SELECT * FROM {table} LIMIT 1",
            ]
        for statement in statements:
            if statement.startswith("SET"):
                run(statement)
                with pytest.raises(Exception, match="append-only"):
                    run(f"DELETE FROM {table}")
                continue
            with pytest.raises(Exception, match=r"append-only|UNIQUE constraint failed"):
                run(statement)
    assert check_book(target).whole


def test_each_experiment_of_a_book_numbers_its_readings_itself(book, bench_text):
    book.add_experiment("other", bench_text.encode(), ["pressure [mTorr]", "speed [rpm]"])
    assert book.record("other", {"pressure": "7", "speed": "1"}) == 1
    assert book.record("rotor", {**CELLS, "speed": "1"}) == 1
    assert book.experiments() == ["other", "rotor"]
    with pytest.raises(BookError, match="there is an experiment 'other' already"):
        book.add_experiment("other", bench_text.encode())
    with pytest.raises(BookError, match="no experiment 'none'; it holds other, rotor"):
        book.record("none", CELLS)
    for name in ("", ".hidden", "a/b", "a\nb", " a", "x" * 300):
        with pytest.raises(BookError):
            book.add_experiment(name, bench_text.encode())


def test_a_book_opened_for_reading_refuses_writes(book, target):
    with open_book(target) as other, pytest.raises(BookError, match="opened for reading"):
        other.record("rotor", CELLS)


def test_a_stored_file_is_never_altered(book, target):
    plan = TraceFile("sweeps/a/plan.json", b"{}")
    assert book.keep_file("rotor", plan) is True
    assert book.keep_file("rotor", plan) is False  # an identical file is stored once
    with pytest.raises(BookError, match=r"a file 'sweeps/a/plan\.json' is already in the book"):
        book.keep_file("rotor", TraceFile("sweeps/a/plan.json", b"{ }"))
    assert [kept.path for kept in book.contents("rotor").files] == ["sweeps/a/plan.json"]
    assert check_book(target).whole


def test_an_experiment_is_the_same_through_a_path_and_a_url(book, target, new_target, bench_text, tmp_path):
    """A recorder and the pages may name the book differently; a copy, or an experiment of the same name, is another."""
    mine = book.identity("rotor")
    if "://" in target:
        others = [target.replace("postgresql://", "postgresql+psycopg://"), target + "&connect_timeout=5"]
    else:
        link = tmp_path / "link.book"
        link.symlink_to(target)
        others = [str(link)]
    for other in others:
        with open_book(other) as opened:
            assert opened.identity("rotor") == mine
    with open_book(new_target(), make=True) as opened:
        opened.add_experiment("rotor", bench_text.encode(), ["time", "gauge [V]", "speed [rpm]"])
        assert opened.identity("rotor") != mine
    if "://" not in target:
        with closing(sqlite3.connect(target)) as here, closing(sqlite3.connect(tmp_path / "copy.book")) as there:
            here.backup(there)
        with open_book(tmp_path / "copy.book") as opened:
            assert opened.identity("rotor") != mine
    with pytest.raises(BookError, match="there is no experiment"):
        book.identity("another")


def test_write_permission_is_determined_without_writing(book, target):
    before = book.contents("rotor")
    book.must_be_writable()
    assert book.contents("rotor") == before
