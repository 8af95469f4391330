"""Typed entries become cells, or are refused with a reason beside the field."""

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgewind.bench import Bench
from edgewind.errors import InputError
from edgewind.signals import parse_readings
from edgewind.web.errors import FieldError
from edgewind.web.reading_form import Form, cells_of, doubt_about

FORM = Form(units={
    "time": "", "gauge": "V", "pressure": "Pa", "pressure uncertainty": "%", "speed": "rpm", "speed uncertainty": "rpm",
    "lamp": "", "sweep": "", "envelope temperature": "degC", "note": "",
})  # fmt: skip
BARE = Form(units={"pressure": "mTorr", "speed": "rad/s"})


def typed(**fields: str) -> dict[str, str]:
    return {"pressure": "3.269", "pressure_as": "gauge", "speed": "120.4", "speed_as": "speed"} | fields


def read(form: Form, cells: dict[str, str]) -> dict[str, float]:
    """The reading that a study makes of the cells."""
    titles = [f"{name} [{unit}]" if unit else name for name, unit in form.units.items()]
    line = ",".join(cells.get(name, "") for name in form.units)
    return parse_readings(",".join(titles) + "\n" + line + "\n").iloc[0].to_dict()


def test_numbers_are_stored_as_typed() -> None:
    cells = cells_of(FORM, typed(lamp="off", sweep=" up ", note="a  b", envelope="22.10"))
    assert cells == {
        "gauge": "3.269", "speed": "120.4", "lamp": "off", "sweep": "up", "note": "a b",
        "envelope temperature": "22.10",
    }  # fmt: skip


def test_a_decimal_comma_is_accepted() -> None:
    assert cells_of(FORM, typed(pressure="3,269"))["gauge"] == "3.269"


@pytest.mark.parametrize(
    ("text", "pressure"), [("7 mTorr", 0.93325), ("0.0123 mbar", 1.23), ("1.24(3) Pa", 1.24), ("under-range", 0.0)]
)
def test_a_unit_may_be_typed_with_the_number(text: str, pressure: float) -> None:
    cells = cells_of(FORM, typed(pressure_as="pressure", pressure=text))
    assert read(FORM, cells)["pressure_pa"] == pytest.approx(pressure, rel=0.02)


def test_an_uncertainty_typed_with_the_number_is_kept() -> None:
    found = read(FORM, cells_of(FORM, typed(pressure_as="pressure", pressure="1.24(3) Pa", speed="12.0 +/- 0.2 rpm")))
    assert found["pressure_u_pa"] == pytest.approx(0.03, rel=0.01)
    assert found["speed_u_rad_s"] == pytest.approx(0.2 * 2 * math.pi / 60, rel=0.01)


@given(st.integers(2, 99_999), st.integers(0, 4))
def test_a_period_becomes_its_speed_with_the_uncertainty_of_its_last_digit(count: int, decimals: int) -> None:
    """u(omega) / omega = u(T) / T, JCGM 100:2008, 5.1.6; the last digit is rectangular, F.2.2.1."""
    period = count / 10**decimals
    cells = cells_of(FORM, typed(speed_as="period", speed=f"{period:.{decimals}f}"))
    found = read(FORM, cells)
    assert found["speed_rad_s"] == pytest.approx(2 * math.pi / period, rel=1e-5)
    relative = 10**-decimals / math.sqrt(12) / period
    assert found["speed_u_rad_s"] / found["speed_rad_s"] == pytest.approx(relative, rel=0.02)


@given(st.integers(10, 9_999), st.integers(0, 3))
def test_without_an_uncertainty_column_the_digits_of_a_speed_imply_at_least_its_uncertainty(
    count: int, decimals: int
) -> None:
    period = count / 10**decimals
    found = read(BARE, cells_of(BARE, {"pressure": "7", "speed": f"{period:.{decimals}f}", "speed_as": "period"}))
    u = 2 * math.pi / period * 10**-decimals / math.sqrt(12) / period
    assert found["speed_u_rad_s"] >= 0.999 * u
    assert found["speed_u_rad_s"] <= 10.01 * u
    assert abs(found["speed_rad_s"] - 2 * math.pi / period) <= 2 * found["speed_u_rad_s"]


