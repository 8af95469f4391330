"""The shipped file of viscosities and conductivities, against the library that it was made from."""

import importlib.util
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from edgewind.gas.dilute import dilute
from edgewind.gas.species import all_species, find_species

_TOOL = Path(__file__).parents[2] / "tools" / "make_properties.py"
_SPEC = importlib.util.spec_from_file_location("make_properties", _TOOL)
make_properties = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(make_properties)


def test_the_tool_makes_the_values_of_every_gas():
    assert set(make_properties.FLUIDS) == set(all_species())


@pytest.mark.parametrize("symbol", make_properties.FLUIDS)
@pytest.mark.parametrize("quantity", ["viscosity", "conductivity", "heat_capacity"])
def test_the_file_agrees_with_the_library_between_its_nodes(symbol, quantity):
    """Source: I. H. Bell et al., Pure and pseudo-pure fluid thermophysical property evaluation and the open-source
    thermophysical property library CoolProp, Ind. Eng. Chem. Res. 53, 2498 (2014); the library itself is called.
    """
    gas = find_species(symbol)
    ends = (gas.t_min_k, gas.t_max_k, *(step for one, step in make_properties.STEPS_K.items() if one == symbol))
    t = np.append(np.random.default_rng(20).uniform(np.log(gas.t_min_k), np.log(gas.t_max_k), 400), np.log(ends))
    t = np.clip(np.exp(t), gas.t_min_k, gas.t_max_k).reshape(-1, 1)
    found = getattr(gas, quantity)(t)
    assert found.shape == t.shape
    column = {"viscosity": "viscosity_pa_s", "conductivity": "conductivity_w_m_k"}.get(
        quantity, "heat_capacity_j_mol_k"
    )
    assert found == pytest.approx(make_properties.from_library(symbol, column, t), rel=1e-6)


def test_a_step_between_two_equations_is_kept():
    """Helium's viscosity by Arp, McCarty and Friend (1998) falls by 2 % where one equation replaces another."""
    below, above = dilute("He", "viscosity_pa_s")([99.999999, 100.000001])
    assert below / above == pytest.approx(1.0206, abs=0.0005)


def test_values_outside_the_file_are_refused():
    assert np.isnan(dilute("N2", "viscosity_pa_s")([63.0, 1000.1])).all()


def test_commands_do_not_import_the_library():
    code = (
        "import sys; from edgewind.gas import find_gas; find_gas('air').viscosity(300.0); "
        "sys.exit(any(name in sys.modules for name in ('CoolProp', 'chemicals', 'scipy', 'pandas')))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
