"""Common commands and the queue of errors: IEEE 488.2-1992, section 10; SCPI-1999, volumes 1 and 2.

Sections as two open libraries name them beside their code (scpi-rs, libscpi); 21.8.1, which comes before the 21.8.2 of
theirs, is from memory.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgewind.virtual import INSTRUMENTS
from edgewind.virtual.scpi import ErrorQueue, ScpiError

ROLES = list(INSTRUMENTS)


@pytest.mark.parametrize("role", ROLES)
def test_identification_has_four_fields_and_states_that_it_is_simulated(desk, role):
    """IEEE 488.2-1992, 10.14: maker, model, serial number, firmware."""
    fields = desk.ask(role, "*IDN?").decode().split(",")
    assert len(fields) == 4
    assert fields[0] == "Edgewind" and "simulated" in fields[1] and fields[2] == "invented"


@pytest.mark.parametrize("role", ROLES)
def test_every_instrument_has_the_common_commands(desk, role):
    """SCPI-1999, volume 1, 4.2.1 (required commands), and what of IEEE 488.2 (4.1.1) a recorder needs."""
    for command in ["*CLS", "*IDN?", "*OPC?", "*RST", "*TST?", "*WAI", "SYST:ERR?", "SYST:VERS?"]:
        desk.ask(role, command)
        assert desk.error(role) == '0,"No error"', command
    assert desk.ask(role, "SYST:VERS?") == b"1999.0"


@pytest.mark.parametrize("role", ROLES)
def test_no_two_commands_share_a_header(desk, role):
    """So the command that is chosen never depends on their order."""
    commands = INSTRUMENTS[role].all_commands()
    listed = desk.ask(role, "SYST:HELP:HEAD?").split(b"\n")
    assert len(listed) == len(commands)
    for command in commands:
        written = command.header.removesuffix("?").replace("<n>", "")
        bare = written
        while "[" in bare:
            bare = bare[: bare.index("[")] + bare[bare.index("]") + 1 :]
        for form in (bare, written.replace("[", "").replace("]", "")):
            same = [other for other in commands if other.query == command.query and other.pattern.match(form.upper())]
            assert same == [command], form


@pytest.mark.parametrize(
    ("message", "code"),
    [
        ("VOLTS 1", -113), ("VOLT?;CURR?", -113), ("VOLT", -109), ("VOLT 1,2", -108),
        ("VOLT 11", -222), ("VOLT -1", -222),
        ("VOLT abc", -148), ("VOLT 1 A", -131), ("VOLT,1", -103), ("VOLT 1,", -102),
        ("VOLT 'a", -151), ("VOLT \xff", -101),
        ("OUTP 3 V", -138), ("OUTP MAYBE", -141), ("THIRTEENLETTERS 1", -112), ("1VOLT", -102),
        (";", -102), ("VOLT? 3", -108),
        ("*IDN", -113), ("*RST?", -113), ("*ESE 0", -113), ("VOLT 1;;VOLT 2", -102),
    ],
)  # fmt: skip
def test_errors_have_the_numbers_of_the_standard(desk, message, code):
    """SCPI-1999, volume 2, 21.8.9 and 21.8.10."""
    desk.ask("valve", message.encode("latin-1"))
    assert desk.errors("valve") == [code]


def test_a_command_error_discards_the_rest_of_the_message_and_other_errors_do_not(desk):
    desk.ask("valve", "VOLT 1;NONSENSE;VOLT 2")
    assert desk.number("valve", "VOLT?") == 1
    desk.ask("valve", "VOLT 99;VOLT 3")
    assert desk.number("valve", "VOLT?") == 3
    assert desk.errors("valve") == [-113, -222]


def test_the_error_queue_is_first_in_first_out_and_overflows_with_its_own_error(desk):
    """SCPI-1999, volume 2, 21.8.1: the last entry becomes -350; *CLS empties the queue, *RST does not."""
    for number in range(40):
        desk.ask("valve", f"N{number}" if number != 1 else "VOLT 99")
    desk.ask("valve", "*RST")
    assert int(desk.ask("valve", "SYST:ERR:COUN?")) == 30
    found = desk.errors("valve")
    assert found == [-113, -222, *[-113] * 27, -350]
    desk.ask("valve", "NONSENSE")
    desk.ask("valve", "*CLS")
    assert desk.error("valve") == '0,"No error"'


@given(st.lists(st.sampled_from([-113, -222, -363, -410]), max_size=60))
def test_the_error_queue_keeps_the_oldest_in_order(codes):
    queue = ErrorQueue()
    for code in codes:
        queue.put(ScpiError(code))
    found = [queue.take().code for _ in range(len(queue))]
    assert found == (codes if len(codes) <= 30 else [*codes[:29], -350])
    assert queue.take().code == 0


def test_opc_waits_for_completion(desk):
    """IEEE 488.2-1992, 10.19 and 10.39: *OPC? answers later, *WAI holds what follows."""
    desk.ask("scope", "ACQ:POIN 1000;SRAT 100")
    before = desk.clock.monotonic()
    assert desk.ask("scope", "INIT;*OPC?") == b"1"
    assert desk.clock.monotonic() == pytest.approx(before + 10)
    desk.ask("scope", "INIT;*WAI;ACQ:POIN 500")
    assert desk.clock.monotonic() == pytest.approx(before + 20)


def test_reset_switches_outputs_off_and_keeps_the_error_queue(desk):
    """IEEE 488.2-1992, 10.32."""
    desk.ask("valve", "VOLT 4;OUTP ON;NONSENSE")
    assert desk.ask("valve", "*RST;VOLT?;:OUTP?") == b"+0.000000000E+00;0"
    assert desk.errors("valve") == [-113]


def test_the_bench_time_can_be_queried(desk):
    desk.clock.advance(3723.25)
    assert desk.number("gauge", "SYST:TIME:TIM:COUN?") == 3723.25
