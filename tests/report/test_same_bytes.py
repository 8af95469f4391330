"""The same inputs give the same bytes, in another process too."""

import os
import subprocess
import sys
from pathlib import Path

_SCRIPT = """
import sys
from pathlib import Path
from edgewind.evidence import find
from edgewind.report import write_report
from edgewind.signals import read_experiment
found = find(read_experiment(sys.argv[1]))
write_report([found, found], None, Path(sys.argv[2]), command="c", versions={"b": "1", "a": "2"}, input_root="i")
"""


def test_two_processes_write_the_same_bytes(narrow_folder: Path, tmp_path: Path) -> None:
    written = []
    for seed in ("1", "2"):
        out = tmp_path / f"out-{seed}"
        out.mkdir()
        environment = os.environ | {"PYTHONHASHSEED": seed, "SOURCE_DATE_EPOCH": seed}
        subprocess.run([sys.executable, "-c", _SCRIPT, str(narrow_folder), str(out)], check=True, env=environment)
        written.append(
            {path.relative_to(out).as_posix(): path.read_bytes() for path in out.rglob("*") if path.is_file()}
        )
    assert written[0].keys() == written[1].keys()
    assert len(written[0]) > 10
    assert [name for name, content in written[0].items() if content != written[1][name]] == []
