"""The compiled loop against the plain NumPy of `steady.py`."""

import numpy as np
import pytest

from edgewind.rotor import parameters_of, response_for, steady_state
from edgewind.rotor.speed_kernel import Place, flat, steady_speeds, table_arrays

PRESSURES = np.geomspace(0.005, 30, 40)
ROTOR = {"bright_emissivity": "0.8", "vane_conductance": "60 W/(m^2 K)", "vane_thickness": "0.2 mm"}


@pytest.mark.parametrize(
    "more",
    [
        {},
        {"accommodation": "0.73", "pivot_dry_torque": "3e-10 N m", "pivot_viscous": "2e-10 N m s"},
        {"arm_diameter": "0.8 mm", "dark_outgassing": "1e-4 Pa m/s", "pivot_breakaway_torque": "1e-9 N m"},
        {"dark_accommodation": "0.95", "bright_accommodation": "0.75"},
    ],
)
def test_kernel_and_plain_agree(make_bench, more):
    rotor, table = parameters_of(make_bench(rotor=ROTOR | more)), response_for(8.0)
    state = steady_state(PRESSURES, rotor, table)
    speed, torque, drag = steady_speeds(PRESSURES, flat(rotor), *table_arrays(table))
    assert np.allclose(speed, state.speed_rad_s, rtol=1e-8, atol=1e-12)
    assert np.allclose(torque, state.net_torque, rtol=1e-8, atol=1e-20)
    assert np.allclose(drag, state.drag, rtol=1e-10)


def test_drives_can_be_left_out(make_bench):
    rotor, table = parameters_of(make_bench(rotor=ROTOR)), response_for(8.0)
    numbers = flat(rotor)
    others = [Place.THERMAL_FORCE, Place.UNEQUAL_ACCOMMODATION, Place.RECOIL, Place.INFRARED_RECOIL]
    numbers[others] = 0.0
    only = steady_state(PRESSURES, rotor, table, drives=("light_pressure",))
    assert np.allclose(steady_speeds(PRESSURES, numbers, *table_arrays(table))[0], only.speed_rad_s, rtol=1e-9)
