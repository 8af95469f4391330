"""The manual page of the virtual bench agrees with the program."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from desk import Desk

from edgewind.bench import parse_bench
from edgewind.bench.virtual import VirtualSection
from edgewind.virtual import INSTRUMENTS, invented_bench, invented_text
from edgewind.virtual.gas_table import gas_table

PAGE = Path(__file__).parents[2] / "docs" / "virtual-bench.md"


@pytest.fixture(scope="module")
def page():
    return PAGE.read_text(encoding="utf-8")


def test_the_section_of_the_page_is_read_and_shows_the_defaults(page):
    (section,) = re.findall(r"```toml\n(.*?)```", page, re.S)
    head = invented_text().partition("[virtual]")[0]
    shown, default = parse_bench(head + section).virtual, VirtualSection()
    for name in VirtualSection.model_fields:
        if name not in ("truth", "gauge_shows"):
            value, known = getattr(shown, name), getattr(default, name)
            assert getattr(value, "value", value) == pytest.approx(getattr(known, "value", known)), name


def test_every_command_of_the_page_is_known_to_its_instrument(page):
    desk = Desk(invented_bench())
    rows = re.findall(r"^\| `(\w+)` \| (.*?) \|", page, re.M)
    assert {role for role, _ in rows} == set(INSTRUMENTS)
    for role, text in rows:
        for command in re.findall(r"`([^`]+)`", text):
            if command not in ("MEASure:PRESsure?", "K", "FAR"):  # the first is for a display
                desk.ask(role, command.replace("[SOURce:]", "SOURce:"))
                assert desk.error(role) == '0,"No error"', command


def test_the_example_of_the_page_runs(page, capsys):
    (program,) = re.findall(r"```python\n(.*?)```", page, re.S)
    exec(compile(program, str(PAGE), "exec"), {})
    printed = capsys.readouterr().out
    assert printed.startswith("TCPIP::127.0.0.1::") and "'pressure'" in printed


def test_the_pressure_to_which_the_response_reaches_is_that_of_the_page(page):
    """Beyond it the table goes on with powers of the Knudsen number: drag per pascal with the first."""
    from edgewind.rotor import parameters_of, response_of

    rotor = parameters_of(invented_bench())
    most = float(rotor.knudsen(1.0)) / response_of(rotor).least_knudsen
    (told,) = re.findall(r"about (\d+) Pa for 12 mm", page)
    assert most == pytest.approx(float(told), rel=0.1)
    table = gas_table(rotor)
    rows = table.rows[-3:]
    assert rows[1, 0] / rows[0, 0] == pytest.approx(2.718281828**-table.step, rel=1e-6)
