"""The section `[vacuum]` of `bench.toml`: the chamber on its pump, for the plan of the time on the bench."""

from __future__ import annotations

from pydantic import model_validator

from edgewind.bench.fields import FieldProblem, GasFlow, Length, PumpingSpeed, Section, Volume
from edgewind.errors import InputError


class VacuumSection(Section):
    """The chamber, its pump and the tube between them; a chamber right on the pump has no tube.

    Attributes
    ----------
    volume : Measured
        Volume of the chamber and of everything open to it.
    pumping_speed : Measured
        Pumping speed at the pump.
    tube_length : Measured or None
        Length of the tube between chamber and pump.
    tube_diameter : Measured or None
        Inner diameter of that tube.
    outgassing : Measured or None
        Gas load of all walls after one hour of pumping; it falls as 1/t.
    leak : Measured or None
        Constant leak rate.
    """

    volume: Volume
    pumping_speed: PumpingSpeed
    tube_length: Length | None = None
    tube_diameter: Length | None = None
    outgassing: GasFlow | None = None
    leak: GasFlow | None = None

    @model_validator(mode="after")
    def _whole_tube(self) -> VacuumSection:
        if (self.tube_length is None) != (self.tube_diameter is None):
            missing = "tube_length" if self.tube_length is None else "tube_diameter"
            raise FieldProblem(
                InputError(
                    "only one of tube_length and tube_diameter is given",
                    key=f"vacuum.{missing}",
                    fix="give tube_length and tube_diameter, or neither for a chamber right on the pump",
                )
            )
        return self
