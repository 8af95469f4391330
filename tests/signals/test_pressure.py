"""Pressures from volts with an uncertainty, and a flag outside the range of the gauge."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgewind.errors import InputError
from edgewind.signals import pressure_from_display, pressure_from_volts

MTORR = 101.325 / 760
LINEAR = {
    "kind": "linear",
    "scale": "10 mTorr/V",
    "signal_low": "0 V",
    "signal_high": "10 V",
    "noise": "3 mV",
    "zero_uncertainty": "4 mV",
    "transfer_uncertainty": "0.5 %",
}


def test_log_linear_volts_by_hand(make_bench):
    """2 V is 1 mTorr and a volt is a decade."""
    found = pressure_from_volts([2.0, 3.0, 4.5], make_bench())
    assert found.pressure_pa == pytest.approx(MTORR * np.array([1, 10, 10**2.5]))
    assert found.flags == ("", "", "")
    assert found.log_u == pytest.approx(np.log(10) * 0.002)
    assert found.log_u_common == pytest.approx(0.05)


def test_a_single_voltage_is_one_reading(make_bench):
    assert pressure_from_volts(2.0, make_bench()).pressure_pa.shape == (1,)


@pytest.mark.parametrize(("volts", "flag"), [(0.9, "under-range"), (1.0, ""), (6.0, ""), (6.1, "over-range")])
def test_a_voltage_outside_the_signal_range_gives_a_flag_and_no_pressure(make_bench, volts, flag):
    found = pressure_from_volts(volts, make_bench())
    assert found.flags == (flag,)
    for numbers in (found.pressure_pa, found.log_u, found.log_u_common):
        assert np.isnan(numbers[0]) == bool(flag)


def test_a_linear_output_within_the_noise_of_its_zero_is_under_range(make_bench):
    """Noise 3 mV and zero 4 mV make 5 mV; below three times that, the voltage says only that the pressure is small."""
    found = pressure_from_volts([-0.1, 0.0, 1e-6, 0.014, 0.016, 1.0], make_bench(gauge=LINEAR))
    assert found.flags == ("under-range",) * 4 + ("", "")


def test_a_voltage_that_is_missing_is_not_a_number(make_bench):
    found = pressure_from_volts([np.nan, 2.0], make_bench())
    assert np.isnan(found.pressure_pa[0]) and found.flags[0]


def test_a_falling_table_gives_high_pressures_at_low_volts(make_bench):
    gauge = {
        "kind": "table",
        "points": [["1 V", "100 Pa"], ["2 V", "10 Pa"], ["3 V", "1 Pa"]],
        "signal_low": "0.5 V",
        "signal_high": "3.5 V",
        "transfer_uncertainty": "5 %",
    }
    found = pressure_from_volts([0.4, 0.9, 1.5, 3.2, 3.6], make_bench(gauge=gauge))
    assert found.flags == ("over-range", "over-range", "", "under-range", "under-range")


def test_a_voltage_above_the_last_point_of_a_rising_table_is_over_range(make_bench):
    gauge = {
        "kind": "table",
        "points": [["1 V", "1 Pa"], ["2 V", "10 Pa"]],
        "signal_low": "0.5 V",
        "signal_high": "3.5 V",
        "transfer_uncertainty": "5 %",
    }
    found = pressure_from_volts([0.7, 1.5, 3.2], make_bench(gauge=gauge))
    assert found.flags == ("under-range", "", "over-range")


@given(st.lists(st.floats(-5, 15), min_size=1, max_size=20))
def test_every_reading_has_a_positive_pressure_or_a_flag(make_bench, volts):
    for bench in (make_bench(), make_bench(gauge=LINEAR)):
        found = pressure_from_volts(volts, bench)
        flagged = np.array([bool(flag) for flag in found.flags])
        assert np.all(np.isnan(found.pressure_pa[flagged]))
        assert np.all(found.pressure_pa[~flagged] > 0)
        assert np.all(np.isfinite(found.log_u[~flagged]))


def test_budget_lines_add_up_in_quadrature(make_bench):
    """Source: JCGM 100:2008, eq. 12, for a product of factors."""
    bench = make_bench(gas={"species": "He"}, gauge={"gas_factor": "1.6 +/- 0.1", "resolution": "5 mV"})
    found = pressure_from_volts([2.0, 4.0], bench)
    for common, total in ((False, found.log_u), (True, found.log_u_common)):
        lines = [line.log_u for line in found.budget if line.common is common]
        assert np.sqrt(sum(line**2 for line in lines)) == pytest.approx(total)
    assert found.log_u_common == pytest.approx(np.hypot(0.05, 0.1 / 1.6))


def test_gas_factor_multiplies_the_pressure(make_bench):
    true = pressure_from_volts(3.0, make_bench(gas={"species": "He"}, gauge={"gas_factor": "1.6 +/- 0.1"}))
    assert true.pressure_pa == pytest.approx(1.6 * 10 * MTORR)


def test_a_comparison_corrects_the_pressure_and_replaces_the_transfer_function(make_bench):
    """``p = p_ind * factor * (p_ind / pivot)^slope``: at ten times the pivot, 0.1 adds a tenth of a decade."""
    correction = {"factor": "1.20 +/- 0.03", "slope": "0.10 +/- 0.01", "pivot": "1 mTorr"}
    found = pressure_from_volts([2.0, 3.0], make_bench(gauge={"correction": correction}))
    assert found.pressure_pa == pytest.approx(MTORR * np.array([1.2, 12 * 10**0.1]))
    assert "transfer function" not in {line.name for line in found.budget}
    assert found.log_u_common == pytest.approx([0.025, np.hypot(0.025, 0.01 * np.log(10))])


def test_uncertainty_of_a_linear_gauge_matches_draws(make_bench):
    """First order in ``ln p`` against a Monte Carlo of noise, zero and scale, seeded."""
    random = np.random.default_rng(5)
    volts = 0.5 + random.normal(0, 0.003, 100_000) - random.normal(0, 0.004, 100_000)
    drawn = np.log(volts * (1 + random.normal(0, 0.005, 100_000)))
    found = pressure_from_volts(0.5, make_bench(gauge=LINEAR))
    assert np.hypot(found.log_u, found.log_u_common)[0] == pytest.approx(drawn.std(), rel=0.02)


# Displays


def test_a_displayed_pressure_has_gas_factor_and_transfer_uncertainty_applied(make_bench):
    bench = make_bench(
        gas={"species": "He"},
        gauge={"kind": "display", "transfer_uncertainty": "10 %", "gas_factor": "1.6 +/- 0.08"},
    )
    found = pressure_from_display([1.0, 2.0], [0.01, 0.02], bench)
    assert found.pressure_pa == pytest.approx([1.6, 3.2])
    assert found.log_u == pytest.approx([0.01, 0.02])
    assert found.log_u_common == pytest.approx(np.hypot(0.10, 0.05))


def test_a_display_out_of_range_gives_a_flag(make_bench):
    bench = make_bench(gauge={"kind": "display", "transfer_uncertainty": "10 %"})
    found = pressure_from_display([0.0, 1.0, np.inf], 0.01, bench)
    assert found.flags == ("under-range", "", "over-range")
    assert np.isnan(found.pressure_pa[[0, 2]]).all()


def test_thermal_transpiration_is_corrected_for_a_warm_gauge_behind_a_tube(make_bench):
    """A gauge at 100 degC on a tube of 4 mm reads 12 % high in nitrogen at 0.1 Pa, and true at 1 kPa."""
    display = {"kind": "display", "principle": "diaphragm", "transfer_uncertainty": "1 %"}
    plain = make_bench(gauge=display, gas={"species": "N2"})
    warm = make_bench(gauge=display | {"temperature": "100 degC", "tube_diameter": "4 mm"}, gas={"species": "N2"})
    shown = np.array([0.1, 1000.0])
    found = pressure_from_display(shown, np.zeros(2), warm)
    assert shown / found.pressure_pa == pytest.approx([1.12, 1.0], abs=0.005)
    (line,) = [line for line in found.budget if line.name == "thermal transpiration"]
    assert line.common and 0.008 < line.log_u[0] < 0.02 and line.log_u[1] < 1e-3
    alone = pressure_from_display(shown, np.zeros(2), plain)
    assert alone.pressure_pa == pytest.approx(shown)
    assert found.log_u_common == pytest.approx(np.hypot(alone.log_u_common, line.log_u))


@pytest.mark.parametrize("key", ["temperature", "tube_diameter"])
def test_temperature_and_tube_of_a_gauge_must_both_be_stated(make_bench, key):
    given = {"temperature": "45 degC", "tube_diameter": "4 mm"}
    with pytest.raises(InputError, match="thermal transpiration needs both"):
        make_bench(gauge={"kind": "display", "principle": "diaphragm", "transfer_uncertainty": "1 %", key: given[key]})
