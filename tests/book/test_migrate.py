"""Schema versions: a book grows into the next one with nothing lost, and today's steps make today's tables."""

from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext

import edgewind.book.book as book_module
from edgewind.book import BookError, check_book, open_book
from edgewind.book.connect import address_of, begin_writing, engine_of
from edgewind.book.migrate import STEPS, VERSION_TABLE, check_version, migrate, newest, steps, version_of
from edgewind.book.schema import CELLS, metadata
from edgewind.signals.readings import TITLES

NEXT = '''
"""Version 2, as it might come: a table more."""
import sqlalchemy as sa
from alembic import op

revision, down_revision, branch_labels, depends_on = "v2", "v1", None, None


def upgrade():
    op.create_table("lamps", sa.Column("number", sa.Integer(), primary_key=True))
    {then}
'''


@pytest.fixture
def next_version(tmp_path, monkeypatch):
    """Let the program know a version 2: ``next_version(then)``."""

    def know(then="pass"):
        place = tmp_path / "next"
        place.mkdir(exist_ok=True)
        (place / "v2.py").write_text(NEXT.format(then=then))
        script = steps((STEPS, place))
        monkeypatch.setattr(book_module, "check_version", lambda c, label: check_version(c, label, script))
        monkeypatch.setattr(book_module, "migrate", lambda c: migrate(c, script))
        return script

    return know


def filled(target, bench_text):
    with open_book(target, make=True) as book:
        book.add_experiment("rotor", bench_text.encode(), ["time", "gauge [V]", "speed [rpm]"])
        book.record("rotor", {"gauge": "2.5", "speed": "7"})
        return book.contents("rotor")


def test_the_steps_make_the_tables_that_the_program_uses(target):
    open_book(target, make=True).close()
    engine = engine_of(address_of(target), write=True, make=False, wait_s=5)
    with begin_writing(engine) as connection, connection.begin():
        context = MigrationContext.configure(connection, opts={"version_table": VERSION_TABLE})
        assert compare_metadata(context, metadata) == []
        assert version_of(connection) == newest() == "v1"
    engine.dispose()


def test_a_reading_has_a_cell_for_every_title_of_the_table():
    assert sorted(CELLS.values()) == sorted(TITLES)


def test_an_older_book_is_brought_up_to_date_when_it_is_written(target, bench_text, next_version):
    before = filled(target, bench_text)
    next_version()
    with pytest.raises(BookError, match="of the older version 'v1'; bring it up to date with `edgewind check --up"):
        open_book(target)
    with open_book(target, write=True) as book:
        assert book.contents("rotor") == before
        book.record("rotor", {"gauge": "2.5", "speed": "8"})
    with open_book(target) as book:
        assert len(book.contents("rotor").readings) == 2


def test_a_step_that_fails_leaves_the_book_as_it_was(target, bench_text, next_version, monkeypatch):
    before = filled(target, bench_text)
    next_version("op.execute('INSERT INTO nowhere VALUES (1)')")
    with pytest.raises(BookError):
        open_book(target, write=True)
    monkeypatch.undo()
    assert check_book(target).whole
    with open_book(target, write=True) as book:
        assert book.contents("rotor") == before


def test_a_program_of_today_refuses_the_next_version(target, bench_text, next_version, monkeypatch):
    filled(target, bench_text)
    next_version()
    open_book(target, write=True).close()
    monkeypatch.undo()
    with pytest.raises(BookError, match="the book is of version 'v2', this program knows v1"):
        open_book(target, write=True)


def test_steps_are_shipped_with_the_package():
    assert sorted(path.name for path in Path(STEPS).glob("v*.py")) == ["v1_first.py"]
