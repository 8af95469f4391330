"""The command line, a file for each command: parse, call, print. A command is imported when it is run."""

from edgewind.cli.base import COMMANDS, app, main

__all__ = ["COMMANDS", "app", "main"]
