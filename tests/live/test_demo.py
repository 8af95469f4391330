"""The demonstration: a simulated bench, a sweep recorded from it, a study of the book, and no process left running."""

import subprocess

from edgewind.book import check_book


def test_the_demonstration_ends_with_a_report_and_leaves_nothing_running(edgewind, tmp_path):
    out = tmp_path / "demo-out"
    done = edgewind("demo", "--quick", cwd=tmp_path)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "<svg" in (out / "report.html").read_text(encoding="utf-8")
    assert "Cautions:" in done.stdout and "Glass under vacuum" in done.stdout
    assert "finished: every step is done" in done.stdout
    assert "The rotor is fastest at" in done.stdout
    assert "run at 2.5 Pa: lamp off, then envelope to -20 degC" in done.stdout
    assert "What is true of this invented rotor, and what the study found:" in done.stdout
    health = check_book(out / "lab.book")
    assert health.whole and health.readings == 9
    running = subprocess.run(["ps", "-eo", "args"], capture_output=True, text=True, check=True).stdout
    assert not [line for line in running.splitlines() if "edgewind bench" in line and "edgewind-demo-" in line]
