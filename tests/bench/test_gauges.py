"""Gauges: transfer functions, their inverses, and uncertainty budgets by hand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgewind.bench import GAUGES
from edgewind.errors import InputError

PASCAL_PER_MTORR = 101.325 / 760
COMMON = {"signal_low": "0 V", "signal_high": "10 V", "noise": "1 mV", "resolution": "2 mV"}
COMMON |= {"zero_uncertainty": "3 mV", "transfer_uncertainty": "5 %"}
POINTS = [["0.4 V", "0.5 mTorr"], ["1.0 V", "2 mTorr"], ["1.25 V", "10 mTorr"], ["2 V", "100 mTorr"]]
SETTINGS = {
    "linear": {"zero": "0.1 V", "scale": "10 mTorr/V"},
    "log-linear": {"reference_pressure": "1 Pa", "reference_voltage": "5 V", "voltage_per_decade": "1.00(2) V"},
    "table": {"points": POINTS},
    "ion-current": {
        "principle": "ionisation",
        "sensitivity": "10.0(5) 1/Torr",
        "emission_current": "4.00(4) mA",
        "current_per_voltage": "1e-6 A/V",
    },
}


@pytest.fixture
def gauge(make_bench):
    def make(kind, **settings):
        return make_bench(gauge={"kind": kind} | COMMON | SETTINGS[kind] | settings).gauge

    return make


def pressure(gauge, volts):
    return np.exp(gauge.indicated_log_pressure(np.atleast_1d(np.asarray(volts, dtype=float))))


def budget(gauge, volts):
    return {line.name: line for line in gauge.components(np.atleast_1d(np.asarray(volts, dtype=float)))}


# Transfer functions, by hand


def test_linear_gauge_multiplies_volts_above_its_zero(gauge):
    assert pressure(gauge("linear"), 2.1) == pytest.approx(20 * PASCAL_PER_MTORR)


def test_log_linear_gauge_gains_a_decade_a_step(gauge):
    assert pressure(gauge("log-linear"), [3.0, 5.0, 5.5]) == pytest.approx([0.01, 1.0, np.sqrt(10)])


def test_table_gauge_passes_through_its_points(gauge):
    found = pressure(gauge("table"), [0.4, 1.0, 1.25, 2.0])
    assert found == pytest.approx(np.array([0.5, 2, 10, 100]) * PASCAL_PER_MTORR)


def test_ion_gauge_matches_an_example_worked_by_hand(gauge):
    """``p = I_ion / (S I_emission)``: 2 V at 1 µA/V, over 10 1/Torr and 4 mA, is 5e-5 Torr, or 6.6661e-3 Pa."""
    assert pressure(gauge("ion-current"), 2.0) == pytest.approx(6.6661e-3, rel=1e-5)


@pytest.mark.parametrize(
    ("kind", "volts_of"),
    [
        ("linear", lambda p: 0.1 + p / (10 * PASCAL_PER_MTORR)),
        ("log-linear", lambda p: 5 + np.log10(p)),
        ("ion-current", lambda p: p / (101325 / 760) * 10 * 4e-3 / 1e-6),
    ],
)
@given(st.floats(1e-3, 10.0))
def test_volts_of_a_pressure_convert_back_to_it(kind, volts_of, make_bench, p):
    gauge = make_bench(gauge={"kind": kind} | COMMON | SETTINGS[kind]).gauge
    assert pressure(gauge, volts_of(p)) == pytest.approx(p, rel=1e-9)


def test_table_gauge_is_monotone_between_its_points(gauge):
    """Source: F. N. Fritsch and R. E. Carlson, Monotone piecewise cubic interpolation, SIAM J. Numer. Anal. 17, 238
    (1980).
    """
    assert np.all(np.diff(pressure(gauge("table"), np.linspace(0.4, 2.0, 1001))) > 0)


def test_a_table_of_two_points_is_a_straight_line_in_the_logarithm(gauge):
    two = gauge("table", points=[["1 V", "1 Pa"], ["3 V", "100 Pa"]])
    assert pressure(two, [1.5, 2.0]) == pytest.approx([np.sqrt(10), 10.0])


def test_a_table_gives_no_pressure_outside_its_points(gauge):
    assert np.all(np.isnan(gauge("table").indicated_log_pressure(np.array([0.39, 2.01]))))


def test_voltage_at_or_below_zero_gives_no_pressure(gauge):
    for kind, volts in (("linear", [0.1, 0.05, -3.0]), ("ion-current", [0.0, -1.0])):
        assert np.all(np.isnan(gauge(kind).indicated_log_pressure(np.array(volts))))


def test_a_display_gauge_converts_no_voltage(make_bench):
    gauge = make_bench(gauge={"kind": "display", "transfer_uncertainty": "10 %"}).gauge
    assert np.all(np.isnan(gauge.indicated_log_pressure(np.array([1.0, 2.0]))))


def test_only_a_falling_table_has_pressure_decreasing_with_voltage(gauge):
    assert all(gauge(kind).rises for kind in SETTINGS)
    assert not gauge("table", points=[["1 V", "10 Pa"], ["2 V", "1 Pa"]]).rises


# Uncertainty budgets, by hand


@pytest.mark.parametrize("kind", SETTINGS)
def test_slope_is_the_derivative_of_the_logarithm_of_pressure(gauge, kind):
    volts = np.array([0.7, 1.1, 1.6])
    step = 1e-4
    found = gauge(kind)
    rise = found.indicated_log_pressure(volts + step) - found.indicated_log_pressure(volts - step)
    assert found.log_slope(volts) == pytest.approx(rise / (2 * step), rel=1e-3)


def test_budget_of_a_linear_gauge_by_hand(gauge):
    """At 2.1 V with a zero of 0.1 V the slope is 1/(2 V): 1 mV of noise is 0.0005 in ``ln p``; a step of 2 mV is
    2 mV/sqrt(12) (JCGM 100:2008, F.2.2.1); 3 mV of zero is 0.0015.
    """
    lines = budget(gauge("linear"), 2.1)
    assert lines["voltage noise"].log_u == pytest.approx(0.0005)
    assert lines["voltage resolution"].log_u == pytest.approx(0.001 / np.sqrt(12))
    assert lines["zero of the gauge"].log_u == pytest.approx(0.0015)
    assert lines["transfer function"].log_u == pytest.approx(0.05)


def test_budget_of_a_log_linear_gauge_depends_on_pressure_only_by_its_slope(gauge):
    lines = budget(gauge("log-linear"), [2.0, 5.0, 7.0])
    assert lines["voltage noise"].log_u == pytest.approx(np.log(10) * 0.001)
    # 2 % of the voltage per decade is 2 % of the decades from the reference.
    assert lines["voltage per decade"].log_u == pytest.approx(np.log(10) * 0.02 * np.array([3, 0, 2]))


def test_budget_of_an_ion_gauge_adds_sensitivity_and_emission(gauge):
    lines = budget(gauge("ion-current"), 2.0)
    assert lines["sensitivity"].log_u == pytest.approx(0.05)
    assert lines["emission current"].log_u == pytest.approx(0.01)
    assert "electrometer" not in lines


@pytest.mark.parametrize("kind", SETTINGS)
def test_only_noise_and_resolution_are_independent_between_readings(gauge, kind):
    for name, line in budget(gauge(kind), [0.7, 1.1]).items():
        assert line.common == (name not in ("voltage noise", "voltage resolution"))
        assert line.log_u.shape == (2,)


# Invalid tables


@pytest.mark.parametrize(
    ("points", "said"),
    [
        ([["1 V", "1 Pa"], ["2 V", "3 Pa"], ["3 V", "2 Pa"]], "not monotone at pair 3 ('3 V', '2 Pa')"),
        ([["1 V", "1 Pa"], ["2 V", "3 Pa"], ["1.5 V", "4 Pa"]], "not monotone at pair 3"),
        ([["1 V", "1 Pa"], ["1 V", "3 Pa"]], "not monotone at pair 2"),
        ([["1 V", "1 Pa"], ["2 V", "1 Pa"]], "not monotone at pair 2"),
        ([["1 V", "1 Pa"]], "needs two pairs or more"),
        ([], "needs two pairs or more"),
        ("1 V, 1 Pa", "needs two pairs or more"),
        ([["1 V", "1 Pa"], ["2 V"]], "pair 2 of the calibration table is ['2 V']"),
        ([["1 V", "0 Pa"], ["2 V", "1 Pa"]], "pair 1 of the calibration table has the pressure '0 Pa'"),
        ([["1 V", "-1 Pa"], ["2 V", "1 Pa"]], "keep pressures above zero"),
        ([["1 V", "1 mm"], ["2 V", "1 Pa"]], "not a unit of pressure"),
        ([[1.0, "1 Pa"], ["2 V", "1 Pa"]], "'1.0' has no unit"),
    ],
)
def test_an_invalid_calibration_table_is_refused_with_its_place(gauge, points, said):
    with pytest.raises(InputError) as raised:
        gauge("table", points=points)
    assert said in str(raised.value)
    assert raised.value.key == "gauge.points"
    assert raised.value.line is not None


def test_a_new_kind_of_gauge_is_one_line_in_the_registry():
    assert set(GAUGES) == set(SETTINGS) | {"display"}
    for kind, model in GAUGES.items():
        assert model.model_fields["kind"].annotation.__args__ == (kind,)
