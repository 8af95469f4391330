"""The sections of `bench.toml`: the apparatus as its owner describes it."""

from __future__ import annotations

import math
from functools import cached_property
from typing import Any, Literal

from pydantic import Field, field_validator, model_validator

from edgewind.bench.fields import (
    Accommodation,
    Conductance,
    FieldProblem,
    Fraction,
    Inertia,
    Length,
    Mass,
    Outgassing,
    Relative,
    Section,
    SpecificHeat,
    Temperature,
    Torque,
    TorquePerSpeed,
    quantity,
)
from edgewind.bench.gas_factors import gas_factor
from edgewind.bench.gauges import GAUGES, Gauge
from edgewind.bench.instruments import InstrumentsSection
from edgewind.bench.limits import LimitsSection, SteadinessSection
from edgewind.bench.vacuum import VacuumSection
from edgewind.bench.vane import AREA_SHARE, MEAN_SQUARE_OFFSET, VaneShape
from edgewind.bench.virtual import VirtualSection
from edgewind.bench.workshop import WorkshopSection
from edgewind.errors import InputError
from edgewind.gas import Gas, find_gas
from edgewind.shown_units import ShownUnits
from edgewind.units import Measured, parse_unit

Reflection = Literal["diffuse", "mirror"]


class ExperimentSection(Section):
    """Title and notes of the experiment.

    Attributes
    ----------
    title : str
        Name of the experiment in the report.
    place : str
        Where it was done.
    people : str
        Who did it.
    notes : str
        Further notes for readers.
    """

    title: str
    place: str = ""
    people: str = ""
    notes: str = ""


class GasSection(Section):
    """The gas in the chamber and its temperature at rest.

    Attributes
    ----------
    species : str or dict of str to float or str
        Symbol or name of the gas, ``air``, or a mixture by mole fractions, with uncertainties if known.
    temperature : Measured
        Temperature of the gas at rest; that of the envelope where left out.
    """

    species: str | dict[str, float | str]
    temperature: Temperature

    @field_validator("species", mode="before")
    @classmethod
    def _known(cls, species: Any) -> Any:
        try:
            if not isinstance(species, str) and not _is_fractions(species):
                raise InputError(
                    f"{species!r} is not a gas",
                    fix="write 'N2', or mole fractions: { He = 0.9, Ne = 0.1 }, { N2 = 0.97, H2O = '0.03 +/- 0.02' }",
                )
            find_gas(species)
        except InputError as error:
            raise FieldProblem(error) from error
        return species

    @cached_property
    def gas(self) -> Gas:
        """The gas itself."""
        return find_gas(self.species)


def _is_fractions(species: Any) -> bool:
    return isinstance(species, dict) and all(type(x) in (int, float, str) for x in species.values())


class ChamberSection(Section):
    """The envelope around the rotor.

    Attributes
    ----------
    width : Measured
        Clear width of the space in which the vanes turn.
    height : Measured
        Clear height of that space.
    envelope_temperature : Measured or None
        Temperature of the envelope; that of the gas where left out.
    accommodation : Measured or None
        Share of molecules that the walls re-emit diffusely.
    """

    width: Length
    height: Length
    envelope_temperature: Temperature | None = None
    accommodation: Accommodation | None = None


