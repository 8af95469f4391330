"""The commands of the plan, run as the program runs them."""

from __future__ import annotations

import json
import shutil

import pytest
from PIL import Image

from edgewind.bench import write_template
from edgewind.plan import plan_time
from edgewind.report.figures.canvas import our_style
from edgewind.report.figures.dwell import DWELL
from edgewind.report.palette import DARK


@pytest.fixture
def folder(tmp_path, vacuum_text):
    (tmp_path / "bench.toml").write_text(vacuum_text, encoding="utf-8")
    return tmp_path


def test_dwell_prints_json_text_and_a_figure(folder, edgewind):
    done = edgewind("dwell", ".", "--pressures", "0.1Pa:10Pa:4", "--plot", "time.png", "--json", cwd=folder)
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert [round(point["pressure_pa"], 3) for point in told["points"]] == [0.1, 0.464, 2.154, 10.0]
    assert told["best_order"] == "down" and told["sweeps"][0]["total_s"] > 60
    with Image.open(folder / "time.png") as image:
        assert image.size == (1920, 1080)
    text = edgewind("dwell", "bench.toml", "--pressures", "1 Pa, 7 mTorr", "--set", "gas.species=He", cwd=folder)
    assert text.returncode == 0 and "from high to low pressure" in text.stdout and "assumed:" in text.stdout


def test_design_writes_a_sheet(folder, edgewind):
    options = ("--widths", "8 mm, 14 mm", "--days", "1", "--readings", "8", "--trials", "12", "--out", "plan", "--json")
    done = edgewind("design", "bench.toml", *options, cwd=folder)
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told["sheet"] == "plan/plan.html" and told["widths_m"] == [0.008, 0.014]
    assert (folder / "plan" / "plan.txt").read_text(encoding="utf-8").startswith("Build ")
    page = (folder / "plan" / "plan.html").read_text(encoding="utf-8")
    assert str(folder) not in page
    assert "--days 1 --readings 8 --trials 12 --seed 1 --out plan" in page


def test_rotor_prints_and_draws_the_trade_off(folder, edgewind):
    options = ("--goal", "fastest", "--goal", "quick", "--gases", "N2,He", "--trials", "60", "--range", "vanes=2:4")
    done = edgewind("rotor", ".", *options, "--plot", "front.svg", cwd=folder)
    assert done.returncode == 0, done.stderr
    assert (
        "where no other is better in every goal" in " ".join(done.stdout.split())
        and "now" in done.stdout
        and "Warning" not in done.stderr
    )
    assert (folder / "front.svg").read_text(encoding="utf-8").startswith("<?xml")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("dwell", "nowhere.toml"), "nowhere.toml: there is no such file"),
        (("dwell", ".", "--within", "2"), "give a share between 0 and 1"),
        (("dwell", ".", "--plot", "time.pdf"), "end the name in .png or .svg"),
        (("dwell", ".", "--pressures", "1 mm"), "not a unit of pressure"),
        (("design", ".", "--widths", "8 mm"), "one width cannot show a power law"),
        (("design", ".", "--widths", "8 mm,12"), "'12' has no unit"),
        (("design", ".", "--widths", "8 mm,12 mm", "--exponents", "-1,x"), "'x' is not an exponent"),
        (("design", ".", "--widths", "8 mm,12 mm", "--days", "0"), "0 days"),
        (("design", ".", "--widths", "8 mm,12 mm", "--out", "bench.toml"), "this path already exists"),
        (("rotor", ".", "--goal", "best"), "there is no goal 'best'"),
        (("rotor", ".", "--goal", "fastest", "--range", "arm=3 mm"), "is not a range"),
        (("rotor", ".", "--goal", "fastest", "--range", "vanes=2:x"), "whole numbers"),
        (("rotor", ".", "--goal", "test", "--between", "outgassing"), "does not name two drives"),
    ],
)
def test_bad_input_ends_with_status_2_and_a_message(folder, arguments, said, edgewind):
    done = edgewind(*arguments, cwd=folder)
    assert done.returncode == 2
    assert said in done.stderr and done.stdout == ""


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    """The folder that `edgewind new` makes, whose rotor was read at 44 rpm, without the conductance that it states."""
    folder = tmp_path_factory.mktemp("template") / "bench"
    bench = write_template(folder)[0]
    lines = bench.read_text(encoding="utf-8").splitlines(keepends=True)
    bench.write_text("".join(line for line in lines if "vane_conductance" not in line), encoding="utf-8")
    return folder


