"""The compiled loop against the plain NumPy of `steady.py`."""

import numpy as np
import pytest

from edgewind.rotor import parameters_of, response_for, steady_state
from edgewind.rotor.neighbours import lost, nearness
from edgewind.rotor.speed_kernel import Place, deviating_speeds, flat, steady_speeds, table_arrays

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
@pytest.mark.parametrize("irradiance", ["800 W/m^2", "8 kW/m^2"])
def test_kernel_and_plain_agree(make_bench, more, irradiance):
    rotor, table = parameters_of(make_bench(rotor=ROTOR | more, light={"irradiance": irradiance})), response_for(8.0)
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


def test_factors_of_the_gas_and_an_external_torque_agree_with_the_plain_form(make_bench):
    table = response_for(8.0)
    force, drag, heat, unequal = (np.exp(0.2 * np.sin(np.arange(40) * step)) for step in (0.1, 0.15, 0.2, 0.3))
    rotor = parameters_of(make_bench(rotor=ROTOR)).with_(foreign_torque_n_m=3e-10, accommodation_difference=0.05)
    factors = {"force": force, "drag": drag, "heat": heat, "unequal": unequal}
    state = steady_state(PRESSURES, rotor.with_(**{f"gas_{kind}_factor": one for kind, one in factors.items()}), table)
    found = deviating_speeds(PRESSURES, flat(rotor), np.stack(list(factors.values())), *table_arrays(table))
    assert np.allclose(found[0], state.speed_rad_s, rtol=1e-7, atol=1e-12)
    assert np.allclose(found[1], state.net_torque, rtol=1e-7, atol=1e-20)
    assert np.allclose(found[2], state.drag, rtol=1e-9)


def test_neighbours_reduce_drag_as_observed_for_four_vanes_and_half_as_much_on_longer_arms():
    kn = np.array([0.1, 0.3, 1.0, 10.0])
    force, drag = lost(kn, 4, 1.25)
    assert force == pytest.approx([0.21, 0.14, 0.08, 0.04]) and drag == pytest.approx([0.20, 0.17, 0.13, 0.10])
    assert lost(kn, 4, 2.0)[0] == pytest.approx(0.5 * force)
    assert nearness(1, 1.25) == 0
