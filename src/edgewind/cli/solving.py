"""Rotors outside the tables: solved where that is asked for, said so elsewhere."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from edgewind.bench import Bench


def solve_outside(benches: Sequence[Bench], *, solve: bool, cluster: str | None) -> list[str]:
    """Solve the whole rotors of these benches that no table holds, or return a sentence on each that is not solved.

    Parameters
    ----------
    benches : sequence of Bench
        Benches.
    solve : bool
        Whether to solve them, with their progress on the terminal.
    cluster : str, optional
        Dask scheduler that solves them.

    Raises
    ------
    OutOfRangeError
        Vanes that touch each other or leave the chamber.
    """
    from edgewind.rotor import parameters_of
    from edgewind.rotor.solved import kept_answer, outside_sentence, own_rotor, seconds_to_solve, solve_own

    owns = {own for bench in benches if (own := own_rotor(parameters_of(bench))) is not None}
    sentences = []
    for own in sorted(owns, key=repr):
        reason = own.why_outside()
        if reason is None or kept_answer(own) is not None:
            continue
        if not solve:
            sentences.append(outside_sentence(reason))
            continue
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TextColumn

        from edgewind.formatting import duration

        left = "" if cluster else f", about {duration(seconds_to_solve(own))} on this machine when it is idle"
        print(f"solving a rotor outside the tables ({reason}){left}", file=sys.stderr)
        console = Console(stderr=True)
        with Progress(TextColumn("{task.description}"), BarColumn(), console=console, transient=True,
                      disable=not console.is_terminal) as bar:  # fmt: skip
            task = bar.add_task("solving", total=1.0)

            def progress(share: float, seconds: float, bar: Progress = bar, task: object = task) -> None:
                bar.update(task, completed=share, description=f"solving, {duration(seconds)} left")  # type: ignore[arg-type]

            solve_own(own, cluster=cluster, progress=progress)
    return sentences
