"""Torque, drag and speed against closed forms at both ends of the pressures."""

import numpy as np
import pytest
from scipy.constants import speed_of_light

from edgewind.errors import InputError, OutOfRangeError
from edgewind.rotor import parameters_of, response_of, steady_speed, steady_state
from edgewind.rotor.drag import FREE_MOLECULAR_CYLINDER_DRAG, FREE_MOLECULAR_DRAG, arm_drag
from edgewind.rotor.drives import NAMES
from edgewind.rotor.drives.outgassing import recoil_pressure


@pytest.fixture
def rotor(make_bench):
    extra = {
        "bright_emissivity": "0.8",
        "vane_conductance": "60 W/(m^2 K)",
        "accommodation": "1",
        "vane_thickness": "0.2 mm",
    }
    return parameters_of(make_bench(rotor=extra))


def test_torque_and_drag_in_free_flight_equal_the_closed_forms(published, rotor, standin):
    """F = p A dT/(4 T0) (Knudsen 1910) and drag (4/sqrt(pi) + sqrt(pi)) p A U/v0 (Sharipov 2016, chapter 7)."""
    pressure = np.array([1e-4])
    state = steady_state(pressure, rotor, standin)
    apart = state.at.dark_k - state.at.bright_k
    torque = 4 * rotor.arm_m * pressure * rotor.vane_area_m2 * apart / (4 * rotor.gas_temperature_k)
    published("torque in free flight", state.torque["thermal_force"], torque, rel=1e-3, unit="N m")
    drag = (
        4
        * FREE_MOLECULAR_DRAG
        * pressure
        * rotor.vane_area_m2
        * rotor.mean_square_arm_m2
        / rotor.most_probable_speed_m_s
    )
    published("drag in free flight", state.drag, drag, rel=2e-3, unit="N m s")


def test_in_dense_gas_torque_falls_as_one_over_pressure_and_drag_is_constant(rotor, standin):
    """With F = 2 Kn^2, drag = 12 Kn (the stand-in's limits) in closed form: p F ~ 1/p, p c constant."""
    pressure = np.array([3e3, 6e3])  # Kn below 2e-4, still inside the stand-in
    state = steady_state(pressure, rotor, standin)
    kn = rotor.knudsen(pressure)
    torque = 4 * rotor.arm_m * pressure * rotor.vane_area_m2 * 2.0 * kn**2 * state.at.faces_apart
    assert np.allclose(state.torque["thermal_force"], torque, rtol=1e-4)
    assert state.torque["thermal_force"][0] / state.torque["thermal_force"][1] == pytest.approx(2.0, rel=0.01)
    drag = 4 * 12.0 * kn * pressure * rotor.vane_area_m2 * rotor.mean_square_arm_m2 / rotor.most_probable_speed_m_s
    assert np.allclose(state.drag, drag, rtol=1e-3)


def test_light_pressure_equals_its_closed_form_and_acts_backwards(published, make_bench, standin):
    """(P/c)(1 + R) on each mirror, a quarter of it in the mean over a turn in a beam (Maxwell 1873, art. 792)."""
    mirrors = {"vanes": 2, "dark_reflection": "mirror", "bright_reflection": "mirror", "bright_emissivity": "0.8"}
    rotor = parameters_of(make_bench(rotor={**mirrors, "vane_conductance": "60 W/(m^2 K)"}))
    pressure = np.geomspace(1e-5, 10, 7)
    state = steady_state(pressure, rotor, standin)
    expected = -2 * 0.25 * rotor.arm_m * rotor.vane_area_m2 * 800.0 / speed_of_light * (0.95 - 0.15)
    published("torque of light pressure", state.torque["light_pressure"][0], expected, rel=1e-5, unit="N m")
    assert np.allclose(state.torque["light_pressure"], expected)
    assert state.speed_rad_s[0] < 0 < state.speed_rad_s[-2]


def test_thickness_of_the_vanes_reduces_the_force_and_increases_drag_and_heat(make_bench):
    """For a single vane the shear on its lateral side always reduces the force (Ventura et al., J. Fluid Mech. 735,
    2013, abstract; Selden et al., J. Fluid Mech. 634, 2009, abstract).
    """
    thin, thick = (
        parameters_of(make_bench(rotor={"vane_thickness": f"{t} mm", "vane_conductance": "60 W/(m^2 K)"}))
        for t in (0.0001, 1.0)
    )
    pressure = np.geomspace(0.005, 20, 8)
    gas = [response_of(rotor).at(rotor.knudsen(pressure), rotor.accommodation) for rotor in (thin, thick)]
    assert np.all(gas[1].thermal_force < gas[0].thermal_force * (1 + 3e-4))
    assert np.all(gas[1].drag > gas[0].drag)
    assert np.all(gas[1].loss > gas[0].loss)
    speeds = [steady_state(pressure, rotor, response_of(rotor)).speed_rad_s for rotor in (thin, thick)]
    assert np.all(speeds[1] < speeds[0])


