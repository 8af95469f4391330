"""The description of a bench as questions: each field is a line of `bench.toml`, changed in place, comments and all.

The text is the record. The line of an unknown field begins with ``#``, so that its earlier value can still be read; the
rest of the text does not change. The form of the pages and ``edgewind new --ask`` both use this module.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

import tomlkit
from tomlkit.exceptions import ParseError

from edgewind.errors import FieldError

Kind = Literal["quantity", "number", "count", "choice", "text"]


@dataclass(frozen=True)
class BenchField:
    """A field of the form.

    Attributes
    ----------
    key : str
        Dotted key of `bench.toml`.
    label : str
        Label.
    kind : {"quantity", "number", "count", "choice", "text"}
        Type of its entry.
    example : str
        An example of an entry.
    optional : bool
        Whether it may be unknown.
    choices : tuple of str
        The choices.
    help : str
        A sentence about it.
    """

    key: str
    label: str
    kind: Kind
    example: str = ""
    optional: bool = False
    choices: tuple[str, ...] = ()
    help: str = ""


GROUPS: dict[str, tuple[BenchField, ...]] = {
    "The rotor": (
        BenchField("rotor.vanes", "Vanes", "count", "4"),
        BenchField("rotor.vane_shape", "Shape", "choice", "", True, ("rectangle", "disc", "diamond")),
        BenchField("rotor.vane_width", "Width of a vane", "quantity", "12.0 +/- 0.2 mm",
                   help="The length that the mean free path is compared with."),
        BenchField("rotor.vane_height", "Height of a vane", "quantity", "12.0 +/- 0.2 mm"),
        BenchField("rotor.arm", "Arm", "quantity", "22.0 +/- 0.5 mm", help="From the axis to the middle of a vane."),
        BenchField("rotor.vane_thickness", "Thickness", "quantity", "0.1 mm", True),
        BenchField("rotor.leading_face", "Leading face, lamp on", "choice", "", False,
                   ("not observed", "dark", "bright")),
    ),
    "The faces": (
        BenchField("rotor.dark_absorptance", "Dark face, absorptance", "number", "0.95 +/- 0.03"),
        BenchField("rotor.dark_emissivity", "Dark face, emissivity", "number", "0.95 +/- 0.03", True),
        BenchField("rotor.bright_absorptance", "Bright face, absorptance", "number", "0.15 +/- 0.05"),
        BenchField("rotor.bright_emissivity", "Bright face, emissivity", "number", "0.05 +/- 0.02", True,
                   help="In the thermal infrared; if unknown, values from polished metal to white paint are tried."),
    ),
    "Light, chamber and gas": (
        BenchField("light.arrangement", "Light", "choice", "", False, ("beam", "all-round")),
        BenchField("light.irradiance", "Irradiance on a vane", "quantity", "500 +/- 100 W/m^2"),
        BenchField("chamber.width", "Chamber, clear width", "quantity", "150 mm"),
        BenchField("chamber.height", "Chamber, height", "quantity", "200 mm"),
        BenchField("chamber.envelope_temperature", "Envelope temperature", "quantity", "22 degC", True,
                   help="Where it differs from that of the gas."),
        BenchField("gas.species", "Gas", "text", "air", False, ("air", "N2", "He", "Ne", "Ar", "H2", "CO2")),
        BenchField("gas.temperature", "Gas temperature", "quantity", "22 +/- 1 degC"),
    ),
    "What may be left unknown": (
        BenchField("rotor.vane_conductance", "Heat through the vane, face to face", "quantity",
                   "200 +/- 50 % W/(m^2 K)", True),
        BenchField("rotor.accommodation", "Accommodation of the faces", "number", "0.90 +/- 0.05", True),
        BenchField("rotor.vane_mass", "Mass of one vane", "quantity", "40 +/- 4 mg", True),
        BenchField("rotor.moment_of_inertia", "Moment of inertia", "quantity", "9e-8 +/- 10 % kg m^2", True),
        BenchField("rotor.pivot_dry_torque", "Pivot, dry friction", "quantity", "1e-10 +/- 50 % N m", True),
        BenchField("rotor.pivot_viscous", "Pivot, viscous friction", "quantity", "1e-10 +/- 50 % N m s", True),
    ),
    "Gauge and tachometer": (
        BenchField("gauge.principle", "Principle of the gauge", "choice", "", False,
                   ("diaphragm", "thermal-conductivity", "ionisation")),
        BenchField("gauge.transfer_uncertainty", "Uncertainty of its reading", "number", "10 %"),
        BenchField("gauge.gas_factor", "Gas factor of the gauge", "number", "1.6 +/- 0.1", True,
                   help="True over indicated pressure in this gas; needed where the gauge depends on the gas and its "
                   "factor is not known."),
        BenchField("tachometer.marks", "Marks, pulses a turn", "count", "4"),
    ),
}  # fmt: skip
FIELDS = {field.key: field for fields in GROUPS.values() for field in fields}


# Sections of the kinds of gauge; uncertainties are common practice, no source.
GAUGES: dict[str, str] = {
    "read off a display, thermal conductivity": (
        'kind = "display"\nprinciple = "thermal-conductivity"\ntransfer_uncertainty = "10 %"\n'
    ),
    "read off a display, diaphragm": 'kind = "display"\nprinciple = "diaphragm"\ntransfer_uncertainty = "1 %"\n',
    "read off a display, ionisation": 'kind = "display"\nprinciple = "ionisation"\ntransfer_uncertainty = "20 %"\n',
    "volts, diaphragm, linear": (
        'kind = "linear"\nprinciple = "diaphragm"\nzero = "0 V"\nscale = "10 mTorr/V"\nsignal_low = "0 V"\n'
        'signal_high = "10 V"\nzero_uncertainty = "5 mV"\ntransfer_uncertainty = "1 %"\n'
    ),
    "volts, thermal conductivity, logarithmic": (
        'kind = "log-linear"\nprinciple = "thermal-conductivity"\nreference_pressure = "1 Pa"\n'
        'reference_voltage = "5 V"\nvoltage_per_decade = "1 V"\nsignal_low = "1 V"\nsignal_high = "9 V"\n'
        'transfer_uncertainty = "10 %"\n'
    ),
}
_VALUE = r"(\"(?:[^\"\\]|\\.)*\"|'[^']*'|\{[^}\n]*\}|[^#\s][^#\n]*?)"


def read_fields(text: str) -> dict[str, str]:
    """Return the text of every field that a `bench.toml` states; unknown keys are left out.

    Raises
    ------
    FieldError
        The text is not TOML.
    """
    try:
        document = tomlkit.parse(text).unwrap()
    except ParseError as error:
        raise FieldError("bench", f"line {error.line}: this is not TOML ({error})", line=error.line) from None
    found = {}
    for key in FIELDS:
        section, _, name = key.partition(".")
        table = document.get(section)
        value = table.get(name) if isinstance(table, dict) else None
        if value is not None:
            found[key] = tomlkit.item(value).as_string() if isinstance(value, dict) else str(value)
    return found


def write_field(text: str, key: str, value: str) -> str:
    r"""Return the text with a new value of one key, or with that key unknown; the rest does not change.

    Parameters
    ----------
    text : str
        A `bench.toml`.
    key : str
        Dotted key of a field.
    value : str
        The value as typed; empty for unknown, which turns its line into a comment.

    Raises
    ------
    FieldError
        A key that the form does not have, a section that the text lacks, or a value that cannot stand on one line.

    Examples
    --------
    >>> write_field('[rotor]\narm = "22 mm"  # to the middle\n', "rotor.arm", "23 mm")
    '[rotor]\narm = "23 mm"  # to the middle\n'
    >>> write_field('[rotor]\narm = "22 mm"  # to the middle\n', "rotor.arm", "")
    '[rotor]\n# arm = "22 mm"  # to the middle\n'
    """
    if key not in FIELDS:
        raise FieldError("bench", f"'{key[:60]}' is not a field of this form")
    value = value.strip()
    if any(ord(sign) < 32 for sign in value):
        raise FieldError(key, "the value must stand on one line")
    section, _, name = key.partition(".")
    start, end = _section(text, section)
    part = text[start:end]
    stated = re.search(rf"^{name}[ \t]*=[ \t]*{_VALUE}(?=[ \t]*(#|$))", part, re.MULTILINE)
    if not value:
        if stated:
            part = part[: stated.start()] + "# " + part[stated.start() :]
        return text[:start] + part + text[end:]
    line = f"{name} = {_toml(key, value)}"
    if stated:
        part = part[: stated.start()] + line + part[stated.end() :]
        return text[:start] + part + text[end:]
    silent = re.search(rf"^#[ \t]*{name}[ \t]*=[ \t]*{_VALUE}(?=[ \t]*(#|$))", part, re.MULTILINE)
    if silent:
        part = part[: silent.start()] + line + part[silent.end() :]
    else:
        body = part.rstrip("\n")
        part = body + "\n" + line + "\n" + part[len(body) :].removeprefix("\n")
    return text[:start] + part + text[end:]


def write_gauge(text: str, name: str) -> str:
    """Return the text with the section of another kind of gauge; comments of the section stay.

    Raises
    ------
    FieldError
        No such kind.
    """
    if name not in GAUGES:
        raise FieldError("gauge", f"'{name[:60]}' is not a kind of gauge on this page", fix="choose one of the list")
    start, end = _section(text, "gauge")
    part = text[start:end]
    kept = [line for line in part.splitlines(keepends=True) if not line.strip() or line.lstrip().startswith("#")]
    while kept and not kept[-1].strip():
        kept.pop()
    return text[:start] + "".join(kept) + GAUGES[name] + "\n" + text[end:]


def reading_titles(display: bool, pressure_unit: str, speed_unit: str) -> tuple[str, ...]:
    """Return the titles of a table that takes typed readings and traces alike.

    Parameters
    ----------
    display : bool
        Whether pressures are read off a display; volts have a title of their own otherwise.
    pressure_unit, speed_unit : str
        Units that the numbers will be typed in.
    """
    shown = (f"pressure [{pressure_unit}]", "pressure uncertainty [%]")
    pressure = shown if display else ("gauge [V]", *shown)
    speed = ("trace", f"speed [{speed_unit}]", f"speed uncertainty [{speed_unit}]")
    return (
        "time", *pressure, *speed, "leading face", "lamp", "sweep", "envelope temperature [degC]", "gas", "changed",
        "note", "exclude",
    )  # fmt: skip


def write_units(text: str, pressure: str, speed: str) -> str:
    r"""Return the text with the units in which results are shown, unless it states them or they are Pa and rpm.

    Examples
    --------
    >>> write_units("# [units]  # shown\n# pressure = \"mbar\"\n# speed = \"rpm\"\n", "mTorr", "rpm")
    '[units]  # shown\npressure = "mTorr"\nspeed = "rpm"\n'
    """
    if (pressure, speed) == ("Pa", "rpm") or re.search(r"^\[units\]", text, re.MULTILINE):
        return text
    keys = f'pressure = "{pressure}"\nspeed = "{speed}"\n'
    silent = re.search(r"^#[ \t]*(\[units\][^\n]*\n)(?:#[ \t]*(?:pressure|speed)[ \t]*=[^\n]*\n)*", text, re.MULTILINE)
    if silent is None:
        return f"{text.rstrip()}\n\n[units]\n{keys}"
    return text[: silent.start()] + silent.group(1) + keys + text[silent.end() :]


def _section(text: str, name: str) -> tuple[int, int]:
    """Return where the lines of a section begin and end; the commented sections that follow do not belong to it."""
    head = re.search(rf"^\[{name}\][^\n]*\n", text, re.MULTILINE)
    if head is None:
        raise FieldError("bench", f"there is no section [{name}]", fix="add it")
    following = re.compile(r"^(#[ \t]*)?\[[A-Za-z_.]+\]", re.MULTILINE).search(text, head.end())
    return head.end(), following.start() if following else len(text)


def _toml(key: str, value: str) -> str:
    if FIELDS[key].kind == "count":
        if not (value.isascii() and value.isdigit()):
            raise FieldError(key, f"'{value[:20]}' is not a whole number", fix=f"type {FIELDS[key].example}")
        return value
    if key == "gas.species" and value.startswith("{"):
        return value
    return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
