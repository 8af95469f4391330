"""From an experiment folder to the answer in three sentences."""

import numpy as np
import pytest

from edgewind.evidence import find, sweep_data
from edgewind.signals import read_experiment

RISING = np.linspace(0.6, 4.4, 16)


@pytest.fixture
def found(tmp_path, make_bench_text):
    """Return findings from speeds (rpm) at voltages of a gauge with 1 mTorr at 2 V and a decade per volt."""

    def make(volts, speeds, header="gauge [V],speed [rpm],speed uncertainty [rpm],lamp\n", lamp="on", **changes):
        gauge = {"signal_low": "0.5 V"} | changes.pop("gauge", {})
        (tmp_path / "bench.toml").write_text(make_bench_text(gauge=gauge, **changes), encoding="utf-8")
        rows = "".join(f"{v:.4f},{s:.3f},1,{lamp}\n" for v, s in zip(volts, speeds, strict=True))
        (tmp_path / "readings.csv").write_text(header + rows, encoding="utf-8")
        return find(read_experiment(tmp_path))

    return make


def balance(volts, place_v=2.6, top=300.0):
    """A curve with its maximum at a voltage, with seeded noise of one turn a minute."""
    x = 10 ** (np.asarray(volts) - place_v)
    return top * 4 * x / (1 + x) ** 2 + np.random.default_rng(4).standard_normal(len(volts))


def test_a_maximum_is_found_and_stated(found):
    findings = found(RISING, balance(RISING))
    optimum, knudsen = findings.optimum, findings.knudsen
    assert optimum.found
    true_pa = 10**0.6 * 101.325 / 760
    assert optimum.interval_pa[0] < true_pa < optimum.interval_pa[1]
    first, second, third, *_ = findings.answer
    assert first.startswith("The rotor is fastest at 0.5") and first.endswith("from 16 readings.")
    assert "a 90 % interval of" in first and "mTorr" in first and "rpm" in first
    assert second.startswith("There the mean free path is ") and "against a vane width of 12 mm" in second
    assert f"in the {knudsen.regime} regime." in second
    assert third.startswith("Of the candidates judged, ruled out as the main drive are light pressure")
    assert third.endswith("; the numbers are given below.")


@pytest.mark.parametrize(
    ("volts", "speeds", "reason", "said"),
    [
        (
            RISING,
            40 * RISING,
            "peak at the high edge",
            "the speed is still rising towards the highest pressure measured",
        ),
        (
            RISING,
            200 - 40 * RISING,
            "peak at the low edge",
            "the speed is still rising towards the lowest pressure measured",
        ),
        (RISING, np.full(16, 100.0), "flat within noise", "the speed does not change by more than its noise"),
        (RISING[:3], [100, 200, 100], "too few readings", "there are too few usable readings"),
    ],
)
def test_without_a_maximum_the_answer_says_so_and_why(found, volts, speeds, reason, said):
    noise = np.random.default_rng(5).standard_normal(len(volts))
    findings = found(volts, np.asarray(speeds) + noise)
    assert (findings.optimum.found, findings.optimum.reason, findings.knudsen) == (False, reason, None)
    first, second, *_ = findings.answer
    assert first.startswith(f"These {len(volts)} readings do not show a pressure of greatest speed: {said}")
    assert first.endswith(f"({reason}).")
    assert second == "Without that pressure no Knudsen number can be stated."


def test_an_experiment_without_a_usable_reading_has_findings(found):
    findings = found(RISING, balance(RISING), lamp="off")
    assert findings.optimum.reason == "too few readings"
    assert findings.answer[0].startswith("These 0 readings do not show")
    assert (findings.budget, findings.budget_line) == ((), None)


def test_the_budget_is_that_of_the_fastest_reading_in_descending_order(found):
    speeds = balance(RISING)
    findings = found(RISING, speeds, gauge={"voltage_per_decade": "1.00(1) V"})
    assert findings.budget_line == 2 + int(np.argmax(speeds))
    sizes = [line.relative_u for line in findings.budget]
    assert sizes == sorted(sizes, reverse=True)
    assert {line.name for line in findings.budget} == {"transfer function", "voltage per decade", "voltage noise"}
    by_name = {line.name: line for line in findings.budget}
    assert by_name["transfer function"].relative_u == pytest.approx(0.05)
    assert by_name["voltage noise"].relative_u == pytest.approx(np.log(10) * 0.002)
    decades = abs(RISING[np.argmax(speeds)] - 2)
    assert by_name["voltage per decade"].relative_u == pytest.approx(0.01 * np.log(10) * decades, rel=1e-3)


def test_the_curve_uses_the_common_uncertainty_of_the_fastest_reading(found):
    findings = found(RISING, balance(RISING))
    data = sweep_data(findings.experiment.used)
    assert data.size == 16
    assert data.common_log_pressure_u == pytest.approx(0.05)
    assert data.speed_u_rad_s == pytest.approx(2 * np.pi / 60)


def test_a_rotor_that_turns_backwards_has_an_optimum(found):
    findings = found(RISING, -balance(RISING))
    assert findings.optimum.found
    assert findings.optimum.speed_rad_s < 0


def test_every_interval_has_the_level_of_the_study(found):
    findings = found(RISING, balance(RISING), study={"level": 0.68})
    assert findings.optimum.level == findings.knudsen.level == 0.68
    assert "a 68 % interval of" in findings.answer[0]


def test_the_same_folder_gives_the_same_findings(found):
    one, other = found(RISING, balance(RISING)), found(RISING, balance(RISING))
    assert one.answer == other.answer
    assert one.knudsen == other.knudsen
    assert one.mechanisms == other.mechanisms
