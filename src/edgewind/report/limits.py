"""Limits of the model, generated from what a study used, so that every sentence is true of that study."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from edgewind.formatting import format_number
from edgewind.rotor import RotorParameters, parameters_of, response_of

if TYPE_CHECKING:
    from edgewind.evidence import Findings


def limits_of(findings: Sequence[Findings]) -> tuple[str, ...]:
    """Return the limits of the model for the rotors of a study, common ones once."""
    return tuple(dict.fromkeys(sentence for found in findings for sentence in _limits(found)))


def _limits(found: Findings) -> Iterator[str]:
    bench = found.experiment.bench
    rotor = parameters_of(bench)
    response = response_of(rotor)
    yield (
        f"The sizes of the mechanisms depend on the response of the gas to {_vane(rotor)}, computed by the kinetic "
        f"solver ({response.source}). It is valid for Knudsen numbers from "
        f"{format_number(response.least_knudsen, 2)} up."
    )
    if rotor.internal_heat > 0:
        yield (
            f"The gas ({bench.gas.gas.name}) is computed as monatomic, with factors for the internal energy of its "
            "molecules: on the heat that they carry, and on the force, which is 3 % less in nitrogen at Kn 0.1. Half "
            "of what was computed is part of the stated error."
        )
    if found.experiment.bench.rotor.accommodation is None:
        yield "The accommodation is not stated in bench.toml, so it is an unknown within a wide range."
    fitted = None if found.explanation is None else found.explanation.fit
    if fitted is None and bench.rotor.pivot_dry_torque is None and bench.rotor.pivot_viscous is None:
        yield (
            "Friction of the pivot is neither stated nor fitted, so the torque to which the sizes are compared is a "
            "lower bound of the torque needed."
        )
    yield (
        "The mean free path is that of hard spheres with the viscosity of the real gas. Other definitions differ by "
        "tens of per cent, and so do Knudsen numbers based on them."
    )
    if found.optimum.curve is not None:
        yield (
            "The curve is a smooth interpolation of the readings and not a law of physics. It is valid only within "
            "the measured pressures."
        )
    force = None if found.explanation is None else found.explanation.force_optimum
    if force is not None and force.found:
        yield (
            "The pressure of greatest torque depends on the drag of the gas, which speeds do not show. For invented "
            "rotors whose gas differs from the model by up to 25 %, its 90 % interval contained the true value in 94 "
            "of 100 cases."
        )
    yield (
        "Away from the vanes the gas is assumed to be uniform, with the temperature and composition stated in "
        "bench.toml."
    )


def _vane(rotor: RotorParameters) -> str:
    return f"a vane of {1e3 * float(rotor.vane_width_m):.4g} by {1e3 * float(rotor.vane_height_m):.4g} mm"
