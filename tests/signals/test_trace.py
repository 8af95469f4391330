"""The tolerant reader: exports of oscilloscopes and loggers are read back unchanged; no input causes a traceback."""

from __future__ import annotations

import gzip
import io
import struct
import zipfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from edgewind.errors import InputError
from edgewind.signals.trace import SUFFIXES, read_trace

RELAXED = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def write(folder: Path, name: str, content: str | bytes) -> Path:
    path = folder / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def wav(samples: bytes, *, kind: int = 1, channels: int = 1, rate: int = 1000, bits: int = 16) -> bytes:
    frame = channels * bits // 8
    layout = struct.pack("<HHIIHH", kind, channels, rate, rate * frame, frame, bits)
    body = b"WAVEfmt " + struct.pack("<I", 16) + layout + b"data" + struct.pack("<I", len(samples)) + samples
    return b"RIFF" + struct.pack("<I", len(body)) + body


@st.composite
def dialects(draw: st.DrawFn) -> tuple[str, str, list[float]]:
    """A file of numbers in some dialect: its text, its suffix, and the volts in it."""
    separator, decimal = draw(
        st.sampled_from([(";", "."), (";", ","), (",", "."), ("\t", "."), ("\t", ","), ("  ", "."), (" ", ",")])
    )
    volts = draw(st.lists(st.integers(-20_000, 20_000).map(lambda n: n / 1000), min_size=2, max_size=30))
    header = draw(
        st.sampled_from(
            [
                [],
                ["Recorder 7, serial 12", ""],
                ["# made by hand", "Date: 2024-05-01", "Offset;0"],
                ["Model Number,XY-1", "Vertical Scale,0.5", 'Note,"a, b"'],
            ]
        )
    )
    end = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    trailing = separator if separator.strip() and draw(st.booleans()) else ""
    named = draw(st.sampled_from(["brackets", "row", "suffix"]))
    names = {
        "brackets": [f"Time (ms){separator}CH1 (mV)"],
        "row": [f"Time{separator}CH1", f"ms{separator}mV"],
        "suffix": [f"time_ms{separator}CH1_mV"],
    }[named]
    if not separator.strip() and named == "brackets":
        names = [f"Time(ms){separator}CH1(mV)"]
    rows = [
        f"{i * 0.25:.2f}".replace(".", decimal) + separator + f"{volt * 1000:.3f}".replace(".", decimal) + trailing
        for i, volt in enumerate(volts)
    ]
    blank = [""] if draw(st.booleans()) else []
    text = end.join([*header, *names, *rows, *blank]) + end
    return text, draw(st.sampled_from([".csv", ".txt", ".dat", ".csv.gz"])), volts


@RELAXED
@given(dialect=dialects(), encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]))
def test_every_dialect_is_read_back_unchanged(
    tmp_path: Path, dialect: tuple[str, str, list[float]], encoding: str
) -> None:
    text, suffix, volts = dialect
    content = text.encode(encoding)
    path = write(tmp_path, f"trace{suffix}", gzip.compress(content) if suffix.endswith(".gz") else content)
    trace = read_trace(path)
    assert trace.voltage_v == pytest.approx(volts)
    assert trace.interval_s == pytest.approx(0.25e-3)
    assert trace.channel == "CH1"


@RELAXED
@given(content=st.binary(max_size=300), suffix=st.sampled_from(SUFFIXES))
def test_any_bytes_give_a_trace_or_an_input_error(tmp_path: Path, content: bytes, suffix: str) -> None:
    path = write(tmp_path, f"junk{suffix}", content)
    try:
        trace = read_trace(path)
    except InputError as error:
        assert str(path) in str(error)
    else:
        assert np.all(np.isfinite(trace.voltage_v)) and trace.interval_s > 0


LINES = st.sampled_from(
    [
        "time,v",
        "s,V",
        "0,1",
        "0.1,2",
        "0.2,3",
        "0.1,2",
        "nan,1",
        ",",
        "",
        "#",
        "0.3,1e999",
        "1",
        "a,b,c",
        "1;2",
        "0,1,2",
    ]
) | st.text(alphabet="0123456789.,;eE+-\t \"'#VSsm=:\x00ß", max_size=20)


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(lines=st.lists(LINES, max_size=12), end=st.sampled_from(["\n", "\r\n", "\r"]))
def test_any_nearly_valid_text_gives_a_trace_or_an_input_error(tmp_path: Path, lines: list[str], end: str) -> None:
    path = write(tmp_path, "near.csv", end.join(lines))
    try:
        trace = read_trace(path)
    except InputError as error:
        assert str(path) in str(error)
    else:
        assert np.all(np.isfinite(trace.voltage_v)) and np.isfinite(trace.interval_s) and trace.interval_s > 0


