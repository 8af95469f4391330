"""Power of a study by simulating and reading every sweep of it: slow, for tests and benchmarks."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from edgewind.errors import InputError
from edgewind.plan.exponent_test import mean_of_sweeps
from edgewind.plan.scaling_study import Design, ScalingStudy
from edgewind.plan.sized import Curve, SizedRotor, made_alike, speed_curves
from edgewind.plan.sweep_errors import read_sweep, simulated_sweep
from edgewind.rotor import parameters_of, response_of
from edgewind.rotor.speed_kernel import table_arrays

Array = NDArray[np.float64]


def curves_alike(sized: SizedRotor, count: int, *, seed: int) -> list[Curve]:
    """Predict nominally identical rotors, each with its own curve; those without a greatest speed are drawn again.

    Parameters
    ----------
    sized : SizedRotor
        What they are made after.
    count : int
        How many.
    seed : int
        Seed of the draws; under one seed, a rotor is the same in every gas.

    Raises
    ------
    InputError
        Hardly any rotor of this make has a greatest speed.
    """
    rotor = parameters_of(sized.bench)
    table = table_arrays(response_of(rotor))
    pressure = np.exp(sized.curve.log_grid)
    found: list[Curve] = []
    for batch in range(20):
        curves, places = speed_curves(pressure, made_alike(sized.bench, rotor, count, seed + 7919 * batch), table)
        for curve, place in zip(curves, places, strict=True):
            if np.isfinite(place) and len(found) < count:
                speed = float(np.interp(np.log(place), sized.curve.log_grid, curve))
                found.append(Curve(float(place), speed, sized.curve.log_grid, np.maximum(curve, 0.0) / speed))
        if len(found) == count:
            return found
    raise InputError("hardly a rotor of this make has a greatest speed", fix="change pivot, lamp or vane")


def brute_force_studies(
    study: ScalingStudy, design: Design, truth: str, studies: int, seed: int
) -> tuple[Array, Array]:
    """Simulate every sweep of every study and read it by the whole analysis; slow, for a check.

    Every rotor is made by the forward model, with lengths, pivot and vane of its own, and its own curve; nothing of the
    plan's calibration is used.

    Parameters
    ----------
    study, design
        The plan and the design.
    truth : str
        The claim that holds.
    studies, seed : int
        Number of studies and their seed.

    Returns
    -------
    errors, variances : arrays of shape (studies, sizes, rotors, gases)
        As :meth:`ScalingStudy.study_errors` gives them.
    """
    shape = (studies, len(design.widths_m), design.rotors, len(study.gases))
    errors, variances = np.zeros(shape), np.full(shape, np.inf)
    for i, width in enumerate(design.widths_m):
        for g, gas in enumerate(study.gases):
            rotor, pressures = study.rotors[width, gas], study.pressures[width, gas]
            place = study.log_place(truth, width, gas)
            made = curves_alike(rotor, studies * design.rotors, seed=1000 * seed + i)
            for n, curve in enumerate(made):
                random = np.random.default_rng([seed, 23, n, i, g])
                claimed = place - float(np.log(rotor.pressure_pa))
                taken = [
                    simulated_sweep(curve, pressures, study.settings.noise, random, claimed)
                    for _ in range(design.sweeps)
                ]
                read = np.array([read_sweep(data, seed=n) for data in taken])
                at = (n // design.rotors, i, n % design.rotors, g)
                errors[at], variances[at] = mean_of_sweeps(read[:, 0] - place, read[:, 1])
    return errors, variances


def brute_force_power(study: ScalingStudy, design: Design, truth: str, rival: str, studies: int, seed: int) -> float:
    """Return the power by :func:`brute_force_studies`."""
    errors, variances = brute_force_studies(study, design, truth, studies, seed)
    return float(study.rejected(design, errors, variances, truth, [rival])[0].mean())
