"""The voltage at the simulated gauge is the inverse of what `signals.pressure` makes of a voltage."""

from __future__ import annotations

import numpy as np
import pytest
from desk import Desk, plain_bench
from hypothesis import given
from hypothesis import strategies as st

from edgewind.bench import GAUGES
from edgewind.bench.virtual import VirtualSection
from edgewind.signals import pressure_from_display, pressure_from_volts
from edgewind.virtual import GaugeOutput
from edgewind.virtual.gauge_output import indicated_log_pressure

COMMON = {"signal_low": "1 V", "signal_high": "6 V", "transfer_uncertainty": "5 %"}
KINDS = {
    "log-linear": {"reference_pressure": "1 Pa", "reference_voltage": "3 V", "voltage_per_decade": "0.8 V"},
    "linear": {"scale": "2 Pa/V", "zero": "0.1 V"},
    "table": {"points": [["1 V", "0.01 Pa"], ["2 V", "0.1 Pa"], ["4 V", "3 Pa"], ["6 V", "50 Pa"]]},
    "falling table": {"points": [["1 V", "50 Pa"], ["2 V", "3 Pa"], ["4 V", "0.1 Pa"], ["6 V", "0.01 Pa"]]},
    "ion-current": {"sensitivity": "10 1/Torr", "emission_current": "4 mA", "current_per_voltage": "1e-4 A/V"},
}


def bench_with(make_bench, name, gas="N2", **more):
    kind = name.removeprefix("falling ")
    return make_bench(gas={"species": gas}, gauge={"kind": kind} | COMMON | KINDS[name] | more)


def test_every_kind_of_gauge_with_a_voltage_is_tested():
    assert {name.removeprefix("falling ") for name in KINDS} == GAUGES.keys() - {"display"}


@pytest.mark.parametrize("name", KINDS)
@given(share=st.floats(0.001, 0.999))
def test_pressure_to_voltage_and_back_restores_the_pressure(make_bench, name, share):
    bench = bench_with(make_bench, name)
    volts = 1 + 5 * share
    pressure = pressure_from_volts([volts], bench).pressure_pa
    assert GaugeOutput(bench).volts(pressure) == pytest.approx([volts], abs=1e-9)


def test_output_includes_gas_factor_correction_and_error_of_the_gauge(make_bench):
    correction = {"factor": 1.2, "slope": 0.05, "pivot": "2 Pa"}
    bench = bench_with(make_bench, "ion-current", "He", correction=correction)
    pressure = np.array([3.0, 5.0, 9.0])
    assert pressure_from_volts(GaugeOutput(bench).volts(pressure), bench).pressure_pa == pytest.approx(pressure)
    low = pressure_from_volts(
        GaugeOutput(bench_with(make_bench, "linear"), 0.97).volts(pressure), bench_with(make_bench, "linear")
    )
    assert low.pressure_pa[1:] == pytest.approx(0.97 * pressure[1:])


@pytest.mark.parametrize("name", KINDS)
def test_a_voltage_outside_the_range_is_flagged_by_the_study(make_bench, name):
    bench = bench_with(make_bench, name)
    readings = pressure_from_volts(GaugeOutput(bench).volts([1e-9, 1e6]), bench)
    assert readings.flags == ("under-range", "over-range")
    assert np.isnan(readings.pressure_pa).all()


def test_voltmeter_shows_noise_and_resolution(plain_desk):
    """The invented gauge: 4 mV of noise in steps of 1 mV, at 5.000 V for 1 Pa."""
    plain_desk.ask("valve", "VOLT 5;OUTP ON")
    plain_desk.clock.advance(200)
    found = np.array([plain_desk.number("gauge", "MEAS:VOLT:DC?") for _ in range(400)])
    assert np.mean(found) == pytest.approx(5 + np.log10(1.00184), abs=0.001)
    assert np.std(found) == pytest.approx(0.004, rel=0.15)
    assert np.allclose(found * 1000, np.rint(found * 1000))


def test_the_gauge_output_lags(plain_desk):
    """First order: 0.2 s behind, as it follows a pressure that falls with 4 s."""
    plain_desk.clock.advance(4.0)
    state = plain_desk.apparatus.state()
    assert state["gauge"] / state["pressure"] == pytest.approx(4 / (4 - 0.2), rel=0.002)


def test_fetch_without_a_reading_is_an_error(plain_desk):
    """SCPI-1999, volume 2, FETCh?: -230 where there is none; READ? is INITiate and FETCh?."""
    plain_desk.ask("gauge", "FETC?")
    assert plain_desk.errors("gauge") == [-230]
    before = plain_desk.clock.monotonic()
    assert 2 < float(plain_desk.ask("gauge", "INIT;FETC?")) < 8
    assert plain_desk.clock.monotonic() > before
    plain_desk.ask("gauge", "INIT;INIT")
    assert plain_desk.errors("gauge") == [-213]


def test_a_display_is_read_as_a_pressure(make_bench):
    bench = make_bench(gauge={"kind": "display", "transfer_uncertainty": "5 %"})
    desk = Desk(
        bench.model_copy(
            update={"virtual": VirtualSection(start_pressure="1.2345 Pa", outgassing="1.85175e-3 Pa*m^3/s")}
        )
    )
    assert desk.ask("gauge", "MEAS:PRES?") == b"+1.230000000E+00"
    desk.ask("gauge", "MEAS:VOLT?")
    desk.ask("scope", "ACQ:SOUR CHAN2;:INIT")
    assert desk.errors("gauge") == [-241] and desk.errors("scope") == [-241]
    volts = Desk(plain_bench())
    volts.ask("gauge", "MEAS:PRES?")
    assert volts.errors("gauge") == [-241]


def test_the_virtual_gauge_shows_the_transpiration_that_the_analysis_corrects(make_bench):
    display = {"kind": "display", "principle": "diaphragm", "transfer_uncertainty": "1 %"}
    bench = make_bench(gauge=display | {"temperature": "45 degC", "tube_diameter": "4 mm"})
    true = np.geomspace(0.01, 100.0, 9)
    shown = np.exp(indicated_log_pressure(true, bench))
    assert np.all(shown > true)
    assert pressure_from_display(shown, np.zeros(9), bench).pressure_pa == pytest.approx(true, rel=2e-4)
