"""The environment of the templates of report and pages."""

from __future__ import annotations

from jinja2 import Environment, PackageLoader, StrictUndefined


def strict_environment(package: str) -> Environment:
    """Return the environment of the templates of a package: values are escaped, and an undefined name is an error."""
    return Environment(
        loader=PackageLoader(package, "templates"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
