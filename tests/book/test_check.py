"""`edgewind check` names damage, and reports none in an undamaged book."""

import io
import random
import shutil
import sqlite3

import psycopg
import pytest

from edgewind.book import BookError, TraceFile, check_book, open_book
from edgewind.book.schema import metadata


def fill(target, bench_text, readings=4, size=20_000):
    chance = random.Random(1)
    with open_book(target, make=True) as book:
        book.add_experiment("rotor", bench_text.encode(), ["time [s]", "gauge [V]", "trace", "note"])
        for number in range(readings):
            trace = TraceFile(f"traces/{number}.bin", chance.randbytes(size))
            book.record("rotor", {"time": str(number), "gauge": "2.5", "note": "as it is"}, trace)
        book.exclude("rotor", 1, "the door stood open")


def everything(target):
    with open_book(target) as book:
        contents = book.contents("rotor")
        files = []
        for kept in contents.files:
            stream = io.BytesIO()
            book.copy_file("rotor", kept.path, stream)
            files.append(stream.getvalue())
        return contents, files


def test_an_undamaged_book_is_reported_as_undamaged(target, bench_text):
    fill(target, bench_text)
    health = check_book(target)
    assert health.whole and health.damage == []
    assert (health.experiments, health.readings, health.files, health.bytes) == (1, 4, 4, 80_000)


@pytest.mark.parametrize(
    ("table", "change", "said"),
    [
        ("readings", "gauge = '2.6' WHERE number = 2", "reading 2"),
        ("readings", "note = 'as it was' WHERE number = 3", "reading 3"),
        ("changes", "why = 'no reason'", "change 1"),
        ("files", "sha256 = 'x'", "file 1"),
        ("benches", "why = 'x'", "bench 1"),
        ("columns", "unit = 'mV' WHERE number = 2", "column 2"),
        ("experiments", "titles = 'x'", "experiment"),
        ("pieces", "content = 'y' WHERE file = 3", "'traces/2.bin' of 'rotor'"),
    ],
)
def test_one_altered_cell_is_found_and_named(target, bench_text, raw, table, change, said):
    fill(target, bench_text, size=50)
    run = raw(target)
    lite = "://" not in target
    run(f"DROP TRIGGER {table}_no_update" if lite else f"DROP TRIGGER {table}_append_only ON {table}")
    run(f"UPDATE {table} SET {change}")
    found = [f"{damage.where}: {damage.what}" for damage in check_book(target).damage]
    assert any(line.startswith(said) for line in found), found
    assert any("is missing: rows are no longer protected against changes" in line for line in found)
    if table not in ("pieces",):
        with pytest.raises(BookError), open_book(target) as book:
            book.contents("rotor").table()


@pytest.mark.parametrize("table", ["readings", "files", "changes", "pieces"])
def test_a_deleted_row_is_found(target, bench_text, raw, table):
    fill(target, bench_text, size=50)
    run = raw(target)
    lite = "://" not in target
    for each in metadata.tables:
        run(f"DROP TRIGGER {each}_no_delete" if lite else f"DROP TRIGGER {each}_append_only ON {each}")
    run("PRAGMA foreign_keys = OFF" if lite else "SET session_replication_role = replica")
    key = "file" if table == "pieces" else "number"
    run(f"DELETE FROM {table} WHERE {key} = {1 if table != 'readings' else 2}")
    found = [damage for damage in check_book(target).damage if "is missing: rows" not in damage.what]
    if table == "changes":  # the only one: no row refers to it
        assert not found
    else:
        assert found


def test_flipped_bytes_are_found_or_harmless(tmp_path, bench_text):
    """Any byte of the file: either the check finds the damage, or all recorded data are unchanged."""
    whole = tmp_path / "whole.book"
    fill(whole, bench_text, readings=3, size=3000)
    right, data = everything(whole), whole.read_bytes()
    chance, found, spoilt = random.Random(7), 0, tmp_path / "spoilt.book"
    places = [*range(0, 100, 18), *(chance.randrange(len(data)) for _ in range(25))]
    for place in places:
        changed = bytearray(data)
        changed[place] ^= 1 << chance.randrange(8)
        for rest in tmp_path.glob("spoilt.book*"):
            rest.unlink()
        spoilt.write_bytes(changed)
        try:
            damaged = not check_book(spoilt).whole
        except BookError:
            damaged = True
        found += damaged
        if not damaged:
            assert everything(spoilt) == right, f"byte {place} went unnoticed"
    assert found > len(places) / 5


def test_flipped_bytes_of_a_trace_are_named(tmp_path, bench_text):
    path = tmp_path / "lab.book"
    fill(path, bench_text)
    _, files = everything(path)
    data = bytearray(path.read_bytes())
    # the middle of the trace lies in overflow pages of its own, four bytes of link in front of each
    place = data.index(files[2][10_000:10_050])
    data[place] ^= 0x40
    path.write_bytes(data)
    found = {damage.where: damage.what for damage in check_book(path).damage}
    assert found["'traces/2.bin' of 'rotor'"] == "its bytes differ from those that were stored"
    assert any(where.startswith("piece 1 of file 3") for where in found)
    with pytest.raises(BookError, match=r"'traces/2\.bin' is damaged"):
        everything(path)


def test_flipped_bytes_in_the_files_of_a_server_are_named(server, bench_text):
    target = server.fresh_url()
    fill(target, bench_text)
    contents, files = everything(target)
    assert contents.files
    with psycopg.connect(target, autocommit=True) as connection:
        query = "SELECT pg_relation_filepath(reltoastrelid) FROM pg_class WHERE oid = 'pieces'::regclass"
        path = server.place / "data" / str(connection.execute(query).fetchone()[0])
    with server.connect() as connection:
        connection.execute("CHECKPOINT")
    server.stop()
    try:
        needle = files[1][500:540]
        data = bytearray(path.read_bytes())
        data[data.index(needle) + 5] ^= 1
        path.write_bytes(data)
    finally:
        server.start()
    found = {damage.where: damage.what for damage in check_book(target).damage}
    assert found["'traces/1.bin' of 'rotor'"] == "its bytes differ from those that were stored"


def test_a_truncated_file_is_found(tmp_path, bench_text):
    path = tmp_path / "lab.book"
    fill(path, bench_text)
    data = path.read_bytes()
    for keep in (len(data) - 4096, len(data) // 2, 5000):
        cut = tmp_path / f"cut-{keep}.book"
        cut.write_bytes(data[:keep])
        try:
            assert not check_book(cut).whole
        except BookError as error:
            assert "damaged" in str(error)


def test_a_removed_constraint_or_an_added_table_is_found(tmp_path, bench_text):
    path = tmp_path / "lab.book"
    fill(path, bench_text)
    connection = sqlite3.connect(path)
    connection.execute("DROP TRIGGER readings_no_update")
    connection.execute("CREATE TABLE mine (x)")
    connection.commit()
    connection.close()
    found = {damage.where: damage.what for damage in check_book(path).damage}
    assert found["trigger readings_no_update"].startswith("is missing")
    assert found["table mine"] == "is not part of a lab book"


def test_a_copy_of_the_file_is_a_valid_book(tmp_path, bench_text):
    fill(tmp_path / "lab.book", bench_text)
    shutil.copy(tmp_path / "lab.book", tmp_path / "copy.book")
    assert everything(tmp_path / "copy.book") == everything(tmp_path / "lab.book")
    assert [path.name for path in sorted(tmp_path.iterdir())] == ["copy.book", "lab.book"]
