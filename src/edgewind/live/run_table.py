"""The table of a run through a change: signed speed and conditions against time."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass, field, replace

from edgewind.formatting import RPM_PER_RAD_S
from edgewind.signals.runs import LEAST_MOMENTS

TITLES = ("time [s]", "speed [rpm]", "speed uncertainty [rpm]", "envelope temperature [degC]", "lamp", "pressure [Pa]")
LEAST_SINCE_S = 2e-3  # least time between two rows, by the digits of the table


@dataclass(frozen=True)
class RunRow:
    """One row.

    Attributes
    ----------
    time_s : float
        Time since the start of the run, s.
    speed_rad_s : float
        Speed, rad/s; negative where the dark face leads, if `signed`; nan if only a change is noted.
    speed_u_rad_s : float
        Its standard uncertainty, rad/s; nan if only its digits give it.
    envelope_k : float or None
        Temperature of the envelope, K.
    lamp : str
        ``on`` or ``off``.
    pressure_pa : float or None
        Pressure as it was indicated, Pa.
    note : str
        The change at this moment.
    """

    time_s: float
    speed_rad_s: float
    speed_u_rad_s: float
    envelope_k: float | None
    lamp: str
    pressure_pa: float | None
    note: str = ""


@dataclass
class RunTable:
    """The rows of a run in their order."""

    signed: bool
    moments: list[RunRow] = field(default_factory=list)

    def to_csv(self) -> bytes:
        """Return the table as a file for a study."""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        noted = any(one.note for one in self.moments)
        writer.writerow([*TITLES, *(["note"] if noted else [])])
        for one in self.moments:
            rpm = one.speed_rad_s * RPM_PER_RAD_S
            sized = f"{rpm:+.4g}" if self.signed and rpm else f"{abs(rpm):.4g}"
            writer.writerow(
                [
                    f"{one.time_s:.3f}",
                    "" if math.isnan(rpm) else sized,
                    "" if math.isnan(one.speed_u_rad_s) else f"{one.speed_u_rad_s * RPM_PER_RAD_S:.2g}",
                    "" if one.envelope_k is None else f"{one.envelope_k - 273.15:.3f}",
                    one.lamp,
                    "" if one.pressure_pa is None else f"{one.pressure_pa:.4g}",
                    *([one.note] if noted else []),
                ]
            )
        return out.getvalue().encode()

    @property
    def is_readable(self) -> bool:
        """Whether it holds enough speeds for a study."""
        return sum(not math.isnan(one.speed_rad_s) for one in self.moments) >= LEAST_MOMENTS

    def add(self, moment: RunRow) -> RunRow:
        """Add a row, later than the row above by at least the resolution of the table."""
        least = self.moments[-1].time_s + LEAST_SINCE_S if self.moments else moment.time_s
        made = replace(moment, time_s=max(moment.time_s, least))
        self.moments.append(made)
        return made