class RotorSection(Section):
    """The rotor: flat vanes on arms, one face dark and one bright.

    The fit treats an omitted value as an unknown; a stated value, with its uncertainty, is the prior.

    Attributes
    ----------
    vanes : int
        Number of vanes.
    vane_shape : str
        Outline of a vane; a diamond is a square that stands on its corner.
    vane_width : Measured
        Width of a vane across its middle, for a diamond from corner to corner: the length that the mean free path is
        compared with.
    vane_height : Measured
        Height of a vane across its middle, for a diamond from corner to corner.
    vane_thickness : Measured or None
        Thickness of a vane.
    arm : Measured
        Distance from the axis to the middle of a vane.
    dark_absorptance : Measured
        Share of the lamp's light that the dark face absorbs.
    bright_absorptance : Measured
        Share of the lamp's light that the bright face absorbs.
    dark_reflection : str or None
        How the dark face reflects: diffuse, as paint, paper and soot do, or mirror, as polished metal does.
    bright_reflection : str or None
        How the bright face reflects.
    leading_face : str
        Face that leads when the lamp is on; a reading may state its own.
    dark_emissivity : Measured or None
        Emissivity of the dark face in the thermal infrared; its absorptance where left out.
    bright_emissivity : Measured or None
        Emissivity of the bright face in the thermal infrared, which differs from its absorptance of light: white paint
        absorbs little light and emits infrared almost as a black body; polished metal does little of either. Unknown
        where left out.
    vane_mass : Measured or None
        Mass of one vane.
    vane_specific_heat : Measured
        Specific heat of the vane's material.
    vane_conductance : Measured or None
        Thermal conductance of a vane from face to face, per area.
    accommodation : Measured or None
        Share of molecules that the faces re-emit diffusely, alike for both.
    dark_accommodation : Measured or None
        Share for the dark face, in place of `accommodation` where the faces differ.
    bright_accommodation : Measured or None
        Share for the bright face, stated together with `dark_accommodation`.
    arm_diameter : Measured or None
        Diameter of the rods that carry the vanes.
    moment_of_inertia : Measured or None
        Moment of inertia of the whole rotor, which turns coast-downs into torques.
    pivot_dry_torque : Measured or None
        Friction of the pivot that acts while the rotor turns, whatever its speed.
    pivot_breakaway_torque : Measured or None
        Torque that must be overcome to start the rotor; the dry friction where left out.
    pivot_viscous : Measured or None
        Friction of the pivot that grows with the speed.
    dark_outgassing : Measured or None
        Gas that the dark face gives off, per area.
    bright_outgassing : Measured or None
        Gas that the bright face gives off, per area.
    """

    vanes: int = Field(ge=1, le=64)
    vane_shape: VaneShape = "rectangle"
    vane_width: Length
    vane_height: Length
    vane_thickness: Length | None = None
    arm: Length
    dark_absorptance: Fraction = Measured(0.95, 0.03)
    bright_absorptance: Fraction = Measured(0.15, 0.05)
    dark_reflection: Reflection | None = None
    bright_reflection: Reflection | None = None
    leading_face: Literal["bright", "dark", "not observed"] = "not observed"
    dark_emissivity: Fraction | None = None
    bright_emissivity: Fraction | None = None
    vane_mass: Mass | None = None
    vane_specific_heat: SpecificHeat = Measured(900.0, 200.0)
    vane_conductance: Conductance | None = None
    accommodation: Accommodation | None = None
    dark_accommodation: Accommodation | None = None
    bright_accommodation: Accommodation | None = None
    arm_diameter: Length | None = None
    moment_of_inertia: Inertia | None = None
    pivot_dry_torque: Torque | None = None
    pivot_breakaway_torque: Torque | None = None
    pivot_viscous: TorquePerSpeed | None = None
    dark_outgassing: Outgassing | None = None
    bright_outgassing: Outgassing | None = None

    @property
    def vane_area_m2(self) -> float:
        """Area of one face of one vane, m^2."""
        return float(AREA_SHARE[self.vane_shape] * self.vane_width.value * self.vane_height.value)

    @property
    def mean_square_arm_m2(self) -> float:
        """Mean square distance of the points of a vane from the axis, m^2: ``arm^2 + width^2 / 12`` for a rectangle."""
        return float(self.arm.value**2 + MEAN_SQUARE_OFFSET[self.vane_shape] * self.vane_width.value**2)

    @property
    def mean_accommodation(self) -> Measured | None:
        """Accommodation of the faces on the average; None where not stated."""
        dark, bright = self.dark_accommodation, self.bright_accommodation
        if dark is None or bright is None:
            return self.accommodation
        return Measured((dark.value + bright.value) / 2, float(math.hypot(dark.u, bright.u)) / 2)

    @property
    def accommodation_difference(self) -> Measured | None:
        """Accommodation of the dark face less that of the bright face; None where not stated."""
        dark, bright = self.dark_accommodation, self.bright_accommodation
        if dark is None or bright is None:
            return None
        return Measured(dark.value - bright.value, float(math.hypot(dark.u, bright.u)))

    @model_validator(mode="after")
    def _accommodation_said_once(self) -> RotorSection:
        dark, bright = self.dark_accommodation, self.bright_accommodation
        if (dark is None) != (bright is None):
            key = "bright_accommodation" if bright is None else "dark_accommodation"
            raise FieldProblem(
                InputError(
                    "the accommodation of one face is stated and that of the other is not",
                    key=f"rotor.{key}",
                    fix="state dark_accommodation and bright_accommodation, or accommodation for both",
                )
            )
        if dark is not None and self.accommodation is not None:
            raise FieldProblem(
                InputError(
                    "the accommodation is stated for both faces together and for each of them",
                    key="rotor.accommodation",
                    fix="remove accommodation, or dark_accommodation and bright_accommodation",
                )
            )
        return self

    @model_validator(mode="after")
    def _as_wide_as_high(self) -> RotorSection:
        width, height = self.vane_width.value, self.vane_height.value
        if self.vane_shape != "rectangle" and abs(width - height) > 0.02 * width:
            raise FieldProblem(
                InputError(
                    f"a {self.vane_shape} cannot be {1e3 * width:.4g} mm wide and {1e3 * height:.4g} mm high",
                    key="rotor.vane_height",
                    fix=f"give a {self.vane_shape} the same vane_width and vane_height, or leave out vane_shape",
                )
            )
        return self

    @model_validator(mode="after")
    def _faces_differ(self) -> RotorSection:
        if self.dark_absorptance.value <= self.bright_absorptance.value:
            raise FieldProblem(
                InputError(
                    f"the dark face absorbs {self.dark_absorptance.value:g} and the bright face "
                    f"{self.bright_absorptance.value:g}",
                    key="rotor.dark_absorptance",
                    fix="give the dark face the greater absorptance, between 0 and 1",
                )
            )
        return self


