"""Import and export of experiment folders lose nothing."""

import dataclasses
import filecmp
import io
import itertools
import os
import shutil
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edgewind.book import BookError, TraceFile, export_book, export_folder, import_folder, open_book
from edgewind.errors import InputError

EXAMPLE = Path(__file__).parents[2] / "examples" / "two-rotors"
NUMBERS = itertools.count()


def content_of(folder):
    """Return every file of a folder with its bytes."""
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def plain(contents):
    """Return the content of an experiment without times and row identifiers."""
    readings = [(reading.cells, reading.trace_path, reading.made_by) for reading in contents.readings]
    benches = [(bench.number, bench.content, bench.why) for bench in contents.benches]
    changes = [dataclasses.asdict(change) for change in contents.changes]
    return contents.name, readings, benches, changes, {(file.path, file.sha256) for file in contents.files}


# A typical folder: any dialect, comments, blank lines, quotes, traces named or not.

words = st.text(st.characters(exclude_characters="\x00", exclude_categories=("Cs",)), max_size=15)
numbers = st.decimals(min_value=0, max_value=999, places=3).map(lambda value: f"{value:f}")
names = st.from_regex(r"[a-z0-9 _äλ-]{1,12}", fullmatch=True).map(str.strip).filter(bool)


@st.composite
def tables(draw, traces):
    delimiter = draw(st.sampled_from([",", ";", "\t"]))
    newline = draw(st.sampled_from(["\n", "\r\n"]))
    comma = delimiter != "," and draw(st.booleans())
    number = numbers.map(lambda text: text.replace(".", ",")) if comma else numbers
    heads = ["gauge [V]", "speed [rpm]", "trace", "note", "sweep", "exclude"]
    if draw(st.booleans()):
        heads.insert(draw(st.integers(0, len(heads))), "time [s]")
    if draw(st.booleans()):
        heads.insert(draw(st.integers(1, len(heads))), "")

    def cell(text):
        if any(character in text for character in (delimiter, '"', "\n", "\r")) or draw(st.booleans()):
            return '"' + text.replace('"', '""') + '"'
        return text

    filler = st.sampled_from(["", "# a comment" + newline, newline, "#" + newline, delimiter * 3 + newline])
    lines = [draw(filler), delimiter.join(heads) + newline]
    if "#" in lines[0] and delimiter in lines[0]:
        lines[0] = ""
    for row in range(draw(st.integers(1, 6))):
        typed = draw(st.booleans()) or not traces
        values = {
            "gauge [V]": draw(number),
            "speed [rpm]": draw(number) if typed else "",
            "trace": "" if typed else draw(st.sampled_from(traces)),
            "time [s]": str(row),
        }
        cells = [values[head] if head in values else draw(words) for head in heads]
        first = cells[0].strip()
        lines += [draw(filler), delimiter.join(map(cell, [first if not first.startswith("#") else "", *cells[1:]]))]
        lines.append(newline)
    ending = draw(st.sampled_from([newline, "", newline + "# end", newline * 3]))
    return draw(st.sampled_from(["", "\ufeff"])) + "".join(lines[:-1]) + ending


@st.composite
def folders(draw):
    found = {f"traces/{name}.csv": draw(st.binary(max_size=200)) for name in draw(st.sets(names, max_size=4))}
    named = sorted(found)
    extra = {f"{name}.txt": draw(st.binary(max_size=50)) for name in draw(st.sets(names, max_size=2))}
    spelled = [draw(st.sampled_from([path, "./" + path, "traces/../" + path])) for path in named]
    return {**found, **extra, "readings.csv": draw(tables(spelled)).encode()}


@settings(max_examples=30)
@given(files=folders(), ending=st.sampled_from(["", "\n# the end"]))
def test_import_and_export_of_a_folder_keep_every_byte(two_books, bench_text, files, ending):
    book, name = two_books[0], f"rotor-{next(NUMBERS)}"
    with tempfile.TemporaryDirectory() as place:
        folder, out = Path(place) / name, Path(place) / "again"
        for path, content in {**files, "bench.toml": (bench_text + ending).encode()}.items():
            (folder / path).parent.mkdir(parents=True, exist_ok=True)
            (folder / path).write_bytes(content)
        done = import_folder(book, folder)
        assert not done.left_out
        export_folder(book, name, out)
        assert content_of(out) == content_of(folder)


@settings(max_examples=10)
@given(
    files=folders(),
    steps=st.lists(
        st.tuples(st.integers(0, 5), st.sampled_from(["note", "exclude", "sweep", "gauge", "bench"]), words)
    ),
)
def test_export_and_import_of_a_book_keep_changes_and_reasons(two_books, bench_text, files, steps):
    (book, second), name = two_books, f"rotor-{next(NUMBERS)}"
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / name
        for path, content in {**files, "bench.toml": bench_text.encode()}.items():
            (folder / path).parent.mkdir(parents=True, exist_ok=True)
            (folder / path).write_bytes(content)
        import_folder(book, folder)
        count = len(book.contents(name).readings)
        for number, (reading, cell, word) in enumerate(steps):
            if cell == "bench":
                book.revise_bench(name, f"{bench_text}# {number}\n".encode(), f"why {number}")
            else:
                value = str(number) if cell == "gauge" else word
                try:
                    book.correct(name, reading % count + 1, cell, value, f"why {number}", made_by="Ada")
                except InputError as error:
                    # a first cell that begins like a comment would be lost
                    assert "reading" in str(error) or "titles" in str(error)
        export_folder(book, name, Path(place) / "out")
        import_folder(second, Path(place) / "out", name)
        assert plain(second.contents(name)) == plain(book.contents(name))
        export_folder(second, name, Path(place) / "out2")
        assert content_of(Path(place) / "out2") == content_of(Path(place) / "out")


