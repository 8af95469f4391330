"""Response tables: limits, smoothness, and that the shipped numbers are those the solver gives."""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from importlib import resources
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from edgewind.errors import InputError, OutOfRangeError
from edgewind.kinetics.response import respond, respond_curve
from edgewind.kinetics.table import COLUMNS, CONTINUUM, NAMES, ResponseTable, standard_data

_TOOL = Path(__file__).parents[2] / "tools" / "make_tables.py"
_SPEC = importlib.util.spec_from_file_location("make_tables", _TOOL)
make_tables = importlib.util.module_from_spec(_SPEC)
# Dataclasses look their module up by name.
sys.modules["make_tables"] = make_tables
_SPEC.loader.exec_module(make_tables)

STRIP = ResponseTable.standard("strip", room=4.0)
CURVES = {"thermal_force": "thermal_force", "drag": "drag", "heat_hot": "heat", "loss_hot": "heat_loss"}


def tables():
    data = standard_data()
    return sorted({(s, float(r)) for s, r in zip(data["shape"], data["room"], strict=True)})


@pytest.mark.parametrize(("shape", "room"), tables())
def test_free_flight_is_the_limit_of_every_table(shape, room):
    """F -> 1/4, heat of a face -> 1/(2 sqrt(pi)) (Knudsen 1910): full accommodation, any closed room."""
    table = ResponseTable.standard(shape, room=room, aspect=2.0 if shape == "rectangle" else 1.0)
    assert table.thermal_force(1e8) == pytest.approx(0.25, rel=1e-3)
    assert table.heat(1e8) == pytest.approx(0.5 / np.sqrt(np.pi), rel=1e-3)
    assert table.heat_loss(1e8) == pytest.approx(2.0 / np.sqrt(np.pi), rel=1e-3)
    assert table.drag(1e8) > 4.0 / np.sqrt(np.pi) + np.sqrt(np.pi)
    for coefficient in (table.thermal_force, table.heat, table.drag):
        assert coefficient(1e-20) < 1e-4 * coefficient(1.0)


@pytest.mark.parametrize(("shape", "room"), tables())
def test_curves_are_smooth_across_their_ends(shape, room):
    table = ResponseTable.standard(shape, room=room, aspect=2.0 if shape == "rectangle" else 1.0)
    kn = np.geomspace(table.knudsen[0] / 3.0, table.knudsen[-1] * 3.0, 2001)
    for coefficient in (table.thermal_force, table.heat, table.drag, table.heat_loss):
        slope = np.gradient(np.log(coefficient(kn)), np.log(kn))
        assert np.abs(np.diff(slope)).max() < 0.02


def test_between_nodes_the_table_is_as_good_as_the_solver():
    """A node left out is interpolated from its neighbours to a few times the tolerance."""
    kept = np.arange(STRIP.knudsen.size) % 2 == 0
    thin = ResponseTable(
        STRIP.knudsen[kept],
        {n: v[kept] for n, v in STRIP.values.items()},
        {n: e[kept] for n, e in STRIP.errors.items()},
        STRIP.free_flight, "strip", 4.0, 1.0,
    )  # fmt: skip
    left_out = STRIP.knudsen[~kept]
    np.testing.assert_allclose(thin.thermal_force(left_out), STRIP.values["thermal_force"][~kept], rtol=3e-3)
    np.testing.assert_allclose(thin.drag(left_out), STRIP.values["drag"][~kept], rtol=2e-3)


def test_tables_are_evaluated_on_arrays_of_any_shape():
    kn = np.geomspace(1e-3, 1e3, 12).reshape(3, 4)
    assert STRIP.drag(kn).shape == (3, 4)
    assert STRIP.drag(kn)[1, 2] == pytest.approx(float(STRIP.drag(kn[1, 2])))
    inside = np.geomspace(0.01, 1e3, 12)
    assert np.all(STRIP.error("drag", inside) < 2e-3 * STRIP.drag(inside))


def test_the_error_of_a_table_grows_below_its_first_node():
    """The strip's table cut off at Kn 0.1 or 0.05 agrees with the whole one below, within its error."""
    for cut, lower in ((0.099, 0.02), (0.05, 0.01)):
        kept = STRIP.knudsen > cut
        short = ResponseTable(
            STRIP.knudsen[kept],
            {n: v[kept] for n, v in STRIP.values.items()},
            {n: e[kept] for n, e in STRIP.errors.items()},
            STRIP.free_flight, "strip", 4.0, 1.0,
        )  # fmt: skip
        for name, coefficient in CURVES.items():
            known, guessed = getattr(STRIP, coefficient)(lower), getattr(short, coefficient)(lower)
            allowed = short.error(name, lower) * (2.0 if name == "loss_hot" else 1.0)
            assert abs(guessed - known) < allowed
            assert 0.01 * known < allowed < 0.3 * known
        assert abs(short.area_share(lower) - STRIP.area_share(lower)) < short.error("area_share", lower)


