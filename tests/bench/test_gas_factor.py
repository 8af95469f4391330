"""Gas factors: what a gauge reads in a gas that it was not calibrated for."""

from types import SimpleNamespace

import pytest

from edgewind.bench import RELATIVE_SENSITIVITY, gas_factor
from edgewind.errors import InputError
from edgewind.gas import find_gas
from edgewind.units import Measured

ION = {
    "kind": "ion-current",
    "sensitivity": "10 1/Torr",
    "emission_current": "4 mA",
    "current_per_voltage": "1e-6 A/V",
    "signal_low": "0 V",
    "signal_high": "10 V",
    "transfer_uncertainty": "10 %",
}


@pytest.mark.parametrize(
    ("gas", "sensitivity"),
    [("N2", 1.00), ("He", 0.18), ("Ne", 0.31), ("Ar", 1.4), ("H2", 0.43), ("O2", 0.96), ("CO2", 1.4), ("H2O", 0.93)],
)
def test_relative_sensitivities_are_those_of_the_crc_handbook(gas, sensitivity):
    """Source: CRC Handbook of Chemistry and Physics, section 15, ionisation gauges, average of twelve experimenters,
    which may differ by 15 %.
    """
    assert RELATIVE_SENSITIVITY[gas] == sensitivity


def test_an_ion_gauge_in_helium_reads_less_than_a_fifth(make_bench):
    bench = make_bench(gas={"species": "He"}, gauge=ION)
    assert bench.gas_factor.value == pytest.approx(1 / 0.18)
    assert bench.gas_factor.relative == pytest.approx(0.15)


def test_sensitivities_of_a_mixture_add_by_mole_fraction(make_bench):
    """``1 / (0.9 * 0.18 + 0.1 * 0.31)``."""
    bench = make_bench(gas={"species": "0.9 He + 0.1 Ne"}, gauge=ION)
    assert bench.gas_factor.value == pytest.approx(1 / 0.193)


@pytest.mark.parametrize("gas", ["N2", "air"])
def test_an_ion_gauge_reads_true_in_the_gas_that_it_was_calibrated_in(make_bench, gas):
    assert make_bench(gas={"species": gas}, gauge=ION).gas_factor == Measured(1.0)


def test_a_diaphragm_reads_true_in_every_gas(make_bench):
    gauge = make_bench(gauge={"principle": "diaphragm"}).gauge
    for gas in ("He", "H2", "0.5 Ar + 0.5 CO2"):
        assert gas_factor(gauge, find_gas(gas)) == Measured(1.0)


def test_a_stated_gas_factor_takes_precedence(make_bench):
    bench = make_bench(gas={"species": "He"}, gauge=ION | {"gas_factor": "5.9(3)"})
    assert bench.gas_factor == Measured(5.9, pytest.approx(0.3))


def test_a_thermal_conductivity_gauge_needs_a_factor_outside_nitrogen_and_air(make_bench):
    with pytest.raises(InputError, match="reads differently in Ar, and its factor there is not known") as raised:
        make_bench(gas={"species": "Ar"})
    assert raised.value.key == "gauge.gas_factor"
    assert make_bench(gas={"species": "Ar"}, gauge={"gas_factor": "1.6 +/- 0.1"}).gas_factor.value == 1.6


def test_an_ion_gauge_in_a_gas_without_a_known_sensitivity_needs_a_factor(make_bench):
    with pytest.raises(InputError, match="factor there is not known"):
        make_bench(gas={"species": "0.9 N2 + 0.1 Kr"}, gauge=ION)


def test_sensitivities_agree_with_a_second_source_within_what_is_stated(published):
    """Source: R. L. Summers, Empirical observations on the sensitivity of hot cathode ionization type vacuum gages,
    NASA TN D-5285 (1969): Ar 1.2, Ne 0.23, CO2 1.4, O2 1.0, as a maker of residual gas analysers quotes it.
    """
    gauge = SimpleNamespace(gas_factor=None, principle="ionisation")
    for gas, theirs in (("Ar", 1.2), ("Ne", 0.23), ("CO2", 1.4), ("O2", 1.0)):
        found = gas_factor(gauge, find_gas(gas))
        published(f"ionisation sensitivity of {gas}", 1 / found.value, theirs, rel=1.4 * found.relative)
