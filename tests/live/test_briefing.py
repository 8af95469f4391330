"""Cautions shown before a start."""

import pytest

from edgewind.cautions import DEFER, HAZARDS
from edgewind.live import cautions_of


@pytest.mark.parametrize(
    ("species", "said"),
    [
        ("air", ()),
        ("argon", ("bottle",)),
        ("0.9 He + 0.1 Ne", ("bottle",)),
        ("hydrogen", ("bottle", "flammable gas")),
        ("CH4", ("bottle", "flammable gas")),
        ("R134a", ("bottle", "refrigerant")),
        ("R152a", ("bottle", "flammable gas", "refrigerant")),
        ({"N2": 0.95, "H2": 0.05}, ("bottle", "flammable gas")),
        ({"N2": 0.78, "O2": 0.22}, ("bottle",)),
        ("O2", ("bottle", "oxygen")),
    ],
)
def test_the_cautions_fit_the_gas_and_end_with_the_precedence_of_local_rules(make_bench, species, said):
    told = cautions_of(make_bench(gas={"species": species}, gauge={"principle": "diaphragm"}))
    of_gases = [name for name in ("bottle", "flammable gas", "oxygen", "refrigerant") if HAZARDS[name] in told]
    assert tuple(of_gases) == said
    assert told[-1] == DEFER
    assert HAZARDS["glass"] in told and HAZARDS["lamp"] in told


def test_an_ion_gauge_adds_its_own_caution(make_bench):
    gauge = {"kind": "display", "principle": "ionisation", "transfer_uncertainty": "10 %"}
    assert HAZARDS["ion gauge"] in cautions_of(make_bench(gauge=gauge))
    assert HAZARDS["ion gauge"] not in cautions_of(make_bench())
