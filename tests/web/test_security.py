"""Access is limited to this machine unless a token is sent; other sites, path tricks and large bodies are refused."""

import asyncio
import socket
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from support.threads import in_thread
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import connect

from edgewind.book import open_book
from edgewind.errors import InputError
from edgewind.web import make_app
from edgewind.web.security import access_policy, host_of, is_loopback

STORE = "/api/readings/lab.book/typed"
GOOD = {"pressure": "3.2", "pressure_as": "gauge", "speed": "120.0", "key": "k1"}


@pytest.mark.parametrize(
    ("host", "own"), [("127.0.0.1", True), ("127.8.8.8", True), ("::1", True), ("10.0.0.7", False), ("::", False)]
)
def test_loopback_addresses_are_recognised(host: str, own: bool) -> None:
    assert is_loopback(host) is own
    assert bool(access_policy(host).token) is not own


def test_a_short_token_is_refused() -> None:
    with pytest.raises(InputError, match="16"):
        access_policy("0.0.0.0", "guessme")


def test_unknown_host_names_are_not_accepted() -> None:
    door = access_policy("127.0.0.1")
    assert door.knows("localhost") and door.knows("127.0.0.1") and door.knows("::1")
    assert not door.knows("evil.example") and not door.knows("10.0.0.7") and not door.knows("")
    wide = access_policy("0.0.0.0")
    assert wide.knows("192.0.2.7") and wide.knows(socket.gethostname().lower()) and not wide.knows("evil.example")


def test_host_names_are_read_without_their_port() -> None:
    assert host_of("LocalHost:8765") == "localhost"
    assert host_of("[::1]:8765") == "::1"


def test_requests_of_other_sites_and_path_tricks_are_refused(
    serve: Callable, book_folder: Path, bench_text: str
) -> None:
    (book_folder / "secret.txt").write_text("hush-hush")
    outside = book_folder.parent / "outside.book"
    open_book(outside, make=True).close()
    pages = serve(book_folder)
    own = f"http://127.0.0.1:{pages.port}"

    # a name of another site that points here
    assert pages.ask("/books", headers={"host": "evil.example"})[0] == 403
    assert pages.ask("/books", headers={"host": f"evil.example:{pages.port}"})[0] == 403
    assert pages.ask("/books", headers={"host": f"localhost:{pages.port}"})[0] == 200

    # a page of another site that sends
    for headers in (
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": f"http://127.0.0.1:{pages.port + 1}"},
        {"origin": own, "sec-fetch-site": "cross-site"},
        {"origin": ""},
    ):
        assert pages.ask(STORE, GOOD, headers=headers)[0] == 403, headers
    for method in ("PUT", "DELETE", "PATCH"):
        assert pages.ask(STORE, method=method)[0] == 403
    with open_book(book_folder / "lab.book") as book:
        assert book.contents("typed").readings == ()
    assert pages.ask(STORE, GOOD)[0] == 200

    # sockets of other sites
    address = f"ws://127.0.0.1:{pages.port}/live/lab.book/typed"
    with pytest.raises((InvalidStatus, ConnectionClosed)), connect(address, origin="http://evil.example") as line:  # type: ignore[arg-type]
        line.recv(timeout=60)
    with connect(address, origin=own) as line:  # type: ignore[arg-type]
        assert '"kind": "rows"' in line.recv(timeout=60)

    # paths that lead elsewhere
    for path in (
        "/static/../app.py", "/static/..%2fapp.py", "/static/%2e%2e/app.py", "/static//etc/passwd",
        "/books/..%2foutside.book/x", "/books/../outside.book/x", "/books/secret.txt/x", "/books/%00/x",
        "/reports/../../secret.txt", "/reports/x/..%2f..%2fsecret.txt", "/export/lab.book/..%2f..%2fetc.zip",
        "/export/..%2foutside.book/x.zip", "/films/..%2fsecret.mp4",
    ):  # fmt: skip
        status, content, _ = pages.ask(path)
        assert status in (400, 404), path
        assert b"hush-hush" not in content
        assert b"root:" not in content
    for name in ("../x", "a/b", ".hidden", "x\0y", "", "lab.book"):
        body = {"name": "n", "bench": bench_text, "new_book": name, "pressure_unit": "Pa", "speed_unit": "rpm"}
        assert pages.ask("/api/experiments", body)[0] == 400, name
    assert sorted(path.name for path in book_folder.iterdir() if path.suffix == ".book") == ["lab.book"]

    # bodies that are none, or too large
    assert pages.ask(STORE, b"{not json")[0] == 400
    assert pages.ask(STORE, b"[1]")[0] == 400
    assert pages.ask(STORE, b"[" * 100_000)[0] == 400
    assert pages.ask(STORE, b'{"note": "' + b"x" * 3_000_000 + b'"}')[0] == 413

    headers = pages.ask("/books")[2]
    assert "script-src 'self'" in headers["content-security-policy"]
    assert "frame-ancestors 'none'" in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"
    assert "server" not in headers


def test_other_machines_need_a_token(serve: Callable, book_folder: Path) -> None:
    pages = serve(book_folder, host="0.0.0.0")
    token = pages.token
    assert len(token) >= 24
    assert pages.ask("/books")[0] == 401
    assert pages.ask("/static/pages.css")[0] == 401
    assert pages.ask("/books?token=wrong")[0] == 401
    assert pages.ask("/books", headers={"cookie": "edgewind_token=wrong"})[0] == 401
    assert pages.ask(STORE, GOOD)[0] == 401
    status, _, headers = pages.ask(f"/books?token={token}&x=1")
    assert (status, headers["location"]) == (303, "/books?x=1")
    cookie = headers["set-cookie"]
    assert "HttpOnly" in cookie and "SameSite=strict" in cookie
    held = {"cookie": cookie.partition(";")[0]}
    assert pages.ask("/books", headers=held)[0] == 200
    assert pages.ask(STORE, GOOD, headers=held)[0] == 200
    assert pages.ask("/books", headers=held | {"host": "evil.example"})[0] == 403
    assert pages.ask(STORE, GOOD | {"key": "k2"}, headers=held | {"origin": "http://evil.example"})[0] == 403
    with (
        pytest.raises((InvalidStatus, ConnectionClosed)),
        connect(f"ws://127.0.0.1:{pages.port}/live/lab.book/typed", origin=f"http://127.0.0.1:{pages.port}") as line,
    ):  # type: ignore[arg-type]
        line.recv(timeout=60)


@pytest.mark.parametrize("path", [STORE, "/api/files/lab.book/typed"])
def test_a_page_left_while_it_sends_stores_nothing_and_is_no_fault(book_folder: Path, path: str) -> None:
    """By the messages of a server (ASGI, HTTP connection scope: specs/www.rst of django/asgiref).

    What is raised here is a traceback.
    """
    app = make_app(book_folder)
    messages = [{"type": "http.request", "body": b'{"key": "k1", ', "more_body": True}, {"type": "http.disconnect"}]
    scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": "POST", "scheme": "http",
        "path": path, "raw_path": path.encode(), "root_path": "", "query_string": b"name=left.csv",
        "headers": [(b"host", b"127.0.0.1"), (b"origin", b"http://127.0.0.1"), (b"content-length", b"100")],
        "client": ("127.0.0.1", 1), "server": ("127.0.0.1", 80),
    }  # fmt: skip

    async def receive() -> Any:
        return messages.pop(0)

    async def send(message: Any) -> None:
        pass

    in_thread(asyncio.run, app(scope, receive, send))
    app.state.pages.close()
    assert messages == []
    with open_book(book_folder / "lab.book") as book:
        assert book.contents("typed").readings == ()
