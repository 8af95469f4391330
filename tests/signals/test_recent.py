"""The cache of measured traces: used as long as trace and description are the same."""

import numpy as np
import pytest

from edgewind.bench import write_to_bench
from edgewind.signals import experiment, read_experiment
from edgewind.signals.recent import Recent
from edgewind.signals.synthetic import PulseTrain, synthesise

ROWS = "pressure [Pa],trace\n1,a.csv\n2,b.csv\n"


def write_trace(path, turn_rate_hz):
    seen = synthesise(PulseTrain(turn_rate_hz, noise_v=0.02), samples=4000, interval_s=1e-3, seed=1)
    rows = np.column_stack([np.arange(seen.samples) * seen.interval_s, seen.voltage_v])
    np.savetxt(path, rows, delimiter=",", header="time [s],voltage [V]", comments="")


@pytest.fixture
def folder(tmp_path, bench_text):
    place = tmp_path / "rotor"
    place.mkdir()
    (place / "bench.toml").write_text(bench_text)
    (place / "readings.csv").write_text(ROWS)
    write_trace(place / "a.csv", 5.0)
    write_trace(place / "b.csv", 6.0)
    return place


@pytest.fixture
def measured(monkeypatch):
    """The traces that were really measured, in order."""
    names, measure = [], experiment.measure_speed
    monkeypatch.setattr(experiment, "_MEASURED", Recent(most=1_000_000))

    def counted(path, *how, **named):
        names.append(path.name)
        return measure(path, *how, **named)

    monkeypatch.setattr(experiment, "measure_speed", counted)
    return names


def test_an_experiment_read_again_measures_only_new_traces(folder, measured):
    first = read_experiment(folder)
    again = read_experiment(folder)
    assert measured == ["a.csv", "b.csv"]
    assert again.readings.equals(first.readings)
    write_trace(folder / "b.csv", 8.0)
    changed = read_experiment(folder)
    assert measured[2:] == ["b.csv"]
    ratio = changed.readings["speed_rad_s"] / first.readings["speed_rad_s"]
    assert ratio.to_list() == pytest.approx([1.0, 8 / 6], rel=1e-3)


def test_a_changed_tachometer_description_causes_a_new_measurement(folder, measured):
    first = read_experiment(folder)
    write_to_bench(folder / "bench.toml", "tachometer", {"marks": 2 * first.bench.tachometer.marks})
    other = read_experiment(folder)
    assert measured == ["a.csv", "b.csv"] * 2
    ratio = other.readings["speed_rad_s"] / first.readings["speed_rad_s"]
    assert ratio.to_list() == pytest.approx([0.5, 0.5], rel=1e-3)


def test_a_copy_of_a_trace_is_reported_under_its_own_name(folder, measured):
    read_experiment(folder)
    copy = folder.rename(folder.with_name("copy"))
    found = read_experiment(copy)
    assert measured == ["a.csv", "b.csv"]
    assert found.traces[1].trace.source == str(copy / "b.csv")


def test_the_cache_is_limited_in_size(folder, measured, monkeypatch):
    monkeypatch.setattr(experiment, "_MEASURED", Recent(most=5000))  # of two traces of 4000 samples, the later one
    read_experiment(folder)
    read_experiment(folder)
    assert measured == ["a.csv", "b.csv"] * 2
