"""The time on the bench in the report: present with a [vacuum] section, absent without."""

import json

from edgewind.report.summary import study_summary


def test_a_study_with_a_vacuum_plans_its_time(timed):
    told = json.loads((timed / "study.json").read_text(encoding="utf-8"))["time"]
    assert told["best_order"] == "down" and 8 <= len(told["points"]) <= 14 and told["assumptions"]
    page = (timed / "report.html").read_text(encoding="utf-8")
    assert "Time on the bench" in page and "What would show that this plan is wrong" in page
    for ending in (".svg", "-light.png", "-dark.png"):
        assert (timed / "figures" / f"time-timed{ending}").is_file()
    package = json.loads((timed / "datapackage.json").read_text(encoding="utf-8"))
    assert "figures/time-timed.svg" in {resource["path"] for resource in package["resources"]}


def test_a_study_without_a_vacuum_has_no_time_plan(narrow, two_rotors):
    assert study_summary([narrow], None, None)["time"] is None
    assert "Time on the bench" not in (two_rotors / "report.html").read_text(encoding="utf-8")
