"""A planned study of a scaling claim, for JSON, manual and printed page."""

from __future__ import annotations

from pydantic import Field

from edgewind.frozen_model import FrozenModel
from edgewind.plan.scaling_study import DesignPower, ScalingStudy, Settings
from edgewind.plan.scaling_text import HELD, MODELLED, assumptions, falsified_by
from edgewind.plan.sized import SizedRotor


class SizeSweep(FrozenModel):
    """The sweep of one size in one gas, and the errors of its analysis."""

    width_m: float = Field(description="Width of the vane, m.")
    gas: str = Field(description="Name of the gas.")
    low_pa: float = Field(description="Lowest pressure of the sweep, Pa.")
    high_pa: float = Field(description="Highest pressure of the sweep, Pa.")
    readings: int = Field(description="Readings in the sweep.")
    sweep_s: float = Field(description="Length of the sweep, s.")
    found_share: float = Field(description="Share of the simulated sweeps in which an optimum was claimed.")
    log_pressure_u: float = Field(
        description="Standard uncertainty of ln(pressure of the optimum) that the analysis of one sweep states, median."
    )
    log_pressure_sd: float = Field(description="Standard deviation of ln(found / true pressure) from one sweep.")
    log_pressure_bias: float = Field(description="Mean of ln(found / true pressure) from one sweep.")


class DesignResult(FrozenModel):
    """Rotors, sweeps, and the power of the study."""

    widths_m: tuple[float, ...] = Field(description="Widths of the vane, m.")
    rotors_of_each_size: int = Field(description="Rotors of each size.")
    sweeps_of_each_rotor_and_gas: int = Field(description="Sweeps of each rotor in each gas.")
    hours: float = Field(description="Time that the design takes with its changeovers, h.")
    exponent_u: float = Field(description="Standard uncertainty that the exponent would have.")
    least_power: float = Field(description="Least probability in `power`, over claims that have to be distinguished.")
    least_power_u: float | None = Field(
        description="Standard uncertainty of `least_power`, from the number of sweeps simulated; null where not "
        "worked out."
    )
    power: dict[str, dict[str, float]] = Field(
        description="Probability to reject the second claim if the first is true."
    )


class ScalingStudyResult(FrozenModel):
    """A planned study for JSON: SI, the unit in each key."""

    widths_m: tuple[float, ...] = Field(description="Widths of the vane that are compared, m.")
    gases: tuple[str, ...] = Field(description="Gases that are compared.")
    settings: Settings = Field(description="Settings of the study.")
    claims: dict[str, float] = Field(
        description="Exponent of each claim, by its name; `model` is that of the forward model."
    )
    rotors: tuple[SizedRotor, ...] = Field(description="Each size in each gas, by the forward model.")
    sweeps: tuple[SizeSweep, ...] = Field(
        description="The sweep of each size in each gas, and the errors of its analysis."
    )
    rotor_scatter_log_pressure: float = Field(
        description="Mean scatter of ln(pressure of the optimum) between rotors of the same design."
    )
    design: DesignResult | None = Field(description="The recommended design; null if none fits the time.")
    other_designs: tuple[DesignResult, ...] = Field(
        description="The best design for each number of rotors, fewest first."
    )
    left_out: tuple[str, ...] = Field(description="Sizes and gases that were left out, with the reason.")
    held: tuple[str, ...] = Field(description="Conditions that must be equal for all rotors.")
    modelled: tuple[str, ...] = Field(
        description="Quantities that also change with size, included in the claim of the model."
    )
    assumptions: tuple[str, ...] = Field(description="Assumptions of the plan.")
    falsified_by: tuple[str, ...] = Field(description="Observations that would show that the plan is wrong.")


def scaling_result(study: ScalingStudy) -> ScalingStudyResult:
    """Return a planned study with the sentences about it."""
    best = study.best
    return ScalingStudyResult(
        widths_m=study.widths_m,
        gases=study.gases,
        settings=study.settings,
        claims=study.exponents,
        rotors=tuple(study.rotors.values()),
        sweeps=tuple(_sweep(study, width, gas) for width, gas in study.rotors),
        rotor_scatter_log_pressure=study.scatter,
        design=None if best is None else _design(best),
        other_designs=tuple(_design(one) for one in study.others),
        left_out=study.left_out,
        held=HELD,
        modelled=MODELLED,
        assumptions=assumptions(study),
        falsified_by=falsified_by(study),
    )


def _sweep(study: ScalingStudy, width_m: float, gas: str) -> SizeSweep:
    pressure, errors = study.pressures[width_m, gas], study.calibration[width_m, gas]
    return SizeSweep(
        width_m=width_m,
        gas=gas,
        low_pa=float(pressure[0]),
        high_pa=float(pressure[-1]),
        readings=int(pressure.size),
        sweep_s=study.sweep_s[width_m, gas],
        found_share=errors.found_share,
        log_pressure_u=errors.u,
        log_pressure_sd=errors.sd * errors.u,
        log_pressure_bias=errors.bias * errors.u,
    )


def _design(rated: DesignPower) -> DesignResult:
    return DesignResult(
        widths_m=rated.design.widths_m,
        rotors_of_each_size=rated.design.rotors,
        sweeps_of_each_rotor_and_gas=rated.design.sweeps,
        hours=rated.design.hours,
        exponent_u=rated.exponent_u,
        least_power=rated.least_power,
        least_power_u=rated.least_power_u,
        power=rated.power,
    )
