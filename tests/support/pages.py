"""Values of a page, waited for: it draws in frames to come, and a loaded machine is late with them."""

from __future__ import annotations

import json
import os
import re
import time
from typing import Any

from playwright.sync_api import BrowserContext, Locator, Page

# Nothing here is a test of a time: what comes true takes no longer for it, and a loaded machine may be late.
LIMIT_MS = 120_000
# What Chromium logs of a server that ends, before a request of it, or within its answer.
SERVER_ENDS = (
    "WebSocket", "ERR_CONNECTION", "ERR_CONTENT_LENGTH_MISMATCH", "ERR_EMPTY_RESPONSE", "ERR_INCOMPLETE_CHUNKED"
)  # fmt: skip
# By how many times slower than it is the browser computes: 4 to 6 bring to light what depends on who is first.
SLOWER = float(os.environ.get("EDGEWIND_SLOW_BROWSER", "1"))


def patient(context: BrowserContext) -> BrowserContext:
    """Let everything asked of the pages of a context wait; make them slow where the tests are asked to."""
    context.set_default_timeout(LIMIT_MS)
    if SLOWER > 1:
        context.on("page", slow)
    return context


def slow(page: Page) -> None:
    """Let a page of Chromium compute slowly."""
    page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})


def comes_to(place: Page | Locator, expression: str, wanted: Any, what: str = "") -> None:
    """Wait until a value of a page, or of an element of it, is the one wanted; `what` names it where it does not."""
    latest = time.monotonic() + LIMIT_MS / 1000
    page = place if isinstance(place, Page) else place.page
    if place is page:
        value = f"({expression})()" if re.match(r"\(\) *=>", expression) else expression
        as_json = json.dumps(wanted, ensure_ascii=False, separators=(",", ":"))
        expression = looking(value, f"JSON.stringify(found) === {json.dumps(as_json)}")
    while (found := place.evaluate(expression)) != wanted:
        assert time.monotonic() < latest, f"{what or expression}: {found!r}, and not {wanted!r}"
        page.wait_for_timeout(50)


def looking(value: str, enough: str) -> str:
    """Return a script that looks at a value of the page until it is enough, for a second at most, and returns it.

    The page looks itself: asked from outside, each look costs browser and tests several times as much.
    """
    return f"""async () => {{
        for (const latest = Date.now() + 1000; ; await new Promise((done) => setTimeout(done, 50))) {{
            const found = {value};
            if ({enough} || Date.now() > latest) return found;
        }}
    }}"""


def serious(page: Page, path: str, how: str, rules: tuple[str, ...] = ()) -> list[Any]:
    """Return the serious findings of axe-core, by some of its rules or by all."""
    from axe_playwright_python.sync_playwright import Axe

    if not page.evaluate("'axe' in window"):  # it stays until another page is opened
        page.evaluate(Axe().axe_script)
    options = {"resultTypes": ["violations"]} | ({"runOnly": list(rules)} if rules else {})
    return [
        (path, how, one["id"], [node["html"][:120] for node in one["nodes"]][:3])
        for one in page.evaluate("async (options) => (await axe.run(options)).violations", options)
        if one["impact"] in ("serious", "critical")
    ]
