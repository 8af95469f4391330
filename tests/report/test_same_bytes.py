"""The same inputs give the same bytes, in another process too."""

import os
import subprocess
import sys
from pathlib import Path

_SCRIPT = "import sys; from edgewind.study import run_study; run_study(sys.argv[1], sys.argv[2])"


def test_another_process_writes_the_same_bytes(timed: Path, timed_folder: Path, tmp_path: Path) -> None:
    """A whole study: page, figures, tables, summary and plans, of an experiment with traces and a vacuum."""
    other = tmp_path / "other"
    environment = os.environ | {"PYTHONHASHSEED": "7", "SOURCE_DATE_EPOCH": "7"}
    subprocess.run([sys.executable, "-c", _SCRIPT, str(timed_folder), str(other)], check=True, env=environment)
    one, two = (
        {path.relative_to(out).as_posix(): path.read_bytes() for path in out.rglob("*") if path.is_file()}
        for out in (timed, other)
    )
    assert one.keys() == two.keys()
    assert len(one) > 10 and {"report.html", "study.json", "datapackage.json"} <= one.keys()
    assert [name for name, content in one.items() if content != two[name]] == []
