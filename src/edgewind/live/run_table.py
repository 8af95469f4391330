"""The table of a run through a change: speed with its sign against time, and the conditions beside it."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass, field

from edgewind.formatting import RPM_PER_RAD_S

TITLES = ("time [s]", "speed [rpm]", "speed uncertainty [rpm]", "envelope temperature [degC]", "lamp", "pressure [Pa]")


@dataclass(frozen=True)
class RunRow:
    """One row.

    Attributes
    ----------
    time_s : float
        Time since the start of the run, s.
    speed_rad_s : float
        Speed, rad/s; negative where the dark face leads, if `signed`; nan where only a change is noted.
    speed_u_rad_s : float
        Its standard uncertainty, rad/s; nan where only its digits say it.
    envelope_k : float or None
        Temperature of the envelope, K.
    lamp : str
        ``on`` or ``off``.
    pressure_pa : float or None
        Pressure as it was indicated, Pa.
    """

    time_s: float
    speed_rad_s: float
    speed_u_rad_s: float
    envelope_k: float | None
    lamp: str
    pressure_pa: float | None


@dataclass
class RunTable:
    """The rows of a run in their order."""

    signed: bool
    moments: list[RunRow] = field(default_factory=list)

    def to_csv(self) -> bytes:
        """Return the table as a file that a study reads."""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(TITLES)
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
                ]
            )
        return out.getvalue().encode()