class LightSection(Section):
    """The lamp, by the irradiance that reaches a vane facing it.

    Attributes
    ----------
    arrangement : str
        Whether the light comes from one side or from all sides.
    irradiance : Measured
        Irradiance on a vane that faces the lamp; zero where the rotor stays dark.
    source : str
        Description of the lamp.
    """

    arrangement: Literal["beam", "all-round"]
    irradiance: quantity("irradiance", least=0.0)  # type: ignore[valid-type]
    source: str = ""


class TachometerSection(Section):
    """The tachometer that makes the pulses.

    Attributes
    ----------
    marks : int
        Pulses a turn.
    channel : str or int or list or None
        Name or number of the channel, if a trace holds several; a list of names if the name differs between files.
    second_channel : str or int or None
        Name or number of the channel of a second sensor on the same marks, from which the direction follows.
    second_lag : float
        Lag of the second sensor behind the first, as a share of the pitch between marks, when the bright face leads.
    mark_places : tuple of float or None
        Place of each mark in turns, in the order in which they pass when the bright face leads.
    bright_leads : {"clockwise", "anticlockwise"} or None
        Sense of rotation in the camera's view when the bright face leads.
    fastest : Measured or None
        Speed that the rotor cannot exceed; it excludes faster speeds that a clip of few frames would allow.
    interval : Measured or None
        Time between samples, if the traces state none with a unit.
    mains_frequency : Measured or None
        Frequency of the mains, whose hum is not taken for rotation; default: 50 Hz and 60 Hz are both searched for.
    time_base : {"mains"} or None
        Source of the time of the records, instead of their own: the hum or flicker of the mains in them.
    timebase_uncertainty : Measured
        Relative standard uncertainty of the oscilloscope's time base.
    stopwatch_uncertainty : Measured
        Standard uncertainty of a time taken by hand; 0.2 s is common practice, no source.
    """

    marks: int = Field(ge=1, le=360)
    channel: str | int | list[str | int] | None = None
    second_channel: str | int | None = None
    second_lag: float = Field(default=0.25, gt=0.0, lt=1.0)
    mark_places: tuple[float, ...] | None = None
    bright_leads: Literal["clockwise", "anticlockwise"] | None = None
    fastest: quantity("angular speed", above=0.0) | None = None  # type: ignore[valid-type]
    interval: quantity("time", above=0.0) | None = None  # type: ignore[valid-type]
    stopwatch_uncertainty: quantity("time", least=0.0) = Measured(0.2)  # type: ignore[valid-type]
    mains_frequency: quantity("frequency", above=0.0) | None = None  # type: ignore[valid-type]
    time_base: Literal["mains"] | None = None
    timebase_uncertainty: Relative = Measured(0.0)

    @model_validator(mode="after")
    def _places_fit(self) -> TachometerSection:
        places = self.mark_places
        if places is not None and (len(places) != self.marks or any(not 0 <= place < 1 for place in places)):
            raise FieldProblem(
                InputError(
                    f"mark_places holds {len(places)} places for {self.marks} marks",
                    fix="give each mark its place in turns, from 0 to below 1, such as [0, 0.2, 0.5]",
                )
            )
        return self


class StudySection(Section):
    """Settings of the study.

    Attributes
    ----------
    level : float
        Coverage probability of its intervals.
    seed : int
        Seed of its random draws; the same seed gives the same study.
    """

    level: float = Field(default=0.90, gt=0.5, lt=0.9999)
    seed: int = Field(default=1, ge=0)


class UnitsSection(Section):
    """Units of pressures and speeds in sentences, figures and the report.

    Attributes
    ----------
    pressure : str
        Of pressures: Pa, mTorr, mbar and others.
    speed : str
        Of speeds: rpm or rad/s.
    """

    pressure: str = "Pa"
    speed: str = "rpm"

    @field_validator("pressure")
    @classmethod
    def _is_of_pressure(cls, text: str) -> str:
        return _known_unit(text, "pressure")

    @field_validator("speed")
    @classmethod
    def _is_of_speed(cls, text: str) -> str:
        return _known_unit(text, "angular speed")


def _known_unit(text: str, kind: str) -> str:
    try:
        parse_unit(text, kind)
    except InputError as error:
        raise FieldProblem(error) from error
    return text.strip()


