"""The same inputs give the same bytes, in another process too."""

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

from edgewind.evidence import Findings

_SCRIPT = """
import sys
from pathlib import Path
from edgewind.evidence import find
from edgewind.report import write_report
from edgewind.signals import read_experiment
found = find(read_experiment(sys.argv[1]))
write_report(
    [found], None, Path(sys.argv[2]), command="edgewind study bench & --out <out>",
    versions={"edgewind": "0", "numpy": "2"}, input_root="my <bench>",
)
"""


def test_another_process_writes_the_same_bytes(
    narrow: Findings, write: Callable[..., Path], narrow_folder: Path, tmp_path: Path
) -> None:
    other = tmp_path / "other"
    other.mkdir()
    environment = os.environ | {"PYTHONHASHSEED": "7", "SOURCE_DATE_EPOCH": "7"}
    subprocess.run([sys.executable, "-c", _SCRIPT, str(narrow_folder), str(other)], check=True, env=environment)
    one, two = (
        {path.relative_to(out).as_posix(): path.read_bytes() for path in out.rglob("*") if path.is_file()}
        for out in (write(narrow), other)
    )
    assert one.keys() == two.keys()
    assert len(one) > 10
    assert [name for name, content in one.items() if content != two[name]] == []
