"""One invented bench with a vacuum, to be changed section by section."""

import pytest

from edgewind.bench import parse_bench

VACUUM = """
[vacuum]
volume = "3 l"
pumping_speed = "10 l/s"
tube_length = "0.5 m"
tube_diameter = "25 mm"
outgassing = "1e-4 mbar l/s"
leak = "1e-6 mbar l/s"
"""
ROTOR = """leading_face = "bright"
vane_thickness = "0.1 mm"
bright_emissivity = "0.80 +/- 0.05"
vane_conductance = "80 +/- 30 W/(m^2 K)"
accommodation = "0.9 +/- 0.04"
pivot_dry_torque = "1e-10 +/- 40 % N m"
pivot_viscous = "6e-11 +/- 40 % N m s"
moment_of_inertia = "9e-8 +/- 8 % kg m^2"
"""


@pytest.fixture(scope="session")
def vacuum_text(bench_text):
    """The text of a `bench.toml` with a whole rotor and a vacuum."""
    return bench_text.replace('leading_face = "bright"\n', ROTOR) + VACUUM


@pytest.fixture(scope="session")
def vacuum_bench(vacuum_text):
    """The bench itself."""
    return parse_bench(vacuum_text)
