"""Response tables: limits, smoothness, and that the shipped numbers are those the solver gives."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr

from edgewind.errors import InputError, OutOfRangeError
from edgewind.kinetics.response import respond, respond_curve
from edgewind.kinetics.table import NAMES, ResponseTable, standard_data

STRIP = ResponseTable.standard("strip", room=4.0)


def tables():
    data = standard_data()
    return sorted({(s, float(r)) for s, r in zip(data["shape"], data["room"], strict=True)})


@pytest.mark.parametrize(("shape", "room"), tables())
def test_free_flight_is_the_limit_of_every_table(shape, room):
    """F -> 1/4, heat of a face -> 1/(2 sqrt(pi)) (Knudsen 1910): full accommodation, any closed room."""
    table = ResponseTable.standard(shape, room=room)
    assert table.thermal_force(1e8) == pytest.approx(0.25, rel=1e-3)
    assert table.heat(1e8) == pytest.approx(0.5 / np.sqrt(np.pi), rel=1e-3)
    assert table.heat_loss(1e8) == pytest.approx(2.0 / np.sqrt(np.pi), rel=1e-3)
    assert table.drag(1e8) > 4.0 / np.sqrt(np.pi) + np.sqrt(np.pi)
    for coefficient in (table.thermal_force, table.heat, table.drag):
        assert coefficient(1e-20) < 1e-4 * coefficient(1.0)


@pytest.mark.parametrize(("shape", "room"), tables())
def test_curves_are_smooth_across_their_ends(shape, room):
    table = ResponseTable.standard(shape, room=room)
    kn = np.geomspace(table.knudsen[0] / 3.0, table.knudsen[-1] * 3.0, 2001)
    for coefficient in (table.thermal_force, table.heat, table.drag, table.heat_loss):
        slope = np.gradient(np.log(coefficient(kn)), np.log(kn))
        assert np.abs(np.diff(slope)).max() < 0.02


def test_between_nodes_the_table_is_as_good_as_the_solver():
    """A node left out is found again from its neighbours to a few times the tolerance."""
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


def test_arrays_go_in_and_come_out():
    kn = np.geomspace(1e-3, 1e3, 12).reshape(3, 4)
    assert STRIP.drag(kn).shape == (3, 4)
    assert STRIP.drag(kn)[1, 2] == pytest.approx(float(STRIP.drag(kn[1, 2])))
    inside = np.geomspace(0.01, 1e3, 12)
    assert np.all(STRIP.error("drag", inside) < 2e-3 * STRIP.drag(inside))


def test_below_its_first_node_a_table_owns_to_knowing_less():
    """The strip's table cut off at Kn 0.1 still holds what the whole one says at 0.02, within its error."""
    kept = STRIP.knudsen > 0.099
    short = ResponseTable(
        STRIP.knudsen[kept],
        {n: v[kept] for n, v in STRIP.values.items()},
        {n: e[kept] for n, e in STRIP.errors.items()},
        STRIP.free_flight, "strip", 4.0, 1.0,
    )  # fmt: skip
    for name, coefficient in (("drag", "drag"), ("thermal_force", "thermal_force"), ("heat_hot", "heat")):
        known, guessed = getattr(STRIP, coefficient)(0.02), getattr(short, coefficient)(0.02)
        assert abs(guessed - known) < short.error(name, 0.02)
        assert short.error(name, 0.02) > 0.1 * guessed


@pytest.mark.parametrize("knudsen", [0.1, 1.0, 100.0])
def test_shipped_entries_are_what_the_solver_gives(knudsen):
    answer = respond("strip", knudsen, room=4.0, tolerance=1e-3, cache=False, workers=1)
    rows = standard_data()
    row = rows[(rows["shape"] == "strip") & (rows["room"] == 4.0) & (rows["accommodation"] == 1.0)]
    row = row.iloc[int(np.argmin(np.abs(np.log(row["knudsen"] / knudsen))))]
    for name in NAMES:
        assert answer.values[name] == pytest.approx(row[name], rel=1e-5)


def test_every_entry_carries_an_error_within_its_tolerance():
    rows = standard_data()
    limit = rows["shape"].map({"strip": 1.05e-3, "square": 3.05e-3, "disc": 5.05e-3, "diamond": 5.05e-3})
    for name in NAMES:
        assert (rows[f"{name}_error"] <= limit * rows[name]).all()


def test_accommodation_between_the_computed_ones_is_interpolated():
    """Less accommodation, less force: and at 0.7 what the solver says."""
    table = ResponseTable.standard("strip", room=4.0, accommodation=0.7)
    answer = respond("strip", 1.0, room=4.0, accommodation=0.7, tolerance=2e-3, cache=False, workers=1)
    assert table.thermal_force(1.0) == pytest.approx(answer.thermal_force, rel=5e-3)
    assert table.drag(1.0) == pytest.approx(answer.drag, rel=5e-3)
    assert table.thermal_force(1.0) < STRIP.thermal_force(1.0)


def test_a_table_of_ones_own():
    answers = respond_curve("strip", [1.0, 3.0, 10.0, 30.0, np.inf], room=3.0, tolerance=0.02, cache=False, workers=1)
    table = ResponseTable.from_responses(answers)
    assert float(table.drag(3.0)) == pytest.approx(answers[1].drag)
    assert float(table.drag(1e9)) == pytest.approx(answers[-1].drag)
    with pytest.raises(InputError, match="infinity"):
        ResponseTable.from_responses(answers[:-1])


def test_a_table_goes_to_netcdf_and_back(tmp_path):
    STRIP.to_dataset().to_netcdf(tmp_path / "table.nc")
    back = ResponseTable.from_dataset(xr.load_dataset(tmp_path / "table.nc"))
    kn = np.geomspace(1e-3, 1e3, 50)
    np.testing.assert_array_equal(back.drag(kn), STRIP.drag(kn))
    assert back.shape == "strip"


def test_what_no_table_holds_is_refused():
    with pytest.raises(InputError, match="respond_curve"):
        ResponseTable.standard("strip", room=5.5)
    with pytest.raises(OutOfRangeError, match="accommodation"):
        ResponseTable.standard("strip", room=4.0, accommodation=0.3)
    with pytest.raises(OutOfRangeError, match="above 0"):
        STRIP.drag([1.0, 0.0])
