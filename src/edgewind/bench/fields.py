"""The field types of `bench.toml`: quantities that carry a unit, and the base of every section."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict

from edgewind.errors import InputError
from edgewind.units import Measured, parse_measured, with_article


class Section(BaseModel):
    """A table of `bench.toml`: unknown keys are errors, values do not change once read."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


@dataclass(frozen=True)
class QuantityNote:
    """Kind and bounds, in SI, of a field that holds a quantity; read where fields are described."""

    kind: str
    above: float | None
    least: float | None
    most: float | None


def quantity(kind: str, *, above: float | None = None, least: float | None = None, most: float | None = None) -> Any:
    """Return the field type of a quantity of `kind`, read with its unit and its uncertainty.

    Parameters
    ----------
    kind : str
        A key of :data:`edgewind.units.KINDS`.
    above, least, most : float, optional
        Bounds in SI: strictly above, at least, at most.
    """

    def read(text: Any) -> Measured:
        if isinstance(text, Measured):
            return text
        value = parse_measured(text, kind)
        if above is not None and not value.value > above:
            raise InputError(f"'{text}' is too small", fix=f"give {with_article(kind)} above {above:g}")
        if least is not None and not value.value >= least:
            raise InputError(f"'{text}' is too small", fix=f"give {with_article(kind)} of at least {least:g}")
        if most is not None and not value.value <= most:
            raise InputError(f"'{text}' is too large", fix=f"give {with_article(kind)} of at most {most:g}")
        return value

    return Annotated[Measured, BeforeValidator(_as_value_error(read)), QuantityNote(kind, above, least, most)]


class FieldProblem(ValueError):
    """Carries an :class:`InputError` through pydantic, which collects only its own kinds of error."""

    def __init__(self, error: InputError) -> None:
        self.error = error
        super().__init__(str(error))


def _as_value_error(read: Any) -> Any:
    def wrapped(value: Any) -> Any:
        try:
            return read(value)
        except InputError as error:
            raise FieldProblem(error) from error

    return wrapped


Length = quantity("length", above=0.0)
Temperature = quantity("temperature", above=0.0)
TemperatureDifference = quantity("temperature difference", least=0.0)
Voltage = quantity("voltage")
Spread = quantity("voltage", least=0.0)
Pressure = quantity("pressure", above=0.0)
Fraction = quantity("number", least=0.0, most=1.0)
Relative = quantity("number", least=0.0, most=2.0)
Factor = quantity("number", above=0.0)
Mass = quantity("mass", above=0.0)
SpecificHeat = quantity("specific heat", above=0.0)
Conductance = quantity("conductance", above=0.0)
Torque = quantity("torque", least=0.0)
TorquePerSpeed = quantity("torque per angular speed", least=0.0)
Inertia = quantity("moment of inertia", above=0.0)
Outgassing = quantity("outgassing", least=0.0)
Accommodation = quantity("number", above=0.0, most=1.0)
Time = quantity("time", above=0.0)
Share = quantity("number", above=0.0, most=1.0)
Lag = quantity("time", least=1e-3)
GasFlow = quantity("gas flow", least=0.0)
PositiveVoltage = quantity("voltage", above=0.0)
Volume = quantity("volume", above=0.0)
PumpingSpeed = quantity("pumping speed", above=0.0)
