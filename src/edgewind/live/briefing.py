"""The briefing before a start: what will move, and the cautions for it."""

from __future__ import annotations

from edgewind.bench import Bench
from edgewind.cautions import cautions, hazards_of_gas
from edgewind.formatting import format_number
from edgewind.live.run_plan import RunPlan

# Temperatures of an envelope, K, beyond which it counts as chilled or warmed on purpose.
_COLD_BELOW_K, _WARM_ABOVE_K = 288.0, 303.0


def moves_of(bench: Bench) -> tuple[str, ...]:
    """Return what a sweep with this bench moves, in words; empty if everything is operated by hand."""
    section, limits = bench.instruments, bench.limits
    found = []
    if section is not None and section.valve is not None and limits is not None and limits.pressure_above is not None:
        valve = section.valve
        most = valve.high.value if limits.valve_above is None else min(valve.high.value, limits.valve_above.value)
        found.append(
            f"The valve at {valve.address} will be set between {valve.low.value:g} V and {most:g} V, and switched off "
            f"at the end or when the gauge shows more than {format_number(limits.pressure_above.value, 3)} Pa."
        )
    if section is not None and section.lamp is not None:
        found.append(f"The lamp at {section.lamp.address} will be switched on, and off at the end.")
    if section is not None and section.thermostat is not None:
        low, high = (end.value - 273.15 for end in (section.thermostat.low, section.thermostat.high))
        found.append(
            f"The thermostat at {section.thermostat.address} will be set between {low:g} and {high:g} degC where the "
            "envelope is changed in a run, and switched off at the end."
        )
    return tuple(found)


def cautions_of(bench: Bench, run: RunPlan | None = None) -> tuple[str, ...]:
    """Return the cautions for recording with this bench, and for what a run changes."""
    hazards = ["glass", "pump", "lamp"]
    if bench.instruments is not None and bench.instruments.valve is not None:
        hazards.append("valve")
    if bench.instruments is not None and bench.instruments.thermostat is not None:
        hazards.append("cold")
    hazards += _of_run(run, by_hand="cold" not in hazards)
    if bench.gauge.principle == "ionisation":
        hazards.append("ion gauge")
    gas = bench.gas.gas
    hazards += hazards_of_gas(gas.name, {species.symbol: share for species, share in gas.fractions})
    envelope = bench.chamber.envelope_temperature
    if envelope is not None:
        hazards += ["cold"] if envelope.value < _COLD_BELOW_K else []
        hazards += ["warm envelope"] if envelope.value > _WARM_ABOVE_K else []
    return cautions(*dict.fromkeys(hazards))


def _of_run(run: RunPlan | None, *, by_hand: bool) -> list[str]:
    """Return the further hazards of a run; all of them if its changes are not planned."""
    if run is None:
        return []
    envelopes = [one.envelope_k for one in run.changes if one.envelope_k is not None]
    free = not run.changes or any(one.other for one in run.changes)
    found = ["cold"] if free or any(kelvin < _COLD_BELOW_K for kelvin in envelopes) else []
    found += ["warm envelope"] if free or any(kelvin > _WARM_ABOVE_K for kelvin in envelopes) else []
    return found + (["refrigerant"] if "cold" in found and by_hand else [])
