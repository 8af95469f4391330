"""Work in a thread of its own: in the main one Playwright's loop may be running, where `asyncio.run` is refused."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any


def in_thread(call: Callable[..., Any], *arguments: Any) -> Any:
    """Return what a call returns, or raise what it raises, in a thread of its own."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(call, *arguments).result()
