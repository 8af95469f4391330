"""The notebooks of the manual, run cell by cell as a notebook would, and written as pages.

A notebook in `docs/notebooks` holds no outputs: they are made when the manual is built, and by the tests.
"""

from __future__ import annotations

import ast
import contextlib
import html
import io
import json
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from kept import kept

FOLDER = Path(__file__).parent / "notebooks"
# Heading of the output of a cell.
SHOWN = "```{raw} html\n"


def cells_of(path: Path) -> list[tuple[str, str]]:
    """Return the kind and the text of each cell."""
    notebook = json.loads(path.read_text(encoding="utf-8"))
    return [(cell["cell_type"], "".join(cell["source"])) for cell in notebook["cells"]]


def run(path: Path) -> Iterator[tuple[str, str, str, Any]]:
    """Run a notebook in an empty folder; yield kind, text, what is printed and what the last expression gives."""
    names: dict[str, Any] = {"__name__": "__main__"}
    before = Path.cwd()
    with tempfile.TemporaryDirectory() as place:
        os.chdir(place)
        try:
            for kind, text in cells_of(path):
                if kind != "code":
                    yield kind, text, "", None
                    continue
                said = io.StringIO()
                with contextlib.redirect_stdout(said):
                    value = _run_cell(text, names)
                yield kind, text, said.getvalue(), value
        finally:
            os.chdir(before)


def _run_cell(text: str, names: dict[str, Any]) -> Any:
    tree = ast.parse(text)
    last = tree.body.pop() if tree.body and isinstance(tree.body[-1], ast.Expr) else None
    exec(compile(tree, "<cell>", "exec"), names)
    return None if last is None else eval(compile(ast.Expression(last.value), "<cell>", "eval"), names)


def shown(value: Any) -> str:
    """Return a value as a notebook shows it: its own HTML, a figure as an image, or its text."""
    if hasattr(value, "_repr_html_"):
        return str(value._repr_html_())
    if hasattr(value, "savefig"):
        stream = io.BytesIO()
        value.savefig(stream, format="svg")
        return stream.getvalue().decode().partition("<svg")[2].join(("<svg", ""))
    return f"<pre>{html.escape(repr(value))}</pre>"


def write_pages(out: Path) -> None:
    """Write every notebook as a page of the manual with the output of its cells."""
    out.mkdir(parents=True, exist_ok=True)
    for path in sorted(FOLDER.glob("*.ipynb")):
        (out / f"{path.stem}.md").write_text(page_of(path), encoding="utf-8")


def page_of(path: Path) -> str:
    """Return a notebook as a page of the manual with the output of its cells; see :func:`kept.kept`."""

    def write() -> str:
        parts = []
        for kind, text, said, value in run(path):
            if kind != "code":
                parts.append(text)
                continue
            parts.append(f"```python\n{text}\n```")
            if said:
                parts.append(f"```text\n{said}```")
            if value is not None:
                flat = "\n".join(line for line in shown(value).splitlines() if line.strip())
                parts.append(f"{SHOWN}{flat}\n```")
        return "\n\n".join(parts) + "\n"

    return kept(path.read_text(encoding="utf-8"), write)
