"""Rotors outside the tables: reported, solved on request, stored and used."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from edgewind.bench import read_bench
from edgewind.cli import app
from edgewind.cli.respond import _on_cluster
from edgewind.cli.solving import solve_outside
from edgewind.errors import OutOfRangeError
from edgewind.kinetics import store
from edgewind.kinetics.rotor_respond import MAIN
from edgewind.rotor import changed_bench, parameters_of, solved
from edgewind.rotor.shapes import shaped_response
from edgewind.rotor.solved import NODES, OwnRotor, kept_answer, seconds_to_solve, solve_own
from edgewind.rotor.whole_rotor import rotor_response
from edgewind.runner.cluster import ClusterRunner

EXAMPLE = Path(__file__).parents[2] / "examples" / "two-rotors"
WIDTH = 0.01
FAR = OwnRotor("rectangle", 4, 3.6, 1.0, 10.0, 8.0)


@pytest.fixture
def cache(tmp_path, monkeypatch):
    monkeypatch.setenv("EDGEWIND_CACHE", str(tmp_path))
    return tmp_path


class Here:
    """A runner that does the work where it is asked."""

    def __enter__(self):
        return self

    def __exit__(self, *_):
        pass

    def map(self, function, pieces, *, on_result, on_message=None):
        answers = []
        for place, piece in enumerate(pieces):
            if on_message is not None:
                on_message(place, "progress", 0.5)
            answers.append(function(*piece))
            on_result(place, answers[-1])
        return answers


def response(own, vanes=None):
    sizes = (WIDTH, own.aspect * WIDTH, own.width * WIDTH)
    return rotor_response(own.shape, *sizes, vanes or own.vanes, own.arm * WIDTH, chamber_height_m=own.height * WIDTH)


def test_a_rotor_outside_the_tables_is_reported_with_its_dimension():
    assert FAR.why_outside() == "arm over width of a vane is 3.6, not 1 to 3"
    assert "chamber over rotor is 1.1" in OwnRotor("rectangle", 2, 1.5, 1.0, 4.4, 4.0).why_outside()
    assert "discs" in OwnRotor("disc", 2, 1.5, 1.0, 6.0, 4.0).why_outside()
    assert OwnRotor("rectangle", 4, 1.5, 1.0, 6.0, 4.0).why_outside() is None


def test_three_vanes_outside_the_tables_can_be_solved_and_take_longer_than_four():
    three = replace(FAR, vanes=3)
    assert three.why_outside() == FAR.why_outside()
    assert solved._updates(three, 1.0) > 2.0 * solved._updates(FAR, 1.0)
    assert seconds_to_solve(three, processes=2) > 0.0


def test_a_stored_solution_replaces_the_extrapolation(cache):
    carried = response(FAR)
    lone = shaped_response("rectangle", WIDTH, WIDTH, 8.0 * WIDTH)
    at = lone.at(np.array(NODES), 1.0)
    given = {
        "torque": 0.8 * at.thermal_force,
        "drag": 0.7 * at.drag,
        "heat_apart": 0.99 * at.heat,
        "loss": 0.9 * at.loss,
    }
    assert set(given) == set(MAIN)
    answer = {name: values.tolist() for name, values in given.items()}
    store.keep_answer(cache, FAR.question, answer | {f"{name}_error": [0.01] * len(NODES) for name in MAIN})
    own = response(FAR)
    assert "solved for itself" in own.source
    assert "solved for itself" not in carried.source
    kn = np.array([100.0, 2.0, 0.4, 0.09])
    for alpha in (1.0, 0.8):
        found, beside = own.at(kn, alpha), lone.at(kn, alpha)
        np.testing.assert_allclose(found.thermal_force, 0.8 * beside.thermal_force, rtol=2e-3)
        # The drag of a rotor is per Omega R/v0: that of a vane in translation is less by the mean square of its radius.
        np.testing.assert_allclose(found.drag, 0.7 * beside.drag / (1.0 + 1.0 / 12.0 / 3.6**2), rtol=2e-3)
        np.testing.assert_allclose(found.loss, 0.9 * beside.loss, rtol=2e-3)
    assert np.all(own.relative_error(kn) < carried.relative_error(kn))


def test_a_rotor_solved_directly_agrees_with_the_tables(cache, monkeypatch):
    """Within them: two ways to the same coefficients, within 2 per cent."""
    inside = OwnRotor("rectangle", 4, 1.2, 1.0, 5.0, 5.0)
    monkeypatch.setattr(solved, "open_runner", lambda cluster, processes: Here())
    monkeypatch.setattr(solved, "NODES", (0.4,))
    monkeypatch.setattr(solved, "TOLERANCE", 0.1)
    told = []
    answer = solve_own(inside, progress=lambda share, left: told.append((share, left)))
    assert told[-1] == (pytest.approx(1.0), pytest.approx(0.0))
    assert [share for share, _ in told] == sorted(share for share, _ in told)
    np.testing.assert_array_equal(kept_answer(inside)["torque"], answer["torque"])
    tables = response(inside).at(np.array([0.4]), 1.0)
    np.testing.assert_allclose(answer["torque"], tables.thermal_force, rtol=0.02)
    np.testing.assert_allclose(answer["drag"] / (1.0 + 1.0 / 12.0 / 1.2**2), tables.drag, rtol=0.02)
    np.testing.assert_allclose(answer["loss"], tables.loss, rtol=0.02)
    assert seconds_to_solve(inside) > 0.0


def test_vanes_that_leave_the_chamber_are_refused_before_anything_is_solved(cache):
    with pytest.raises(OutOfRangeError, match="leave no gap to a wall"):
        solve_own(OwnRotor("rectangle", 4, 3.6, 1.0, 8.0, 8.0))
    assert not list(cache.iterdir())


def test_three_vanes_lie_between_two_and_four_with_a_greater_error():
    own = OwnRotor("rectangle", 4, 1.5, 1.0, 6.0, 6.0)
    kn = np.array([10.0, 0.3, 0.05])
    two, three, four = (response(own, vanes).at(kn, 0.9) for vanes in (2, 3, 4))
    for name in ("thermal_force", "drag", "loss"):
        assert np.all(getattr(four, name) < getattr(three, name))
        assert np.all(getattr(three, name) < getattr(two, name))
    errors = [response(own, vanes).relative_error(kn) for vanes in (2, 3, 4)]
    assert np.all(errors[1] > np.maximum(errors[0], errors[2]))


def far_bench():
    """The first rotor of the example with a longer arm: its vanes turn close by the wall."""
    bench = read_bench(next(EXAMPLE.rglob("bench.toml")))
    width = parameters_of(bench).chamber_width_m
    reach = 0.5 * width / 1.1 - 0.5 * bench.rotor.vane_width.value
    return changed_bench(bench, {"rotor.arm": f"{1e3 * reach:.3f} mm"})


def test_a_command_reports_a_rotor_outside_the_tables(cache):
    (sentence,) = solve_outside([far_bench(), far_bench()], solve=False, cluster=None)
    assert "outside the tables of whole rotors (" in sentence
    assert "chamber over rotor is 1.1, not 1.2 to 4)" in sentence
    assert "With --solve it is solved" in sentence
    assert solve_outside([read_bench(next(EXAMPLE.rglob("bench.toml")))], solve=False, cluster=None) == []


def test_a_command_solves_the_rotor_on_request(cache, monkeypatch, capsys):
    asked = []
    monkeypatch.setattr(solved, "solve_own", lambda own, **how: asked.append((own, how)))
    monkeypatch.setattr(solved, "seconds_to_solve", lambda own: 130.0)
    assert solve_outside([far_bench()], solve=True, cluster=None) == []
    assert [own.vanes for own, _ in asked] == [4]
    assert "about 2.2 min" in capsys.readouterr().err


def test_a_design_with_touching_vanes_is_left_out_and_reported(cache):
    rotor = parameters_of(far_bench())
    touching = rotor.with_(arm_m=0.5 * rotor.chamber_width_m - 0.5 * rotor.vane_width_m)
    (sentence,) = solve_outside([touching], solve=True, cluster=None, strict=False)
    assert "is not solved: vanes that reach" in sentence
    with pytest.raises(OutOfRangeError, match="leave no gap to a wall"):
        solve_outside([touching], solve=True, cluster=None)


@pytest.mark.parametrize(("command", "option"), [("design", "--widths"), ("rotor", "--goal")])
def test_planning_commands_solve_the_rotor_on_request(command, option, cache, monkeypatch):
    """The widths that are planned for, and the designs that are proposed."""
    asked = []

    def stop(rotors, **how):
        asked.append((rotors, how["solve"]))
        raise OutOfRangeError("as far as this test goes")

    monkeypatch.setattr(f"edgewind.cli.{command}.solve_outside", stop)
    given = {"--widths": ["8 mm,12 mm"], "--goal": ["fastest", "--trials", "50"]}[option]
    folder = next(EXAMPLE.rglob("bench.toml")).parent
    result = CliRunner().invoke(app, [command, str(folder), "--no-fit", "--solve", option, *given])
    assert "as far as this test goes" in str(result.exception)
    ((rotors, solve),) = asked
    assert solve and len(rotors) >= 2


@pytest.mark.parametrize("command", ["study", "predict", "design", "respond"])
@pytest.mark.parametrize(
    ("address", "said"),
    [("localhost", "not the address of a Dask scheduler"), ("tcp://127.0.0.1:9", "no Dask scheduler answers")],
)
def test_an_unreachable_cluster_is_refused_by_every_command(command, address, said, tmp_path, monkeypatch):
    """An address that is none, and a port at which nothing listens; before anything is read or written."""
    monkeypatch.setattr(ClusterRunner.__init__, "__kwdefaults__", {"timeout_s": 0.1})
    folder = tmp_path / "experiment"
    words = {"respond": ["respond"], "design": ["design", str(folder), "--widths", "8 mm,12 mm"]}
    words = words.get(command, [command, str(folder)])
    for given, environment in ((["--cluster", address], {}), ([], {"EDGEWIND_CLUSTER": address})):
        result = CliRunner().invoke(app, [*words, *given], env=environment)
        assert said in str(result.exception)
    assert not list(tmp_path.iterdir())


def test_each_knudsen_number_of_a_curve_is_a_separate_task_of_a_cluster(monkeypatch):
    addresses, done = [], []
    monkeypatch.setattr("edgewind.runner.open_runner", lambda address: addresses.append(address) or Here())
    about = {"shape": "strip", "tolerance": 0.1, "cache": False, "workers": 1}
    answers = _on_cluster("tcp://there:8786", "vane", [10.0, 3.0], about, done.append)
    assert addresses == ["tcp://there:8786"]
    assert [answer.knudsen for answer in answers] == [10.0, 3.0]
    assert done == [1, 2]
