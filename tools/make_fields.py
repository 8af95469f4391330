"""Computation of the shipped fields of the gas: ``python tools/make_fields.py [shape-drive ...]`` (minutes each)."""

import sys
from pathlib import Path

from edgewind.report.film import gas_series
from edgewind.report.film.rotor_field import STANDARD, STANDARD_KNUDSEN, pack_rotor, rotor_fields
from edgewind.report.film.shipped import pack

FOLDER = Path(__file__).parents[1] / "src" / "edgewind" / "report" / "film" / "fields"
CASES = ("strip-thermal", "strip-flow", "strip-warm", "rotor")


def main(cases: list[str]) -> None:
    """Compute each case and write its file."""
    FOLDER.mkdir(exist_ok=True)
    for case in cases or CASES:
        if case == "rotor":
            every = [rotor_fields(kn, **STANDARD) for kn in STANDARD_KNUDSEN]
            for drive, fields in zip(("thermal", "flow"), zip(*every, strict=True), strict=True):
                content = pack_rotor(fields)
                (FOLDER / f"rotor-{drive}.fields").write_bytes(content)
                print(f"rotor-{drive}: {len(fields)} fields, {len(content) / 1e6:.2f} MB")
            continue
        shape, drive = case.split("-")
        series = gas_series(shape, drive=drive, shipped=False)
        content = pack(series.fields)
        (FOLDER / f"{case}.fields").write_bytes(content)
        print(f"{case}: {len(series.fields)} fields, {len(content) / 1e6:.2f} MB")


if __name__ == "__main__":
    main(sys.argv[1:])
