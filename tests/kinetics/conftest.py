"""Fixtures of the tests of the kinetic solver."""

import importlib.util
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def rays():
    """Rays through free flight: rays.py beside this file."""
    spec = importlib.util.spec_from_file_location("rays", Path(__file__).with_name("rays.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
