"""A process of its own that explains one experiment: ``python -m edgewind.evidence.worker``, asked over its pipes.

It reads one pickled request from standard input and writes pickled answers to standard output: what is done as it
goes, then the explanation or the error. Unlike the workers of `multiprocessing` it never imports the program that asks
again, so it may be asked from any script, page or thread. Only :mod:`edgewind.evidence.parallel` speaks to it.
"""

from __future__ import annotations

import os
import pickle
import signal
import sys
from typing import Any, BinaryIO


def _serve(source: BinaryIO, sink: BinaryIO) -> None:
    def send(kind: str, what: Any) -> None:
        pickle.dump((kind, what), sink)
        sink.flush()

    try:
        from edgewind.evidence.explain import explain

        experiment, live_points = pickle.load(source)
        send(
            "done",
            explain(experiment, live_points=live_points, progress=lambda *state: send("progress", state)),
        )
    except BrokenPipeError:
        pass  # nobody waits for the answer any more
    except Exception as error:
        send("error", error)


def main() -> None:
    """Answer one request; what libraries print goes to standard error."""
    # Ctrl-C reaches the whole group: the one who asked says so, this process only ends.
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    pipe = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
    _serve(sys.stdin.buffer, pipe)


if __name__ == "__main__":
    main()
