"""A recorder killed at random moments of a sweep loses nothing that it has acknowledged, and the sweep goes on."""

import json
import subprocess
import sys
from pathlib import Path

TRIAL = Path(__file__).with_name("kill_trial.py")


def test_a_recorder_killed_at_random_moments_loses_nothing_and_its_sweep_resumes(served_folder, target):
    """Four kills with SIGKILL for each kind of book here; `benchmarks/bench_live.py` makes 200."""
    done = subprocess.run(
        [sys.executable, str(TRIAL), str(served_folder), target, "4", "1"],
        capture_output=True, text=True, check=False, timeout=500,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr + done.stdout
    found = json.loads(done.stdout)
    # how many of the readings were told before a kill depends on the machine
    assert found["kills"] == 4 and found["acknowledged"] >= 4
    assert found["missing"] == found["broken"] == found["check"] == found["unfinished"] == found["spool"] == []
    assert found["steps"] == {}
    # a reading may have been kept whose recorder died before it could tell: one a life, at most
    assert found["acknowledged"] <= found["kept"] <= found["acknowledged"] + 4
