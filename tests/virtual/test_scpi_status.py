"""Common commands, status and queue: IEEE 488.2-1992, sections 10 and 11; SCPI-1999, volumes 1 and 2.

The numbers of sections are from memory of the standards, not from copies of them.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgewind.virtual import INSTRUMENTS
from edgewind.virtual.scpi import COMMON, ErrorQueue, ScpiError

ROLES = list(INSTRUMENTS)


@pytest.mark.parametrize("role", ROLES)
def test_identification_has_four_fields_and_says_that_it_is_simulated(desk, role):
    """IEEE 488.2-1992, 10.14: maker, model, serial number, firmware."""
    fields = desk.ask(role, "*IDN?").decode().split(",")
    assert len(fields) == 4
    assert fields[0] == "Edgewind" and "simulated" in fields[1] and fields[2] == "invented"


@pytest.mark.parametrize("role", ROLES)
def test_the_commands_that_every_instrument_must_have(desk, role):
    """IEEE 488.2-1992, 10.2 (mandatory common commands) and SCPI-1999, volume 1, 4.2.1."""
    needed = "*CLS *ESE *ESE? *ESR? *IDN? *OPC *OPC? *RST *SRE *SRE? *STB? *TST? *WAI SYST:ERR? SYST:VERS?"
    registers = [f"STAT:{name}:{leaf}" for name in ("OPER", "QUES") for leaf in ("EVEN?", "COND?", "ENAB 0", "ENAB?")]
    for command in [*needed.split(), *registers, "STAT:OPER?", "STAT:QUES?", "STAT:PRES"]:
        desk.ask(role, command + (" 0" if command in ("*ESE", "*SRE") else ""))
        assert desk.error(role) == '0,"No error"', command
    assert desk.ask(role, "SYST:VERS?") == b"1999.0"


@pytest.mark.parametrize("role", ROLES)
def test_no_two_commands_share_a_header(desk, role):
    """So which command is meant never depends on the order in which they stand."""
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


def test_event_bits_follow_the_class_of_the_error(desk):
    """IEEE 488.2-1992, 11.5.1, and SCPI-1999, volume 2, 21.8: command 32, execution 16, query 4, device 8."""
    assert int(desk.ask("valve", "*ESR?")) == 128  # switched on
    assert int(desk.ask("valve", "*ESR?")) == 0
    desk.ask("valve", "NONSENSE")
    assert int(desk.ask("valve", "*ESR?")) == 32
    desk.ask("valve", "VOLT 99")
    assert int(desk.ask("valve", "*ESR?")) == 16
    desk.instruments["valve"].status.report(ScpiError(-363))
    desk.instruments["valve"].status.report(ScpiError(-410))
    assert int(desk.ask("valve", "*ESR?")) == 8 + 4


@pytest.mark.parametrize(
    ("message", "code"),
    [
        ("VOLTS 1", -113), ("VOLT?;CURR?", -113), ("VOLT", -109), ("VOLT 1,2", -108),
        ("VOLT 11", -222), ("VOLT -1", -222),
        ("VOLT abc", -148), ("VOLT 1 A", -131), ("VOLT,1", -103), ("VOLT 1,", -102),
        ("VOLT 'a", -151), ("VOLT \xff", -101),
        ("OUTP 3 V", -138), ("OUTP MAYBE", -141), ("THIRTEENLETTERS 1", -112), ("1VOLT", -102),
        (";", -102), ("VOLT? 3", -141),
        ("*IDN", -113), ("*RST?", -113), ("*ESE 256", -222), ("*ESE", -109), ("VOLT 1;;VOLT 2", -102),
    ],
)  # fmt: skip
def test_errors_by_the_standard_numbers(desk, message, code):
    """SCPI-1999, volume 2, 21.8.9 and 21.8.10."""
    desk.ask("valve", message.encode("latin-1"))
    assert desk.errors("valve") == [code]


def test_after_a_command_error_the_rest_is_left_and_after_another_it_is_not(desk):
    desk.ask("valve", "VOLT 1;NONSENSE;VOLT 2")
    assert desk.number("valve", "VOLT?") == 1
    desk.ask("valve", "VOLT 99;VOLT 3")
    assert desk.number("valve", "VOLT?") == 3
    assert desk.errors("valve") == [-113, -222]


def test_queue_is_first_in_first_out_and_overflows_with_its_own_error(desk):
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
    desk.ask("valve", "FIRST;SECOND")
    desk.ask("valve", "VOLT 99")
    assert desk.ask("valve", "SYST:ERR:ALL?") == b'-113,"Undefined header;FIRST",-222,"Data out of range;' + (
        b'99 is not from 0 to 10 V"'
    )


@given(st.lists(st.sampled_from([-113, -222, -363, -410]), max_size=60))
def test_queue_keeps_the_oldest_in_order(codes):
    queue = ErrorQueue()
    for code in codes:
        queue.put(ScpiError(code))
    found = [queue.take().code for _ in range(len(queue))]
    assert found == (codes if len(codes) <= 30 else [*codes[:29], -350])
    assert queue.take().code == 0


def test_status_byte_sums_up(desk):
    """IEEE 488.2-1992, 11.2: bit 2 queue (SCPI), 4 message, 5 event, 6 master summary; bit 6 of *SRE does not count."""
    assert desk.ask("valve", "*ESE 32;*SRE 255;*SRE?") == b"191"
    assert desk.ask("valve", "*STB?") == b"0"
    desk.ask("valve", "NONSENSE")
    assert desk.ask("valve", "*STB?") == str(4 + 32 + 64).encode()
    assert desk.ask("valve", "*CLS;*STB?") == b"0"
    assert desk.ask("valve", "*ESE?;*STB?") == f"32;{16 + 64}".encode()  # an answer is ready, and that is asked for


def test_operation_complete(desk):
    """IEEE 488.2-1992, 10.18, 10.19 and 10.39: *OPC sets bit 0 later, *OPC? answers later, *WAI holds what follows."""
    desk.ask("scope", "*CLS;ACQ:POIN 1000;SRAT 100;:INIT;*OPC")
    assert desk.ask("scope", "*ESR?;:STAT:OPER:COND?") == b"0;16"
    desk.clock.advance(9.9)
    assert desk.ask("scope", "*ESR?") == b"0"
    desk.clock.advance(0.2)
    assert desk.ask("scope", "*ESR?;:STAT:OPER:COND?") == b"1;0"
    before = desk.clock.monotonic()
    assert desk.ask("scope", "INIT;*OPC?") == b"1"
    assert desk.clock.monotonic() == pytest.approx(before + 10)
    desk.ask("scope", "INIT;*WAI;ACQ:POIN 500")
    assert desk.clock.monotonic() == pytest.approx(before + 20)
    desk.ask("scope", "*CLS;INIT;*OPC;*CLS")
    desk.clock.advance(20)
    assert desk.ask("scope", "*ESR?") == b"0"  # 10.3: *CLS forgets an *OPC that waits


def test_clear_keeps_what_counts_and_reset_keeps_the_status(desk):
    """IEEE 488.2-1992, 10.3 and 10.32."""
    desk.ask("valve", "*ESE 60;*SRE 32;VOLT 4;OUTP ON;STAT:OPER:ENAB 16")
    desk.ask("valve", "NONSENSE")
    desk.ask("valve", "*RST")
    assert desk.ask("valve", "*ESE?;*SRE?;STAT:OPER:ENAB?;:VOLT?;:OUTP?") == b"60;32;16;+0.000000000E+00;0"
    assert int(desk.ask("valve", "*ESR?")) & 32
    desk.ask("valve", "STAT:PRES")
    assert desk.ask("valve", "STAT:OPER:ENAB?") == b"0"


def test_bench_time_is_told(desk):
    """SCPI-1999, volume 2, SYSTem:TIME: hours, minutes, seconds."""
    desk.clock.advance(3723.25)
    assert desk.ask("gauge", "SYST:TIME?") == b"1,2,3.250"
    assert desk.number("gauge", "SYST:TIME:TIM:COUN?") == 3723.25


def test_bounds_are_told(desk):
    """SCPI-1999, volume 1, 7.2.1: a query with MIN or MAX tells what the number may be."""
    assert [desk.number("valve", f"VOLT? {word}") for word in ("MIN", "MAX", "DEF")] == [0, 10, 0]
    assert [desk.ask("scope", f"ACQ:POIN? {word}") for word in ("MIN", "MAXimum")] == [b"16", b"2000000"]


def test_common_commands_are_a_line_each():
    assert all(command.header and callable(command.call) for command in COMMON)
