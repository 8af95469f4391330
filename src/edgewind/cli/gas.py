"""The command `edgewind gas`."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperCommand

from edgewind.cli.base import AsJson, app, print_json, print_pairs
from edgewind.errors import InputError

if TYPE_CHECKING:
    from edgewind.gas import GasState

NEGATIVE = re.compile(r"-\.?\d")


class _Gas(TyperCommand):
    """The command with a pressure that is read as one also below zero, where the parser sees an option ``-7``."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        return super().parse_args(ctx, [f" {one}" if NEGATIVE.match(one) else one for one in args])


@app.command(cls=_Gas)
def gas(
    what: Annotated[str, typer.Argument(metavar="GAS", help="air, N2, argon, '0.9 He + 0.1 Ne' …")],
    pressure: Annotated[str, typer.Argument(help="Pressure with its unit: '7 mTorr'.")],
    temperature: Annotated[str, typer.Option(help="Temperature with its unit.")] = "20 degC",
    size: Annotated[
        str | None, typer.Option(help="Length for the Knudsen number, such as the width of a vane: '10 mm'.")
    ] = None,
    definition: Annotated[
        str, typer.Option(help="Mean free path: viscosity, fixed-diameter or variable-hard-sphere.")
    ] = "viscosity",
    diameter: Annotated[str | None, typer.Option(help="Molecular diameter for fixed-diameter: '0.365 nm'.")] = None,
    as_json: AsJson = False,
) -> None:
    """Print mean free path, Knudsen number, regime, viscosity and more of a gas."""
    from edgewind import units
    from edgewind.formatting import format_number
    from edgewind.gas import GasState, find_gas, rarefaction, regime

    state = GasState(
        find_gas(what),
        units.parse_quantity(pressure.strip(), "pressure"),
        units.parse_quantity(temperature.strip(), "temperature"),
    )
    path = state.mean_free_path_m(definition, None if diameter is None else units.parse_quantity(diameter, "length"))
    size = None if size is None else size.strip()
    length = None if size is None else units.parse_quantity(size, "length")
    if length is not None and length <= 0:
        raise InputError(f"the size must be above zero, not '{size}'", fix="give a length such as '10 mm'")
    knudsen = None if length is None else path / length
    if as_json:
        print_json(_result(state, definition, path, knudsen))
        return
    number = format_number
    rows = [
        ("gas", f"{state.gas.name} at {number(state.pressure_pa)} Pa and {number(state.temperature_k)} K"),
        ("mean free path", f"{number(1e3 * path)} mm ({definition} definition)"),
    ]
    if knudsen is not None and length is not None:
        rows += [
            ("Knudsen number", f"{number(knudsen)} on {number(1e3 * length)} mm ({regime(knudsen)})"),
            ("rarefaction", number(float(rarefaction(knudsen)))),
        ]
    rows += [
        ("viscosity", f"{number(1e6 * state.viscosity_pa_s)} µPa s"),
        ("conductivity", f"{number(1e3 * state.conductivity_w_m_k)} mW/(m K)"),
        ("number density", f"{number(state.number_density_m3)} 1/m^3"),
        ("most probable speed", f"{number(state.most_probable_speed_m_s)} m/s"),
        *(("source", source) for source in state.gas.sources),
    ]
    print_pairs(rows)


def _result(state: GasState, definition: str, path: float, knudsen: float | None) -> dict[str, Any]:
    """Return the JSON output, SI.

    Returns
    -------
    gas : str
        Name of the gas or formula of the mixture.
    pressure_pa, temperature_k : as in edgewind.gas.GasState
    mean_free_path_m : float
        Mean free path of the molecules in the definition below.
    mean_free_path_definition : str
        Definition of the mean free path: viscosity, fixed-diameter or variable-hard-sphere.
    knudsen : float or None
        Mean free path over `--size`; null without a size.
    rarefaction : float or None
        Rarefaction parameter, sqrt(pi)/2 over the Knudsen number.
    regime : str or None
        Name of the flow regime at that Knudsen number.
    viscosity_pa_s, conductivity_w_m_k, number_density_m3, most_probable_speed_m_s : as in edgewind.gas.GasState
    sources : list of str
        Source of the viscosity of each gas.
    """
    from edgewind.gas import rarefaction, regime

    return {
        "gas": state.gas.name,
        "pressure_pa": state.pressure_pa,
        "temperature_k": state.temperature_k,
        "mean_free_path_m": path,
        "mean_free_path_definition": definition,
        "knudsen": knudsen,
        "rarefaction": None if knudsen is None else float(rarefaction(knudsen)),
        "regime": None if knudsen is None else regime(knudsen),
        "viscosity_pa_s": state.viscosity_pa_s,
        "conductivity_w_m_k": state.conductivity_w_m_k,
        "number_density_m3": state.number_density_m3,
        "most_probable_speed_m_s": state.most_probable_speed_m_s,
        "sources": list(state.gas.sources),
    }
