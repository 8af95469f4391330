"""Schema versions: a book is upgraded without loss, and the migrations make the present tables."""

import shutil
from pathlib import Path

import pytest
from sqlalchemy import inspect, text

import edgewind.book.migrate as migrate_module
from edgewind.book import BookError, BookSource, check_book, export_folder, import_folder, open_book, read_part
from edgewind.book.connect import address_of, begin_writing, engine_of
from edgewind.book.migrate import STEPS, VERSION_TABLE, newest, version_of
from edgewind.book.schema import CELLS, metadata
from edgewind.signals import read_experiment
from edgewind.signals.columns import TITLES


@pytest.fixture
def next_version(monkeypatch):
    """Add a version 3 with one more table to the program: ``next_version()``; its migration may fail."""

    def know(then="SELECT 1"):
        def step(connection):
            connection.execute(text("CREATE TABLE lamps (number INTEGER PRIMARY KEY)"))
            connection.execute(text(then))

        monkeypatch.setattr(migrate_module, "STEPS", {**STEPS, "v3": step})

    return know


def filled(target, bench_text):
    with open_book(target, make=True) as book:
        book.add_experiment("rotor", bench_text.encode(), ["time", "gauge [V]", "speed [rpm]"])
        book.record("rotor", {"gauge": "2.5", "speed": "7"})
        return book.contents("rotor")


def tables_of(target, fill=None):
    """Return columns, keys and indexes of every table of a database, after `fill` has written to it."""
    engine = engine_of(address_of(target), write=True, make=True, wait_s=5)
    with begin_writing(engine) as connection, connection.begin():
        if fill is not None:
            fill(connection)
        seen = inspect(connection)
        found = {
            name: [
                sorted((one["name"], str(one["type"]), one["nullable"]) for one in seen.get_columns(name)),
                seen.get_pk_constraint(name)["constrained_columns"],
                sorted((key["constrained_columns"], key["referred_columns"]) for key in seen.get_foreign_keys(name)),
                sorted(unique["column_names"] for unique in seen.get_unique_constraints(name)),
                sorted((index["name"], index["column_names"]) for index in seen.get_indexes(name)),
            ]
            for name in seen.get_table_names()
        }
    engine.dispose()
    return found


def test_migrations_make_the_tables_that_the_program_uses(new_target):
    stepped = new_target()
    open_book(stepped, make=True).close()
    found = tables_of(stepped)
    assert len(found.pop(VERSION_TABLE)) == 5
    assert found == tables_of(new_target(), metadata.create_all)
    with open_book(stepped) as book, book._engine.connect() as connection:
        assert version_of(connection) == newest() == "v2"


def test_a_reading_has_a_cell_for_every_column_title():
    assert sorted(CELLS.values()) == sorted(TITLES)


def test_an_older_book_is_upgraded_when_it_is_written(target, bench_text, next_version):
    before = filled(target, bench_text)
    next_version()
    with pytest.raises(BookError, match="of the older version 'v2'; bring it up to date with `edgewind check --up"):
        open_book(target)
    with open_book(target, write=True) as book:
        assert book.contents("rotor") == before
        book.record("rotor", {"gauge": "2.5", "speed": "8"})
    with open_book(target) as book:
        assert len(book.contents("rotor").readings) == 2


def test_a_failed_migration_leaves_the_book_unchanged(target, bench_text, next_version, monkeypatch):
    before = filled(target, bench_text)
    next_version("INSERT INTO nowhere VALUES (1)")
    with pytest.raises(BookError):
        open_book(target, write=True)
    monkeypatch.undo()
    assert check_book(target).whole
    with open_book(target, write=True) as book:
        assert book.contents("rotor") == before


def test_a_book_of_the_next_version_is_refused(target, bench_text, next_version, monkeypatch):
    filled(target, bench_text)
    next_version()
    open_book(target, write=True).close()
    monkeypatch.undo()
    with pytest.raises(BookError, match="the book is of version 'v3', this program knows v1, v2"):
        open_book(target, write=True)


# The previous version: a book and a folder made by it, stored as files


VERSION_1 = Path(__file__).parent / "version_1"


