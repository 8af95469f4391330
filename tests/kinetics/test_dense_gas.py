"""Dense gas compared with Stokes flow with slip and conduction with a temperature jump, by finite elements.

The plates are those of the shipped tables; continuum.py beside this file shares neither equation nor cells with them.
The square in a cube and the rotor of four are in benchmarks/bench_dense_gas.py. Whole rotors in their round chamber are
compared with Stokes flow by point forces.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest
from support.point_forces import stokes_drag

from edgewind.kinetics.table import ResponseTable
from edgewind.rotor.whole_rotor import rotor_response

# Of these the error that slip of the first order leaves is a parabola in Kn.
DENSEST = 3


@pytest.fixture(scope="module")
def continuum():
    """Finite elements: continuum.py beside this file."""
    spec = importlib.util.spec_from_file_location("continuum", Path(__file__).with_name("continuum.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def strip():
    return ResponseTable.standard("strip", room=4.0)


def limit(knudsen, values):
    """Value at Kn = 0 of the parabola through three points."""
    return float(np.polyfit(knudsen, values, DENSEST - 1)[-1])


def test_drag_of_a_strip_tends_to_stokes_flow_with_slip(continuum, strip):
    """What the solver gives over Stokes flow is 1 - 2 Kn at Kn 0.01, the edge's share, and 1 in the limit, to 0.1 %.

    Below the first node the table goes on by the law of slip flow: within 0.5 % at Kn 0.003.
    """
    kn = strip.knudsen[:DENSEST]
    over = [float(strip.drag(k)) / continuum.plate_drag((2.0, 2.0), k) for k in kn]
    assert over[0] == pytest.approx(0.979, abs=0.002)
    assert limit(kn, over) == pytest.approx(1.0, abs=0.001)
    departs = (1.0 - over[0]) / kn[0]
    dense = float(strip.drag(0.003)) / continuum.plate_drag((2.0, 2.0), 0.003)
    assert dense == pytest.approx(1.0 - 0.003 * departs, abs=0.005)


def test_heat_loss_of_a_strip_tends_to_conduction_with_a_jump(continuum, strip):
    """Both faces warm: to 0.1 % in the limit."""
    kn = strip.knudsen[:DENSEST]
    over = [float(strip.coefficient("loss_hot", k)) / continuum.plate_heat((2.0, 2.0), k, both=True) for k in kn]
    assert over[0] == pytest.approx(0.993, abs=0.002)
    assert limit(kn, over) == pytest.approx(1.0, abs=0.001)


def test_heat_between_the_faces_grows_as_conduction_round_the_edge(continuum, strip):
    """Two temperatures meet at the edge, so that heat grows as Kn ln(1/Kn): what the solver gives differs from
    conduction with a jump by a constant times Kn, which says how far from the edge the gas cuts the logarithm off.
    """
    kn = np.array([0.003, *strip.knudsen[:DENSEST]])
    conducted = np.array([continuum.plate_heat((2.0, 2.0), k, both=False) for k in kn])
    apart = (strip.heat(kn) - conducted) / kn
    assert conducted[0] / kn[0] > 1.2 * conducted[-1] / kn[-1]
    np.testing.assert_allclose(apart, apart[1], rtol=0.05)


@pytest.mark.parametrize("vanes", [2, 4])
@pytest.mark.parametrize(("arm", "wide"), [(1.25, 1.25), (1.25, 3.5), (2.0, 2.2)])
def test_drag_of_whole_rotors_at_the_least_knudsen_number_is_that_of_stokes_flow(vanes, arm, wide):
    """In a chamber 1.25 to 3.5 times as wide as the rotor: at Kn 0.01 what edges leave of it (0.979, as of the strip),
    to 4 %. A limit is not drawn from tables that are good to 1 or 2 per cent there.
    """
    chamber = wide * (2 * arm + 1)
    response = rotor_response("rectangle", 0.01, 0.01, 0.01 * chamber, vanes, 0.01 * arm)
    kn = float(response.knudsen[0])
    over = float(response.at(kn, 1.0).drag) / kn / stokes_drag(vanes, arm, chamber, chamber, fine=10)
    assert over == pytest.approx(0.979, abs=0.04)