def test_planning_starts_from_the_readings_beside_the_bench(template, edgewind):
    """Its readings reach 44 rpm; bench.toml alone, whose vane conducts as metal does, gives a small part of that."""
    told = json.loads(edgewind("dwell", str(template), "--pressures", "0.3Pa:3Pa:3", "--json").stdout)
    alone = json.loads(edgewind("dwell", str(template), "--no-fit", "--pressures", "0.3Pa:3Pa:3", "--json").stdout)
    fastest, slower = (max(abs(point["speed_rad_s"]) for point in plan["points"]) for plan in (told, alone))
    assert fastest == pytest.approx(4.6, rel=0.15) and slower < 0.5 * fastest
    fitted = told["fitted"]
    assert fitted["rotor.vane_conductance"] < 100 and alone["fitted"] == {}
    assert told["constant_torque_n_m"] and alone["constant_torque_n_m"] is None
    # the fit lets the faces accommodate unequally: the plan has to start with both
    assert fitted["rotor.dark_accommodation"] != fitted["rotor.bright_accommodation"]
    joint = ("--set", "rotor.accommodation=0.7", "--pressures", "0.3Pa:3Pa:3", "--json")
    assert json.loads(edgewind("dwell", str(template), *joint).stdout)["points"]


def test_planning_states_its_starting_point(template, edgewind):
    text = edgewind("predict", str(template), "--pressures", "0.3Pa:3Pa:5").stdout
    assert text.startswith("Starts from the most probable values that the readings allow")
    assert "constant torque from outside =" in " ".join(text.split("greatest")[0].split())
    assert text.index("greatest speed") < text.index("pressure")  # the answer stands before the table
    few = template.parent / "few"
    write_template(few)
    lines = (few / "readings.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    first = next(k for k, line in enumerate(lines) if line[:1].isdigit() or line[:1] == "2")
    (few / "readings.csv").write_text("".join(lines[: first + 2]), encoding="utf-8")
    assert "are not used: 2 of them can be used" in edgewind("dwell", str(few), "--pressures", "1 Pa").stdout


def test_planning_says_by_how_much_its_starting_values_miss_the_readings(template, edgewind):
    """The readings of the template are described; with every second speed at half of what was read they are not."""
    described = edgewind("dwell", str(template), "--pressures", "1 Pa", "--json")
    assert json.loads(described.stdout)["misses_readings"] == ""
    folder = template.parent / "missed"
    shutil.copytree(template, folder)
    halve_every_second_speed(folder / "readings.csv")
    told = json.loads(edgewind("dwell", str(folder), "--pressures", "1 Pa", "--json").stdout)["misses_readings"]
    share = float(told.split("the speeds lie ")[1].split(" %")[0])
    assert 25 < share < 100 and "is no better than the curve" in told
    for command in (("dwell", "--pressures", "1 Pa"), ("rotor", "--goal", "fastest", "--trials", "50")):
        assert told in " ".join(edgewind(command[0], str(folder), *command[1:]).stdout.split()), command
    alone = edgewind("dwell", str(folder), "--pressures", "1 Pa", "--no-fit", "--json").stdout
    assert json.loads(alone)["misses_readings"] == ""


def halve_every_second_speed(file):
    lines = file.read_text(encoding="utf-8").splitlines()
    head = next(line for line in lines if line.startswith("time,pressure")).split(",")
    speed = next(k for k, name in enumerate(head) if name.startswith("speed ["))
    rows = [k for k, line in enumerate(lines) if line[:1].isdigit()]
    for k in rows[::2]:
        cells = lines[k].split(",")
        lines[k] = ",".join(f"{float(c) / 2:.6g}" if at == speed else c for at, c in enumerate(cells))
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")


def test_readings_that_cannot_be_read_can_be_left_out(template, edgewind, tmp_path):
    write_template(tmp_path / "bench")
    (tmp_path / "bench" / "readings.csv").write_text("pressure [mm]\n1\n", encoding="utf-8")
    done = edgewind("dwell", "bench", "--pressures", "1 Pa", cwd=tmp_path)
    assert done.returncode == 2 and "--no-fit" in done.stderr
    assert edgewind("dwell", "bench", "--pressures", "1 Pa", "--no-fit", cwd=tmp_path).returncode == 0


def test_the_study_of_readme_can_be_planned_on_the_template(template, edgewind):
    done = edgewind("design", str(template), "--widths", "8 mm,12 mm,20 mm", "--trials", "12", "--readings", "8")
    assert done.returncode == 0, done.stderr
    assert "Build " in done.stdout and "is left out for other rotors" in " ".join(done.stdout.split())


def test_the_figure_of_the_time_is_drawn_in_every_size(vacuum_bench):
    plan = plan_time(vacuum_bench, [0.1, 1.0, 10.0])
    for size in DWELL.sizes.values():
        with our_style(DARK, size):
            figure = DWELL.draw(plan, DARK, size)
            assert len(figure.axes) == 2 and all(axes.get_xlabel() for axes in figure.axes)
    assert "from high to low" in DWELL.alt(plan) and DWELL.caption(plan)
