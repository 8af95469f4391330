"""Every reader of a tachometer's files against damage: a clear error or numbers, in bounded memory."""

from __future__ import annotations

import struct
import tracemalloc
from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.io import savemat

from edgewind.errors import EdgewindError
from edgewind.signals import Tachometry, measure_file, sound

FEW = settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
VERY_FEW = settings(FEW, max_examples=4)
TOLD = Tachometry(2, interval_s=None)


def pulses(count: int = 600) -> np.ndarray:
    phase = np.arange(count) * 0.013 % 1
    return np.exp(-(((phase - 0.5) / 0.1) ** 2))


def text(path: Path) -> None:
    path.write_text("time_ms,CH1\n" + "".join(f"{i},{volt:.4f}\n" for i, volt in enumerate(pulses())))


def wave(path: Path) -> None:
    data = (20_000 * pulses()).astype("<i2").tobytes()
    head = b"WAVEfmt " + struct.pack("<IHHIIHH", 16, 1, 1, 1000, 2000, 2, 16) + b"data" + struct.pack("<I", len(data))
    path.write_bytes(b"RIFF" + struct.pack("<I", 36 + len(data)) + head + data)


def hdf5(path: Path) -> None:
    with pytest.importorskip("h5py").File(path, "w") as file:
        file["dt"], file["sensor"] = 1e-3, pulses()


def flac(path: Path) -> None:
    pytest.importorskip("soundfile").write(path, 0.5 * pulses(), 8000)


def clip(path: Path) -> None:
    pytest.importorskip("imageio_ffmpeg")
    from support.clips import encode  # itself in need of the extra

    frame = np.arange(40)[:, None, None]
    x = np.arange(48)[None, None, :]
    encode((100 + 80 * np.sin(frame + x / 3 + np.zeros((40, 32, 48)))).astype(np.uint8), 30.0, path)


MAKERS: dict[str, Callable[[Path], None]] = {
    "a.csv": text,
    "a.npy": lambda path: np.save(path, pulses()),
    "a.npz": lambda path: np.savez(path, dt=1e-3, sensor=pulses()),
    "a.mat": lambda path: savemat(path, {"dt": 1e-3, "sensor": pulses()}, do_compression=True),
    "a.h5": hdf5,
    "a.wav": wave,
    "a.flac": flac,
    "a.mp4": clip,
}


@cache
def content_of(name: str, folder: Path) -> bytes:
    MAKERS[name](folder / name)
    return (folder / name).read_bytes()


@st.composite
def damage(draw: st.DrawFn) -> Callable[[bytes], bytes]:
    """Bytes changed, most of them near the beginning where headers are; a piece cut out; the end cut off."""
    places = draw(st.lists(st.tuples(st.floats(0, 1), st.integers(0, 255)), max_size=8))
    near = draw(st.booleans())
    cut = draw(st.one_of(st.none(), st.tuples(st.floats(0, 1), st.floats(0, 1))))

    def spoil(content: bytes) -> bytes:
        changed = bytearray(content)
        span = min(len(changed), 300) if near else len(changed)
        for place, value in places:
            changed[int(place * (span - 1))] = value
        if cut is not None:
            begin, end = sorted(int(part * len(changed)) for part in cut)
            del changed[begin:end]
        return bytes(changed)

    return spoil


def check(name: str, folder: Path, spoil: Callable[[bytes], bytes]) -> None:
    path = folder / f"spoilt-{name}"
    path.write_bytes(spoil(content_of(name, folder)))
    try:
        found = measure_file(path, TOLD)
    except EdgewindError as error:
        assert path.name in str(error) and len(str(error)) < 1000
        return
    assert found.trace.interval_s > 0 and np.all(np.isfinite(found.trace.voltage_v))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("damaged")


@pytest.mark.parametrize("name", [name for name in MAKERS if name not in ("a.mp4", "a.h5", "a.mat")])
@FEW
@given(spoil=damage())
def test_damaged_bytes_are_refused_or_read(name: str, folder: Path, spoil: Callable[[bytes], bytes]) -> None:
    check(name, folder, spoil)


@pytest.mark.parametrize("name", ["a.mp4", "a.h5", "a.mat"])
@VERY_FEW
@given(spoil=damage())
def test_damaged_bytes_for_readers_of_their_own_are_refused_or_read(
    name: str, folder: Path, spoil: Callable[[bytes], bytes]
) -> None:
    check(name, folder, spoil)


@pytest.mark.parametrize("name", MAKERS)
def test_a_sparse_file_of_ten_gigabytes_needs_little_memory(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Behind the beginning of a sound file, of which as much is read as is allowed, or behind nothing at all."""
    monkeypatch.setattr(sound, "MOST_BYTES", 400_000)
    path = tmp_path / name
    if name == "a.wav":
        wave(path)
    with path.open("ab") as stream:
        stream.truncate(10_000_000_000)
    tracemalloc.start()
    try:
        measure_file(path, TOLD)
    except EdgewindError as error:
        assert name in str(error)
    finally:
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
    assert peak < 100_000_000


def test_a_wave_header_that_claims_four_gigabytes_is_read_to_the_end_of_the_file(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    wave(path)
    content = bytearray(path.read_bytes())
    content[40:44] = b"\xff\xff\xff\xff"
    path.write_bytes(content)
    assert measure_file(path, TOLD).trace.samples == 600


def test_a_playlist_named_as_a_clip_opens_no_other_file(tmp_path: Path) -> None:
    pytest.importorskip("imageio_ffmpeg")
    clip(tmp_path / "other.mp4")
    playlist = "#EXTM3U\n#EXT-X-VERSION:3\n#EXT-X-TARGETDURATION:2\n#EXTINF:2,\nother.mp4\n#EXT-X-ENDLIST\n"
    for content in (playlist, "ffconcat version 1.0\nfile other.mp4\n"):
        (tmp_path / "list.mp4").write_text(content)
        with pytest.raises(EdgewindError, match="not a video clip that can be decoded"):
            measure_file(tmp_path / "list.mp4", TOLD)


def test_damaged_numbers_beyond_any_recorder_are_refused_or_read(tmp_path: Path) -> None:
    """Of 2,000 damaged HDF5 files four ended in an error of the linear algebra: 1e79 s between samples of 1e303 V."""
    volts = 1e303 * (pulses() - 0.3) * np.where(np.arange(600) % 7, 1, -1)
    np.savez(tmp_path / "a.npz", dt=1.7e79, sensor=volts)
    with pytest.raises(EdgewindError, match=r"time between samples cannot be 1\.7e\+79 s"):
        measure_file(tmp_path / "a.npz", TOLD)
    np.savez(tmp_path / "b.npz", dt=1e-3, sensor=volts)
    assert measure_file(tmp_path / "b.npz", TOLD).trace.samples == 600
