"""What the solver found for one case: coefficients with errors, fields, and how they were got."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields
from typing import Any

import numpy as np
import xarray as xr

from .solve import Solution

KINDS = ("density", "velocity_x", "velocity_y", "temperature", "heat_flux_x", "heat_flux_y")
ODD = {"velocity_x", "heat_flux_x"}


@dataclass(frozen=True)
class Response:
    """Coefficients of one vane in one room at one Knudsen number; dimensionless, per unit of each drive.

    Parameters
    ----------
    shape, knudsen, rarefaction, room, position, accommodation, tolerance
        The case: name of the shape; Kn; sqrt(pi)/(2 Kn); sides of the room over the width of the vane; place of the
        vane on the axis; accommodation of hot (front) face, cold (back) face and room; relative error asked for.
    values, errors : mapping of str to float
        Coefficients and their estimated absolute errors:

        - ``thermal_force``: F/(p0 A) per dT/T0 between the faces, from hot to cold;
        - ``heat_hot``, ``heat_cold``: heat that leaves a face /(p0 v0 A) per dT/T0, the faces at +1/2 and -1/2;
        - ``drag``: F/(p0 A) per U/v0, against the motion;
        - ``motion_heat_hot``, ``motion_heat_cold``: heat that leaves a face per U/v0, the vane moving towards its hot
          side;
        - ``loss_hot``, ``loss_cold``: heat that leaves a face, both faces warmer than the room by dT/T0 = 1;
        - ``loss_force``: force towards the hot side then. A room warmed instead drives the opposite of all three.
    reached : bool
        Whether every error is within the tolerance.
    sweeps : mapping of str to int
        Fine sweeps per drive, at the finest resolution.
    coarse_sweeps, residual, mass_residual, energy_residual, seconds, cells, velocities
        Work of the coarse levels in fine sweeps; largest relative residuals; time; size of the finest resolution.
    solutions : mapping of str to Solution
        The finest solution of each drive, for fields; empty when it came from a cache.
    """

    shape: str
    knudsen: float
    rarefaction: float
    room: tuple[float, ...]
    position: float
    accommodation: tuple[float, float, float]
    tolerance: float
    values: Mapping[str, float]
    errors: Mapping[str, float]
    reached: bool
    sweeps: Mapping[str, int]
    coarse_sweeps: float
    residual: float
    mass_residual: float
    energy_residual: float
    seconds: float
    cells: int
    velocities: int
    solutions: Mapping[str, Solution] = field(default_factory=dict, repr=False, compare=False)

    @property
    def thermal_force(self) -> float:
        """F/(p0 A) per unit dT/T0 between the faces, positive from hot to cold."""
        return self.values["thermal_force"]

    @property
    def drag(self) -> float:
        """F/(p0 A) per unit U/v0, positive against the motion."""
        return self.values["drag"]

    @property
    def heat_hot(self) -> float:
        """Heat that leaves the hot face /(p0 v0 A), per unit dT/T0 between the faces."""
        return self.values["heat_hot"]

    @property
    def heat_cold(self) -> float:
        """Heat that leaves the cold face /(p0 v0 A), per unit dT/T0 between the faces; negative."""
        return self.values["heat_cold"]

    @property
    def heat_loss(self) -> float:
        """Heat that leaves both faces together /(p0 v0 A), both warmer than the room by dT/T0 = 1."""
        return self.values["loss_hot"] + self.values["loss_cold"]

    def row(self) -> dict[str, float | int]:
        """One row of a response curve, with stable names."""
        return {
            "knudsen": self.knudsen,
            "rarefaction": self.rarefaction,
            **{name: self.values[name] for name in ("thermal_force", "drag", "heat_hot", "heat_cold")},
            "sweeps": max(self.sweeps.values()),
            "seconds": self.seconds,
        }

    def to_json(self) -> dict[str, Any]:
        """Everything but the fields, in plain types."""
        plain = {f.name: getattr(self, f.name) for f in fields(self) if f.name != "solutions"}
        return {name: dict(value) if isinstance(value, Mapping) else value for name, value in plain.items()}

    @classmethod
    def from_json(cls, plain: Mapping[str, Any]) -> Response:
        """Return what `to_json` wrote."""
        return cls(**{**plain, "room": tuple(plain["room"]), "accommodation": tuple(plain["accommodation"])})

    def to_dataset(self) -> xr.Dataset:
        """Fields of the gas for each drive and stress along the faces, on cell centres; y >= 0, the rest by symmetry."""
        if not self.solutions:
            raise ValueError("this response came without fields: ask for them with fields=True")
        drives = list(self.solutions)
        parts = [_fields(self.solutions[name]) for name in drives]
        data = xr.concat(parts, dim=xr.DataArray(drives, dims="drive", name="drive"))
        data.attrs = {
            "shape": self.shape,
            "knudsen": self.knudsen,
            "rarefaction": self.rarefaction,
            "room": list(self.room),
            "position": self.position,
            "accommodation": list(self.accommodation),
            **{name: value for name, value in self.values.items()},
            **{f"{name}_error": value for name, value in self.errors.items()},
        }
        return data


def _fields(solution: Solution) -> xr.Dataset:
    """Fields on the whole length of the room, the back box unfolded."""
    grid = solution.grid
    start = grid.start
    front, back = solution.moments[: start[1]], solution.moments[start[1] :]
    sign = np.array([-1.0 if name in ODD else 1.0 for name in KINDS])
    x_front = 0.5 * (grid.x[0][1:] + grid.x[0][:-1])
    if grid.boxes == 1:
        back, x_back = solution.parity * front, x_front
    else:
        x_back = 0.5 * (grid.x[1][1:] + grid.x[1][:-1])
    moments = np.concatenate([(back * sign)[::-1], front])
    y = 0.5 * (grid.across[0][1:] + grid.across[0][:-1])
    on_vane = np.where(grid.cover > 0.0, 1.0, np.nan)
    loads = [solution.loads[0], solution.loads[-1]]
    signs = [1.0, 1.0 if grid.boxes == 2 else solution.parity]
    data = {name: (("x", "y"), moments[..., k]) for k, name in enumerate(KINDS)}
    stress = {
        name: (("face", "y"), np.array([getattr(load, what) * on_vane * s for load, s in zip(loads, signs, strict=True)]))
        for name, what in (("face_pressure", "pressure"), ("face_shear", "shear"), ("face_heat", "heat"))
    }
    dataset = xr.Dataset(
        {**data, **stress}, coords={"x": np.concatenate([-x_back[::-1], x_front]), "y": y, "face": ["hot", "cold"]}
    )
    units = dict.fromkeys(KINDS, "1") | {"face_pressure": "p0", "face_shear": "p0", "face_heat": "p0 v0"}
    units |= {"velocity_x": "v0", "velocity_y": "v0", "heat_flux_x": "p0 v0", "heat_flux_y": "p0 v0"}
    for name, unit in units.items():
        dataset[name].attrs["units"] = unit
    for name in ("x", "y"):
        dataset[name].attrs["units"] = "width of the vane"
    return dataset


def curve(responses: Sequence[Response]) -> xr.Dataset:
    """Coefficients with their errors against the Knudsen number."""
    ordered = sorted(responses, key=lambda response: response.knudsen)
    kn = [response.knudsen for response in ordered]
    data = {}
    for name in ordered[0].values:
        data[name] = ("knudsen", [response.values[name] for response in ordered])
        data[f"{name}_error"] = ("knudsen", [response.errors[name] for response in ordered])
    dataset = xr.Dataset(data, coords={"knudsen": kn})
    for variable in dataset.values():
        variable.attrs["units"] = "1"
    return dataset
