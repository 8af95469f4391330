"""Access to the pages: from this machine only, or with a token; never from a page of another site."""

from __future__ import annotations

import ipaddress
import secrets
import socket
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qsl, urlencode

from starlette.datastructures import Headers
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from edgewind.errors import InputError
from edgewind.web.dropped import MOST_FILE
from edgewind.web.errors import TooLargeError

COOKIE = "edgewind_token"
KEY = "token"
# Largest request without a file, bytes.
MOST_BODY = 2_000_000
FILES = "/api/files/"
_LEAST_TOKEN = 16
# Only our own files; no frame of another site; no form to another site.
_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; media-src 'self' blob:; "
    "connect-src 'self'; font-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
# A report contains its style and runs no script.
REPORT_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src 'self' data:; form-action 'none'; base-uri 'none'; "
    "frame-ancestors 'none'; sandbox allow-downloads allow-same-origin allow-top-navigation-by-user-activation"
)
_HEADERS = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}


def is_loopback(host: str) -> bool:
    """Return whether only this machine can reach a server at `host`.

    Examples
    --------
    >>> is_loopback("127.0.0.1"), is_loopback("::1"), is_loopback("0.0.0.0"), is_loopback("localhost")
    (True, True, False, True)
    """
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def host_of(header: str) -> str:
    """Return the host of a ``Host`` header or of an origin, without the port, in lower case.

    Examples
    --------
    >>> host_of("LOCALHOST:8765"), host_of("[::1]:8765"), host_of("10.0.0.7")
    ('localhost', '::1', '10.0.0.7')
    """
    if header.startswith("["):
        return header[1:].partition("]")[0].lower()
    return header.partition(":")[0].lower()


@dataclass(frozen=True)
class AccessPolicy:
    """Access policy of the pages.

    Attributes
    ----------
    host : str
        Address on which the server listens.
    token : str
        Token that a visitor must send; empty on the loopback, where none is required.
    names : frozenset of str
        Allowed host names of this machine, besides IP addresses.
    """

    host: str = "127.0.0.1"
    token: str = ""
    names: frozenset[str] = frozenset({"localhost"})

    def knows(self, host: str) -> bool:
        """Return whether a request for `host` is one for these pages: a name of this machine or an address.

        A page of another site whose name resolves to this machine sends that name, and is refused.
        """
        if is_loopback(self.host):
            return host == "localhost" or is_loopback(host)
        if host in self.names:
            return True
        try:
            ipaddress.ip_address(host)
        except ValueError:
            return False
        return True


def access_policy(host: str, token: str | None = None) -> AccessPolicy:
    """Return the policy for a server that listens at `host`; off the loopback it requires a token, a new one by
    default.

    Raises
    ------
    InputError
        A token that could be guessed.
    """
    if is_loopback(host):
        return AccessPolicy(host)
    if token is not None and (len(token) < _LEAST_TOKEN or not token.isascii() or not token.isprintable()):
        raise InputError(
            "The token is too easy to guess", fix=f"use at least {_LEAST_TOKEN} ASCII characters, or omit it"
        )
    own = {"localhost", socket.gethostname().lower(), socket.getfqdn().lower(), host.lower()}
    return AccessPolicy(host, token or secrets.token_urlsafe(24), frozenset(own))


class Guard:
    """Middleware that checks of every request and socket its host, its origin, the token if one is required, and its
    size.
    """

    def __init__(self, app: ASGIApp, policy: AccessPolicy) -> None:
        self._app, self._policy = app, policy

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Accept or refuse a request."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        refused = self._refusal(scope)
        if refused is not None:
            if scope["type"] == "websocket":
                await send({"type": "websocket.close", "code": 4403, "reason": "refused"})
            else:
                await refused(scope, receive, send)
            return
        if scope["type"] == "websocket":
            await self._app(scope, receive, send)
        else:
            most = MOST_FILE if scope["path"].startswith(FILES) else MOST_BODY
            await self._app(
                scope, _bounded(receive, most), _with_headers(send, cacheable=scope["path"].startswith("/static/"))
            )

    def _refusal(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        asked = headers.get("host", "")
        if not self._policy.knows(host_of(asked)):
            return PlainTextResponse("This address is not that of the pages. Open the one that was printed.", 403)
        changes = scope["type"] == "websocket" or scope["method"] not in ("GET", "HEAD")
        if changes and not _same_site(headers, asked):
            return PlainTextResponse("Refused: the request does not come from these pages.", 403)
        if self._policy.token:
            return self._ask_token(scope, headers)
        return None

    def _ask_token(self, scope: Scope, headers: Headers) -> Response | None:
        if _is_same(_cookie(headers), self._policy.token):
            return None
        query = dict(parse_qsl(scope.get("query_string", b"").decode("latin-1")))
        if _is_same(query.pop(KEY, ""), self._policy.token):
            if scope["type"] == "websocket":
                return None
            # The token is removed from the address, so that it does not stay in the history or on the screen.
            where = scope["path"] if scope["path"].startswith("/") and not scope["path"].startswith("//") else "/"
            answer = RedirectResponse(where + ("?" + urlencode(query) if query else ""), 303)
            answer.set_cookie(COOKIE, self._policy.token, httponly=True, samesite="strict", path="/")
            return answer
        return PlainTextResponse(
            "A token is needed: open the address that was printed where the pages were started.", 401
        )


def _same_site(headers: Headers, asked: str) -> bool:
    """Return whether a modifying request comes from one of our pages."""
    if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return False
    origin = headers.get("origin", "")
    return origin.partition("://")[2].lower() == asked.lower() if origin else False


def _cookie(headers: Headers) -> str:
    try:
        found = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
    except CookieError:
        return ""
    return found.value if found else ""


def _is_same(given: str, token: str) -> bool:
    return secrets.compare_digest(given.encode(), token.encode())


def _bounded(receive: Receive, most: int) -> Receive:
    """Count the bytes of a request, and raise an error beyond its limit."""
    seen = 0

    async def bounded() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > most:
            raise TooLargeError(f"Request body too large (limit {most / 1e6:.0f} MB)")
        return message

    return bounded


def _with_headers(send: Send, *, cacheable: bool) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            there = {name.lower() for name, _ in message["headers"]}
            added = _HEADERS | {"content-security-policy": _POLICY}
            if b"cache-control" not in there:
                added["cache-control"] = "no-cache" if cacheable else "no-store"
            message = {
                **message,
                "headers": [
                    *message["headers"],
                    *((n.encode(), v.encode()) for n, v in added.items() if n.encode() not in there),
                ],
            }
        await send(message)

    return sending
