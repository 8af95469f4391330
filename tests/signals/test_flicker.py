"""The mains in a record: named as such, and a time base where the owner says so."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from edgewind.bench.schema import TachometerSection
from edgewind.signals import Tachometry, measure_file, measure_trace, read_trace
from edgewind.signals.flicker import find_flicker


def record(folder: Path, stretch: float = 1.0, hum: float = 0.3, order: int = 1) -> Path:
    """Write pulses of 6.7 turns a second, 2 marks, with a hum, by a clock that runs fast or slow."""
    time = 2e-4 * np.arange(20_000)
    pulses = np.exp(-(((13.4 * time % 1 - 0.5) / 0.1) ** 2))
    volts = pulses + hum * np.sin(2 * np.pi * 50.0 * order * time)
    volts += 0.02 * np.random.default_rng(1).standard_normal(time.size)
    np.savez(folder / "a.npz", interval_s=2e-4 * stretch, sensor_v=volts)
    return folder / "a.npz"


@pytest.mark.parametrize(("order", "what"), [(1, "is the mains, nominally 50 Hz"), (2, "a lamp on the mains")])
def test_hum_and_flicker_are_named(tmp_path: Path, order: int, what: str) -> None:
    found = measure_file(record(tmp_path, order=order), Tachometry(2))
    assert any(what in note for note in found.trace.notes), found.trace.notes
    quiet = measure_file(record(tmp_path, hum=0.0), Tachometry(2))
    assert not any("mains" in note for note in quiet.trace.notes)


def test_the_mains_set_a_clock_right_that_runs_wrong(tmp_path: Path) -> None:
    """A sound card 1.2 % off; the truth is 6.7 turns a second of the mains' time."""
    path = record(tmp_path, stretch=1.012)
    told = Tachometry(2, mains_hz=50.0)
    wrong = measure_file(path, told).speed.speed_rad_s / (2 * math.pi)
    assert wrong == pytest.approx(6.7 / 1.012, rel=1e-4)
    found = measure_file(path, replace(told, time_base="mains"))
    rate, u = found.speed.speed_rad_s / (2 * math.pi), found.speed.speed_u_rad_s / (2 * math.pi)
    assert abs(rate - 6.7) < 2 * u and 4e-4 < u / rate < 1e-3
    assert found.trace.interval_s == pytest.approx(2e-4, rel=1e-3) and "time-assumed" not in found.speed.flags


def test_a_trace_that_an_instrument_sends_takes_its_time_from_the_mains_as_well(tmp_path: Path) -> None:
    trace = read_trace(record(tmp_path, stretch=1.012))
    section = TachometerSection.model_validate({"marks": 2, "mains_frequency": "50 Hz", "time_base": "mains"})
    speed = measure_trace(trace, section).speed
    assert speed.speed_rad_s / (2 * math.pi) == pytest.approx(6.7, rel=1e-3)


def test_without_a_line_of_the_mains_the_time_base_is_flagged(tmp_path: Path) -> None:
    found = measure_file(record(tmp_path, hum=0.0), Tachometry(2, time_base="mains"))
    assert "time-assumed" in found.speed.flags and any("no line of the mains" in note for note in found.trace.notes)


@pytest.mark.parametrize("frames_hz", [24.0, 25.3, 29.97, 59.0, 240.0])
def test_flicker_folded_by_the_frames_of_a_clip_gives_the_time_between_them(frames_hz: float) -> None:
    frame = np.arange(600)
    light = 100 + np.sin(2 * np.pi * 100.0 * frame / frames_hz + 0.3)
    light += 0.1 * np.random.default_rng(2).standard_normal(frame.size)
    seen = find_flicker(light, 1 / (1.003 * frames_hz), 50.0, math.nan, (2,), 0.02)
    assert seen is not None and seen.interval_s == pytest.approx(1 / frames_hz, rel=2e-4)
    assert ("folded" in seen.said()) is (frames_hz < 200)
