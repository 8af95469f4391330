"""Arrays of NumPy, MAT files and HDF5: time and channel as stated or flagged; damaged and false files refused."""

from __future__ import annotations

import io
import os
import struct
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.io import savemat

from edgewind.errors import EdgewindError, InputError
from edgewind.signals import Tachometry, measure_file, read_trace, trace_arrays

STEP = 0.5e-3
VOLTS = np.tile([0.1, 0.2, 1.4, 0.3, 0.1, 0.0, 0.2, 1.5, 0.2, 0.1], 20)
TIME = STEP * np.arange(VOLTS.size)


def save_hdf5(path: Path, arrays: dict[str, Any], attributes: dict[str, dict[str, Any]] | None = None) -> Path:
    h5py = pytest.importorskip("h5py")
    with h5py.File(path, "w") as file:
        for name, array in arrays.items():
            file[name] = array
        for name, values in (attributes or {}).items():
            for key, value in values.items():
                file[name].attrs[key] = value
    return path


def save(path: Path, arrays: dict[str, Any]) -> Path:
    """Write arrays in the format that the name of the file asks for."""
    if path.suffix == ".mat":
        savemat(path, arrays, do_compression=True)
    elif path.suffix == ".npz":
        np.savez(path, **arrays)
    else:
        save_hdf5(path, arrays)
    return path


@pytest.mark.parametrize("name", ["a.npz", "a.mat", "a.h5"])
@pytest.mark.parametrize(
    "arrays",
    [
        {"time_s": TIME, "sensor_V": VOLTS},
        {"t_ms": 1e3 * TIME, "sensor": VOLTS},
        {"Fs": 2000.0, "sensor": VOLTS, "gain": 3.0},
        {"dt": STEP, "sensor": VOLTS.astype(np.float32)},
        {"sensor": (1000 * VOLTS).astype(np.int16), "sample_rate_kHz": 2.0, "other": VOLTS * 0},
        {"interval_ms": 0.5, "sensor": np.stack([VOLTS, VOLTS * 0])},
    ],
)
def test_vectors_with_a_stated_time_are_read_right(tmp_path: Path, name: str, arrays: dict[str, Any]) -> None:
    trace = read_trace(save(tmp_path / name, arrays), channel=["sensor", "sensor[1]"])
    assert trace.interval_s == pytest.approx(STEP, rel=1e-6) and trace.flags == ()
    scale = 1000 if arrays["sensor" if "sensor" in arrays else "sensor_V"].dtype == np.int16 else 1
    assert trace.voltage_v == pytest.approx(scale * VOLTS, rel=1e-6) and "sensor" in trace.channel


@pytest.mark.parametrize("name", ["a.npz", "a.mat", "a.h5"])
def test_a_time_without_a_unit_is_flagged_and_no_time_at_all_is_refused(tmp_path: Path, name: str) -> None:
    path = save(tmp_path / name, {"t": TIME, "sensor": VOLTS})
    assert read_trace(path).flags == ("time-assumed",)
    assert read_trace(path, interval_s=STEP).flags == ()
    with pytest.raises(InputError, match="no time column and no sample interval"):
        read_trace(save(tmp_path / name, {"sensor": VOLTS, "gain": 2.0}))


def test_of_several_vectors_the_one_that_shows_the_rotor_is_used_or_the_choice_is_flagged(tmp_path: Path) -> None:
    count = np.arange(4000)
    pulses = [np.exp(-(((count * 1e-3 * rate % 1 - 0.5) / 0.1) ** 2)) for rate in (6.0, 9.0)]
    path = save(tmp_path / "a.mat", {"dt": 1e-3, "flat": 0.0 * count, "sensor": pulses[0]})
    found = measure_file(path, Tachometry(1))
    assert found.trace.channel == "sensor" and found.speed.speed_rad_s == pytest.approx(12 * np.pi, rel=1e-3)
    path = save(tmp_path / "a.mat", {"dt": 1e-3, "one": pulses[0], "two": pulses[1]})
    assert "channel-assumed" in measure_file(path, Tachometry(1)).speed.flags


def test_attributes_of_hdf5_state_unit_and_interval(tmp_path: Path) -> None:
    path = save_hdf5(
        tmp_path / "a.h5",
        {"run/sensor": 1e3 * VOLTS, "run/pressure": np.arange(5.0)},
        {"run/sensor": {"units": "mV", "dt_ms": 0.5}},
    )
    trace = read_trace(path)
    assert trace.channel == "run/sensor" and trace.interval_s == pytest.approx(STEP) and trace.flags == ()
    assert trace.voltage_v == pytest.approx(VOLTS)
    assert any("'run/pressure'" in note for note in trace.notes)


