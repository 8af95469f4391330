"""The page: one HTML file with everything in it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from edgewind.formatting import raise_exponents
from edgewind.report.environment import strict_environment
from edgewind.report.limits import limits_of
from edgewind.report.names import printable
from edgewind.report.palette import DARK, LIGHT, css_of
from edgewind.report.sparkline import HEIGHT, WIDTH
from edgewind.report.words import CAUTIONS, FLAGS, VERDICTS, not_found
from edgewind.shown_units import ShownUnits

if TYPE_CHECKING:
    from jinja2 import Environment

    from edgewind.evidence import SizeComparison
    from edgewind.report.illustrate import Illustration
    from edgewind.report.rotor import RotorView


def _clean(value: Any) -> Any:
    return printable(value) if isinstance(value, str) and not isinstance(value, Markup) else value


def _in_units(value: Any, units: ShownUnits) -> Any:
    """Clean a value, and convert a sentence to the chosen units."""
    cleaned = _clean(value)
    return (
        units.text(cleaned)
        if units.changed and isinstance(cleaned, str) and not isinstance(cleaned, Markup)
        else cleaned
    )


@lru_cache(maxsize=4)
def page_environment(units: ShownUnits = ShownUnits()) -> Environment:
    """Return the environment of the report's templates, which converts sentences to the chosen units. It is cached,
    since compiling the templates takes a tenth of the time of a report.
    """
    environment = strict_environment("edgewind.report")
    environment.finalize = lambda value: _in_units(value, units)
    environment.filters["typeset"] = raise_exponents
    environment.globals |= {"units": units, "other_pressure": "mTorr" if units.pressure == "Pa" else units.pressure}
    environment.globals |= {"cautions": CAUTIONS, "flag_meanings": FLAGS, "verdicts": VERDICTS}
    environment.globals |= {"not_found": not_found}
    environment.globals |= {"thumb_width": WIDTH, "thumb_height": HEIGHT}
    environment.globals |= {"light": Markup(css_of(LIGHT)), "dark": Markup(css_of(DARK))}
    return environment


def render_page(
    rotors: Sequence[RotorView],
    together: Sequence[Illustration],
    comparison: SizeComparison | None,
    *,
    command: str,
    versions: Mapping[str, str],
    input_root: str,
    exports: Sequence[str],
    units: ShownUnits = ShownUnits(),
) -> str:
    """Return the HTML of the report."""
    flags = [flag for flag in FLAGS if any(flag in rotor.flags for rotor in rotors)]
    return (
        page_environment(units)
        .get_template("report.html")
        .render(
            rotors=rotors,
            together=together,
            comparison=comparison,
            command=command,
            versions=dict(sorted(versions.items())),
            input_root=input_root,
            exports=exports,
            flags=flags,
            limits=limits_of([rotor.findings for rotor in rotors]),
        )
    )
