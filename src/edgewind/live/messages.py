"""What a sweep tells, as JSON can hold it: for pages and for the channel between programs."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, is_dataclass
from typing import Any

from edgewind.live.events import Event, Status
from edgewind.live.steadiness import Steadiness


def plain_event(event: Event) -> dict[str, Any]:
    """Return an event in plain types."""
    return {
        "number": event.number,
        "time": event.time,
        "what": event.kind,
        "text": event.text,
        "data": plain(event.data),
    }


def plain_status(status: Status) -> dict[str, Any]:
    """Return a state in plain types."""
    told = {name: plain(value) for name, value in asdict(status).items()}
    return told | {"steadiness": None if status.steadiness is None else _plain_steadiness(status.steadiness)}


def _plain_steadiness(found: Steadiness) -> dict[str, Any]:
    return {
        "steady": found.steady,
        "watched_s": plain(found.watched_s),
        **{
            name: None if drift is None else plain(asdict(drift)) | {"steady": drift.steady}
            for name, drift in (("pressure", found.pressure), ("speed", found.speed))
        },
    }


def plain(value: Any) -> Any:
    """Return a value in plain types; None for a number that JSON cannot hold.

    Examples
    --------
    >>> plain({"pressure_pa": float("nan"), "steps": (1, 2)})
    {'pressure_pa': None, 'steps': [1, 2]}
    """
    if is_dataclass(value) and not isinstance(value, type):
        return plain(asdict(value))
    if isinstance(value, Mapping):
        return {str(key): plain(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [plain(one) for one in value]
    if hasattr(value, "item"):
        value = value.item()
    return None if isinstance(value, float) and not math.isfinite(value) else value
