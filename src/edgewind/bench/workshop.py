"""The section `[workshop]` of `bench.toml`: ranges that can be built, for the search of the next rotor."""

from __future__ import annotations

from typing import Any

from pydantic import Field, field_validator, model_validator

from edgewind.bench.fields import FieldProblem, Length, Section
from edgewind.errors import InputError
from edgewind.gas import find_gas

RANGES = ("vane_width", "vane_height", "vane_thickness", "arm", "vanes")


class WorkshopSection(Section):
    """Ranges of sizes that can be built, and the gases available.

    Attributes
    ----------
    vane_width : tuple of Measured or None
        Least and greatest width of a vane; half to twice that of the present rotor where left out.
    vane_height : tuple of Measured or None
        Least and greatest height of a vane; vanes are square where left out.
    vane_thickness : tuple of Measured or None
        Least and greatest thickness of a vane; half to twice that of the present rotor where left out.
    arm : tuple of Measured or None
        Least and greatest arm; half to twice that of the present rotor where left out.
    vanes : tuple of int or None
        Least and greatest number of vanes.
    gases : tuple of str or None
        Gases available; that of the bench where left out.
    """

    vane_width: tuple[Length, Length] | None = None
    vane_height: tuple[Length, Length] | None = None
    vane_thickness: tuple[Length, Length] | None = None
    arm: tuple[Length, Length] | None = None
    vanes: tuple[int, int] | None = None
    gases: tuple[str, ...] | None = Field(default=None, min_length=1)

    @field_validator("gases")
    @classmethod
    def _known(cls, gases: Any) -> Any:
        for name in gases or ():
            try:
                find_gas(name)
            except InputError as error:
                raise FieldProblem(error) from error
        return gases

    @model_validator(mode="after")
    def _ascending(self) -> WorkshopSection:
        for name in RANGES:
            ends = getattr(self, name)
            if ends is None:
                continue
            low, high = ends if name == "vanes" else (end.value for end in ends)
            if low > high or (name == "vanes" and not 1 <= low <= high <= 64):
                raise FieldProblem(
                    InputError(
                        "the range must go from the lower to the higher value"
                        if low > high
                        else f"{low} to {high} vanes cannot be built",
                        key=f"workshop.{name}",
                        fix="write the least first: [2, 6]" if name == "vanes" else "write the least first",
                    )
                )
        return self