@pytest.mark.parametrize(
    ("fields", "field", "said"),
    [
        ({"pressure": ""}, "pressure", "empty"),
        ({"pressure": "abc"}, "pressure", "not a number"),
        ({"pressure": "3.2 kg"}, "pressure", "voltage"),
        ({"pressure": "1.2.3"}, "pressure", "not a number"),
        ({"pressure": "=1+1"}, "pressure", "not a number"),
        ({"pressure": "3" * 400}, "pressure", "number"),
        ({"pressure_as": "pressure", "pressure": "-1"}, "pressure", "above zero"),
        ({"pressure_as": "pressure", "pressure": "0"}, "pressure", "above zero"),
        ({"pressure_as": "trace"}, "pressure", "no column"),
        ({"pressure": "3.2 +/- 0.1 V"}, "pressure", "uncertainty"),
        ({"speed": ""}, "speed", "empty"),
        ({"speed": "fast"}, "speed", "not a number"),
        ({"speed": "3 Hz"}, "speed", "turns or radians"),
        ({"speed_as": "period", "speed": "0"}, "speed", "is not the time of one turn"),
        ({"speed_as": "period", "speed": "12 rpm"}, "speed", "time"),
        ({"speed_as": "warp"}, "speed", "must be given"),
        ({"envelope": "-400 degC"}, "envelope", "absolute zero"),
    ],
)
def test_invalid_entries_are_refused_beside_their_field(fields: dict[str, str], field: str, said: str) -> None:
    try:
        cells = cells_of(FORM, typed(**fields))
        with pytest.raises(InputError, match=said):  # what the form lets pass, the reading of tables refuses
            read(FORM, cells)
    except FieldError as error:
        assert error.field == field
        assert said in str(error)


def test_values_without_a_column_are_refused() -> None:
    for fields, field in (({"envelope": "20"}, "envelope"), ({"sweep": "x"}, "sweep")):
        with pytest.raises(FieldError) as caught:
            cells_of(BARE, {"pressure": "7", "speed": "1.0", **fields})
        assert caught.value.field == field


def test_conditions_and_notes_are_kept_in_any_table() -> None:
    """The book takes them in an experiment that has no such column."""
    given = {"lamp": "50 %", "leading_face": "dark", "gas": "He", "changed": "new pivot", "note": "a  b"}
    cells = cells_of(BARE, {"pressure": "7", "speed": "1.0", **given})
    assert cells == {
        "pressure": "7", "speed": "1.0", "lamp": "50 %", "leading face": "dark", "gas": "He", "changed": "new pivot",
        "note": "a b",
    }  # fmt: skip


ROWS = [
    {
        "n": number,
        "pressure_pa": pressure,
        "speed_rad_s": speed,
        "used": True,
        "lamp": True,
        "exclude": "",
        "gauge_v": None,
    }
    for number, (pressure, speed) in enumerate([(1.0, 6.0), (2.0, 9.0), (4.0, 8.0)], start=1)
]


@pytest.mark.parametrize(
    ("pressure", "speed", "lamp", "field"),
    [
        (2.1, 9.2, "on", None), (2.0, 18.1, "on", "speed"), (2.0, -4.5, "on", "speed"), (2.0, 18.1, "off", None),
        (300.0, 3.0, "on", "pressure"), (0.01, 3.0, "on", "pressure"), (30.0, 18.0, "on", None),
        (None, 3.0, "on", None),
    ],
)  # fmt: skip
def test_likely_mistakes_need_a_confirmation(
    pressure: float | None, speed: float, lamp: str, field: str | None
) -> None:
    """A unit mistaken, marks counted twice or half; readings far apart are not mistakes."""
    found = doubt_about({"pressure_pa": pressure, "speed_rad_s": speed}, ROWS, lamp=lamp)
    assert (None if found is None else found[0]) == field
    assert doubt_about({"pressure_pa": 300.0, "speed_rad_s": 3.0}, ROWS[:2]) is None


def test_volts_and_pressures_outside_the_gauge_need_a_confirmation(make_bench: Callable[..., Bench]) -> None:
    """Only where a pressure is typed as one, and once: a confirmed value is not questioned at every reading."""
    bench = make_bench()
    low, high = np.exp(bench.gauge.indicated_log_pressure(np.array([2.0, 8.0])))

    def asked(pressure: float, before: list[float], *, as_pressure: bool = True) -> str:
        rows = [
            {"n": 1, "pressure_pa": one, "gauge_v": None, "speed_rad_s": None, "used": False, "lamp": True,
             "exclude": ""} for one in before
        ]  # fmt: skip
        values = {"pressure_pa": pressure, "speed_rad_s": 3.0}
        found = doubt_about(values, rows, bench=bench, typed=as_pressure)
        return "" if found is None else found[1]

    assert "outside the range of the gauge" in asked(1e4 * high, [])
    assert "outside the range of the gauge" in asked(1e-4 * low, [])
    assert asked(1e4 * high, [], as_pressure=False) == "" and asked(float(np.sqrt(low * high)), []) == ""
    volts = [2.1, 3.0, 4.2]
    assert "look like volts" in asked(5.6, volts)
    assert asked(5.6, volts, as_pressure=False) == "" and asked(6.0, [*volts, 5.6]) == ""
    assert asked(0.2, volts) == ""


def test_a_table_of_traces_refuses_a_typed_speed() -> None:
    with pytest.raises(FieldError, match="traces"):
        cells_of(Form(units={"gauge": "V", "trace": ""}), typed())
