"""Conditions of each reading: the lamp, the envelope, the gas, the leading face, and other changes."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from edgewind.bench import Bench
from edgewind.formatting import format_number
from edgewind.gas import find_gas
from edgewind.signals.changes import parse_moments

if TYPE_CHECKING:
    import pandas as pd

# An envelope that is further than this from the usual one was chilled or warmed on purpose, K.
LEAST_ENVELOPE_CHANGE_K = 5.0
# A share of the lamp that is further than this from one was set on purpose.
LEAST_LAMP_CHANGE = 0.02
_KELVIN = 273.15


def usual_envelope_k(table: pd.DataFrame, bench: Bench) -> float:
    """Return the usual temperature of the envelope, K.

    It is that of `bench.toml` if stated; else the median over the readings with the lamp on, if at least three and half
    of them note it; else the temperature of the gas.
    """
    stated = bench.chamber.envelope_temperature
    if stated is not None:
        return float(stated.value)
    lit = table["lamp"].to_numpy(bool) & (table["exclude"] == "").to_numpy(bool)
    noted = table["envelope_k"].to_numpy(float)[lit]
    noted = noted[np.isfinite(noted)]
    if noted.size >= 3 and 2 * noted.size >= lit.sum():
        return float(np.median(noted))
    return float(bench.gas.temperature.value)


def with_conditions(table: pd.DataFrame, bench: Bench) -> pd.DataFrame:
    """Return the readings with `condition`, and with the sign of the speed where the direction is known.

    A row without a direction takes `[rotor] leading_face` if it was read under the usual conditions with the lamp on,
    to which that key applies.
    """
    envelope = usual_envelope_k(table, bench)
    records = table.to_dict("records")
    conditions = [condition_of({str(name): value for name, value in row.items()}, bench, envelope) for row in records]
    usual = bench.rotor.leading_face
    faces = [
        row["leading_face"] or ("not observed" if condition else usual)
        for row, condition in zip(records, conditions, strict=True)
    ]
    size = np.abs(table["speed_rad_s"].to_numpy(float))
    signed = np.where(np.array(faces) == "dark", -size, size)
    return table.assign(speed_rad_s=signed, leading_face=faces, condition=conditions)


def condition_of(row: Mapping[str, Any], bench: Bench, envelope_k: float) -> str:
    """Return the differences of a reading from the usual conditions, in words; empty if there are none.

    Parameters
    ----------
    row : mapping
        A reading, with `lamp_share`, `lamp_side`, `envelope_k`, `gas` and `changed`.
    bench : Bench
        The apparatus.
    envelope_k : float
        Usual temperature of the envelope, K.
    """
    parts = []
    share = float(row["lamp_share"])
    if share == 0:
        parts.append("lamp off")
    elif abs(share - 1) > LEAST_LAMP_CHANGE:
        parts.append(f"lamp at {format_number(100 * share, 3)} %")
    side = str(row["lamp_side"])
    if side and side != bench.light.arrangement and share > 0:
        parts.append(
            {"opposite beam": "light from the opposite side", "all-round": "light from all sides"}.get(
                side, "light from one side"
            )
        )
    envelope = float(row["envelope_k"])
    if math.isfinite(envelope) and abs(envelope - envelope_k) > LEAST_ENVELOPE_CHANGE_K:
        parts.append(f"envelope at {format_number(envelope - _KELVIN, 3)} °C")
    gas = str(row["gas"])
    if gas and not _same_gas(gas, bench):
        parts.append(f"gas {gas}")
    if row["changed"] and not (row.get("trace") and parse_moments(str(row["changed"]))):
        parts.append(str(row["changed"]))
    return ", ".join(parts)


def _same_gas(text: str, bench: Bench) -> bool:
    return find_gas(text).fractions == bench.gas.gas.fractions
