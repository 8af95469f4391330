"""The server of the pages: on this machine only, unless another address is named."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import socket
import webbrowser
from collections.abc import Callable
from pathlib import Path
from urllib.parse import urlencode

import uvicorn

from edgewind.errors import InputError
from edgewind.web.app import make_app
from edgewind.web.security import KEY, AccessPolicy, access_policy

PORT = 8765
_BACKLOG = 256


def serve(
    root: str | Path,
    *,
    host: str = "127.0.0.1",
    port: int = PORT,
    token: str | None = None,
    open_browser: bool = False,
    on_ready: Callable[[str], None] | None = None,
) -> None:
    """Serve the pages until the program is stopped.

    Parameters
    ----------
    root : path or str
        Folder with lab books and experiment folders, or one lab book, as file or URL.
    host : str
        Address to listen on. Off the loopback every visitor must send a token.
    port : int
        Port; 0 takes a free one.
    token : str, optional
        The required token, off the loopback; default: a new one.
    open_browser : bool
        Whether to open the pages in a browser.
    on_ready : callable, optional
        Called with the address once the pages answer.

    Raises
    ------
    InputError
        `root` does not exist, or the port is not available.
    """
    policy = access_policy(host, token)
    app = make_app(root, policy)
    listening = _socket(host, port)
    address = _address(host, listening.getsockname()[1], policy)

    class Server(uvicorn.Server):
        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await super().startup(sockets)
            if on_ready is not None:
                on_ready(address)
            if open_browser:
                webbrowser.open(address)

    settings = uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,  # it would contain the token
        server_header=False,
        ws="websockets-sansio",
        ws_max_size=65536,
        ws_ping_interval=20,
        timeout_graceful_shutdown=3,
        lifespan="on",
    )
    logging.getLogger("uvicorn.error").addFilter(_is_no_cancelled_request)
    with contextlib.closing(listening), contextlib.suppress(KeyboardInterrupt):
        Server(settings).run(sockets=[listening])


def _is_no_cancelled_request(record: logging.LogRecord) -> bool:
    """Return whether a log record is an error, not a request cancelled by Ctrl-C."""
    cancelled = record.exc_info is not None and record.exc_info[0] is asyncio.CancelledError
    return not (cancelled or "graceful shutdown exceeded" in record.getMessage())


def _socket(host: str, port: int) -> socket.socket:
    try:
        family = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0][0]
    except (OSError, UnicodeError) as error:
        raise InputError(f"'{host}' is not an address of this machine ({error})", fix="leave out --host") from error
    found = socket.socket(family, socket.SOCK_STREAM)
    try:
        found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        found.bind((host, port))
        found.listen(_BACKLOG)
    except (OSError, OverflowError) as error:
        found.close()
        why = getattr(error, "strerror", None) or error
        raise InputError(
            f"Cannot listen on {host}:{port}: {why}", fix="name another with --port, or 0 for a free one"
        ) from error
    return found


def _address(host: str, port: int, policy: AccessPolicy) -> str:
    if host in ("0.0.0.0", "::"):
        host = socket.gethostname()
    shown = f"[{host}]" if ":" in host else host
    return f"http://{shown}:{port}/" + (f"?{urlencode({KEY: policy.token})}" if policy.token else "")