@pytest.mark.parametrize(
    ("arrays", "message"),
    [
        ({"dt": 0.0, "v": VOLTS}, "'dt' is 0"),
        ({"dt": 1e-3, "fs": 500.0, "v": VOLTS}, "different sample intervals: dt = 0.001, fs = 500"),
        ({"dt": 1e-3, "a": VOLTS, "b": VOLTS[:100]}, "differ in length: 'a' 200, 'b' 100"),
        ({"dt": 1e-3, "v": np.full(20, np.nan)}, "none is a finite number"),
        ({"gain": 1e-3}, "no one-dimensional array"),
    ],
)
def test_arrays_that_contradict_each_other_are_refused(tmp_path: Path, arrays: dict[str, Any], message: str) -> None:
    for name in ("a.npz", "a.mat", "a.h5"):
        with pytest.raises(InputError, match=message):
            read_trace(save(tmp_path / name, arrays))


def test_a_single_array_of_numpy_holds_columns_or_records(tmp_path: Path) -> None:
    path = tmp_path / "a.npy"
    np.save(path, VOLTS)
    assert read_trace(path, interval_s=STEP).voltage_v == pytest.approx(VOLTS)
    with pytest.raises(InputError, match="no sample interval"):
        read_trace(path)
    np.save(path, np.column_stack([TIME, VOLTS]))
    trace = read_trace(path)
    assert trace.flags == ("time-assumed",) and trace.voltage_v == pytest.approx(VOLTS)
    records = np.zeros(VOLTS.size, dtype=[("time_s", float), ("sensor", np.float32)])
    records["time_s"], records["sensor"] = TIME, VOLTS
    np.save(path, records)
    trace = read_trace(path)
    assert trace.flags == () and trace.channel == "sensor" and trace.interval_s == pytest.approx(STEP)
    np.save(path, np.array([{}, None], dtype=object))
    with pytest.raises(InputError, match="holds object, not numbers"):
        read_trace(path)


def test_a_mat_file_that_unpacks_to_too_much_is_refused_before_memory_is_allocated(tmp_path: Path) -> None:
    packed = zlib.compress(bytes(3_000_000))
    path = tmp_path / "bomb.mat"
    path.write_bytes(b"MATLAB 5.0 MAT-file".ljust(124) + b"\0\x01IM" + struct.pack("<II", 15, len(packed)) + packed)
    with pytest.raises(InputError, match="more than 1 MB unpacked"):
        read_trace(path, max_bytes=1_000_000)
    whole = save(tmp_path / "b.mat", {"dt": 1e-3, "v": np.zeros(300_000)})
    with pytest.raises(InputError, match="more than 1 MB unpacked"):
        read_trace(whole, max_bytes=1_000_000)
    with pytest.raises(InputError, match="more than 1 MB unpacked"):
        read_trace(save(tmp_path / "b.h5", {"dt": 1e-3, "v": np.zeros(300_000)}), max_bytes=1_000_000)


@pytest.mark.parametrize("name", ["a.mat", "a.h5", "a.npy", "a.npz"])
def test_truncated_files_and_files_of_other_content_are_refused(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    if name == "a.npy":
        np.save(path, VOLTS)
    else:
        save(path, {"dt": 1e-3, "v": VOLTS})
    content = path.read_bytes()
    for part in (b"", b"junk" * 50, content[:100], content[: len(content) // 2]):
        path.write_bytes(part)
        with pytest.raises(EdgewindError, match=name):
            read_trace(path)
    with path.open("wb") as stream:
        stream.truncate(10_000_000_000)
    with pytest.raises(EdgewindError, match=name):
        read_trace(path)


def test_a_file_that_crashes_the_process_of_its_reader_is_refused(tmp_path: Path) -> None:
    """Of the bytes of a MAT file changed at random, a few once ended the program itself within SciPy's reader."""
    with pytest.raises(InputError, match="makes its reader fail"):
        trace_arrays._read_apart(_dies, tmp_path / "a.mat", 100)
    assert read_trace(save(tmp_path / "b.mat", {"dt": STEP, "v": VOLTS})).interval_s == STEP


def _dies(path: str, most: int) -> dict[str, Any]:
    os._exit(1)


def test_a_mat_file_of_version_4_and_a_matrix_beside_text_are_read(tmp_path: Path) -> None:
    stream = io.BytesIO()
    savemat(stream, {"fs": 2000.0, "data": np.column_stack([TIME, VOLTS])}, format="4")
    (tmp_path / "old.mat").write_bytes(stream.getvalue())
    trace = read_trace(tmp_path / "old.mat", channel="data[2]")
    assert trace.voltage_v == pytest.approx(VOLTS) and trace.interval_s == pytest.approx(STEP)
    path = save(tmp_path / "a.mat", {"comment": "text", "about": {"gain": 2}, "dt": STEP, "v": VOLTS})
    assert read_trace(path).interval_s == STEP
