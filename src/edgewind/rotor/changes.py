"""A bench with some of its values changed: ``{"rotor.vane_width": "30 mm"}``."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from typing import Any

from pydantic import ValidationError

from edgewind.bench import Bench, Gauge
from edgewind.bench.fields import FieldProblem
from edgewind.errors import InputError
from edgewind.units import Measured


def changed_bench(bench: Bench, changes: Mapping[str, Any]) -> Bench:
    """Return the bench with other values, validated as a whole, for predictions without a gauge.

    The gas at rest has the temperature of the envelope: a change of one changes the other, unless both are among the
    changes. An accommodation of both faces replaces those of each face, and the reverse.

    Parameters
    ----------
    bench : Bench
        The bench as it is.
    changes : mapping
        Dotted keys of `bench.toml` and new values as written there: ``{"gas.species": "He"}``.

    Raises
    ------
    InputError
        An unknown key, or an impossible bench.
    """
    if not changes:
        return bench
    sections = {name: getattr(bench, name) for name in Bench.model_fields}
    table: dict[str, Any] = {name: _plain(section) for name, section in sections.items() if section is not None}
    for key, value in changes.items():
        section, _, name = key.partition(".")
        known = [f"{part}.{field}" for part, fields in table.items() if isinstance(fields, dict) for field in fields]
        if key not in known:
            near = difflib.get_close_matches(key, known, n=1, cutoff=0.5)
            hint = f"did you mean '{near[0]}'?" if near else "name it as in bench.toml: 'rotor.vane_width'"
            raise InputError(f"bench.toml has no key '{key}' to set", fix=hint)
        table[section][name] = value
    if "chamber.envelope_temperature" in changes and "gas.temperature" not in changes:
        table["gas"]["temperature"] = changes["chamber.envelope_temperature"]
    whole, each = ("rotor.accommodation",), ("rotor.dark_accommodation", "rotor.bright_accommodation")
    for said, replaced in ((whole, each), (each, whole)):
        if any(key in changes for key in said) and not any(key in changes for key in replaced):
            table["rotor"].update({key.removeprefix("rotor."): None for key in replaced})
    if "gas.species" in changes and table["gauge"].gas_factor is None:
        # Predictions use true pressures, without a gauge.
        table["gauge"] = table["gauge"].model_copy(update={"gas_factor": Measured(1.0)})
    try:
        return Bench.model_validate(table)
    except ValidationError as error:
        raise _explained(error, changes) from error


def parse_bench_changes(texts: Sequence[str]) -> dict[str, str]:
    """Parse changes such as ``rotor.vane_width=30 mm``.

    Examples
    --------
    >>> parse_bench_changes(["rotor.vane_width=30 mm", "gas.species = He"])
    {'rotor.vane_width': '30 mm', 'gas.species': 'He'}
    """
    found = {}
    for text in texts:
        key, equals, value = text.partition("=")
        if not equals or not key.strip() or not value.strip():
            raise InputError(
                f"'{text}' is not a key and its value",
                fix="write both with '=' between them, as in 'rotor.vane_width=30 mm'",
            )
        found[key.strip()] = value.strip().strip("\"'")
    return found


def _plain(section: Any) -> Any:
    """Return the values of a section as read; the gauge, which has kinds, and an absent section stay whole."""
    if section is None or isinstance(section, Gauge):
        return section
    return {name: getattr(section, name) for name in type(section).model_fields}


def _explained(error: ValidationError, changes: Mapping[str, Any]) -> InputError:
    finding = error.errors()[0]
    cause = finding.get("ctx", {}).get("error")
    key = ".".join(str(part) for part in finding["loc"])
    if isinstance(cause, FieldProblem):
        return cause.error.at(key=key or None)
    return InputError(f"{finding['input']!r} cannot be used", key=key, fix=str(finding["msg"]))
