"""The apparatus as its owner describes it: `bench.toml`, gauges, gas factors, the template."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from edgewind.bench.gas_factors import RELATIVE_SENSITIVITY, RELATIVE_SENSITIVITY_U, gas_factor
    from edgewind.bench.gauges import GAUGES, Component, Correction, Gauge
    from edgewind.bench.load import BENCH_FILE, parse_bench, read_bench, write_to_bench
    from edgewind.bench.schema import Bench
    from edgewind.template import write_template
else:
    from edgewind.doors import names_on_demand

    __getattr__ = names_on_demand(__name__, __file__)

__all__ = [
    "BENCH_FILE",
    "GAUGES",
    "RELATIVE_SENSITIVITY",
    "RELATIVE_SENSITIVITY_U",
    "Bench",
    "Component",
    "Correction",
    "Gauge",
    "gas_factor",
    "parse_bench",
    "read_bench",
    "write_template",
    "write_to_bench",
]
