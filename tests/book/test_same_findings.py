"""A study finds the same in a book as in the folder that it came from."""

import json
import shutil
from pathlib import Path

import pandas as pd
import pytest

from edgewind.book import BookError, TraceFile, import_folder, open_book, sources
from edgewind.errors import InputError
from edgewind.signals import read_experiment
from edgewind.signals.recent import Recent
from edgewind.study import run_study

EXAMPLE = Path(__file__).parents[2] / "examples" / "two-rotors"


@pytest.fixture(autouse=True)
def nothing_kept(monkeypatch):
    """Disable the cache of measured traces, so that book and folder are measured separately."""
    monkeypatch.setattr("edgewind.signals.experiment._MEASURED", Recent(most=0))
    monkeypatch.setattr("edgewind.evidence.coastdown._FOUND", Recent(most=0))


def test_an_experiment_is_the_same_from_book_and_folder(target):
    folder = EXAMPLE / "vane-12mm"
    with open_book(target, make=True) as book:
        import_folder(book, folder)
        (source,) = sources(book)
        one, other = read_experiment(source), read_experiment(folder)
    pd.testing.assert_frame_equal(one.readings, other.readings, check_exact=True)
    assert one.inputs == other.inputs
    assert one.name == other.name
    assert one.bench == other.bench
    assert list(one.traces) == list(other.traces)
    # a missing speed is nan, which does not equal itself: compared as text with all digits
    assert [repr(reading.speed) for reading in one.traces.values()] == [
        repr(reading.speed) for reading in other.traces.values()
    ]


def test_a_study_of_a_book_gives_the_summary_of_the_folder(tmp_path):
    for folder in EXAMPLE.iterdir():
        shutil.copytree(folder, tmp_path / "few" / folder.name)
        table = tmp_path / "few" / folder.name / "readings.csv"
        table.write_text("".join(table.read_text().splitlines(keepends=True)[:16]))
    with open_book(tmp_path / "lab.book", make=True) as book:
        for folder in sorted((tmp_path / "few").iterdir()):
            import_folder(book, folder)
    one, other = run_study(tmp_path / "lab.book"), run_study(tmp_path / "few")
    assert json.dumps(one.summary) == json.dumps(other.summary)


def test_messages_name_the_book_the_experiment_and_the_file(target, tmp_path, bench_text):
    with open_book(target, make=True) as book:
        book.add_experiment("rotor", bench_text.encode(), ["gauge [V]", "trace"])
        label = book.label
        with pytest.raises(InputError, match="it holds no reading yet"):
            read_experiment(sources(book)[0])
        book.record("rotor", {"gauge": "2"}, TraceFile("traces/1.csv", b"not a trace"))
        with pytest.raises(InputError) as raised:
            read_experiment(sources(book)[0])
        assert str(raised.value).startswith(f"{label} (rotor): traces/1.csv: ") or raised.value.line == 1
        assert raised.value.file == f"{label} (rotor): traces/1.csv"
        book.exclude("rotor", 1, "recorder failed")
        frame = read_experiment(sources(book)[0]).readings
        assert frame["why_not"][0] == "excluded: recorder failed"


def test_a_study_of_a_file_that_is_not_a_book_is_refused(tmp_path):
    (tmp_path / "a.txt").write_text("x")
    with pytest.raises(InputError, match="this is a file, and no lab book"):
        run_study(tmp_path / "a.txt")
    open_book(tmp_path / "empty.book", make=True).close()
    with pytest.raises(InputError, match="the book holds no experiment yet"):
        run_study(tmp_path / "empty.book")
    with pytest.raises(BookError, match="of the kind 'mysql'"):
        run_study("mysql://a:b@c/d")


def test_damage_of_a_trace_is_found_although_its_result_is_cached(tmp_path, raw, monkeypatch):
    monkeypatch.setattr("edgewind.signals.experiment._MEASURED", Recent(most=1_000_000))
    folder = shutil.copytree(EXAMPLE / "vane-12mm", tmp_path / "one")
    table = folder / "readings.csv"
    table.write_text("".join(table.read_text().splitlines(keepends=True)[:6]))
    path = tmp_path / "lab.book"
    with open_book(path, make=True) as book:
        import_folder(book, folder)
        assert read_experiment(sources(book)[0]).traces
        run = raw(str(path))
        run("DROP TRIGGER pieces_no_update")
        run("UPDATE pieces SET content = X'79'")
        with pytest.raises(BookError, match=r"is damaged"):
            read_experiment(sources(book)[0])
