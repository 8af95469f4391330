"""Limits: exceeding one ends a sweep with lamp and valve off, at the bench and not only in the program."""

import pytest

from edgewind.bench import parse_bench
from edgewind.bench.limits import LimitsSection
from edgewind.live import InterlockError, SweepRequest
from edgewind.live.interlocks import Observation, crossed


def test_each_limit_is_enforced():
    limits = LimitsSection.model_validate({"pressure_above": "10 Pa", "temperature_above": "60 degC"})
    assert crossed(limits, Observation(0.0, "5", 9.9, 9.9)) is None
    assert "the pressure is 10.1 Pa" in crossed(limits, Observation(0.0, "5", 10.1, 9.0))
    assert "the pressure is 10.1 Pa" in crossed(limits, Observation(0.0, "5", 9.0, 10.1))  # as indicated
    assert "over its range" in crossed(limits, Observation(0.0, "9", None, None, "over-range"))
    assert crossed(limits, Observation(0.0, "0", None, None, "under-range")) is None
    assert "61 degC" in crossed(limits, Observation(0.0, "5", 1.0, 1.0, "", 334.15))
    assert crossed(None, Observation(0.0, "9", None, None, "over-range")) is None
    lenient = LimitsSection.model_validate({"gauge_over_range": False})
    assert crossed(lenient, Observation(0.0, "9", None, None, "over-range")) is None


def run(bench, folder, target, request, when_settled=lambda: None):
    done = []

    def during(sweep, event):
        if event.data.get("phase") == "settling" and sweep.status().step.number == 2 and not done:
            done.append(True)
            when_settled()

    sweep = bench.run(folder, target, request, during)
    return sweep.status(), sweep.history()


def test_a_pressure_rise_from_outside_the_sweep_stops_it(bench, make_folder, tmp_path):
    folder = make_folder(lambda text: text.replace('pressure_above = "40 Pa"', 'pressure_above = "6 Pa"'))
    status, history = run(
        bench, folder, tmp_path / "lab.book", SweepRequest((1.0, 1.5, 2.0)), lambda: bench.tell("valve", "VOLT 8")
    )
    assert status.phase == "failed"
    assert "limits.pressure_above is 6 Pa" in status.problem
    assert [event.kind for event in history if event.kind in ("interlock", "safe", "end")] == [
        "safe", "interlock", "safe", "end",
    ]  # fmt: skip
    assert bench.is_safe()


def test_a_temperature_above_the_limit_stops_the_sweep(bench, make_folder, tmp_path):
    folder = make_folder(lambda text: text.replace('temperature_above = "60 degC"', 'temperature_above = "20 degC"'))
    status, _ = run(bench, folder, tmp_path / "lab.book", SweepRequest((1.0,)))
    assert status.phase == "failed" and "limits.temperature_above is 20 degC" in status.problem
    assert bench.is_safe()


def test_a_gauge_over_its_range_stops_the_sweep(bench, make_folder, tmp_path):
    folder = make_folder(lambda text: text.replace('signal_high = "7.5 V"', 'signal_high = "5.6 V"'))
    status, _ = run(
        bench, folder, tmp_path / "lab.book", SweepRequest((0.5, 1.0, 1.5)), lambda: bench.tell("valve", "VOLT 8")
    )
    assert status.phase == "failed" and "the gauge is over its range" in status.problem
    assert bench.is_safe()


def test_an_error_of_the_program_ends_in_the_safe_state(bench, folder, tmp_path, monkeypatch):
    sweep = bench.prepare(folder, tmp_path / "lab.book", SweepRequest((1.0,)))
    monkeypatch.setattr(sweep._steps, "settle", lambda *_: 1 / 0)
    monkeypatch.setattr("threading.excepthook", lambda *_: None)
    sweep.start()
    assert sweep.join(240)
    assert sweep.status().phase == "failed" and "ZeroDivisionError" in sweep.status().problem
    sweep.close()
    assert bench.is_safe()


def test_the_valve_is_never_set_outside_its_range_or_beyond_the_limit(bench, folder):
    described = parse_bench((folder / "bench.toml").read_text().replace('valve_above = "9 V"', 'valve_above = "6 V"'))
    with bench.connect(described) as instruments:
        for voltage in (-0.1, 6.01, 8.9, 20.0, float("nan")):
            with pytest.raises(InterlockError, match="may be set from 0 to 6 V"):
                instruments.valve.set(voltage)
        assert instruments.valve.set(0.0) == 0.0
        instruments.make_safe()


def test_a_lamp_that_cannot_be_switched_off_is_reported_prominently(bench, make_folder, tmp_path):
    folder = make_folder(
        lambda text: text.replace('off = "OUTPut OFF"\nread = "OUTPut?"', 'off = "*CLS"\nread = "OUTPut?"')
    )
    text = (folder / "bench.toml").read_text()
    assert 'off = "*CLS"' in text
    sweep = bench.prepare(folder, tmp_path / "lab.book", SweepRequest((1.0,)))
    sweep.subscribe(lambda event: sweep.stop() if event.data.get("phase") == "settling" else None)
    sweep.start()
    assert sweep.join(240)
    status = sweep.status()
    sweep.close()
    assert "SWITCH IT OFF BY HAND: lamp off" in status.problem
    bench.clock.sleep(60.0)
    assert bench.state()["valve"] < 0.5  # the valve was closed all the same
