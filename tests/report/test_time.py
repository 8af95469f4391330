"""The time on the bench in the report: there where the bench tells of its vacuum, absent where it does not."""

import json
import shutil

import pytest

from edgewind.report.summary import study_summary
from edgewind.study import run_study

VACUUM = """
[vacuum]
volume = "3 l"
pumping_speed = "10 l/s"
outgassing = "1e-4 mbar l/s"
"""


@pytest.fixture(scope="module")
def timed(narrow_folder, tmp_path_factory):
    folder = tmp_path_factory.mktemp("time") / "timed"
    shutil.copytree(narrow_folder, folder)
    with (folder / "bench.toml").open("a", encoding="utf-8") as bench:
        bench.write(VACUUM)
    run_study(folder, folder.parent / "out", fit=False)
    return folder.parent / "out"


def test_a_study_with_a_vacuum_plans_its_time(timed):
    told = json.loads((timed / "study.json").read_text(encoding="utf-8"))["time"]
    assert told["best_order"] == "down" and 8 <= len(told["points"]) <= 14 and told["assumptions"]
    page = (timed / "report.html").read_text(encoding="utf-8")
    assert "Time on the bench" in page and "What would show this plan to be wrong" in page
    for ending in (".svg", "-light.png", "-dark.png"):
        assert (timed / "figures" / f"time-timed{ending}").is_file()
    package = json.loads((timed / "datapackage.json").read_text(encoding="utf-8"))
    assert "figures/time-timed.svg" in {resource["path"] for resource in package["resources"]}


def test_a_study_without_one_says_nothing_of_it(narrow, write):
    assert study_summary([narrow], None, None)["time"] is None
    assert "Time on the bench" not in (write(narrow) / "report.html").read_text(encoding="utf-8")
