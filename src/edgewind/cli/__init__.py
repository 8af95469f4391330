"""The command line, a file a command: parse, call, print. No command is imported before it is run."""

from edgewind.cli.base import COMMANDS, app, main

__all__ = ["COMMANDS", "app", "main"]
