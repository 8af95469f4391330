"""The data package describes every file and column, as the Data Package standard asks."""

import csv
import hashlib
import json
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pandas as pd
import pytest

from edgewind.evidence import Findings
from edgewind.report.names import file_stem, file_stems

# What the standard demands, from its text (datapackage.org/standard, version 2.0: data-package, data-resource and
# table-schema), for the properties that are written here. Further properties are allowed by it.
_HASHED = {
    "path": {"type": "string", "pattern": r"^(?!/)(?!.*(^|/)\.\.(/|$))(?!~)(?!.*\\).+$"},
    "bytes": {"type": "integer", "minimum": 0},
    "hash": {"type": "string", "pattern": "^sha256:[0-9a-f]{64}$"},
}
STANDARD: dict[str, Any] = {
    "type": "object",
    "required": ["$schema", "resources"],
    "properties": {
        "$schema": {"const": "https://datapackage.org/profiles/2.0/datapackage.json"},
        "name": {"type": "string", "pattern": "^[a-z0-9._-]+$"},
        "title": {"type": "string"},
        "description": {"type": "string"},
        "keywords": {"type": "array", "minItems": 1, "items": {"type": "string"}},
        "contributors": {"type": "array", "minItems": 1, "items": {"type": "object", "minProperties": 1}},
        "sources": {
            "type": "array",
            "minItems": 1,
            "items": {"type": "object", "required": ["title"], "properties": _HASHED},
        },
        "resources": {
            "type": "array",
            "minItems": 1,
            "items": {
                "type": "object",
                "required": ["name", "path"],
                "properties": _HASHED
                | {
                    "name": {"type": "string", "pattern": "^[a-z0-9._-]+$"},
                    "type": {"const": "table"},
                    "format": {"type": "string"},
                    "mediatype": {"type": "string", "pattern": "^[^/]+/[^/]+$"},
                    "encoding": {"const": "utf-8"},
                    "schema": {
                        "type": "object",
                        "required": ["fields"],
                        "properties": {
                            "missingValues": {"type": "array", "items": {"type": "string"}},
                            "fields": {
                                "type": "array",
                                "minItems": 1,
                                "items": {
                                    "type": "object",
                                    "required": ["name", "type", "description"],
                                    "properties": {
                                        "name": {"type": "string"},
                                        "type": {"enum": ["number", "integer", "string", "boolean"]},
                                        "unit": {"type": "string", "minLength": 1},
                                    },
                                },
                            },
                        },
                    },
                },
            },
        },
    },
}


@pytest.fixture(scope="module")
def package(two_rotors: Path) -> dict[str, Any]:
    return dict(json.loads((two_rotors / "datapackage.json").read_text(encoding="utf-8")))


def test_package_meets_the_standard(package: dict[str, Any]) -> None:
    jsonschema.Draft202012Validator(STANDARD).validate(package)
    assert "licenses" not in package and "created" not in package
    names = [resource["name"] for resource in package["resources"]]
    assert len(names) == len(set(names))


def test_hash_and_size_of_every_resource_match(package: dict[str, Any], two_rotors: Path) -> None:
    for resource in package["resources"]:
        content = (two_rotors / resource["path"]).read_bytes()
        assert resource["bytes"] == len(content)
        assert resource["hash"] == "sha256:" + hashlib.sha256(content).hexdigest()


def test_every_file_is_listed_in_the_package(package: dict[str, Any], two_rotors: Path) -> None:
    written = {path.relative_to(two_rotors).as_posix() for path in two_rotors.rglob("*") if path.is_file()}
    assert written == {resource["path"] for resource in package["resources"]} | {"datapackage.json"}


def test_sources_are_the_inputs(package: dict[str, Any], narrow: Findings, fitted: Findings) -> None:
    inputs = {f"sha256:{file.sha256}": file.size for found in (narrow, fitted) for file in found.experiment.inputs}
    assert {source["hash"]: source["bytes"] for source in package["sources"]} == inputs


def test_every_column_is_described_in_order_with_its_unit(package: dict[str, Any], two_rotors: Path) -> None:
    tables = [resource for resource in package["resources"] if resource["format"] == "csv"]
    assert len(tables) == 4
    for table in tables:
        with (two_rotors / table["path"]).open(encoding="utf-8", newline="") as stream:
            heads = next(csv.reader(stream))
        fields = table["schema"]["fields"]
        assert heads == [field["name"] for field in fields]
        for field in fields:
            assert field["description"].endswith(".")
            assert ("unit" in field) == (field["type"] == "number"), field


def test_cells_are_of_the_type_described(package: dict[str, Any], two_rotors: Path) -> None:
    good = {"integer": int, "number": float, "string": str}
    for table in (resource for resource in package["resources"] if resource["format"] == "csv"):
        kinds = {field["name"]: field["type"] for field in table["schema"]["fields"]}
        with (two_rotors / table["path"]).open(encoding="utf-8", newline="") as stream:
            for row in csv.DictReader(stream):
                for name, cell in row.items():
                    if kinds[name] == "boolean":
                        assert cell in ("true", "false")
                    elif cell:
                        good[kinds[name]](cell)
                        assert cell not in ("nan", "inf", "None")


def test_tables_are_read_back_with_the_same_numbers(two_rotors: Path, narrow: Findings) -> None:
    readings = pd.read_csv(two_rotors / "data" / "readings-narrow-12.csv")
    table = narrow.experiment.readings
    for name in ("pressure_pa", "pressure_u_pa", "speed_rad_s", "speed_u_rad_s", "log_pressure_u_common"):
        np.testing.assert_allclose(readings[name], table[name], rtol=1e-9)
    assert readings["used"].tolist() == table["used"].tolist()
    assert narrow.optimum.curve is not None
    curve = pd.read_csv(two_rotors / "data" / "curve-narrow-12.csv")
    np.testing.assert_allclose(curve["speed_rad_s"], narrow.optimum.curve.mean, rtol=1e-9)
    assert np.all(curve["speed_low_rad_s"] <= curve["speed_high_rad_s"])
    np.testing.assert_allclose(curve["knudsen"] * 0.012, curve["mean_free_path_m"], rtol=1e-9)


def test_file_names_are_plain_and_unique() -> None:
    assert file_stem("../../etc/<passwd>") == "etc-passwd"
    assert file_stems(["Größe", "grosse", "π", "渦"]) == ["grosse", "grosse-2", "experiment", "experiment-2"]
