"""The command `edgewind serve`."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from edgewind.cli.base import AsJson, app, print_json


@app.command()
def serve(
    path: Annotated[
        str, typer.Argument(help="Folder with lab books and experiment folders, or one lab book (file or URL).")
    ] = ".",
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port; 0 takes a free one.")] = 8765,
    host: Annotated[
        str,
        typer.Option(help="Address to listen on; with any other than this machine's, visitors need the printed token."),
    ] = "127.0.0.1",
    token: Annotated[
        str | None,
        typer.Option(envvar="EDGEWIND_TOKEN", help="Token that visitors need, with --host; default: a random one."),
    ] = None,
    open_browser: Annotated[bool, typer.Option("--open", help="Open the pages in a browser.")] = False,
    as_json: AsJson = False,
) -> None:
    """Serve the pages: watch and steer a sweep, type readings, ask what if."""
    from edgewind.web import serve as serve_pages

    def ready(address: str) -> None:
        if as_json:
            print_json(_result(address), line=True)
        else:
            print(f"The pages are at {address}   (Ctrl-C stops them)", flush=True)
            if "token=" in address:
                print("Anyone with that address can read and write these books; the connection is not encrypted.",
                      file=sys.stderr)  # fmt: skip

    serve_pages(path, host=host, port=port, token=token, open_browser=open_browser, on_ready=ready)


def _result(address: str) -> dict[str, str]:
    """Return the JSON output.

    Returns
    -------
    url : str
        Address of the pages, with the token if one is required.
    """
    return {"url": address}