@pytest.fixture
def old_book(tmp_path):
    path = tmp_path / "lab.book"
    shutil.copy(VERSION_1 / "lab.book", path)
    return path


def all_of(path):
    with open_book(path) as book:
        return {name: book.contents(name) for name in book.experiments()}


def test_a_book_of_version_1_is_read_without_an_upgrade(old_book):
    before = old_book.read_bytes()
    found = all_of(old_book)
    assert {name: len(contents.readings) for name, contents in found.items()} == {"imported": 4, "live": 3}
    assert found["live"].cells_now()[1]["gauge"] == "3.15"
    assert len(found["live"].benches) == 2
    assert (
        found["imported"].table().encode() != (VERSION_1 / "folder" / "readings.csv").read_bytes()
    )  # one note changed
    with open_book(old_book) as book:
        assert book.older
        assert read_part(book, "live", after=1).numbers == (2, 3)
        frame = read_experiment(BookSource(book, "imported")).readings
    assert list(frame["leading_face"]) == ["not observed"] * 4
    assert frame["pressure_flag"].tolist() == ["", "", "", "under-range"]
    assert old_book.read_bytes() == before


def test_a_book_of_version_1_is_upgraded_without_loss(old_book, tmp_path, raw):
    before, rows = all_of(old_book), raw(str(old_book))("SELECT * FROM readings ORDER BY experiment, number")
    with pytest.raises(BookError, match="of the older version 'v1'; bring it up to date"):
        check_book(old_book)
    open_book(old_book, write=True).close()
    assert check_book(old_book).damage == []
    assert all_of(old_book) == before
    after = raw(str(old_book))("SELECT * FROM readings ORDER BY experiment, number")
    assert [row[:-6] for row in after] == rows  # new columns come last, and are empty
    assert {cell for row in after for cell in row[-6:]} == {None}
    with open_book(old_book, write=True) as book:
        assert export_folder(book, "live", tmp_path / "out")
        assert (tmp_path / "out" / "readings.csv").read_bytes() == (
            VERSION_1 / "exported" / "readings.csv"
        ).read_bytes()
        number = book.record("live", {"time": "2026-01-03", "gauge": "3.3", "trace": "traces/001.csv", "gas": "He",
                                      "leading face": "dark"})  # fmt: skip
        assert book.contents("live").cells_now()[number - 1]["leading face"] == "dark"
        book.correct("live", 1, "leading face", "bright", "seen on the film")
    assert check_book(old_book).damage == []


def test_folders_of_version_1_are_imported_and_exported_byte_for_byte(tmp_path):
    with open_book(tmp_path / "new.book", make=True) as book:
        for name in ("folder", "exported"):
            import_folder(book, VERSION_1 / name)
            export_folder(book, name, tmp_path / name)
            for path in (VERSION_1 / name).rglob("*"):
                if path.is_file():
                    assert (tmp_path / name / path.relative_to(VERSION_1 / name)).read_bytes() == path.read_bytes()


def test_cells_without_a_title_in_an_experiment_are_exported_and_imported(tmp_path, bench_text):
    with open_book(tmp_path / "new.book", make=True) as book:
        book.add_experiment("rotor", bench_text.encode(), ["time", "gauge [V]", "speed [rpm]"])
        book.record("rotor", {"time": "2026-01-03", "gauge": "3.3", "speed": "7"})
        book.record(
            "rotor", {"time": "2026-01-04", "gauge": "3.3", "speed": "7", "leading face": "dark", "lamp": "off"}
        )
        book.change("rotor", 2, {"lamp": "on", "leading face": ""}, "mistaken")
        book.correct("rotor", 1, "changed", "box turned", "forgotten")
        text = book.contents("rotor").table()
        export_folder(book, "rotor", tmp_path / "out")
        import_folder(book, tmp_path / "out", "again")
        assert book.contents("again").table() == text
        assert [dict(cells) for cells in book.contents("again").cells_now()] == book.contents("rotor").cells_now()
    assert text.splitlines()[0] == "time,gauge [V],speed [rpm],changed,lamp,leading face"
