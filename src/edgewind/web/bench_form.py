"""Preview beside the form of a bench: dimensions to draw, and the predicted curve."""

from __future__ import annotations

from typing import Any

from edgewind.bench import parse_bench
from edgewind.bench.form import FIELDS
from edgewind.errors import FieldError, InputError
from edgewind.live import cautions_of
from edgewind.report.physics import path_at_one_pascal


def outlook(text: str) -> dict[str, Any]:
    """Return the preview of a described bench: dimensions for a drawing, cautions, the curve.

    Raises
    ------
    FieldError
        It cannot be read, or no prediction is possible; names the field, if there is one.
    """
    try:
        bench = parse_bench(text)
    except InputError as error:
        key = error.key if error.key in FIELDS else "bench"
        problem, fix = (error.problem, error.fix) if key != "bench" else (str(error), "")
        raise FieldError(key or "bench", problem, fix=fix, line=error.line) from error
    rotor, chamber = bench.rotor, bench.chamber
    scale = path_at_one_pascal(bench) / rotor.vane_width.value
    found: dict[str, Any] = {
        "drawing": {
            "vanes": rotor.vanes, "shape": rotor.vane_shape, "width_m": rotor.vane_width.value,
            "height_m": rotor.vane_height.value, "arm_m": rotor.arm.value, "chamber_width_m": chamber.width.value,
            "chamber_height_m": chamber.height.value, "light": bench.light.arrangement,
            "envelope_k": None if chamber.envelope_temperature is None else chamber.envelope_temperature.value,
            "gas_k": bench.gas.temperature.value,
        },
        "kn_at_one_pa": scale,
        "title": bench.experiment.title,
        "cautions": cautions_of(bench),
    }  # fmt: skip
    from edgewind.web import whatif  # imported at first use: it loads the physics

    try:
        return found | {"predicted": whatif.predict_changed(bench, {}), "no_prediction": ""}
    except InputError as error:
        return found | {"predicted": None, "no_prediction": str(error)}