@RELAXED
@given(content=st.binary(max_size=200), cut=st.integers(0, 400), place=st.integers(0, 400), byte=st.integers(0, 255))
def test_any_damaged_archive_or_sound_gives_a_trace_or_an_input_error(
    tmp_path: Path, content: bytes, cut: int, place: int, byte: int
) -> None:
    buffer = io.BytesIO()
    np.savez_compressed(buffer, time_s=np.arange(9) * 0.1, voltage_v=np.arange(9.0))
    for name, whole in (("a.npz", buffer.getvalue()), ("a.wav", wav(content)), ("a.csv.gz", gzip.compress(content))):
        damaged = bytearray(whole[: max(1, len(whole) - cut // 4)])
        damaged[place % len(damaged)] = byte
        try:
            read_trace(write(tmp_path, name, bytes(damaged)), interval_s=0.1)
        except InputError as error:
            assert name in str(error)


@pytest.mark.parametrize(
    ("line", "interval"),
    [
        ("Sample Interval,1.0e-3 s", 1e-3),
        ("Sample interval: 2 ms", 2e-3),
        ("Sample Interval [us]\t250", 250e-6),
        ("Sampling period = 0,5 ms", 0.5e-3),
        ("Sampling Rate: 2.5 kHz", 0.4e-3),
        ("sample rate;10 kS/s", 1e-4),
        ("fs=1000", 1e-3),
        ("dt = 4e-4", 4e-4),
        ("Sample_Rate,1.0 MSa/s", 1e-6),
    ],
)
def test_sample_interval_of_a_header_line_is_used(tmp_path: Path, line: str, interval: float) -> None:
    path = write(tmp_path, "header.txt", f"{line}\nCH1\nV\n1.5\n2.5\n3.5\n")
    trace = read_trace(path)
    assert trace.interval_s == pytest.approx(interval)
    assert trace.voltage_v.tolist() == [1.5, 2.5, 3.5]


def test_channel_is_chosen_by_name_or_number_and_the_first_is_noted(tmp_path: Path) -> None:
    path = write(tmp_path, "two.csv", "Time (s),Lamp (V),Tach (mV)\n0,1,10\n1,2,20\n2,3,30\n")
    assert read_trace(path, channel="tach").voltage_v.tolist() == pytest.approx([0.01, 0.02, 0.03])
    assert read_trace(path, channel=2).voltage_v.tolist() == pytest.approx([0.01, 0.02, 0.03])
    assert any("the first is used" in note for note in read_trace(path).notes)
    with pytest.raises(InputError, match=r"no channel 'lmp'; choose one of Lamp, Tach"):
        read_trace(path, channel="lmp")


def test_metadata_beside_the_numbers_is_not_read_as_a_column(tmp_path: Path) -> None:
    rows = ["Record Length,8,,0.000,0.10,", "Sample Interval,1e-3,,0.001,0.20,", "Probe,10,,0.002,0.30,"]
    rows += [f",,,{i / 1000:.3f},0.{i}0," for i in range(3, 9)]
    trace = read_trace(write(tmp_path, "side.csv", "\n".join(rows)))
    assert trace.voltage_v.tolist() == pytest.approx([0.1, 0.2, 0.3, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8])
    assert trace.interval_s == pytest.approx(1e-3)


def test_a_repeated_header_block_is_skipped_with_a_note(tmp_path: Path) -> None:
    path = write(tmp_path, "again.csv", "time_s,v\n0,1\n1,2\ntime_s,v\n2,3\n")
    trace = read_trace(path)
    assert trace.voltage_v.tolist() == [1, 2, 3]
    assert any("repeated header" in note for note in trace.notes)


def test_uneven_times_are_put_on_an_even_grid_and_a_gap_is_reported(tmp_path: Path) -> None:
    times = [0, 1, 2, 3, 4, 8, 9, 10]
    path = write(tmp_path, "gap.csv", "time_s,v\n" + "".join(f"{t},{2 * t}\n" for t in times))
    trace = read_trace(path)
    assert trace.voltage_v.tolist() == pytest.approx([2.0 * t for t in range(11)])
    assert any("1 gap" in note and "4 s at 4 s" in note for note in trace.notes)


def test_latin_1_header_is_read_with_a_note(tmp_path: Path) -> None:
    trace = read_trace(write(tmp_path, "old.txt", "Prüfstand\ntime_s;v_V\n0;1\n1;2\n".encode("latin-1")))
    assert trace.voltage_v.tolist() == [1, 2] and any("Latin-1" in note for note in trace.notes)


def test_archive_is_read_back_unchanged(tmp_path: Path) -> None:
    volts = np.linspace(-1, 1, 50) ** 3
    np.savez(tmp_path / "a.npz", interval_s=0.002, voltage_v=volts)
    trace = read_trace(tmp_path / "a.npz")
    assert np.array_equal(trace.voltage_v, volts) and trace.interval_s == 0.002


@pytest.mark.parametrize(
    ("kind", "bits", "samples", "volts"),
    [
        (1, 8, bytes([128, 255, 0]), [0, 127 / 128, -1]),
        (1, 16, struct.pack("<3h", 0, 16384, -32768), [0, 0.5, -1]),
        (1, 24, b"\0\0\0" + b"\0\0\x40" + b"\0\0\x80", [0, 0.5, -1]),
        (1, 32, struct.pack("<3i", 0, 2**30, -(2**31)), [0, 0.5, -1]),
        (3, 32, struct.pack("<3f", 0, 2.5, -3), [0, 2.5, -3]),
        (3, 64, struct.pack("<3d", 0, 2.5, -3), [0, 2.5, -3]),
    ],
)
def test_sound_of_every_width_is_read(tmp_path: Path, kind: int, bits: int, samples: bytes, volts: list[float]) -> None:
    trace = read_trace(write(tmp_path, "a.wav", wav(samples, kind=kind, bits=bits, rate=8000)))
    assert trace.voltage_v.tolist() == pytest.approx(volts) and trace.interval_s == pytest.approx(1 / 8000)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("", "the file is empty"),
        ("\n\n \n", "only blank lines"),
        ("time,v\ns,V\n", r"line 2: no row of numbers found; the last line is 's,V'"),
        ("time_s,v\n0,1\n1,2\n2,oops\n3,4\n", r"line 4, column 2: 'oops' is not a finite number"),
        ("time_s,v\n0,1\n1\n2,1\n3,4\n", r"line 3, column 2: the row '1' ends before it"),
        ("time_s,v\n0,1\n1,2\n1,3\n2,4\n", r"line 4, column 'time': time repeats: 1 after 1"),
        ("time_s,v\n0,1\n1,2\n0.5,3\n2,4\n", r"line 4, column 'time': time runs backwards: 0.5 after 1"),
        ("time_s,v\n0,1\n", "the trace has 1 sample; two or more are needed|1 sample"),
        ("v\n1\n2\n3\n", "no time column and no sample interval"),
        (b"PK\x03\x04\x00\x00\x00\x01\x02\x03" * 20, "binary data"),
    ],
)
def test_invalid_text_is_refused_with_line_and_column(tmp_path: Path, content: str | bytes, message: str) -> None:
    with pytest.raises(InputError, match=message):
        read_trace(write(tmp_path, "bad.csv", content))


def test_files_that_are_not_traces_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="there is no such file"):
        read_trace(tmp_path / "none.csv")
    (tmp_path / "folder.csv").mkdir()
    with pytest.raises(InputError, match="this is a folder"):
        read_trace(tmp_path / "folder.csv")
    with pytest.raises(InputError, match=r"'.xlsx' is not a kind of file .*; use one of .csv"):
        read_trace(write(tmp_path, "a.xlsx", b"1"))
    whole = gzip.compress(b"time_s,v\n" + b"0,1\n" * 1000)
    with pytest.raises(InputError, match="gzip data are damaged"):
        read_trace(write(tmp_path, "cut.csv.gz", whole[: len(whole) // 2]))


def test_archives_of_objects_and_false_headers_are_refused(tmp_path: Path) -> None:
    np.savez(tmp_path / "objects.npz", voltage_v=np.array([{"a": 1}, None], dtype=object))
    with pytest.raises(InputError, match="holds object, not numbers"):
        read_trace(tmp_path / "objects.npz")
    buffer = io.BytesIO()
    np.lib.format.write_array_header_1_0(buffer, {"descr": "<f8", "fortran_order": False, "shape": (10**12,)})
    with zipfile.ZipFile(tmp_path / "lies.npz", "w") as archive:
        archive.writestr("voltage_v.npy", buffer.getvalue())
    with pytest.raises(InputError, match="header states a wrong shape"):
        read_trace(tmp_path / "lies.npz")


def test_size_limits_are_checked_before_anything_is_loaded(tmp_path: Path) -> None:
    zeros = np.zeros(4_000_000)
    np.savez_compressed(tmp_path / "bomb.npz", voltage_v=zeros)
    with pytest.raises(InputError, match=r"32 MB unpacked, the limit is 1 MB; cut a shorter stretch"):
        read_trace(tmp_path / "bomb.npz", max_bytes=1_000_000)
    path = write(tmp_path, "bomb.csv.gz", gzip.compress(b"0\n" * 2_000_000))
    with pytest.raises(InputError, match="more than 1 MB unpacked"):
        read_trace(path, max_bytes=1_000_000)
    with (tmp_path / "huge.csv").open("wb") as stream:
        stream.truncate(2_000_000_000)
    with pytest.raises(InputError, match=r"the trace is 2000 MB, the limit is 200 MB"):
        read_trace(tmp_path / "huge.csv")


def test_invalid_sound_files_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="format 1 of 12 bits"):
        read_trace(write(tmp_path, "odd.wav", wav(b"\0" * 30, bits=12)))
    with pytest.raises(InputError, match="holds no samples"):
        read_trace(write(tmp_path, "none.wav", wav(b"")))
