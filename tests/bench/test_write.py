"""Writing to `bench.toml` leaves everything else unchanged."""

import pytest

from edgewind.bench import read_bench, write_to_bench
from edgewind.errors import InputError


@pytest.fixture
def path(tmp_path, bench_text):
    path = tmp_path / "bench.toml"
    path.write_bytes(bench_text.encode())
    return path


def names_in(folder):
    return sorted(path.name for path in folder.iterdir())


CORRECTION = {"factor": "1.05(2)", "source": "compared with the diaphragm gauge"}


def test_a_new_section_leaves_every_existing_line_unchanged(path, bench_text):
    write_to_bench(path, "gauge.correction", CORRECTION)
    lines = path.read_bytes().splitlines(keepends=True)
    kept = [line for line in bench_text.encode().splitlines(keepends=True) if line.strip()]
    rest = iter(lines)
    assert all(line in rest for line in kept), "every line of before stands there still, in its order"
    added = [line for line in lines if line.strip() and line not in kept]
    assert [line.split()[0] for line in added] == [b"[gauge.correction]", b"factor", b"source"]


def test_a_changed_value_changes_only_its_line(path, bench_text):
    write_to_bench(path, "rotor", {"arm": "21 mm"})
    before, after = bench_text.encode().splitlines(), path.read_bytes().splitlines()
    differing = [(old, new) for old, new in zip(before, after, strict=True) if old != new]
    assert differing == [
        (
            b'arm = "20.0(2) mm"   # axis to the middle of a vane',
            b'arm = "21 mm"   # axis to the middle of a vane',
        )
    ]


def test_written_values_are_read_back(path):
    write_to_bench(path, "gauge.correction", CORRECTION)
    assert read_bench(path).gauge.correction.factor == (1.05, pytest.approx(0.02))
    write_to_bench(path, "gauge.correction", {"factor": "1.10(1)"})
    correction = read_bench(path).gauge.correction
    assert (correction.factor.value, correction.source) == (1.10, "compared with the diaphragm gauge")


def test_writing_the_same_twice_changes_nothing(path):
    write_to_bench(path, "gauge.correction", CORRECTION)
    once = path.read_bytes()
    write_to_bench(path, "gauge.correction", CORRECTION)
    assert path.read_bytes() == once


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_line_endings_and_byte_order_mark_are_preserved(path, bench_text, mark):
    path.write_bytes(mark + bench_text.encode().replace(b"\n", b"\r\n"))
    write_to_bench(path, "gauge.correction", CORRECTION)
    content = path.read_bytes()
    assert content.startswith(mark + b"# An invented bench.\r\n")
    assert content.count(b"\n") == content.count(b"\r\n")
    assert read_bench(path).gauge.correction is not None


@pytest.mark.parametrize(
    ("section", "values", "said"),
    [
        ("gauge.correction", {"factor": "-1"}, "too small"),
        ("gauge.correction", {"faktor": "1.1"}, "unknown key"),
        ("rotor", {"arm": "21 mTorr"}, "not a unit of length"),
        ("lamps", {"arm": "21 mm"}, "unknown key"),
        ("rotor.arm", {"length": "21 mm"}, "is not a section"),
    ],
)
def test_an_invalid_value_is_not_written(path, section, values, said):
    before, names = path.read_bytes(), names_in(path.parent)
    with pytest.raises(InputError) as raised:
        write_to_bench(path, section, values)
    assert said in str(raised.value)
    assert path.read_bytes() == before
    assert names_in(path.parent) == names


def test_a_file_that_is_already_invalid_is_not_changed(path):
    path.write_text("[gas]\n", encoding="utf-8")
    with pytest.raises(InputError, match="this key is missing"):
        write_to_bench(path, "rotor", {"arm": "21 mm"})
    assert path.read_text(encoding="utf-8") == "[gas]\n"


def test_a_failed_write_leaves_the_file_unchanged_and_is_reported(path, bench_text, monkeypatch):
    def full(self, data):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(type(path), "write_bytes", full)
    with pytest.raises(InputError, match="cannot be written"):
        write_to_bench(path, "rotor", {"arm": "21 mm"})
    assert path.read_bytes() == bench_text.encode() and list(path.parent.iterdir()) == [path]