@pytest.mark.parametrize(
    ("name", "exponent"), [("thermal_force", 1.5), ("drag", 1.0), ("loss_hot", 1.0), ("heat_hot", 1.0)]
)
def test_the_limit_of_the_continuum_is_slip_flow(name, exponent):
    """Exponents of Kn deep in the continuum; heat round an edge with two temperatures has a logarithm besides."""
    coefficient = getattr(STRIP, CURVES[name])
    kn = np.array([1e-5, 1e-6])
    value = coefficient(kn) / kn**exponent
    if name == "heat_hot":
        # tau = 1/2 - theta/(2 pi) about either edge: a flux (15/8)(2 Kn/sqrt(pi)) / (2 pi r), from both edges.
        expected = 2.0 * 1.875 * 2.0 / np.sqrt(np.pi) / (2.0 * np.pi) * np.log(10.0)
        assert value[1] - value[0] == pytest.approx(expected, rel=1e-3)
    else:
        assert value[1] == pytest.approx(value[0], rel=1e-3)
    relative = STRIP.error(name, np.array([0.01, 0.005, 0.001])) / coefficient(np.array([0.01, 0.005, 0.001]))
    assert np.all(np.diff(relative) > 0.0)


def test_the_computed_curves_approach_the_slopes_of_slip_flow():
    """What the last decade of the strip's table shows: slopes in ln Kn close in on the exponents, as Kn falls."""
    kn = np.geomspace(0.01, 0.1, 50)
    for name in ("thermal_force", "drag", "loss_hot"):
        slope = np.gradient(np.log(getattr(STRIP, CURVES[name])(kn)), np.log(kn))
        away = np.abs(slope - CONTINUUM[name])
        assert away[0] < 0.06
        assert away[0] < 0.5 * away[-1]
    per = -np.gradient(STRIP.heat(kn) / kn, np.log(kn))
    assert per[0] == pytest.approx(2.0 * 1.875 / np.pi**1.5, rel=0.1)


def test_the_share_of_the_area_falls_from_one_towards_zero():
    """In free flight the stress is the same all over the face; towards the continuum it sits at the edge."""
    for shape in ("strip", "square"):
        table = ResponseTable.standard(shape, room=4.0)
        share = table.area_share(np.array([np.inf, 1e6, 1.0, 0.1, 0.03]))
        assert share[0] == pytest.approx(1.0, abs=1e-9)
        assert np.all(np.diff(share) <= 0.0)
        assert share[2] > 0.95
        assert share[-1] < 0.4
        assert table.error("area_share", 1.0) < 5e-3
    assert ResponseTable.standard("square").area_share(0.05) < STRIP.area_share(0.05)


@pytest.mark.parametrize(
    ("shape", "knudsen", "accommodation", "tolerance"),
    [
        ("strip", 0.1, 1.0, 1e-3), ("strip", 1.0, 1.0, 1e-3), ("strip", 100.0, 0.4, 1e-3), ("square", 1.0, 1.0, 3e-3),
        ("square", 3.162278, 0.2, 3e-3),
    ],
)  # fmt: skip
def test_shipped_entries_agree_with_the_solver(shape, knudsen, accommodation, tolerance):
    walls = {"hot": accommodation, "cold": accommodation, "room": 1.0}
    about = {"room": 4.0, "accommodation": walls, "tolerance": tolerance}
    answer = respond(shape, knudsen, **about, cache=False, workers=1)
    rows = standard_data()
    row = rows[(rows["shape"] == shape) & (rows["room"] == 4.0) & (rows["accommodation"] == accommodation)]
    row = row.iloc[int(np.argmin(np.abs(np.log(row["knudsen"] / knudsen))))]
    for name in COLUMNS:
        assert answer.values[name] == pytest.approx(row[name], rel=1e-5)
        assert answer.errors[name] == pytest.approx(row[f"{name}_error"], rel=0.1, abs=1e-6)


def test_every_entry_carries_an_error_within_its_tolerance():
    rows = standard_data()
    limit = pd.Series(3.05e-3, index=rows.index).mask(rows["shape"] == "strip", 1.05e-3)
    limit = limit.mask(rows["shape"].isin(["disc", "diamond"]) & (rows["knudsen"] < 0.099), 1.05e-2)
    for name in NAMES:
        assert (rows[f"{name}_error"] <= limit * rows[name]).all()
    assert (rows["area_share_error"] < 0.03).all()
    assert rows["area_share"].between(-0.3, 1.015).all()


