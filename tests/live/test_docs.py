"""Instruments as described in the manual and in the template are accepted by the program."""

import re
from importlib.resources import files
from pathlib import Path

from edgewind.bench import parse_bench
from edgewind.live import SweepRequest

MANUAL = Path(__file__).parents[2] / "docs" / "record.md"


def test_the_sections_in_the_manual_are_read(bench_text):
    blocks = re.findall(r"```toml\n(.*?)```", MANUAL.read_text(encoding="utf-8"), re.S)
    bench = parse_bench(bench_text + "\n".join(blocks))
    assert bench.instruments.valve.set == "VOLT {value:.4f}"
    assert bench.instruments.thermometer.unit == "degC"
    assert bench.limits.pressure_above.value == 30.0


def test_the_commented_sections_of_the_template_are_valid_without_the_comment_signs():
    template = (files("edgewind.bench") / "template_files" / "bench.toml").read_text(encoding="utf-8")
    head, mark, tail = template.partition("# For `edgewind record`")
    tail = tail.partition("# [virtual]")[0]
    lines = [line.removeprefix("# ") for line in tail.splitlines()]
    body = [line for line in lines if re.match(r"\[[a-z.]+\]|[a-z_]+ = ", line)]
    assert mark and len(body) > 40
    text = head.replace('kind = "display"', _GAUGE) + "\n".join(body)
    bench = parse_bench(text)
    roles = {"gauge", "thermometer", "valve", "lamp", "tachometer", "thermostat"}
    assert dict(bench.instruments.named()).keys() == roles
    assert bench.steadiness.dwell.value == 30.0


_GAUGE = """kind = "linear"
scale = "10 mTorr/V"
signal_low = "0 V"
signal_high = "10 V"
"""


def test_the_program_in_the_manual_runs(served_folder, tmp_path, monkeypatch, capsys):
    (program,) = re.findall(r"```python\n(.*?)```", MANUAL.read_text(encoding="utf-8"), re.S)
    monkeypatch.chdir(tmp_path)
    served_folder.rename(tmp_path / "my-folder")
    scope = {}
    exec(program.replace("(0.1, 1.0, 10.0)", "(2.0, 6.0)"), scope)
    assert scope["sweep"].status().phase == "finished", scope["sweep"].status()
    assert "kind='stored'" in capsys.readouterr().out


def test_an_adaptive_sweep_stops_at_the_interval_asked_for(bench, folder, tmp_path):
    request = SweepRequest((0.5, 10.0), adaptive=20, target="1000%")
    assert SweepRequest.of(request.plain()) == request
    status = bench.run(folder, tmp_path / "lab.book", request).status()
    assert status.phase == "finished" and status.done < 12, status
    assert "interval" in status.message, status


def test_an_adaptive_sweep_measures_the_pressures_that_the_plan_proposes(bench, folder, tmp_path):
    sweep = bench.run(folder, tmp_path / "lab.book", SweepRequest((0.5, 10.0), adaptive=7))
    status = sweep.status()
    assert status.phase == "finished", status
    chosen = [event.data["pressure_pa"] for event in sweep.history() if event.kind == "proposal"]
    stored = [event.data["pressure_pa"] for event in sweep.history() if event.kind == "stored"]
    # six to begin with, and then as many as the plan finds worth their time
    assert len(chosen) == len(stored) and 6 <= len(stored) <= 7, status
    assert len(stored) == 7 or status.message
    assert all(0.5 <= pressure <= 10.0 for pressure in chosen)
    assert all(abs(a / b - 1) < 0.2 for a, b in zip(chosen, stored, strict=True))
