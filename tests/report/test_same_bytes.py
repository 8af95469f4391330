"""The same inputs give the same bytes, in another process too, and stay as they were."""

import os
import subprocess
import sys
from pathlib import Path

_SCRIPT = "import sys; from edgewind.study import run_study; run_study(sys.argv[1], sys.argv[2])"


def contents(folder: Path) -> dict[str, bytes]:
    """Every file of a folder."""
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_another_process_writes_the_same_bytes(timed: Path, timed_folder: Path, tmp_path: Path) -> None:
    """A whole study: page, figures, tables, summary and plans, of an experiment with traces; its inputs stay."""
    other, inputs = tmp_path / "other", contents(timed_folder)
    environment = os.environ | {"PYTHONHASHSEED": "7", "SOURCE_DATE_EPOCH": "7"}
    subprocess.run([sys.executable, "-c", _SCRIPT, str(timed_folder), str(other)], check=True, env=environment)
    assert contents(timed_folder) == inputs
    one, two = contents(timed), contents(other)
    assert one.keys() == two.keys()
    assert len(one) > 10 and {"report.html", "study.json", "datapackage.json"} <= one.keys()
    assert [name for name, content in one.items() if content != two[name]] == []
