"""Whole rotors outside the shipped tables: solved on request and stored on disk.

A rotor is solved at a few Knudsen numbers with diffuse faces. Its ratios to the lone vane at the same Knudsen numbers
are smooth, so values between them, and other accommodations, follow from the lone vane's table.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from edgewind.kinetics import store
from edgewind.kinetics.rotor_table import ARMS, ASPECTS, CHAMBERS
from edgewind.rotor.parameters import RotorParameters
from edgewind.runner import open_runner, processors, report

Array = NDArray[np.float64]

# Numbers of vanes that are solved on demand.
SOLVED = (2, 3, 4)
# Where a rotor is solved: even in the tables' coordinate. Denser gas than the last takes longer than all of these.
NODES = (math.inf, 8.0, 2.0, 0.7, 0.25, 0.09, 0.03)
TOLERANCE = 0.02
# Part of every key: a change of the stored content invalidates old solutions.
KEPT = 1
# Sweeps of one drive at one level, and those of the coarse levels, in fine sweeps. Measured: 8 and about half as much;
# the coarse levels of three vanes are not compiled.
_SWEEPS, _SWEEPS_OF_THREE = 12.0, 24.0
Progress = Callable[[float, float], None]


@dataclass(frozen=True)
class OwnRotor:
    """A rotor in its chamber, lengths in the width of a vane.

    Parameters
    ----------
    shape : {"rectangle", "disc"}
        Outline of a vane.
    vanes : int
        2 to 4.
    arm, aspect : float
        From the axis to the middle of a vane, and height of a vane.
    width, height : float
        Of the chamber, a cylinder.
    """

    shape: str
    vanes: int
    arm: float
    aspect: float
    width: float
    height: float

    @property
    def question(self) -> dict[str, Any]:
        """Key of its solution on disk."""
        place = [round(value, 6) for value in (self.arm, self.aspect, self.width, self.height)]
        nodes = [repr(kn) for kn in NODES]
        return {"own_rotor": KEPT, "shape": self.shape, "vanes": self.vanes, "place": place, "nodes": nodes}

    @property
    def solver_options(self) -> dict[str, Any]:
        """The rotor as input of `respond_rotor`."""
        shape = self.shape if self.shape == "disc" or self.aspect != 1.0 else "square"
        return {"shape": shape, "vanes": self.vanes, "arm": self.arm, "aspect": self.aspect,
                "room": (self.width, self.height), "round": True}  # fmt: skip

    def why_outside(self) -> str | None:
        """Return which property lies outside the shipped tables, in words; None within them."""
        reasons = []
        if self.shape != "rectangle":
            reasons.append(f"its vanes are {self.shape}s, not rectangles")
        wide = self.width / (2.0 * self.arm + 1.0)
        for name, value, (low, high) in (
            ("arm over width of a vane", self.arm, ARMS), ("chamber over rotor", wide, CHAMBERS),
            ("height over width of a vane", self.aspect, ASPECTS),
        ):  # fmt: skip
            if not low * (1.0 - 1e-9) <= value <= high * (1.0 + 1e-9):
                reasons.append(f"{name} is {value:.3g}, not {low:g} to {high:g}")
        return "; ".join(reasons) or None


def own_rotor(rotor: RotorParameters) -> OwnRotor | None:
    """Return the rotor as input of the solver; None for one vane, more than four, or vanes of another outline."""
    given = (rotor.vane_width_m, rotor.vane_height_m, rotor.chamber_width_m, rotor.chamber_height_m, rotor.arm_m)
    width, height, room, tall, arm = (float(np.mean(np.asarray(value))) for value in given)
    if int(rotor.vanes) not in SOLVED or rotor.vane_shape not in ("rectangle", "disc"):
        return None
    return OwnRotor(rotor.vane_shape, int(rotor.vanes), arm / width, height / width, room / width, tall / width)


def kept_answer(own: OwnRotor) -> Mapping[str, Array] | None:
    """Return the stored coefficients and their relative errors at `NODES` by name; None if not solved."""
    found = store.fetch(store.default_folder(), own.question)
    if found is None:
        return None
    return {name: np.array(values, dtype=float) for name, values in found.items()}


def _piece(options: dict[str, Any], knudsen: float) -> dict[str, float]:
    """Solve at one Knudsen number and report progress."""
    from edgewind.kinetics.rotor_respond import MAIN, respond_rotor

    answer = respond_rotor(knudsen=knudsen, tolerance=TOLERANCE, workers=1, cache=False,
                           watch=lambda step: report("progress", step.done), **options)  # fmt: skip
    values = {name: float(getattr(answer, name)) for name in MAIN}
    return values | {f"{name}_error": answer.errors[name] / abs(values[name]) for name in MAIN}


def _updates(own: OwnRotor, knudsen: float) -> float:
    """Return the number of updates of a solution: two levels, three drives."""
    from edgewind.kinetics.rotor_respond import check_rotor
    from edgewind.kinetics.rotor_solve import RotorCase, RotorResolution

    rotor = check_rotor(**own.solver_options)
    case = RotorCase(rotor, knudsen)
    parity = 1.0 if case.mirrored else None
    updates = sum(case.operator(RotorResolution.level(level, knudsen), parity, 1).updates for level in (0, 1))
    return 3.0 * (_SWEEPS_OF_THREE if own.vanes == 3 else _SWEEPS) * updates


def seconds_to_solve(own: OwnRotor, *, processes: int | None = None) -> float:
    """Estimate the time of a solution on this machine, from one sweep, s.

    Raises
    ------
    OutOfRangeError
        Vanes that touch, or leave the chamber.
    """
    from edgewind.kinetics.rotor_respond import check_rotor
    from edgewind.kinetics.rotor_solve import RotorCase, RotorResolution

    case = RotorCase(check_rotor(**own.solver_options), 1.0)
    operator = case.operator(RotorResolution.level(0, 1.0), 1.0 if case.mirrored else None, 1)
    nothing = np.zeros(operator.size)
    operator.sweep(nothing)  # compiles
    begun = time.perf_counter()
    operator.sweep(nothing)
    rate = operator.updates / (time.perf_counter() - begun)
    work = sorted((_updates(own, kn) / rate for kn in NODES), reverse=True)
    return max(work[0], sum(work) / min(processes or processors(), len(work)))


def solve_own(own: OwnRotor, *, cluster: str | None = None, progress: Progress | None = None) -> Mapping[str, Array]:
    """Solve a rotor at `NODES` and store the solution.

    Parameters
    ----------
    own : OwnRotor
        The rotor.
    cluster : str, optional
        Dask scheduler; default: processes of this machine.
    progress : callable, optional
        Called with the share done and the seconds left.

    Raises
    ------
    OutOfRangeError
        Vanes that touch, or leave the chamber.
    """
    options = own.solver_options
    weights = np.array([_updates(own, kn) for kn in NODES])
    done = np.zeros(len(NODES))
    begun = time.perf_counter()

    def tell(place: int, share: float) -> None:
        done[place] = max(share, float(done[place]))
        whole = float(done @ weights / weights.sum())
        if progress is not None and whole > 0.0:
            progress(whole, (time.perf_counter() - begun) * (1.0 / whole - 1.0))

    with open_runner(cluster, processes=min(processors(), len(NODES))) as runner:
        # The densest gas takes longest and is first.
        order = np.argsort(-weights)
        pieces = [(options, NODES[int(place)]) for place in order]
        found = runner.map(
            _piece, pieces, on_message=lambda place, kind, value: tell(int(order[place]), float(value)),
            on_result=lambda place, _: tell(int(order[place]), 1.0),
        )  # fmt: skip
    by_place = [found[int(np.flatnonzero(order == place)[0])] for place in range(len(NODES))]
    answer = {name: [one[name] for one in by_place] for name in by_place[0]}
    store.keep_answer(store.default_folder(), own.question, answer)
    return {name: np.array(values) for name, values in answer.items()}


def outside_sentence(reasons: Sequence[str]) -> str:
    """Return a sentence on rotors outside the tables that were not solved, with a reason for each.

    Examples
    --------
    >>> outside_sentence(["5 vanes", "arm 7"]).partition(":")[0]
    '2 of these rotors are outside the tables of whole rotors (5 vanes; arm 7)'
    """
    if len(reasons) == 1:
        return (
            f"The rotor is outside the tables of whole rotors ({reasons[0]}): its torque and drag are extrapolated "
            "from their ends, with a larger error. With --solve it is solved, in some minutes, and stored."
        )
    return (
        f"{len(reasons)} of these rotors are outside the tables of whole rotors ({'; '.join(reasons)}): their torque "
        "and drag are extrapolated from the ends of the tables, with a larger error. With --solve each is solved, in "
        "some minutes, and stored."
    )
