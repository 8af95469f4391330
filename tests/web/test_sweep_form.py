"""What a form asks of a sweep, and the field beside which it is refused."""

import pytest

from edgewind.web.errors import FieldError
from edgewind.web.sweeps import request_of

ASKED = {"pressures": "0.1Pa:10Pa:3", "coast_downs": "0", "adaptive": "0"}


def test_a_form_becomes_a_sweep() -> None:
    found = request_of(ASKED | {"up_and_down": "on", "coast_downs": "1"})
    assert found.pressures_pa == pytest.approx((0.1, 1, 10))
    assert found.up_and_down and found.coast_downs == 1
    found = request_of(ASKED | {"adaptive": "20", "target": "10%"})
    assert (found.adaptive, found.target) == (20, "10%")


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"pressures": ""}, "pressures"),
        ({"pressures": "1 kg"}, "pressures"),
        ({"pressures": "-1 Pa"}, "pressures"),
        ({"pressures": "1Pa:10Pa:99999999"}, "pressures"),
        ({"coast_downs": "many"}, "coast_downs"),
        ({"coast_downs": "9"}, "coast_downs"),
        ({"adaptive": "-1"}, "adaptive"),
        ({"adaptive": "5", "up_and_down": "on"}, "adaptive"),
        ({"adaptive": "20", "target": "soon"}, "target"),
    ],
)
def test_what_no_sweep_could_be_is_refused_beside_its_field(fields: dict[str, str], field: str) -> None:
    with pytest.raises(FieldError) as caught:
        request_of(ASKED | fields)
    assert caught.value.field == field
    assert "--" not in str(caught.value)
