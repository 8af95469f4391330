"""Steps from the voltage of the gauge to the pressure of the gas, as sentences."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from edgewind.formatting import format_measured, format_number
from edgewind.units import Measured

if TYPE_CHECKING:
    from edgewind.bench import Bench
    from edgewind.bench.gauges import Gauge


def gauge_chain(bench: Bench) -> tuple[str, ...]:
    """Return one sentence for each step from voltage to pressure."""
    gauge = bench.gauge
    return (_kind(gauge), _transfer(gauge), _correction(bench), _gas_factor(bench), *_transpiration(bench))


_ARTICLE = {
    "diaphragm": "A diaphragm gauge",
    "thermal-conductivity": "A thermal-conductivity gauge",
    "ionisation": "An ionisation gauge",
}


def _kind(gauge: Gauge) -> str:
    name = _ARTICLE[gauge.principle]
    if gauge.kind == "display":
        return f"{name}, read from its display."
    low, high = _of(gauge.signal_low, "V"), _of(gauge.signal_high, "V")
    return (
        f"{name} with a {gauge.kind} output, valid from {low} to {high}; a reading outside is flagged and has "
        "no pressure."
    )


def _transfer(gauge: Gauge) -> str:
    words = _TRANSFER.get(gauge.kind)
    said = words(gauge) if words else "Transfer function as stated in bench.toml"
    return f"{said}; standard uncertainty {100 * gauge.transfer_uncertainty.value:.2g} %."


def _log_linear(gauge: Any) -> str:
    return (
        f"Transfer function: {_of(gauge.reference_pressure, 'Pa')} at {_of(gauge.reference_voltage, 'V')}, and a "
        f"decade of pressure for every {_of(gauge.voltage_per_decade, 'V')}"
    )


def _linear(gauge: Any) -> str:
    return f"Transfer function: {_of(gauge.scale, 'Pa/V')} above a zero of {_of(gauge.zero, 'V')}"


def _ion_current(gauge: Any) -> str:
    return (
        f"Transfer function: ion current of {_of(gauge.current_per_voltage, 'A/V')} above a zero of "
        f"{_of(gauge.zero, 'V')}, over a sensitivity of {_of(gauge.sensitivity, '1/Pa')} and an emission current of "
        f"{_of(gauge.emission_current, 'A')}"
    )


def _table(gauge: Any) -> str:
    (first_v, first_pa), (last_v, last_pa) = gauge.points[0], gauge.points[-1]
    return (
        f"Transfer function: the table of {len(gauge.points)} points in bench.toml, from {format_number(first_v)} V, "
        f"{format_number(first_pa)} Pa to {format_number(last_v)} V, {format_number(last_pa)} Pa, interpolated smoothly"
    )


_TRANSFER: dict[str, Callable[[Any], str]] = {
    "log-linear": _log_linear,
    "linear": _linear,
    "ion-current": _ion_current,
    "table": _table,
    "display": lambda gauge: "The displayed pressure is used",
}


def _correction(bench: Bench) -> str:
    correction = bench.gauge.correction
    if correction is None:
        return "Correction: none; bench.toml states no comparison with a reference gauge."
    source = f" ({correction.source})" if correction.source else ""
    slope = (
        f", times (indicated pressure / {_of(correction.pivot, 'Pa')}) to the power {_of(correction.slope)}"
        if correction.slope.value or correction.slope.u
        else ""
    )
    return (
        f"Correction from a comparison with a reference gauge{source}: times {_of(correction.factor)}{slope}. Its "
        "uncertainty replaces that of the transfer function."
    )


def _gas_factor(bench: Bench) -> str:
    gas = bench.gas.gas.name
    if bench.gauge.principle == "diaphragm" and bench.gauge.gas_factor is None:
        return f"Gas factor: 1, since a diaphragm gauge reads the same in every gas; here {gas}."
    origin = "as stated in bench.toml" if bench.gauge.gas_factor is not None else "from published sensitivities"
    if bench.gauge.gas_factor is None and bench.gas_factor == Measured(1.0):
        origin = "since it is calibrated in nitrogen or air"
    return f"Gas factor for {gas}: {_of(bench.gas_factor)}, {origin}."


def _transpiration(bench: Bench) -> tuple[str, ...]:
    warm, tube = bench.gauge.temperature, bench.gauge.tube_diameter
    if warm is None or tube is None:
        return ()
    chamber = bench.envelope_temperature
    thin = 100 * (math.sqrt(warm.value / chamber.value) - 1)
    return (
        f"Thermal transpiration: the gauge is at {_of(warm, 'K')} behind a tube of {_of(tube, 'm')}, the chamber at "
        f"{_of(chamber, 'K')}. Its error, {thin:+.2g} % in the limit of thin gas and smaller in denser gas, is "
        "corrected.",
    )


def _of(measured: Measured, unit: str = "") -> str:
    return format_measured(measured.value, measured.u, unit)
