"""The file of viscosities and conductivities that is shipped, against the library that it was made from."""

import subprocess
import sys

import numpy as np
import pytest

from edgewind.gas.dilute import dilute
from edgewind.gas.make_properties import FLUIDS, STEPS_K, from_library
from edgewind.gas.species import find_species


@pytest.mark.parametrize("symbol", FLUIDS)
@pytest.mark.parametrize(("key", "quantity"), [("V", "viscosity"), ("L", "conductivity")])
def test_between_its_nodes_too_the_file_is_the_library(symbol, key, quantity):
    """Source: I. H. Bell et al., Pure and pseudo-pure fluid thermophysical property evaluation and the open-source
    thermophysical property library CoolProp, Ind. Eng. Chem. Res. 53, 2498 (2014); the library itself is called.
    """
    gas = find_species(symbol)
    ends = (gas.t_min_k, gas.t_max_k, *(step for one, step in STEPS_K.items() if one == symbol))
    t = np.append(np.random.default_rng(20).uniform(np.log(gas.t_min_k), np.log(gas.t_max_k), 400), np.log(ends))
    t = np.clip(np.exp(t), gas.t_min_k, gas.t_max_k).reshape(-1, 1)
    found = getattr(gas, quantity)(t)
    assert found.shape == t.shape
    assert found == pytest.approx(from_library(symbol, key, t), rel=1e-7)


def test_a_step_between_two_equations_stays_a_step():
    """Helium's viscosity by Arp, McCarty and Friend (1998) falls by 2 % where one equation gives way to the next."""
    below, above = dilute("He", "viscosity_pa_s")([99.999999, 100.000001])
    assert below / above == pytest.approx(1.0206, abs=0.0005)


def test_outside_the_file_nothing_is_made_up():
    assert np.isnan(dilute("N2", "viscosity_pa_s")([63.0, 1000.1])).all()


def test_a_command_does_not_wait_for_the_library():
    code = (
        "import sys; from edgewind.gas import find_gas; find_gas('air').viscosity(300.0); "
        "sys.exit('CoolProp' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
