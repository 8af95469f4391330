"""The mains in a record: identified, and used as a time base on request."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from edgewind.bench.schema import TachometerSection
from edgewind.errors import InputError
from edgewind.evidence.coastdown import fit_coast_down
from edgewind.signals import Tachometry, Trace, measure_file, measure_trace, read_trace
from edgewind.signals.changes import parse_moments
from edgewind.signals.coastdown import speed_history
from edgewind.signals.flicker import find_flicker, keeps_its_place
from edgewind.signals.trace_run import run_of_trace

BY_MAINS = TachometerSection.model_validate({"marks": 4, "mains_frequency": "50 Hz", "time_base": "mains"})


def record(folder: Path, stretch: float = 1.0, hum: float = 0.3, order: int = 1) -> Path:
    """Write pulses of 6.7 turns a second, 2 marks, with a hum, by a clock that runs fast or slow."""
    time = 2e-4 * np.arange(20_000)
    pulses = np.exp(-(((13.4 * time % 1 - 0.5) / 0.1) ** 2))
    volts = pulses + hum * np.sin(2 * np.pi * 50.0 * order * time)
    volts += 0.02 * np.random.default_rng(1).standard_normal(time.size)
    np.savez(folder / "a.npz", interval_s=2e-4 * stretch, sensor_v=volts)
    return folder / "a.npz"


@pytest.mark.parametrize(("order", "what"), [(1, "is the mains, nominally 50 Hz"), (2, "a lamp on the mains")])
def test_hum_and_flicker_are_identified(tmp_path: Path, order: int, what: str) -> None:
    found = measure_file(record(tmp_path, order=order), Tachometry(2))
    assert any(what in note for note in found.trace.notes), found.trace.notes
    quiet = measure_file(record(tmp_path, hum=0.0), Tachometry(2))
    assert not any("mains" in note for note in quiet.trace.notes)


def test_a_weak_line_of_a_logic_output_is_not_identified_as_a_lamp() -> None:
    """Edges that fall on samples leave lines of one part in ten thousand, here at 119.2 Hz."""
    level = ((4 * 7.31 * 4e-4 * np.arange(5000)) % 1 < 0.3).astype(float)
    assert find_flicker(level, 4e-4, None, 7.31) is not None, "the record holds such a line"
    found = measure_trace(Trace(level, 4e-4), TachometerSection.model_validate({"marks": 4}))
    assert not any("mains" in note for note in found.trace.notes), found.trace.notes


def test_the_mains_frequency_corrects_a_wrong_clock(tmp_path: Path) -> None:
    """A sound card 1.2 % off; the truth is 6.7 turns a second of the mains' time."""
    path = record(tmp_path, stretch=1.012)
    told = Tachometry(2, mains_hz=50.0)
    wrong = measure_file(path, told).speed.speed_rad_s / (2 * math.pi)
    assert wrong == pytest.approx(6.7 / 1.012, rel=1e-4)
    found = measure_file(path, replace(told, time_base="mains"))
    rate, u = found.speed.speed_rad_s / (2 * math.pi), found.speed.speed_u_rad_s / (2 * math.pi)
    assert abs(rate - 6.7) < 2 * u and 4e-4 < u / rate < 1e-3
    assert found.trace.interval_s == pytest.approx(2e-4, rel=1e-3) and "time-assumed" not in found.speed.flags


def test_a_trace_sent_by_an_instrument_is_timed_by_the_mains(tmp_path: Path) -> None:
    trace = read_trace(record(tmp_path, stretch=1.012))
    section = TachometerSection.model_validate({"marks": 2, "mains_frequency": "50 Hz", "time_base": "mains"})
    speed = measure_trace(trace, section).speed
    assert speed.speed_rad_s / (2 * math.pi) == pytest.approx(6.7, rel=1e-3)


def test_a_trace_without_a_mains_line_has_its_time_base_flagged(tmp_path: Path) -> None:
    found = measure_file(record(tmp_path, hum=0.0), Tachometry(2, time_base="mains"))
    assert "time-assumed" in found.speed.flags and any("no line of the mains" in note for note in found.trace.notes)


def slowing(stretch: float, hum: float = 0.3) -> Trace:
    """Invent a rotor that slows from 6 turns a second at 0.03 of them a second, by a clock that runs fast or slow."""
    time = 2e-3 * np.arange(20_000)
    turns = 6.0 / 0.03 * -np.expm1(-0.03 * time)
    pulses = np.exp(-(((4 * turns % 1 - 0.5) / 0.1) ** 2))
    volts = pulses + hum * np.sin(2 * np.pi * 50.0 * time)
    return Trace(volts + 0.02 * np.random.default_rng(3).standard_normal(time.size), 2e-3 * stretch)


def test_the_mains_are_the_clock_of_a_coast_down_and_of_a_run() -> None:
    """A clock 1.2 % off makes the drag wrong by as much; that of the mains is right within what the grid leaves."""
    timed = measure_trace(slowing(1.012), BY_MAINS).trace
    assert timed.interval_s == pytest.approx(2e-3, rel=5e-4) and not timed.flags
    found = fit_coast_down(speed_history(timed, 4))
    assert abs(found.drag_rate - 0.03) < 3 * found.drag_rate_u and found.drag_rate_u > 5e-4 * found.drag_rate
    run = run_of_trace(timed, 4, parse_moments("lamp off at 1 s"))
    ratio = run.speed_rad_s / (12 * math.pi * np.exp(-0.03 * run.time_s))
    assert np.nanmedian(ratio) == pytest.approx(1.0, rel=3e-3)


def test_a_coast_down_without_the_mains_line_asked_for_as_clock_is_flagged() -> None:
    reading = measure_trace(slowing(1.012, hum=0.0), BY_MAINS)
    assert "time-assumed" in reading.speed.flags and "time-assumed" in reading.trace.flags
    with pytest.raises(InputError, match="time-assumed"):
        run_of_trace(reading.trace, 4, parse_moments("lamp off at 1 s"))


def test_a_rotor_that_stays_near_the_mains_frequency_is_not_used_as_a_clock() -> None:
    """Pulses at 49.6 a second for half of a record, then slower: a line within 2 % of 50 Hz, that does not stay."""
    time = 1e-3 * np.arange(20_000)
    rate = np.where(time < 12.0, 49.6, 49.6 * np.exp(-0.05 * (time - 12.0)))
    volts = np.sin(2 * np.pi * np.cumsum(rate) * 1e-3) + 0.02 * np.random.default_rng(4).standard_normal(time.size)
    seen = find_flicker(volts, 1e-3, 50.0, math.nan, (1, 2), 0.02)
    assert seen is not None and not keeps_its_place(volts, 1e-3, seen)


@pytest.mark.parametrize("frames_hz", [24.0, 25.3, 29.97, 59.0, 240.0])
def test_aliased_flicker_in_a_clip_gives_the_time_between_frames(frames_hz: float) -> None:
    frame = np.arange(600)
    light = 100 + np.sin(2 * np.pi * 100.0 * frame / frames_hz + 0.3)
    light += 0.1 * np.random.default_rng(2).standard_normal(frame.size)
    seen = find_flicker(light, 1 / (1.003 * frames_hz), 50.0, math.nan, (2,), 0.02)
    assert seen is not None and seen.interval_s == pytest.approx(1 / frames_hz, rel=2e-4)
    assert ("folded" in seen.said()) is (frames_hz < 200)
