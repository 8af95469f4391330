"""What tests of several rooms share: one invented bench, to be changed section by section."""

from collections.abc import Callable
from typing import Any

import pytest
import tomlkit
from hypothesis import settings

from edgewind.bench import Bench, parse_bench

# The same examples in every run, however slow the machine; `--hypothesis-profile=default` looks for new ones.
settings.register_profile("calm", deadline=None, derandomize=True, database=None)
settings.load_profile("calm")

BENCH = """\
# An invented bench.
[experiment]
title = "Invented"

[gas]
species = "N2"  # from a bottle
temperature = "22 degC"

[chamber]
width = "100 mm"
height = "100 mm"

[rotor]
vanes = 4
vane_width = "12.0(1) mm"
vane_height = "12 mm"
arm = "20.0(2) mm"   # axis to the middle of a vane
leading_face = "bright"

[light]
arrangement = "beam"
irradiance = "800 +/- 80 W/m^2"

[gauge]
kind = "log-linear"
reference_pressure = "1 mTorr"
reference_voltage = "2 V"
voltage_per_decade = "1 V"
signal_low = "1 V"
signal_high = "6 V"
noise = "2 mV"
transfer_uncertainty = "5 %"

[tachometer]
marks = 4
"""


@pytest.fixture(scope="session")
def bench_text() -> str:
    """The text of a `bench.toml`."""
    return BENCH


@pytest.fixture(scope="session")
def make_bench_text() -> Callable[..., str]:
    """Write that bench with other values: ``make_bench_text(rotor={"vane_width": "20 mm"})``.

    A gauge with a kind takes the place of the whole section.
    """

    def make(**changes: dict[str, Any]) -> str:
        table: dict[str, Any] = tomlkit.parse(BENCH).unwrap()
        for section, values in changes.items():
            whole = section == "gauge" and "kind" in values
            table[section] = values if whole else table.get(section, {}) | values
        return tomlkit.dumps(table)

    return make


@pytest.fixture(scope="session")
def make_bench(make_bench_text: Callable[..., str]) -> Callable[..., Bench]:
    """Make that bench with other values: ``make_bench(rotor={"vane_width": "20 mm"})``."""
    return lambda **changes: parse_bench(make_bench_text(**changes))
