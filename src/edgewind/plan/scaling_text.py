"""Text of a planned study of a scaling claim, and the order of its sweeps."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from edgewind.formatting import RPM_PER_RAD_S, duration, format_number, text_table
from edgewind.plan.new_rotors import cautions_for
from edgewind.plan.scaling_study import ENOUGH, MODEL, DesignPower, ScalingStudy
from edgewind.plan.sized import CONDUCTANCE_ALIKE, EMISSIVITY_ALIKE, LENGTHS_ALIKE

# Conditions that must be equal for all rotors.
HELD = (
    "one sheet for all vanes: paint, thickness, the same batch of both",
    "the inner edge of every vane at the same distance from the axis",
    "lamp, its distance and its window; chamber, and the place of the rotor in it",
    "one gauge, with one zero taken each morning; the same bottle of gas",
    "the same pivot, or pivots of one make; the rotor hung plumb",
)
# Quantities that also change with size, included in the claim of the model.
MODELLED = (
    "mass and moment of inertia, and so the dwell at each pressure",
    "drag of the gas, which grows faster than the drive; the pivot's share shrinks with size",
    "temperature of the faces, since gas cools a wide vane less for each square centimetre",
    "the share of the thermal force at the edge",
    "the chamber: a wide vane is nearer to its walls",
)


def assumptions(study: ScalingStudy) -> tuple[str, ...]:
    """Return the assumptions of the plan, a sentence each."""
    s = study.settings
    return (
        f"A speed scatters by {100 * s.noise:g} % and a sweep has {s.readings} readings; of such sweeps "
        f"{100 * study.found_share:.0f} % show an optimum, and state ln of the best pressure within "
        f"{study.sweep_u:.3f} (one standard deviation; it scatters by {study.sweep_sd:.3f}). This comes from "
        f"{s.trials} simulated sweeps of each rotor in each gas, read by the whole analysis.",
        "A sweep that shows no optimum is not repeated.",
        f"Nominally identical rotors differ by {study.scatter:.3f} in ln of the best pressure, by the forward model "
        f"(lengths {100 * LENGTHS_ALIKE:g} %, vane conductance {100 * CONDUCTANCE_ALIKE:g} %, emissivities "
        f"{EMISSIVITY_ALIKE:g}, pivots as bench.toml states).",
        "The error of the gauge is the same at all optima, so that it shifts all rotors equally.",
        "The shape of the curve is that of the model for every claim: a claim only shifts it along ln p.",
        f"A claim is rejected at the {100 * s.level:g} % level, two-sided, by the uncertainties that the analysis "
        "states for each sweep and the scatter between rotors that the model expects.",
    )


def falsified_by(study: ScalingStudy) -> tuple[str, ...]:
    """Return the observations that would show that the plan is wrong."""
    return (
        f"Two rotors of one size and make whose best pressures differ by more than a factor "
        f"{np.exp(3 * np.sqrt(2) * np.hypot(study.scatter, study.sweep_sd)):.2f}: then they are not alike.",
        "Exponents in two gases that differ by more than their uncertainties: then not only the size changed.",
        "A local exponent that differs between the small and the large pair of sizes: then no power law holds.",
        "Repeated sweeps of one rotor that scatter by more than stated for one sweep.",
    )


def millimetres(widths_m: tuple[float, ...] | list[float]) -> str:
    """Write sizes: ``8, 12 and 20 mm``."""
    texts = [format_number(1e3 * width, 3) for width in widths_m]
    return " and ".join([", ".join(texts[:-1]), texts[-1]] if len(texts) > 1 else texts) + " mm"


def claim_name(study: ScalingStudy, claim: str) -> str:
    """Write a claim: ``-1``, or ``model (-0.87)``."""
    return f"model ({study.exponents[claim]:.2f})" if claim == MODEL else claim


def answer_sentences(study: ScalingStudy) -> tuple[str, ...]:
    """Return what to build, its time and its power in sentences; or that the time is too short."""
    best, time = study.best, study.settings
    gases = " and in ".join(study.gases)
    if best is None:
        least = study.hours(study.widths_m[:2], 1, 1)
        return (
            f"In {format_number(time.hours, 3)} h no two sizes can be swept once: that takes "
            f"{format_number(least, 2)} h. Give more days, fewer readings a sweep or fewer gases.",
        )
    d = best.design
    many = "one" if d.rotors == 1 else str(d.rotors)
    often = "once" if d.sweeps == 1 else f"{d.sweeps} times"
    hard = min(study.pairs, key=lambda pair: best.power[pair[0]][pair[1]])
    first = (
        f"Build {many} rotor{'s' if d.rotors > 1 else ''} of each of {millimetres(d.widths_m)} and sweep each {often} "
        f"in {gases}: {format_number(d.hours, 3)} h of the {format_number(time.hours, 3)} h available."
    )
    second = f"The exponent will be known to {best.exponent_u:.2f} (one standard uncertainty, as the study states it)."
    chance = 100 * best.power[hard[0]][hard[1]]
    known = "" if best.least_power_u is None else f" (known to {max(100 * best.least_power_u, 1):.0f} %)"
    third = (
        f"The hardest question, to reject {claim_name(study, hard[1])} where {claim_name(study, hard[0])} holds, is "
        f"decided with a probability of {chance:.0f} %{known}; "
        + ("that is enough." if chance >= 100 * ENOUGH else "this is low: see the designs compared below.")
    )
    alike = [claim_name(study, name) for name in study.exponents if name != MODEL and (name, MODEL) not in study.pairs]
    fourth = (
        (
            f"The forward model itself gives {study.exponents[MODEL]:.2f}; this study cannot distinguish it from "
            f"{' or '.join(alike)}.",
        )
        if alike
        else (f"The forward model itself gives {study.exponents[MODEL]:.2f}.",)
    )
    return (first, second, third, *fourth)


def one_design(rated: DesignPower) -> str:
    """Write a design in a few words."""
    d = rated.design
    return f"{d.rotors} x {millimetres(d.widths_m)}, {d.sweeps} sweep{'s' if d.sweeps > 1 else ''} each"


@dataclass(frozen=True)
class SheetRun:
    """One sweep of the run sheet."""

    number: int
    rotor: str
    gas: str
    low: str
    high: str
    readings: int
    time: str
    changeover: bool


def run_order(study: ScalingStudy) -> tuple[SheetRun, ...]:
    """Return the sweeps in running order: rotors in random order, so that drift is not taken for an effect of size."""
    best = study.best
    if best is None:
        return ()
    d = best.design
    rotors = [(width, letter) for width in d.widths_m for letter in range(d.rotors)]
    random = np.random.default_rng([study.settings.seed, 31])
    runs: list[SheetRun] = []
    for k in random.permutation(len(rotors)):
        width, letter = rotors[k]
        name = f"{format_number(1e3 * width, 3)} mm" + (f" {'ABCDEFGH'[letter]}" if d.rotors > 1 else "")
        first = True
        for gas in study.gases:
            for _ in range(d.sweeps):
                ends = study.pressures[width, gas]
                runs.append(
                    SheetRun(
                        len(runs) + 1, name, gas, format_number(float(ends[0]), 2), format_number(float(ends[-1]), 3),
                        int(ends.size), duration(study.sweep_s[width, gas]), first,
                    )
                )  # fmt: skip
                first = False
    return tuple(runs)


def size_rows(study: ScalingStudy) -> list[list[str]]:
    """Return the rows of a table of what changes with size: two of titles and units, and each rotor in each gas."""
    rows = [["vane", "gas", "pressure", "Kn", "speed", "mass", "drag", "warmer", "edge", "spin-up", "sweep"]]
    rows.append(["mm", "", "Pa", "", "rpm", "mg", "N m s", "K", "%", "", ""])
    for (width, gas), rotor in study.rotors.items():
        rows.append(
            [
                format_number(1e3 * width, 3), gas, format_number(rotor.pressure_pa, 3),
                format_number(rotor.knudsen, 2), format_number(RPM_PER_RAD_S * rotor.speed_rad_s, 3),
                format_number(1e6 * rotor.vane_mass_kg, 3), f"{rotor.drag_n_m_s:.1e}", f"{rotor.warmer_k:.1f}",
                f"{100 * rotor.edge_share:.1f}", duration(rotor.spin_up_s), duration(study.sweep_s[width, gas]),
            ]
        )  # fmt: skip
    return study.bench.shown.table(rows)


def study_lines(study: ScalingStudy) -> Iterator[str]:
    """Yield the plan as text."""
    return map(study.bench.shown.text, _study_lines(study))


def _study_lines(study: ScalingStudy) -> Iterator[str]:
    yield from answer_sentences(study)
    yield ""
    yield "What changes with size (at the best pressure of each, by the forward model):"
    yield from text_table(size_rows(study))
    best = study.best
    if best is not None:
        yield ""
        yield "Chance to reject the claim of a column where that of a row holds, %:"
        names = list(study.exponents)
        rows = [["", *(claim_name(study, name) for name in names)]]
        for truth in names:
            rows.append(
                [claim_name(study, truth)]
                + ["" if rival == truth else f"{100 * best.power[truth][rival]:.0f}" for rival in names]
            )
        yield from text_table(rows)
        yield ""
        yield "Designs compared, the best for each number of rotors:"
        for one in study.others:
            yield (
                f"  {one_design(one)}: {format_number(one.design.hours, 3)} h, exponent to {one.exponent_u:.2f}, least "
                f"chance {100 * one.least_power:.0f} %"
            )
        yield ""
        yield "Order of the sweeps, random so that drift is not mistaken for an effect of size:"
        for run in run_order(study):
            yield (
                f"  {run.number}. {run.rotor} in {run.gas}, {run.low} to {run.high} Pa, {run.readings} readings, "
                f"{run.time}{', after a change of rotor' if run.changeover else ''}"
            )
    for title, texts in (
        ("Hold", HELD), ("Modelled, since it also changes with size", MODELLED),
        ("Assumed", assumptions(study)), ("Would show that it is wrong", falsified_by(study)),
        ("Mind", study.left_out), ("Cautions", cautions_for(study.gases)),
    ):  # fmt: skip
        if texts:
            yield ""
            yield f"{title}:"
            for text in texts:
                yield f"  - {text}"
