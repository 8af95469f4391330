"""Resources of a step of a sweep: bench, instruments, state, commands and clock."""

from __future__ import annotations

from dataclasses import dataclass, field

from edgewind.bench import Bench
from edgewind.clock import Clock
from edgewind.live.columns import SweepColumns
from edgewind.live.commands import Commands
from edgewind.live.errors import InstrumentError
from edgewind.live.events import SweepState
from edgewind.live.instruments import Instruments
from edgewind.live.sensing import Sensing


@dataclass
class Rig:
    """The apparatus of a running sweep.

    Attributes
    ----------
    bench : Bench
        The apparatus as described.
    instruments : Instruments
        The connected instruments.
    columns : SweepColumns
        Columns of the experiment's table.
    state : SweepState
        State of the sweep.
    commands : Commands
        Commands of the user.
    clock : Clock
        Clock of the sweep.
    """

    bench: Bench
    instruments: Instruments
    columns: SweepColumns
    state: SweepState
    commands: Commands
    clock: Clock
    sensing: Sensing = field(init=False)

    def __post_init__(self) -> None:
        self.sensing = Sensing(self.bench, self.instruments)

    def set_valve(self, voltage_v: float) -> None:
        """Set the valve, V."""
        valve = self.instruments.valve
        assert valve is not None
        self.state.set(valve_v=valve.set(voltage_v))

    def open_valve_line(self) -> None:
        """Switch the valve's supply on, with the valve closed."""
        valve = self.instruments.valve
        if valve is not None:
            valve.switch_on()
            self.set_valve(valve.closed)

    def make_safe(self, *, strict: bool) -> list[str]:
        """Switch lamp and valve off; return what failed.

        Raises
        ------
        InstrumentError
            Something failed and `strict` is set.
        """
        done, failed = self.instruments.make_safe()
        self.state.set(lamp="off" if "lamp off" in done else self._lamp_known(), valve_v=None)
        if done or failed:
            self.state.tell("safe", ", ".join([*done, *failed]), done=done, failed=failed)
        if failed and strict:
            raise InstrumentError("the safe state", "; ".join(failed), "switch it off by hand before anything else")
        return failed

    def _lamp_known(self) -> str:
        lamp = self.instruments.lamp
        if lamp is None:
            return self.state.status.lamp
        return "unknown" if lamp.is_on is None else "on" if lamp.is_on else "off"
