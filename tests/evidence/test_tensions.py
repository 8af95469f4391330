"""Contradictions are reported as tensions, and consistent readings are not."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from edgewind.evidence import find_optimum, sweep_data
from edgewind.evidence.fit_check import SmoothMisfit
from edgewind.evidence.tensions import tensions_of_fit, tensions_of_readings
from edgewind.rotor.optimum import PeakPressure

PRESSURE = np.geomspace(0.1, 10, 12)
SPEED = 40 * PRESSURE / (1 + PRESSURE) ** 2


def readings(pressure, speed, **columns):
    size = len(pressure)
    table = {
        "line": range(2, 2 + size), "pressure_pa": pressure, "log_pressure_u": 0.01, "log_pressure_u_common": 0.05,
        "speed_rad_s": speed, "speed_u_rad_s": 0.05, "sweep": "", "time_s": np.nan, "speed_method": "typed",
    }  # fmt: skip
    return pd.DataFrame(table | columns)


def about(used):
    return [one.about for one in tensions_of_readings(used)]


def test_consistent_readings_raise_no_tension():
    days = np.concatenate([np.arange(12) * 120.0, 90_000 + np.arange(12) * 120.0])
    assert about(readings(np.tile(PRESSURE, 2), np.tile(SPEED, 2), time_s=days)) == []


def test_two_days_that_differ_are_a_tension_with_their_difference():
    days = np.concatenate([np.arange(12) * 120.0, 90_000 + np.arange(12) * 120.0])
    used = readings(np.tile(PRESSURE, 2), np.concatenate([SPEED, 1.3 * SPEED]), time_s=days)
    (tension,) = tensions_of_readings(used)
    assert tension.about == "two days that differ"
    assert "−23" in tension.why and "study each day" in tension.resolve


def test_a_wrong_number_of_marks_contradicts_typed_speeds():
    method = np.array(["typed", "edges"] * 12)
    used = readings(np.tile(PRESSURE, 2), np.tile(SPEED, 2), speed_method=method)
    assert about(used) == []
    used["speed_rad_s"] = np.where(method == "edges", 2.0, 1.0) * used["speed_rad_s"]
    assert about(used) == ["typed speeds and traces"]


def test_a_pressure_in_the_wrong_unit_is_named_by_its_number():
    used = readings(np.append(PRESSURE, 1333.0), np.append(SPEED, 9.0))
    (tension,) = tensions_of_readings(used)
    assert tension.about == "a pressure far from all others" and "Reading 13 has 1330 Pa" in tension.why


@pytest.fixture
def by_fit():
    return PeakPressure(found=True, pressure_pa=1.0, interval_pa=(0.9, 1.1))


def test_a_fit_consistent_with_its_priors_raises_no_tension(found, by_fit):
    assert tensions_of_fit(found, None, by_fit) == ()


def test_distant_optima_are_a_tension_and_near_ones_are_not(found, by_fit):
    curve = find_optimum(sweep_data(readings(PRESSURE, SPEED)))
    assert [one.about for one in tensions_of_fit(found, curve, by_fit)] == []
    far = by_fit.model_copy(update={"pressure_pa": 2.0, "interval_pa": (1.9, 2.1)})
    assert [one.about for one in tensions_of_fit(found, curve, far)] == ["optimum by the curve and by the fit"]


def test_pulled_unknowns_deviations_scatter_and_smooth_misfit_are_each_a_tension(found, by_fit):
    gauge = found.marginal("gauge")
    pulled = replace(found, marginals=tuple(replace(m, pull=2.5) if m is gauge else m for m in found.marginals))
    deviating = replace(found, deviations=found.deviations + 2.5)
    noisy = replace(found, p_stated=0.001)
    smooth = replace(found, smooth=SmoothMisfit(log_evidence=8.0, runs_p=0.01, autocorrelation=0.8))
    names = [[one.about for one in tensions_of_fit(each, None, by_fit)] for each in (pulled, deviating, noisy, smooth)]
    assert names[0] == ["true over indicated pressure"]
    assert {"thermal force of the gas", "drag of the gas", "heat of the gas"} <= set(names[1])
    assert names[2] == ["scatter of the readings"]
    assert names[3] == ["misfit that is smooth in pressure"]


def test_volts_under_a_pressure_title_are_a_tension(make_bench):
    """Every number within the output of the gauge; pressures over decades are not."""
    bench = make_bench()
    volts = np.linspace(2.1, 5.8, 12)
    used = readings(volts, SPEED, gauge_v=np.nan)
    (tension,) = tensions_of_readings(used, bench)
    assert tension.about == "pressures that look like volts" and "all lie within the output of the gauge" in tension.why
    assert tensions_of_readings(readings(volts, SPEED, gauge_v=3.0), bench) == ()
    assert "volts" not in str(tensions_of_readings(readings(PRESSURE, SPEED, gauge_v=np.nan), bench))
    display = make_bench(gauge={"kind": "display", "transfer_uncertainty": "5 %"})
    assert tensions_of_readings(used, display) == ()


def test_a_pressure_far_outside_the_gauge_is_named(make_bench):
    bench = make_bench()
    high = float(np.exp(bench.gauge.indicated_log_pressure(np.array([bench.gauge.signal_high.value])))[0])
    pressure = np.concatenate([PRESSURE[:-1], [20 * high]])
    found = tensions_of_readings(readings(pressure, SPEED, gauge_v=np.nan), bench)
    assert "a pressure outside the range of the gauge" in [one.about for one in found]
    assert "Reading 12" in found[0].why


@pytest.mark.parametrize(("factor", "words"), [(2.0, "twice"), (0.5, "half"), (4.0, "four times")])
def test_marks_counted_twice_or_half_are_a_tension(factor, words):
    speed = SPEED.copy()
    speed[5] *= factor
    (tension,) = tensions_of_readings(readings(PRESSURE, speed))
    assert tension.about == "speeds at a whole factor from those beside them"
    assert "Reading 6" in tension.why and words in tension.why
    speed[5] = SPEED[5] * 1.4  # scatter is not a tension
    assert about(readings(PRESSURE, speed)) == []


def test_half_the_speed_near_a_reversal_raises_no_tension():
    """Speeds of an invented rotor that unequal accommodation drives backwards at low pressures; without their signs the
    third looks like one whose marks were counted as half.
    """
    pressure = np.array([0.269, 0.415, 0.642, 1.59, 2.55, 4.32, 6.91, 11.3, 17.8, 28.0, 43.1, 68.7])
    speed = np.array([-0.750, -0.627, -0.313, 0.504, 1.123, 1.637, 1.977, 2.039, 1.942, 1.695, 1.462, 1.191])
    assert about(readings(pressure, speed)) == []
    assert about(readings(pressure, np.abs(speed))) == ["speeds at a whole factor from those beside them"]
