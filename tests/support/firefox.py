"""A Firefox as systems ship it, driven by WebDriver BiDi, a W3C standard.

Playwright drives it too, but begins with a command that the long-term version does not know.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import time
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from websockets.sync.client import ClientConnection, connect

# Keys by the names of the WebDriver standard.
KEYS = {
    "Enter": "\ue006", "Tab": "\ue004", "Escape": "\ue00c", "ArrowLeft": "\ue012", "ArrowUp": "\ue013",
    "ArrowRight": "\ue014", "ArrowDown": "\ue015",
}  # fmt: skip
# Nothing is asked of other machines.
PREFERENCES = {
    "browser.startup.page": 0, "browser.shell.checkDefaultBrowser": False,
    "datareporting.policy.dataSubmissionEnabled": False, "toolkit.telemetry.enabled": False,
    "app.update.enabled": False, "network.captive-portal-service.enabled": False,
    "network.connectivity-service.enabled": False, "services.settings.server": "",
    "browser.safebrowsing.update.enabled": False,
}  # fmt: skip


def firefox_path() -> str | None:
    """Return the path of a Firefox, if there is one."""
    return next(filter(None, map(shutil.which, ("firefox-esr", "firefox"))), None)


class Firefox:
    """One window of a Firefox without a screen, in a profile of its own."""

    def __init__(self, path: str, profile: Path) -> None:
        profile.mkdir()
        lines = [f'user_pref("{name}", {json.dumps(value)});' for name, value in PREFERENCES.items()]
        (profile / "user.js").write_text("\n".join(lines) + "\n", encoding="utf-8")
        self._open = ExitStack()
        self._profile, self._count, self.complaints = profile, 0, []  # type: ignore[var-annotated]
        command = [path, "--headless", "--no-remote", "--profile", str(profile), "--remote-debugging-port=0"]
        self._told = profile / "told.txt"  # a file: a pipe that nobody reads fills up, and Firefox waits
        with self._told.open("wb") as told:
            self._process = subprocess.Popen(command, stderr=told, stdout=subprocess.DEVNULL)
        self._socket: ClientConnection = self._open.enter_context(connect(self._address() + "/session", max_size=None))
        self.ask("session.new", {"capabilities": {}})
        self.ask("session.subscribe", {"events": ["log.entryAdded"]})
        self._window = self.ask("browsingContext.getTree", {})["contexts"][0]["context"]

    def _address(self) -> str:
        latest, said = time.monotonic() + 240, re.compile(rb"WebDriver BiDi listening on (ws://\S+)\s")
        while not (found := said.search(self._told.read_bytes())):
            assert self._process.poll() is None, "Firefox ended before it listened"
            assert time.monotonic() < latest, "Firefox does not listen"
            time.sleep(0.05)
        return found[1].decode()

    def ask(self, method: str, params: dict[str, Any]) -> Any:
        """Send a command, and return its result; what the page logs as an error meanwhile is kept."""
        self._count += 1
        self._socket.send(json.dumps({"id": self._count, "method": method, "params": params}))
        while True:
            told = json.loads(self._socket.recv(timeout=240))
            if told.get("method") == "log.entryAdded" and told["params"]["level"] == "error":
                self.complaints.append(str(told["params"]["text"]))
            if told.get("id") == self._count:
                if told["type"] != "success":
                    raise FirefoxError(f"{method}: {told.get('message')}")
                return told["result"]

    def open(self, url: str) -> None:
        """Open an address."""
        self.ask("browsingContext.navigate", {"context": self._window, "url": url, "wait": "complete"})

    def resize(self, width: int, height: int = 900) -> None:
        """Make the part of the window that shows the page as large as this."""
        size = {"width": width, "height": height}
        self.ask("browsingContext.setViewport", {"context": self._window, "viewport": size})

    def evaluate(self, expression: str) -> Any:
        """Return a value of the page, by way of JSON."""
        found = self.ask(
            "script.evaluate",
            {
                "expression": f"(async () => JSON.stringify(await ({expression})))()",
                "target": {"context": self._window}, "awaitPromise": True,
            },
        )  # fmt: skip
        if found["type"] != "success":
            raise FirefoxError(found.get("exceptionDetails", {}).get("text"))
        text = found["result"].get("value")
        return None if text is None else json.loads(text)

    def wait(self, expression: str, limit_s: float = 240.0) -> Any:
        """Return a value of the page once it is true."""
        latest = time.monotonic() + limit_s
        while True:
            problem = ""
            try:
                if found := self.evaluate(expression):
                    return found
            except FirefoxError as error:  # another page is being opened, or what is asked about is not there yet
                problem = str(error)
            assert time.monotonic() < latest, f"never true: {expression}; {problem} {self.complaints}"
            time.sleep(0.05)  # the page says when it is ready only by what stands on it

    def type(self, *keys: str) -> None:
        """Press keys: names of `KEYS`, or text. Without a screen no window is the active one: they press no button."""
        actions = []
        for key in keys:
            for sign in [KEYS[key]] if key in KEYS else key:
                actions += [{"type": "keyDown", "value": sign}, {"type": "keyUp", "value": sign}]
        source = {"type": "key", "id": "keyboard", "actions": actions}
        self.ask("input.performActions", {"context": self._window, "actions": [source]})

    def click(self, selector: str) -> None:
        """Click with the mouse on the middle of an element."""
        self.wait(f"({REACHED})({json.dumps(selector)})")
        element = {"type": "element", "element": self._element(selector)}
        moves = [
            {"type": "pointerMove", "x": 0, "y": 0, "origin": element},
            {"type": "pointerDown", "button": 0},
            {"type": "pointerUp", "button": 0},
        ]
        source = {"type": "pointer", "id": "mouse", "actions": moves}
        self.ask("input.performActions", {"context": self._window, "actions": [source]})

    def choose_files(self, selector: str, paths: list[Path]) -> None:
        """Choose files for an input of files."""
        files = [str(path) for path in paths]
        self.ask("input.setFiles", {"context": self._window, "element": self._element(selector), "files": files})

    def give_files(self, folder: Path) -> None:
        """Drop the files of a folder on the page: the standard drags none, so the page's own event carries them."""
        self.evaluate(
            "(document.body.append(Object.assign(document.createElement('input'), "
            "{type: 'file', id: 'carried', multiple: true})), 0)"
        )
        self.choose_files("#carried", sorted(folder.iterdir()))
        self.evaluate(
            "((input, place) => { const data = new DataTransfer(); "
            "for (const file of input.files) data.items.add(file); "
            "for (const kind of ['dragenter', 'dragover', 'drop']) "
            "place.dispatchEvent(new DragEvent(kind, {dataTransfer: data, bubbles: true, cancelable: true})); "
            "input.remove(); return 0; })(document.querySelector('#carried'), document.querySelector('#drop'))"
        )

    def follow(self, selector: str) -> None:
        """Click on a link that opens a tab of its own, and stay in that."""
        known = {one["context"] for one in self._tabs()}
        self.click(selector)
        latest = time.monotonic() + 120
        while not (opened := [one["context"] for one in self._tabs() if one["context"] not in known]):
            assert time.monotonic() < latest, f"{selector} opened no tab"
            time.sleep(0.05)
        self._window = opened[0]

    def _tabs(self) -> list[dict[str, Any]]:
        return list(self.ask("browsingContext.getTree", {"maxDepth": 0})["contexts"])

    def _element(self, selector: str) -> dict[str, str]:
        locator = {"type": "css", "value": selector}
        (node,) = self.ask("browsingContext.locateNodes", {
            "context": self._window, "locator": locator, "maxNodeCount": 1,
        })["nodes"]  # fmt: skip
        return {"sharedId": node["sharedId"]}

    def close(self) -> None:
        """End it."""
        self._open.close()
        self._process.terminate()
        try:
            self._process.wait(60)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()


# Scroll to an element; whether its middle then lies under the pointer, where it was a frame before.
REACHED = """async (selector) => {
    const one = document.querySelector(selector);
    if (!one || one.disabled) return false;
    one.scrollIntoView({ block: "center", behavior: "instant" });
    const place = () => one.getBoundingClientRect(), frame = () => new Promise(requestAnimationFrame);
    const before = (await frame(), place()), now = (await frame(), place());
    if (!now.width || before.x !== now.x || before.y !== now.y) return false;
    const hit = document.elementFromPoint(now.x + now.width / 2, now.y + now.height / 2);
    return one.contains(hit) || Boolean(hit?.closest("label")?.control === one);
}"""


class FirefoxError(AssertionError):
    """A command that Firefox could not carry out."""
