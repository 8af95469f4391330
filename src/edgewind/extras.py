"""Packages of extras, which the base install lacks."""

from __future__ import annotations

from importlib import import_module
from types import ModuleType

from edgewind.errors import EdgewindError


class MissingExtraError(EdgewindError):
    """A package of an extra is not installed."""


def need(package: str, *, extra: str, purpose: str) -> ModuleType:
    """Import a package of an extra, or raise an error that states how to install it.

    Parameters
    ----------
    package : str
        What is imported: ``"imageio_ffmpeg"``.
    extra : str
        The extra that brings it: ``"film"``.
    purpose : str
        Its purpose, after "needed": ``"to write a film"``.

    Raises
    ------
    MissingExtraError
        It is not installed; the message holds the command that installs it.

    Examples
    --------
    >>> need("json", extra="film", purpose="to write a film").__name__
    'json'
    """
    try:
        return import_module(package)
    except ModuleNotFoundError as error:
        if error.name is None or not package.startswith(error.name):
            raise
        raise MissingExtraError(f'{package} is needed {purpose}; install it: pip install "edgewind[{extra}]"') from None
