"""Several experiments explained at once, each in a process of its own."""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_EXCEPTION, ThreadPoolExecutor, wait
from contextlib import suppress
from pathlib import Path
from threading import Lock
from typing import Any

import edgewind
from edgewind.evidence.explain import Explanation, explain
from edgewind.signals import Experiment

Progress = Callable[[int, str, int, float], None]


def processors() -> int:
    """How many processors this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not on every system
        return os.cpu_count() or 1


def explain_all(
    experiments: Sequence[Experiment],
    *,
    live_points: int = 150,
    processes: int | None = None,
    progress: Progress | None = None,
) -> list[Explanation]:
    """Explain experiments, as many at once as there are processors; the answers are those of :func:`explain`.

    Parameters
    ----------
    experiments : sequence of Experiment
        Experiments.
    live_points : int
        Live points of the sampler.
    processes : int, optional
        How many at once; as many as there are processors where absent. With one, or where no process can be started,
        they are explained here one after the other.
    progress : callable, optional
        Called with the place of the experiment, the model, the iterations done and what is left of ln(evidence); from
        one thread at a time.
    """
    at_once = min(processors() if processes is None else processes, len(experiments))
    lock = Lock()

    def tell(place: int, *state: Any) -> None:
        if progress is not None:
            with lock:
                progress(place, *state)

    if at_once > 1 and sys.executable:
        try:
            return _in_processes(experiments, live_points, at_once, tell)
        except OSError:
            pass  # no further process can be started: then here
    return [
        explain(one, live_points=live_points, progress=lambda *state, place=place: tell(place, *state))
        for place, one in enumerate(experiments)
    ]


def _in_processes(
    experiments: Sequence[Experiment], live_points: int, at_once: int, tell: Callable[..., None]
) -> list[Explanation]:
    running: set[subprocess.Popen[bytes]] = set()
    stopped = False

    def ask(place: int) -> Explanation:
        if stopped:
            raise InterruptedError
        command = [sys.executable, "-m", "edgewind.evidence.worker"]
        with subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=_environment()
        ) as process:
            running.add(process)
            try:
                return _answer(process, (experiments[place], live_points), lambda *state: tell(place, *state))
            finally:
                process.kill()
                running.discard(process)

    with ThreadPoolExecutor(at_once) as threads:
        answers = [threads.submit(ask, place) for place in range(len(experiments))]
        try:
            wait(answers, return_when=FIRST_EXCEPTION)
            for answer in answers:
                if answer.done() and answer.exception() is not None:
                    answer.result()
        except BaseException:
            stopped = True
            for answer in answers:
                answer.cancel()
            for process in tuple(running):
                process.kill()
            raise
        return [answer.result() for answer in answers]


def _answer(process: subprocess.Popen[bytes], request: Any, tell: Callable[..., None]) -> Explanation:
    assert process.stdin is not None
    assert process.stdout is not None
    gone = "a process that fits a rotor ended before it answered"
    try:
        pickle.dump(request, process.stdin)
        process.stdin.close()
    except BrokenPipeError:
        with suppress(BrokenPipeError):  # what was still to be written is lost, and closing says so once more
            process.stdin.close()
        raise ChildProcessError(gone) from None
    while True:
        try:
            kind, what = pickle.load(process.stdout)
        except EOFError:
            raise ChildProcessError(gone) from None
        if kind == "progress":
            tell(*what)
        elif kind == "error":
            raise what
        else:
            found: Explanation = what
            return found


def _environment() -> dict[str, str]:
    """That of this process; the same package, and no threads of the linear algebra library beside the processes."""
    package = str(Path(edgewind.__file__).parents[1])
    known = os.environ.get("PYTHONPATH", "")
    threads = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    return os.environ | threads | {"PYTHONPATH": os.pathsep.join(part for part in (package, known) if part)}
