"""The apparatus as its owner describes it: `bench.toml`, gauges, gas factors, the template."""

from edgewind.bench.gas_factor import RELATIVE_SENSITIVITY, RELATIVE_SENSITIVITY_U, gas_factor
from edgewind.bench.gauges import GAUGES, Component, Correction, Gauge
from edgewind.bench.load import BENCH_FILE, parse_bench, read_bench, write_to_bench
from edgewind.bench.schema import Bench
from edgewind.bench.template import write_template

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
