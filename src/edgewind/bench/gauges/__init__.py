"""Pressure gauges, by kind of transfer function. A new kind is one file here and one line in :data:`GAUGES`."""

from edgewind.bench.gauges.base import Component, Correction, Gauge
from edgewind.bench.gauges.display import DisplayGauge
from edgewind.bench.gauges.ion_current import IonCurrentGauge
from edgewind.bench.gauges.linear import LinearGauge
from edgewind.bench.gauges.log_linear import LogLinearGauge
from edgewind.bench.gauges.table import TableGauge

GAUGES: dict[str, type[Gauge]] = {
    "linear": LinearGauge,
    "log-linear": LogLinearGauge,
    "table": TableGauge,
    "ion-current": IonCurrentGauge,
    "display": DisplayGauge,
}

__all__ = [
    "GAUGES",
    "Component",
    "Correction",
    "DisplayGauge",
    "Gauge",
    "IonCurrentGauge",
    "LinearGauge",
    "LogLinearGauge",
    "TableGauge",
]
