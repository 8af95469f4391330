"""The pieces of work can be imported here and in the processes that do them."""

import os
import sys
from pathlib import Path

import pytest

HERE = str(Path(__file__).parent)
sys.path.insert(0, HERE)


@pytest.fixture(autouse=True)
def pieces_can_be_imported(monkeypatch):
    known = os.environ.get("PYTHONPATH", "")
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(part for part in (HERE, known) if part))
    monkeypatch.delenv("EDGEWIND_CLUSTER", raising=False)
