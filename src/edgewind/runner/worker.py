"""A process of this machine that runs the jobs of a :class:`~edgewind.runner.LocalRunner`.

``python -m edgewind.runner.worker`` reads pickled requests from standard input and writes pickled answers to standard
output: messages while it works, then the result or the error. It ends at the end of its input.
"""

from __future__ import annotations

import os
import pickle
import signal
import sys
import threading
from contextlib import suppress
from typing import Any, BinaryIO

from edgewind.memory import collect_seldom

# Interval at which a worker checks that its parent process is running, s.
_LOOK_S = 2.0
never = threading.Event()


def _serve(source: BinaryIO, sink: BinaryIO) -> None:
    from edgewind.runner.base import reporting

    def send(kind: str, value: Any) -> None:
        data = pickle.dumps((kind, value), protocol=5)
        with lock:
            sink.write(data)
            sink.flush()

    lock = threading.Lock()
    while True:
        try:
            function, arguments = pickle.load(source)
        except EOFError:
            return
        except Exception as error:  # what was sent cannot be read here, such as a module that is missing
            send("error", _sendable(error))
            return
        try:
            with reporting(lambda kind, value: send("message", (kind, value))):
                result = function(*arguments)
            send("result", result)
        except BrokenPipeError:
            return
        except Exception as error:
            send("error", _sendable(error))


def _sendable(error: Exception) -> Exception:
    """Return the error itself if it can be pickled and read back, else one with the same message."""
    from edgewind.runner.base import JobFailedError

    try:
        pickle.loads(pickle.dumps(error))
    except Exception:
        return JobFailedError(f"{type(error).__name__}: {error}")
    return error


def _leave(number: int, frame: object) -> None:
    """Exit through an exception, so that context managers remove partial files."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (1, 2):  # some libraries print at length when they are cut off
        with suppress(OSError):
            os.dup2(nowhere, stream)
    sys.exit(128 + number)


def _end_with(parent: int) -> None:
    """End this process when the one that started it has ended, also while a job runs."""
    while os.getppid() == parent:
        never.wait(_LOOK_S)
    os._exit(1)


def main() -> None:
    """Answer requests; what libraries print goes to standard error."""
    # Ctrl-C reaches the whole group of processes: the program that asked decides.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, _leave)
    with suppress(AttributeError, OSError):
        os.nice(int(sys.argv[1]) if len(sys.argv) > 1 else 0)
    threading.Thread(target=_end_with, args=(os.getppid(),), daemon=True).start()
    collect_seldom()
    pipe = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
    try:
        _serve(sys.stdin.buffer, pipe)
    except BrokenPipeError:
        code = 1
    except SystemExit as end:
        code = int(end.code or 0)
    else:
        code = 0
    os._exit(code)  # context managers have cleaned up; the rest of Python's shutdown takes long and is not needed


if __name__ == "__main__":
    main()
