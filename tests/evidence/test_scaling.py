"""Shift of the optimum with the size of the vane."""

from dataclasses import replace

import numpy as np
import pytest

from edgewind.errors import InputError
from edgewind.evidence.draws import draws_of
from edgewind.evidence.scaling import LEAST_KNUDSEN, Scaling, scaling_of
from edgewind.rotor import optima, parameters_of, response_of

ROTOR = {
    "bright_emissivity": "0.80 +/- 0.02",
    "vane_conductance": "60 +/- 10 W/(m^2 K)",
    "accommodation": "0.9 +/- 0.02",
}


@pytest.fixture(scope="module")
def bench(make_bench):
    more = {"pivot_dry_torque": "5e-11 +/- 20 % N m", "pivot_viscous": "5e-11 +/- 20 % N m s"}
    return make_bench(rotor=ROTOR | more)


def test_optimum_moves_down_with_the_width_and_the_interval_holds_the_best_estimate(bench):
    found = scaling_of(bench, draws=80)
    assert np.all(np.diff(found.pressure_pa) < 0)
    assert found.exponent_interval[0] < found.exponent < found.exponent_interval[1] < 0
    k = 3  # the bench's own width
    assert found.width_m[k] == pytest.approx(0.012)
    rotor = parameters_of(bench)
    response = response_of(rotor)
    alone = optima(rotor, response, 0.02, 20.0)[0].pressure_pa
    assert found.low_pa[k] < alone < found.high_pa[k]
    assert "mm the pressure of greatest speed scales as the width" in found.sentence


def torque_power(rotor, widths, *, whole):
    """Return the power of the pressure of greatest torque over widths, of best estimates alone.

    Vanes of other widths stand on the same inner edge, or arms and chamber grow with them (`whole`).
    """
    own, inner, places = rotor.vane_width_m, rotor.arm_m - rotor.vane_width_m / 2, []
    for width in widths:
        arm = rotor.arm_m * width / own if whole else inner + width / 2
        wide = rotor.with_(vane_width_m=width, vane_height_m=width, arm_m=arm)
        if whole:
            room = {name: getattr(rotor, name) * width / own for name in ("chamber_width_m", "chamber_height_m")}
            wide = wide.with_(**room)
        response = response_of(wide)
        top = float(wide.knudsen(1.0)) / max(LEAST_KNUDSEN, 1.01 * response.least_knudsen)
        places.append(optima(wide, response, top / 4e3, top)[1].pressure_pa)
    return float(np.polyfit(np.log(widths), np.log(places), 1)[0])


def test_the_torque_optimum_of_a_rotor_enlarged_as_a_whole_keeps_its_knudsen_number(bench):
    """Dimensional analysis: lengths enter only through the Knudsen number if the difference of the faces does not
    depend on the pressure, which holds for a good conductor. A poor conductor is cooled by denser gas.
    """
    rotor, widths = parameters_of(bench), np.geomspace(0.006, 0.024, 5)
    assert torque_power(rotor.with_(vane_conductance_w_m2_k=2000.0), widths, whole=True) == pytest.approx(-1, abs=0.005)
    assert -1 < torque_power(rotor, widths, whole=True) < -0.95


def test_the_torque_optimum_on_the_same_arms_has_a_smaller_exponent(make_bench):
    """Wider vanes on the same inner edge have less room: -0.80. An unknown difference in accommodation, the
    prior if it is not stated, shifts the torque of wide vanes more: -0.76. Errors of the gas do not move the median.
    """
    pivot = {"pivot_dry_torque": "5e-11 +/- 20 % N m", "pivot_viscous": "5e-11 +/- 20 % N m s"}
    bare = {name: value for name, value in (ROTOR | pivot).items() if name != "accommodation"}
    alike = {"dark_accommodation": "0.9 +/- 0.002", "bright_accommodation": "0.9 +/- 0.002"}
    known, unknown = make_bench(rotor=bare | alike), make_bench(rotor=ROTOR | pivot)
    found = scaling_of(known, quantity="torque", draws=100)
    alone = torque_power(parameters_of(known), found.width_m, whole=False)
    assert alone == pytest.approx(-0.80, abs=0.01)
    assert found.exponent == pytest.approx(alone, abs=0.05)
    assert found.exponent_interval[0] < alone < found.exponent_interval[1]
    drawn = draws_of(unknown, draws=100)
    with_errors, without = (
        scaling_of(unknown, fitted=one, quantity="torque").exponent
        for one in (drawn, replace(drawn, deviations=0 * drawn.deviations))
    )
    assert without == pytest.approx(-0.76, abs=0.04)
    assert with_errors == pytest.approx(without, abs=0.05)


def test_widths_without_a_maximum_or_too_wide_are_refused(bench):
    with pytest.raises(InputError, match="too few for a power law"):
        scaling_of(bench, [0.01, 0.02])
    with pytest.raises(InputError, match="do not fit"):
        scaling_of(bench, [0.01, 0.02, 0.09])


@pytest.mark.parametrize(
    ("interval", "said"),
    [
        ((-1.06, -1.004), "with the -1 of a fixed Knudsen number at an end"),
        ((-1.06, -1.02), "not the -1 of a fixed Knudsen number"),
        ((-1.06, -0.98), "compatible with the -1"),
    ],
)
def test_an_interval_printed_as_ending_at_minus_one_is_not_called_different_from_it(interval, said):
    width = np.array([0.006, 0.012, 0.024])
    law = Scaling("speed", width, 1 / width, 0.9 / width, 1.1 / width, -1.03, interval, 0.03, 0.9)
    assert f"(90 % interval {interval[0]:.2f} to {interval[1]:.2f}), {said}" in law.sentence
