"""A minimal instrument for tests: it sends given replies at once, late, in halves or not at all."""

from __future__ import annotations

import contextlib
import socket
import threading


class FakeInstrument:
    """Listens on a free port of 127.0.0.1; ``answers`` gives bytes, a list of bytes (one a question) or a callable.

    A callable gets the connection and may send what it likes.
    """

    def __init__(self, answers, identity=b"Fake,1,2,3"):
        self.answers = {"*IDN?": identity + b"\n", **answers}
        self.asked = []
        self.connections = 0
        self._door = socket.create_server(("127.0.0.1", 0))
        self.port = self._door.getsockname()[1]
        self.address = f"TCPIP::127.0.0.1::{self.port}::SOCKET"
        threading.Thread(target=self._welcome, daemon=True).start()

    def close(self):
        self._door.close()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def _welcome(self):
        while True:
            try:
                link, _ = self._door.accept()
            except OSError:
                return
            self.connections += 1
            threading.Thread(target=self._serve, args=(link,), daemon=True).start()

    def _serve(self, link):
        with link, link.makefile("rb") as lines, contextlib.suppress(ConnectionResetError):
            for line in lines:
                question = line.decode().rstrip("\r\n")
                self.asked.append(question)
                answer = self.answers.get(question)
                if isinstance(answer, list):
                    answer = answer.pop(0) if len(answer) > 1 else answer[0]
                try:
                    if callable(answer):
                        answer(link)
                    elif answer:
                        link.sendall(answer)
                except OSError:
                    return


def late(answer, over):
    """Return a reply that is sent late, once an event is set."""

    def send(link):
        over.wait(240)
        link.sendall(answer)

    return send


def broken(answer=b""):
    """Send part of a reply and close."""

    def send(link):
        if answer:
            link.sendall(answer)
        link.shutdown(socket.SHUT_RDWR)

    return send
