"""Moving the valve and the lamp, by wire or by asking the person."""

from __future__ import annotations

from edgewind.live.errors import InstrumentError
from edgewind.live.events import SweepState
from edgewind.live.instruments import Instruments
from edgewind.live.operator import Operator


class Hands:
    """Whatever moves is moved here."""

    def __init__(self, instruments: Instruments, board: SweepState, attention: Operator) -> None:
        self._instruments, self._board, self._attention = instruments, board, attention

    def make_safe(self, *, strict: bool) -> list[str]:
        """Lamp off, valve off; returns what failed.

        Raises
        ------
        InstrumentError
            Something failed, and `strict` asks for an error.
        """
        done, failed = self._instruments.make_safe()
        self._board.set(lamp="off" if "lamp off" in done else self._lamp_word(), valve_v=None)
        if done or failed:
            self._board.tell("safe", ", ".join([*done, *failed]), done=done, failed=failed)
        if failed and strict:
            raise InstrumentError("the safe state", "; ".join(failed), "see to it by hand before anything else")
        return failed

    def begin_moving(self) -> None:
        """Make the valve ready, closed, and switch the lamp on; the gauge is read first."""
        instruments = self._instruments
        if instruments.gauge is not None:
            self._attention.observe()
        if instruments.valve is not None:
            instruments.valve.switch_on()
            self.set_valve(instruments.valve.closed)
        self.switch_lamp(True)

    def set_valve(self, voltage_v: float) -> None:
        """Set the valve."""
        valve = self._instruments.valve
        assert valve is not None
        self._board.set(valve_v=valve.set(voltage_v))

    def switch_lamp(self, on: bool) -> None:
        """Switch the lamp."""
        lamp = self._instruments.lamp
        if lamp is not None:
            lamp.switch(on)
        elif self._board.status.lamp != ("on" if on else "off"):
            self._attention.ask(f"Switch the lamp {'on' if on else 'off'}, then press Enter.")
        self._board.set(lamp="on" if on else "off")

    def _lamp_word(self) -> str:
        lamp = self._instruments.lamp
        if lamp is None:
            return self._board.status.lamp
        return "unknown" if lamp.is_on is None else "on" if lamp.is_on else "off"
