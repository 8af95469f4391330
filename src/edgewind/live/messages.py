"""Messages of a sweep in JSON, for pages and the control socket."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from edgewind.live.events import ENDED, Status, SweepEvent
from edgewind.live.run_table import RunRow
from edgewind.live.steadiness import Steadiness
from edgewind.serialize import to_plain

if TYPE_CHECKING:
    from edgewind.live.sweep import Sweep

# Events of every observation; the state has the same content.
QUIET = ("observed", "steady")
_MOST_EVENTS = 60


def status_message(sweep: Sweep, run: str, made_by: str = "") -> dict[str, Any]:
    """Return the state of a sweep; `run` identifies its recorder."""
    status = sweep.status()
    about = {"kind": "status", "id": sweep.id, "run": run, "by": made_by, "running": status.phase not in ENDED}
    return about | status_to_dict(status)


def events_message(events: list[SweepEvent], run: str) -> dict[str, Any]:
    """Return events of a sweep."""
    return {"kind": "events", "run": run, "events": [event_to_dict(event) for event in events]}


def run_message(key: str, first: int, moments: Sequence[RunRow], run: str) -> dict[str, Any]:
    """Return the rows of a run from a number on, for a page."""
    rows = [
        [one.time_s, to_plain(one.speed_rad_s), to_plain(one.envelope_k), one.lamp, to_plain(one.pressure_pa), one.note]
        for one in moments
    ]
    return {"kind": "run", "run": run, "of": key, "first": first, "rows": rows}


def recent_events(sweep: Sweep) -> list[SweepEvent]:
    """Return the recent events for a page that opens now."""
    return [event for event in sweep.history() if event.kind not in QUIET][-_MOST_EVENTS:]


def event_to_dict(event: SweepEvent) -> dict[str, Any]:
    """Return an event in plain types."""
    return {
        "number": event.number,
        "time": event.time,
        "what": event.kind,
        "text": event.text,
        "data": to_plain(event.data),
    }


def status_to_dict(status: Status) -> dict[str, Any]:
    """Return a state in plain types."""
    written: dict[str, Any] = to_plain(asdict(status))
    return written | {"steadiness": None if status.steadiness is None else _steadiness_to_dict(status.steadiness)}


def _steadiness_to_dict(found: Steadiness) -> dict[str, Any]:
    return {
        "steady": found.steady,
        "watched_s": to_plain(found.watched_s),
        **{
            name: None if drift is None else to_plain(asdict(drift)) | {"steady": drift.steady}
            for name, drift in (("pressure", found.pressure), ("speed", found.speed))
        },
    }
