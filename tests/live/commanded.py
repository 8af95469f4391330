"""`edgewind record` in a separate process, and its terminal."""

import contextlib
import os
import select
import subprocess
import sys
import time


def recorder(folder, book, *arguments, **options):
    command = [sys.executable, "-m", "edgewind", "record", str(folder), str(book), *arguments]
    return subprocess.Popen(command, **options)


def wait_for(condition, seconds=240.0):
    """Return the value of a condition once it is true."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if found := condition():
            return found
        time.sleep(0.01)
    raise AssertionError(f"it did not come about within {seconds} s")


def come_to_rest(served):
    """Wait until valve and lamp of a bench, both switched off, have followed."""
    wait_for(lambda: max(served.apparatus.state()[role] for role in ("valve", "lamp")) < 0.01)


def read_until(end, *texts, seconds=240.0):
    """Read a terminal until it shows one of the texts."""
    seen, limit = b"", time.monotonic() + seconds
    while time.monotonic() < limit:
        if select.select([end], [], [], 0.2)[0]:
            with contextlib.suppress(OSError):
                seen += os.read(end, 4096)
        if any(text.encode() in seen for text in texts):
            return seen.decode(errors="replace")
    raise AssertionError(f"{texts} did not come; there was: {seen.decode(errors='replace')[-2000:]}")