def test_the_example_is_exported_byte_for_byte(target, tmp_path):
    with open_book(target, make=True) as book:
        for folder in sorted(EXAMPLE.iterdir()):
            import_folder(book, folder)
        made = export_book(book, tmp_path / "out")
    for folder in made:
        assert content_of(folder) == content_of(EXAMPLE / folder.name)


def test_readings_may_be_recorded_after_an_import(book, tmp_path):
    folder = tmp_path / "mine"
    shutil.copytree(EXAMPLE / "vane-20mm", folder)
    import_folder(book, folder)
    cells = {"time": "2030-01-01", "gauge": "2", "lamp": "on"}
    number = book.record("mine", cells, TraceFile("traces/new.csv", b"time [s],v [V]\n0,1\n1,2\n"))
    assert number == 38
    export_folder(book, "mine", tmp_path / "out")
    before, after = ((place / "readings.csv").read_text() for place in (folder, tmp_path / "out"))
    assert after == before + "2030-01-01,2,traces/new.csv,on,,,,\n"


def test_hidden_files_and_links_out_of_the_folder_are_left_out_and_reported(book, tmp_path):
    folder = tmp_path / "mine"
    shutil.copytree(EXAMPLE / "vane-20mm", folder)
    (folder / ".cache").mkdir()
    (folder / ".cache" / "x").write_text("x")
    (folder / "out.txt").symlink_to("/etc/hostname")
    (folder / "again").symlink_to("traces")
    os.mkfifo(folder / "pipe")
    done = import_folder(book, folder)
    assert dict(done.left_out) == {
        ".cache": "hidden",
        "out.txt": "a link out of the folder",
        "again": "a link to a folder",
        "pipe": "not a plain file",
    }
    assert done.files == 37


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda folder: (folder / "bench.toml").write_text("[gas]\n"), "bench.toml"),
        (lambda folder: (folder / "readings.csv").write_text("gauge [V],speed [rpm]\n1,x\n"), "'x' is not a number"),
        (lambda folder: (folder / "traces" / "003.csv").unlink(), "there is no file 'traces/003.csv'"),
        (lambda folder: (folder / os.fsdecode(b"b\xff.txt")).write_text("x"), "is not a path in a folder"),
        (lambda folder: shutil.rmtree(folder), "there is no such folder"),
    ],
)
def test_a_folder_that_a_study_cannot_read_is_not_imported_at_all(book, tmp_path, spoil, said):
    folder = tmp_path / "mine"
    shutil.copytree(EXAMPLE / "vane-20mm", folder)
    spoil(folder)
    with pytest.raises(InputError) as raised:
        import_folder(book, folder)
    assert said in str(raised.value)
    assert book.experiments() == ["rotor"]


def test_an_export_overwrites_nothing_and_is_complete_or_absent(book, tmp_path, raw, target):
    book.record("rotor", {"gauge": "2"}, TraceFile("traces/1.csv", b"x"))
    (tmp_path / "there").mkdir()
    (tmp_path / "there" / "mine").write_text("x")
    with pytest.raises(BookError, match="this path already exists"):
        export_folder(book, "rotor", tmp_path / "there")
    with pytest.raises(BookError, match="its parent folder does not exist"):
        export_folder(book, "rotor", tmp_path / "no" / "folder")
    run = raw(target)
    for name in ("pieces_no_update", "pieces_append_only ON pieces"):
        if ("ON" in name) == ("://" in target):
            run(f"DROP TRIGGER {name}")
    run("UPDATE pieces SET content = '\\x79'" if "://" in target else "UPDATE pieces SET content = X'79'")
    with pytest.raises(BookError, match=r"'traces/1\.csv' is damaged"):
        export_folder(book, "rotor", tmp_path / "out")
    assert sorted(path.name for path in tmp_path.iterdir() if path.suffix != ".book") == ["there"]


def test_a_history_that_does_not_fit_its_table_is_refused(book, tmp_path):
    book.record("rotor", {"gauge": "2", "speed": "1"})
    book.correct("rotor", 1, "speed", "3", "slip")
    folder = export_folder(book, "rotor", tmp_path / "out")
    assert filecmp.dircmp(folder, folder).left_list == ["bench.toml", "history", "readings.csv"]
    table = folder / "readings.csv"
    table.write_text(table.read_text().replace(",3,", ",4,"))
    with pytest.raises(InputError, match="where the history left '3'"):
        import_folder(book, folder, "again")
    (folder / "history" / "changes.csv").write_text("mine")
    with pytest.raises(InputError, match="not a history that Edgewind wrote"):
        import_folder(book, folder, "again")
    stream = io.BytesIO()
    with pytest.raises(BookError, match="holds no file 'none'"):
        book.copy_file("rotor", "none", stream)