def test_recoil_of_a_diffuse_flux_agrees_with_sampling():
    """A molecule leaves a diffuse wall with v_n = v0 sqrt(-ln u): its mean times the flux is the recoil pressure."""
    random = np.random.default_rng(1)
    v0, mass, temperature_energy = 400.0, 4.65e-26, 4.65e-26 * 400.0**2 / 2
    mean_momentum = mass * float(np.mean(v0 * np.sqrt(-np.log(random.uniform(size=400_000)))))
    flux = 1e-4 / temperature_energy
    assert recoil_pressure(1e-4, v0) == pytest.approx(flux * mean_momentum, rel=3e-3)


def test_free_molecular_drag_of_a_cylinder_equals_the_sum_over_its_elements():
    angle = np.linspace(0, 2 * np.pi, 100_000, endpoint=False)
    normal, shear = 2 / np.sqrt(np.pi) + np.sqrt(np.pi) / 2, 1 / np.sqrt(np.pi)
    summed = np.mean(normal * np.cos(angle) ** 2 + shear * np.sin(angle) ** 2) * np.pi  # per diameter
    assert pytest.approx(summed) == FREE_MOLECULAR_CYLINDER_DRAG
    assert 2 * normal == pytest.approx(FREE_MOLECULAR_DRAG)


def test_arms_add_drag_in_proportion_to_their_moment(rotor, standin):
    armed = rotor.with_(arm_diameter_m=1e-3)
    found = arm_drag(np.array([1e-3]), standin, armed)
    reach = rotor.arm_m - rotor.vane_width_m / 2
    assert found[0] == pytest.approx(
        4 * FREE_MOLECULAR_CYLINDER_DRAG * 1e-3 * reach**3 / 3 * 1e-3 / rotor.most_probable_speed_m_s, rel=1e-3
    )


def test_the_pivot_holds_the_rotor_below_its_break_away_torque_and_brakes_it_above():
    torque = np.array([0.9, 1.1, 2.5, -2.5])
    assert steady_speed(torque, 2.0, 1.0, 1.0).tolist() == pytest.approx([0.0, 0.05, 0.75, -0.75])
    assert steady_speed(torque, 2.0, 1.0, 2.0).tolist() == pytest.approx([0.0, 0.0, 0.75, -0.75])


def test_a_poor_pivot_moves_the_speed_optimum_up_and_leaves_the_force_optimum(make_bench, standin):
    from edgewind.rotor import predict_whole

    rotor = {"bright_emissivity": "0.8", "vane_conductance": "60 W/(m^2 K)"}
    found = [
        predict_whole(make_bench(rotor=rotor | {"pivot_dry_torque": dry}), [0.02, 20.0], response=standin)
        for dry in ("0 N m", "1e-9 N m")
    ]
    assert found[1].speed.pressure_pa > 1.2 * found[0].speed.pressure_pa
    assert found[1].force.pressure_pa == pytest.approx(found[0].force.pressure_pa, rel=0.01)
    assert found[0].speed.pressure_pa < 0.8 * found[0].force.pressure_pa


def test_a_chilled_envelope_reverses_the_sign_in_the_dark_and_a_heated_one_does_not(make_bench, standin):
    """The dark face radiates more, so it is the colder one under a cold envelope and the warmer one under a hot
    envelope.
    """
    signs = []
    for envelope in ("0 degC", "40 degC"):
        bench = make_bench(chamber={"envelope_temperature": envelope}, rotor={"vane_conductance": "60 W/(m^2 K)"})
        signs.append(np.sign(steady_state(np.array([1.0]), parameters_of(bench).lamp_off(), standin).speed_rad_s[0]))
    assert signs == [-1, 1]


def test_pressures_outside_the_response_are_refused_with_the_limit_in_pascal(rotor, standin, make_bench):
    from edgewind.rotor import predict

    with pytest.raises(OutOfRangeError, match=r"above the range of the response tables.*Pa for this vane"):
        predict(make_bench(), [1.0, 1e5], response=standin)
    for wrong in (0.0, -1.0, np.nan, np.inf):
        with pytest.raises(InputError, match="above zero"):
            predict(make_bench(), [wrong], response=standin)


def test_every_drive_has_a_name_and_a_column(make_bench, standin):
    from edgewind.rotor import predict

    table = predict(make_bench(), [0.1, 1.0], response=standin)
    assert {f"torque_{key}_n_m" for key in NAMES} <= set(table.columns)
    whole = sum(table[f"torque_{key}_n_m"] for key in NAMES)
    assert np.allclose(whole, table["torque_n_m"])
    assert np.allclose(table["torque_area_n_m"] + table["torque_edge_n_m"], table["torque_thermal_force_n_m"])