class Bench(Section):
    """The whole of `bench.toml`."""

    experiment: ExperimentSection
    gas: GasSection
    chamber: ChamberSection
    rotor: RotorSection
    light: LightSection
    gauge: Gauge
    tachometer: TachometerSection
    study: StudySection = StudySection()
    units: UnitsSection = UnitsSection()
    instruments: InstrumentsSection | None = None
    limits: LimitsSection | None = None
    steadiness: SteadinessSection = SteadinessSection()
    virtual: VirtualSection | None = None
    vacuum: VacuumSection | None = None
    workshop: WorkshopSection | None = None

    @cached_property
    def shown(self) -> ShownUnits:
        """The units in which pressures and speeds are shown."""
        return ShownUnits(self.units.pressure, self.units.speed)

    @model_validator(mode="before")
    @classmethod
    def _gas_as_warm_as_the_envelope(cls, data: Any) -> Any:
        """Set an unstated temperature of the gas to that of the envelope."""
        if not isinstance(data, dict):
            return data
        gas, chamber = data.get("gas"), data.get("chamber")
        if not (isinstance(gas, dict) and isinstance(chamber, dict)) or gas.get("temperature") is not None:
            return data
        if chamber.get("envelope_temperature") is None:
            return data
        return {**data, "gas": {**gas, "temperature": chamber["envelope_temperature"]}}

    @field_validator("gauge", mode="before")
    @classmethod
    def _choose_gauge(cls, table: Any) -> Any:
        if isinstance(table, Gauge):
            return table
        known = "one of " + ", ".join(f"'{kind}'" for kind in GAUGES)
        if not isinstance(table, dict):
            raise FieldProblem(
                InputError(
                    "the gauge is not described",
                    key="gauge",
                    fix=f"write a table [gauge] with kind = {known}",
                )
            )
        kind = table.get("kind")
        if not isinstance(kind, str) or kind not in GAUGES:
            raise FieldProblem(InputError(f"unknown kind of gauge {kind!r}", key="gauge.kind", fix=f"write {known}"))
        return GAUGES[kind].model_validate(table)

    @model_validator(mode="after")
    def _fits_together(self) -> Bench:
        reach = 2 * (self.rotor.arm.value + self.rotor.vane_width.value / 2)
        if reach >= self.chamber.width.value:
            raise FieldProblem(
                InputError(
                    f"the rotor sweeps a circle of {1e3 * reach:.4g} mm and the chamber is "
                    f"{1e3 * self.chamber.width.value:.4g} mm wide",
                    key="chamber.width",
                    fix="check chamber.width, rotor.arm (axis to the middle of a vane) and rotor.vane_width",
                )
            )
        across = self.rotor.vane_width.value / 2
        if self.rotor.vanes > 1 and self.rotor.arm.value < across * (1 - 1e-9):
            raise FieldProblem(
                InputError(
                    f"an arm of {1e3 * self.rotor.arm.value:.4g} mm is shorter than half of a vane's width "
                    f"({1e3 * across:.4g} mm): the vanes meet at the axis",
                    key="rotor.arm",
                    fix="give the distance from the axis to the middle of a vane",
                )
            )
        if self.rotor.vane_height.value >= self.chamber.height.value:
            raise FieldProblem(
                InputError(
                    f"the vanes are {1e3 * self.rotor.vane_height.value:.4g} mm high and the chamber "
                    f"{1e3 * self.chamber.height.value:.4g} mm",
                    key="chamber.height",
                    fix="check chamber.height and rotor.vane_height",
                )
            )
        if not self.gauge.signal_low.value < self.gauge.signal_high.value:
            raise FieldProblem(
                InputError(
                    f"signal_low is {self.gauge.signal_low.value:g} V and signal_high "
                    f"{self.gauge.signal_high.value:g} V",
                    key="gauge.signal_low",
                    fix="give the lower end of the gauge's output as signal_low",
                )
            )
        try:
            gas_factor(self.gauge, self.gas.gas)
        except InputError as error:
            raise FieldProblem(error) from error
        return self

    def with_gas(self, species: str) -> Bench:
        """Return the same bench with another gas at the same temperature; see :func:`edgewind.gas.find_gas`."""
        return self.model_copy(update={"gas": GasSection(species=species, temperature=self.gas.temperature)})

    @property
    def gas_factor(self) -> Measured:
        """True over indicated pressure for this gauge in this gas."""
        return gas_factor(self.gauge, self.gas.gas)

    @property
    def envelope_temperature(self) -> Measured:
        """Temperature of the envelope, K: that of the gas where none is given."""
        own: Measured | None = self.chamber.envelope_temperature
        of_gas: Measured = self.gas.temperature
        return of_gas if own is None else own
