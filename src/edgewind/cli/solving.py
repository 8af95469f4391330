"""Rotors outside the tables: solved on request, otherwise reported."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

from edgewind.cli.base import progress_bar

if TYPE_CHECKING:
    from rich.progress import Progress

    from edgewind.bench import Bench
    from edgewind.rotor import RotorParameters


def solve_outside(
    rotors: Sequence[Bench | RotorParameters], *, solve: bool, cluster: str | None, strict: bool = True
) -> list[str]:
    """Solve the whole rotors that no table holds, or return a sentence on each that is not solved.

    Parameters
    ----------
    rotors : sequence of Bench or RotorParameters
        Rotors, or their benches.
    solve : bool
        Whether to solve them, with their progress on the terminal.
    cluster : str, optional
        Dask scheduler that solves them.
    strict : bool
        Whether vanes that nearly touch each other or the chamber are refused; otherwise a sentence states that they are
        not solved.

    Raises
    ------
    OutOfRangeError
        Vanes that touch each other or leave the chamber.
    """
    from edgewind.errors import OutOfRangeError
    from edgewind.rotor import RotorParameters, parameters_of
    from edgewind.rotor.solved import kept_answer, outside_sentence, own_rotor, seconds_to_solve, solve_own

    numbers = [one if isinstance(one, RotorParameters) else parameters_of(one) for one in rotors]
    owns = {own for one in numbers if (own := own_rotor(one)) is not None}
    sentences, unsolved = [], []
    for own in sorted(owns, key=repr):
        reason = own.why_outside()
        if reason is None or kept_answer(own) is not None:
            continue
        if not solve:
            unsolved.append(reason)
            continue
        from edgewind.formatting import duration

        try:
            taken = seconds_to_solve(own)
        except OutOfRangeError as error:
            if strict:
                raise
            sentences.append(f"A rotor outside the tables of whole rotors ({reason}) is not solved: {error.problem}.")
            continue
        left = "" if cluster else f", about {duration(taken)} on this machine when it is idle"
        print(f"solving a rotor outside the tables ({reason}){left}", file=sys.stderr)
        with progress_bar() as bar:
            task = bar.add_task("solving", total=1.0)

            def progress(share: float, seconds: float, bar: Progress = bar, task: object = task) -> None:
                bar.update(task, completed=share, description=f"solving, {duration(seconds)} left")  # type: ignore[arg-type]

            solve_own(own, cluster=cluster, progress=progress)
    return [outside_sentence(unsolved), *sentences] if unsolved else sentences
