"""How the optimum moves with the size of the vane."""

import numpy as np
import pytest

from edgewind.errors import InputError
from edgewind.evidence.scaling import scaling_of
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
    assert "mm the pressure of greatest speed goes as the width" in found.sentence


def test_the_torque_keeps_nearly_a_fixed_knudsen_number(bench):
    """Its maximum comes from the gas alone, so its power is near -1; that of the speed has the pivot in it.

    Not at -1: wider vanes on the same inner edge have less room, and theirs is at a Knudsen number of 0.09 in place of
    0.12, without errors of the gas a power of -0.82. The errors, whose slopes move each place, leave -0.76.
    """
    torque = scaling_of(bench, quantity="torque", draws=40)
    assert torque.exponent == pytest.approx(-1.0, abs=0.3)
    assert torque.exponent_interval[0] < -0.82 < torque.exponent_interval[1]


def test_widths_that_show_nothing_or_do_not_fit_are_refused(bench):
    with pytest.raises(InputError, match="show no law"):
        scaling_of(bench, [0.01, 0.02])
    with pytest.raises(InputError, match="do not fit"):
        scaling_of(bench, [0.01, 0.02, 0.09])
