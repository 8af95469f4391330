"""Raw traces through a change: standstill, the sign by the marks, coast-downs kept apart, and what is refused."""

import numpy as np
import pytest

from edgewind.errors import InputError
from edgewind.evidence.run_data import run_of_table
from edgewind.signals import read_experiment
from edgewind.signals.changes import parse_moments
from edgewind.signals.trace import Trace
from edgewind.signals.trace_run import run_of_trace, sense_of

PLACES = (0.0, 0.19, 0.53, 0.8)
INTERVAL_S, END_S, OFF_S = 0.005, 240.0, 20.0


def speed_at(time):
    """Invent the speed of a rotor that comes to rest after the lamp is switched off, and reverses for a while."""
    down = 6.0 * np.exp(-np.maximum(time - OFF_S, 0) / 12.0)
    back = 2.5 * np.clip((time - 120) / 20, 0, 1) * np.clip((230 - time) / 40, 0, 1)
    return np.where(down > 0.12, down, 0.0) - back


def trace_of(speed=speed_at, places=PLACES, *, seconds=END_S, seed=5):
    time = INTERVAL_S * np.arange(int(seconds / INTERVAL_S))
    turns = np.cumsum(speed(time)) * INTERVAL_S / (2 * np.pi) + 0.07
    away = np.abs(turns[:, None] - np.array(places) - np.round(turns[:, None] - np.array(places)))
    pulses = np.exp(-0.5 * (away / 0.02) ** 2).sum(axis=1)
    noise = 0.03 * np.random.default_rng(seed).standard_normal(time.size)
    return Trace(0.3 + 0.1 * np.sin(time / 40) + pulses + noise, INTERVAL_S, source="t.csv")


@pytest.mark.parametrize(("places", "signed"), [(PLACES, True), (None, False)])
def test_a_trace_through_standstill_is_a_run_with_its_sign_if_the_marks_show_it(places, signed):
    run = run_of_trace(
        trace_of(),
        4,
        parse_moments("lamp off at 20 s; envelope 22 degC at 110 s; envelope -20 degC at 150 s"),
        places=places,
    )
    assert run.signed == signed
    seen = np.isfinite(run.speed_rad_s)
    true = speed_at(run.time_s)
    true = true if signed else np.abs(true)
    assert np.max(np.abs(run.speed_rad_s - true)[seen] - 4 * run.speed_u_rad_s[seen]) < 0.15
    assert np.any(run.speed_rad_s[seen & (run.time_s > 75) & (run.time_s < 115)] == 0)
    assert run.lamp_share[run.time_s < 20].tolist() == [1.0] * int((run.time_s < 20).sum())
    assert np.all(run.lamp_share[run.time_s >= 20] == 0)
    assert run.envelope_k[0] == pytest.approx(295.15) and run.envelope_k[-1] == pytest.approx(253.15)
    noted = run.time_s == 20
    assert noted.any() and np.isnan(run.speed_rad_s[noted]).all()  # so that the moment is taken exactly
    assert set(run.changes) == {"lamp", "envelope"}
    assert run_of_table(run, 0.5, 0.01, 2).switched_u_s == 0


def test_the_observed_leading_face_gives_the_sign_of_a_run_without_standstill():
    trace = trace_of(lambda time: 6.0 * np.exp(-time / 60.0), (0, 0.25, 0.5, 0.75), seconds=100)
    run = run_of_trace(trace, 4, parse_moments("lamp off at 10 s"), face="dark")
    assert run.signed and np.nanmax(run.speed_rad_s) < 0


@pytest.mark.parametrize("sense", [1, -1])
def test_marks_show_the_direction_of_a_slowing_rotor(sense):
    turns = np.sort(np.concatenate([np.array(PLACES) + k for k in range(8)])) if sense > 0 else None
    if turns is None:
        turns = np.sort(np.concatenate([np.remainder(-np.array(PLACES), 1) + k for k in range(8)]))
    passed = -np.log(1 - turns / 10) * 20
    assert sense_of(passed, PLACES) == sense
    assert sense_of(passed, (0, 0.25, 0.5, 0.75)) == 0
    assert sense_of(passed[:6], PLACES) == 0


def folder_of(tmp_path, changed, *, lamp="off"):
    trace = trace_of()
    (tmp_path / "traces").mkdir(parents=True)
    rows = "\n".join(f"{INTERVAL_S * k:.4f},{value:.4f}" for k, value in enumerate(trace.voltage_v))
    (tmp_path / "traces" / "1.csv").write_text(f"time [s],voltage [V]\n{rows}\n")
    (tmp_path / "readings.csv").write_text(
        f"pressure [Pa],speed [rpm],trace,lamp,changed\n0.5,57,,on,\n0.5,,traces/1.csv,{lamp},{changed}\n"
    )
    return tmp_path


def test_a_row_with_a_trace_and_moments_is_a_run_of_the_experiment(tmp_path, make_bench_text):
    folder = folder_of(tmp_path, "lamp off at 20 s; envelope 22 degC at 110 s; envelope -20 degC at 150 s")
    text = make_bench_text(
        tachometer={"marks": 4, "mark_places": list(PLACES)}, gauge={"kind": "display", "transfer_uncertainty": "5 %"}
    )
    (folder / "bench.toml").write_text(text)
    experiment = read_experiment(folder)
    assert list(experiment.runs) == [1] and not experiment.traces
    assert experiment.readings["condition"][1].startswith("run: lamp 100 to 0 %, envelope")
    assert not experiment.readings["used"][1]


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ("lamp off at 50 s; lamp on at 20 s", "in the order in which they were made"),
        ("lamp off at 12", "write the time in seconds"),
        ("lamp 300 % at 12 s", "not a share of the lamp between 0 and 2"),
        ("envelope -300 degC at 12 s", "below absolute zero"),
        ("envelope 2000 degC at 12 s", "above 1500 K"),
        ("lamp dim at 12 s", "does not say what the lamp or the envelope was set to"),
        ("lamp off at 12 s; cleaned the pivot", "has no time, and the other changes have one"),
    ],
)
def test_invalid_changes_are_refused(changed, said):
    with pytest.raises(InputError, match=said):
        parse_moments(changed)


def test_a_change_after_the_end_and_a_trace_without_pulses_are_refused():
    with pytest.raises(InputError, match="the trace ends at 240 s"):
        run_of_trace(trace_of(), 4, parse_moments("lamp off at 900 s"))
    flat = Trace(0.01 * np.random.default_rng(1).standard_normal(20_000), INTERVAL_S)
    with pytest.raises(InputError, match="no pulses stand out"):
        run_of_trace(flat, 4, parse_moments("lamp off at 20 s"))


def test_free_text_states_no_changes():
    assert parse_moments("lamp off, then envelope to -20 degC") == ()
    assert parse_moments("") == ()
    assert parse_moments("lamp off 12 s before")[0].time_s == -12
