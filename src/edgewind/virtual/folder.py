"""An experiment folder whose bench.toml points at the virtual instruments."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import tomlkit

from edgewind.bench import BENCH_FILE, parse_bench
from edgewind.errors import InputError

# Sections that are replaced, since those of the file are for other instruments.
_OURS = ("instruments", "limits", "steadiness")
_LIMITS = {"pressure_above": "40 Pa", "temperature_above": "60 degC", "valve_above": "9 V", "gauge_over_range": True}


def _steadiness(speed_up: float) -> dict[str, str]:
    """Return the section `[steadiness]` in real time for this bench; lengths of traces are bench time."""
    return {
        "dwell": f"{max(30 / speed_up, 0.02):.3g} s",
        "at_least": f"{max(60 / speed_up, 0.1):.3g} s",
        "at_most": f"{max(6000 / speed_up, 30):.3g} s",
        "every": f"{max(3 / speed_up, 0.005):.3g} s",
        "trace": "20 s",
        "look": "6 s",
        "coast_down": "60 s",
        "reversal": f"{max(420 / speed_up, 0.4):.3g} s",
    }


def instruments_text(ports: Mapping[str, int], host: str = "127.0.0.1", unit: str = "V") -> str:
    """Return the sections `[instruments.*]` and `[limits]` for the ports of a virtual bench.

    Parameters
    ----------
    ports : mapping of str to int
        Port of each role.
    host : str
        Address.
    unit : str
        Of the gauge: ``V``, or ``Pa`` for a display.
    """

    def of(role: str) -> dict[str, str]:
        # a late answer of a simulated instrument means only that this machine is busy
        return {"resource": f"TCPIP::{host}::{ports[role]}::SOCKET", "errors": "SYSTem:ERRor?", "timeout": "30 s"}

    tables: dict[str, dict[str, str | bool]] = {
        "gauge": {
            **of("gauge"),
            "read": "MEASure:VOLTage?" if unit == "V" else "MEASure:PRESsure?",
            "unit": unit,
        },
        "thermometer": {**of("thermometer"), "read": "MEASure:TEMPerature?", "unit": "degC"},
        "valve": {
            **of("valve"),
            "set": "SOURce:VOLTage {value:.4f}",
            "read": "SOURce:VOLTage?",
            "on": "OUTPut ON",
            "off": "OUTPut OFF",
            "low": "0 V",
            "high": "9 V",
        },
        "lamp": {**of("lamp"), "on": "OUTPut ON", "off": "OUTPut OFF", "read": "OUTPut?"},
        "tachometer": {
            **of("scope"),
            "start": "INITiate",
            "wait": "*OPC?",
            "read": "WAVeform:DATA?",
            "format": "int16",
            "byte_order": "big",
            "interval": "WAVeform:XINCrement?",
            "scale": "WAVeform:YINCrement?",
            "offset": "WAVeform:YOFFset?",
            # many points, so that a coast-down of minutes still has several in each pulse
            "set_duration": "ACQuire:POINts 20000;TIME {value:.6g}",
            "rate": "MEASure:RATE?",
            "signed": True,
            "time": "SYSTem:TIME:TIMer:COUNt?",
        },
        "thermostat": {
            **of("thermostat"),
            "set": "SOURce:TEMPerature {value:.2f}",
            "on": "OUTPut ON",
            "off": "OUTPut OFF",
            "low": "-40 degC",
            "high": "60 degC",
        },
    }
    document = tomlkit.document()
    document.add(tomlkit.comment("SIMULATED instruments of `edgewind bench`; the ports are those of one run of it."))
    instruments = tomlkit.table(is_super_table=True)
    for role, values in tables.items():
        instruments.add(role, tomlkit.item(values))
    document.add("instruments", instruments)
    document.add("limits", tomlkit.item(_LIMITS))
    return tomlkit.dumps(document)


def write_folder(
    folder: str | Path,
    bench_text: str,
    ports: Mapping[str, int],
    host: str = "127.0.0.1",
    *,
    speed_up: float | None = None,
) -> Path:
    """Write a folder with a `bench.toml` that names the instruments of a virtual bench, and return the file.

    Parameters
    ----------
    folder : path
        A folder that does not exist, is empty, or holds only such a `bench.toml` of an earlier run.
    bench_text : str
        The simulated `bench.toml`; comments and order are kept, `[instruments]`, `[limits]` and
        `[steadiness]` are replaced.
    ports, host
        Ports and address of the instruments.
    speed_up : float, optional
        Simulated time over real time; if given, a section `[steadiness]` has suitable waits.

    Raises
    ------
    InputError
        The folder has other content, or cannot be written.
    """
    folder = Path(folder)
    file = folder / BENCH_FILE
    if folder.exists() and not (folder.is_dir() and all(_is_ours(path) for path in folder.iterdir())):
        raise InputError("this path already exists", file=folder, fix="name a folder that does not exist yet")
    document = tomlkit.parse(bench_text)
    for section in _OURS:
        document.pop(section, None)
    unit = "Pa" if parse_bench(tomlkit.dumps(document)).gauge.kind == "display" else "V"
    text = tomlkit.dumps(document).rstrip("\n") + "\n\n" + instruments_text(ports, host, unit)
    if speed_up is not None:
        text += f"\n# Waits are by the clock on the wall, against which this bench runs {speed_up:g} times as fast.\n"
        text += tomlkit.dumps({"steadiness": _steadiness(speed_up)})
    try:
        folder.mkdir(parents=True, exist_ok=True)
        file.write_text(text, encoding="utf-8")
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}", file=file) from error
    return file


def _is_ours(path: Path) -> bool:
    return path.name == BENCH_FILE and "SIMULATED instruments of `edgewind bench`" in path.read_text("utf-8", "replace")