@pytest.mark.parametrize("accommodation", [1.0, 0.8, 0.6, 0.4, 0.2])
@pytest.mark.parametrize(("shape", "room"), [one for one in tables() if one[0] != "rectangle"])
def test_every_curve_goes_from_kn_0_01_or_0_03_to_100_and_free_flight(shape, room, accommodation):
    table = ResponseTable.standard(shape, room=room, accommodation=accommodation)
    nodes = np.geomspace(0.01, 100.0, 33)
    assert np.allclose(table.knudsen, nodes[4:] if shape in ("disc", "diamond") else nodes, rtol=1e-9)
    assert table.holds_area_share
    full = ResponseTable.standard(shape, room=room)
    for name in ("thermal_force", "heat_hot", "loss_hot"):
        assert np.all(table.values[name] <= full.values[name])
    # In free flight only the diffuse share of what the faces send back knows their temperature.
    assert table.free_flight["thermal_force"] == pytest.approx(0.25 * accommodation, rel=1e-6)
    assert table.free_flight["loss_hot"] == pytest.approx(accommodation / np.sqrt(np.pi), rel=2e-3)


class AtOnce:
    """A runner that does the work in this process."""

    def __enter__(self):
        return self

    def __exit__(self, *_):
        return None

    def map(self, function, pieces, *, keep, on_result):
        answers = [function(*piece) for piece in pieces]
        for place, answer in enumerate(answers):
            on_result(place, answer)
        return answers


def test_adding_to_the_tables_keeps_earlier_entries(tmp_path, monkeypatch):
    """Lines in the file are not computed and stay unchanged; a missing line is computed."""
    whole = resources.files("edgewind.kinetics").joinpath("tables.csv").read_text()
    out = tmp_path / "tables.csv"
    out.write_text(whole)
    monkeypatch.setattr(sys, "argv", ["make_tables", str(out), "--add"])
    monkeypatch.setattr(make_tables, "open_runner", lambda _: pytest.fail("something was to be computed"))
    make_tables.main()
    assert out.read_text() == whole
    lines = whole.splitlines(keepends=True)
    lacks = next(k for k, line in enumerate(lines) if line.startswith("strip,1.0,4.0,1.0,1,"))
    out.write_text("".join(lines[:lacks] + lines[lacks + 1 :]))
    monkeypatch.setenv("EDGEWIND_CACHE", str(tmp_path / "kept"))
    monkeypatch.setattr(make_tables, "open_runner", lambda _: AtOnce())
    make_tables.main()
    assert out.read_text() == whole


def test_an_area_share_absent_from_a_table_is_refused():
    values = STRIP.values | {"area_share": np.full(STRIP.knudsen.size, np.nan)}
    table = replace(STRIP, values=values)
    assert STRIP.holds_area_share
    assert not table.holds_area_share
    with pytest.raises(InputError, match="holds no area share"):
        table.area_share(1.0)


def test_accommodation_between_the_computed_ones_is_interpolated():
    """Less accommodation, less force: and at 0.7 what the solver says."""
    table = ResponseTable.standard("strip", room=4.0, accommodation=0.7)
    answer = respond(
        "strip", 1.0, room=4.0, accommodation={"hot": 0.7, "cold": 0.7}, tolerance=2e-3, cache=False, workers=1
    )
    assert table.thermal_force(1.0) == pytest.approx(answer.thermal_force, rel=5e-3)
    assert table.drag(1.0) == pytest.approx(answer.drag, rel=5e-3)
    assert table.thermal_force(1.0) < STRIP.thermal_force(1.0)


def test_a_table_can_be_made_from_responses():
    answers = respond_curve("strip", [1.0, 3.0, 10.0, 30.0, np.inf], room=3.0, tolerance=0.1, cache=False, workers=1)
    table = ResponseTable.from_responses(answers)
    assert float(table.drag(3.0)) == pytest.approx(answers[1].drag)
    assert float(table.drag(1e9)) == pytest.approx(answers[-1].drag)
    with pytest.raises(InputError, match="infinity"):
        ResponseTable.from_responses(answers[:-1])


def test_cases_outside_all_tables_are_refused():
    with pytest.raises(InputError, match="respond_curve"):
        ResponseTable.standard("strip", room=5.5)
    with pytest.raises(OutOfRangeError, match="accommodation"):
        ResponseTable.standard("strip", room=4.0, accommodation=0.1)
    with pytest.raises(OutOfRangeError, match="above 0"):
        STRIP.drag([1.0, 0.0])
