"""The data package: one file of metadata that describes every exported file, for people and for archives.

It follows the Data Package standard, version 2 (2024), with its Data Resource and Table Schema parts:
https://datapackage.org/standard/data-package/. No date is stated, since the same inputs must give the same bytes; no
licence, since the owner chooses it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from edgewind.report.names import file_stem, printable

if TYPE_CHECKING:
    from edgewind.evidence import Findings
    from edgewind.signals.columns import Column

PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
FILE = "datapackage.json"
_MEDIA_TYPES = {".csv": "text/csv", ".svg": "image/svg+xml", ".png": "image/png", ".html": "text/html"}


@dataclass(frozen=True)
class Resource:
    """A file of the package.

    Attributes
    ----------
    path : str
        Relative to the package, with forward slashes.
    title, description : str
        What it holds.
    columns : tuple of Column
        Its columns, for a table.
    """

    path: str
    title: str
    description: str = ""
    columns: tuple[Column, ...] = ()


def write_data_package(
    out: Path, resources: Sequence[Resource], many: Sequence[Findings], versions: Mapping[str, str], command: str
) -> None:
    """Describe files that already lie under `out` in ``datapackage.json``."""
    titles = [printable(findings.experiment.bench.experiment.title) for findings in many]
    package = {
        "$schema": PROFILE,
        "name": file_stem("-".join(findings.experiment.name for findings in many)),
        "title": "; ".join(titles),
        "description": (
            "Readings, response curves and figures of a study of rotors in thin gas. All numbers in the tables are "
            "in SI units, which are stated in the column names and as 'unit' of each field. A column with _u_ in its "
            "name is a standard uncertainty (JCGM 100). The owner of the data chooses the licence: add it as "
            "'licenses' before depositing."
        ),
        "keywords": ["rarefied gas", "rotor", "Knudsen number", "measurement uncertainty"],
        "contributors": [
            {"title": people, "roles": ["author"]}
            for people in dict.fromkeys(printable(findings.experiment.bench.experiment.people) for findings in many)
            if people
        ],
        "sources": [
            {
                "title": printable(f"{findings.experiment.name}/{file.path}"),
                "path": printable(f"{findings.experiment.name}/{file.path}"),
                "bytes": file.size,
                "hash": f"sha256:{file.sha256}",
            }
            for findings in many
            for file in findings.experiment.inputs
        ],
        "software": {"command": printable(command), "versions": dict(sorted(versions.items()))},
        "resources": [_describe(out, resource) for resource in resources],
    }
    if not package["contributors"]:
        del package["contributors"]
    text = json.dumps(package, indent=2, ensure_ascii=False)
    (out / FILE).write_bytes((text + "\n").encode())


def _describe(out: Path, resource: Resource) -> dict[str, Any]:
    content = (out / resource.path).read_bytes()
    suffix = Path(resource.path).suffix
    described: dict[str, Any] = {
        "name": file_stem(Path(resource.path).name),
        "path": resource.path,
        "title": printable(resource.title),
        "description": printable(resource.description),
        "format": suffix.lstrip("."),
        "mediatype": _MEDIA_TYPES[suffix],
        "bytes": len(content),
        "hash": f"sha256:{hashlib.sha256(content).hexdigest()}",
    }
    if not resource.description:
        del described["description"]
    if resource.columns:
        described |= {
            "type": "table",
            "encoding": "utf-8",
            "dialect": {"delimiter": ",", "header": True},
            "schema": {"fields": [_field(column) for column in resource.columns], "missingValues": [""]},
        }
    return described


def _field(column: Column) -> dict[str, Any]:
    field = {"name": column.name, "type": column.kind, "title": column.title, "description": column.meaning}
    return field | ({"unit": column.unit} if column.unit else {})
