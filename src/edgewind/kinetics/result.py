"""Result of the solver for one case: coefficients with errors, fields, and the work done."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from edgewind.errors import InputError
from edgewind.extras import need
from edgewind.kinetics.solve import Solution

if TYPE_CHECKING:
    import xarray as xr


@dataclass(frozen=True)
class Response:
    """Coefficients of one vane in one room at one Knudsen number; dimensionless, per unit of each drive.

    Parameters
    ----------
    shape, aspect, knudsen, rarefaction, room, position, accommodation, tolerance, thickness
        The case: name of the shape and its height over width; Kn; sqrt(pi)/(2 Kn); sides of the room over the width of
        the vane; place of the vane on the axis; accommodation of hot (front) face, cold (back) face and room; requested
        relative error; thickness over width.
    laws : mapping of str to (float, float)
        Accommodation of tangential momentum and of the energy along the normal, of those of ``hot``, ``cold`` and
        ``room`` that follow the law of Cercignani and Lampis; the number in `accommodation` is then that of energy.
    inner : mapping of str to float
        Internal energy of the molecules, by the fields of `InternalEnergy`; empty for a monatomic gas.
    values, errors : mapping of str to float
        Coefficients and their estimated absolute errors:

        - ``thermal_force``: F/(p0 A) per dT/T0 between the faces, from hot to cold;
        - ``heat_hot``, ``heat_cold``: heat that leaves a face /(p0 v0 A) per dT/T0, the faces at +1/2 and -1/2;
        - ``drag``: F/(p0 A) per U/v0, against the motion;
        - ``motion_heat_hot``, ``motion_heat_cold``: heat that leaves a face per U/v0, the vane moving towards its hot
          side;
        - ``loss_hot``, ``loss_cold``: heat that leaves a face, both faces warmer than the room by dT/T0 = 1;
        - ``loss_force``: force towards the hot side then. A room warmed instead drives the opposite of all three;
        - ``area_share``: share of the thermal force that the stress in the middle of the faces would give, acting on
          all of them; the rest is the edge's share.
    reached : bool
        Whether every error except that of the area share is within the tolerance.
    sweeps : mapping of str to int
        Fine sweeps per drive, at the finest resolution.
    coarse_sweeps, residual, mass_residual, energy_residual, seconds, cells, velocities
        Work of the coarse levels in fine sweeps; largest relative residuals; time; size of the finest resolution.
    solutions : mapping of str to Solution
        The finest solution of each drive, for fields; empty when it came from a cache.
    fields : xarray.Dataset, optional
        The fields of a response that was read back.
    """

    shape: str
    aspect: float
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
    thickness: float = 0.0
    laws: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    inner: Mapping[str, float] = field(default_factory=dict)
    solutions: Mapping[str, Solution] = field(default_factory=dict, repr=False, compare=False)
    fields: xr.Dataset | None = field(default=None, repr=False, compare=False)

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

    def row(self) -> dict[str, Any]:
        """Return one row of a response curve, with its errors.

        Returns
        -------
        knudsen : float or None
            Mean free path over the width of the vane; null for free flight.
        rarefaction : float
            Rarefaction parameter, sqrt(pi)/2 over the Knudsen number.
        thermal_force, drag, heat_hot, heat_cold : as in Response
        sweeps : int
            Fine sweeps of the drive that took the most, at the finest resolution.
        seconds : float
            Time that the solution took, s.
        errors : dict of str to float
            Estimated absolute error of each coefficient, by its name.
        reached : as in Response
        """
        return {
            "knudsen": self.knudsen,
            "rarefaction": self.rarefaction,
            **{name: self.values[name] for name in ("thermal_force", "drag", "heat_hot", "heat_cold")},
            "sweeps": max(self.sweeps.values()),
            "seconds": self.seconds,
            "errors": dict(self.errors),
            "reached": self.reached,
        }

    def to_json(self) -> dict[str, Any]:
        """Return everything but the fields, in plain types."""
        kept = (f.name for f in fields(self) if f.name not in ("solutions", "fields"))
        plain = {name: getattr(self, name) for name in kept}
        return {name: dict(value) if isinstance(value, Mapping) else value for name, value in plain.items()}

    @classmethod
    def from_json(cls, plain: Mapping[str, Any]) -> Response:
        """Return the response that `to_json` wrote."""
        laws = {name: tuple(law) for name, law in plain.get("laws", {}).items()}
        room, walls = tuple(plain["room"]), tuple(plain["accommodation"])
        return cls(**{**plain, "room": room, "accommodation": walls, "laws": laws})

    def to_dataset(self) -> xr.Dataset:
        """Return the fields of the gas for each drive and stress along the faces, on cell centres.

        Across, only y >= 0 and z >= 0 are given; the rest is symmetric. `from_dataset` is the inverse.
        """
        if self.fields is not None:
            return self.fields
        if not self.solutions:
            raise ValueError("this response holds no fields: compute it with fields=True")
        arrays = need("xarray", extra="notebook", purpose="for labelled arrays")
        drives = list(self.solutions)
        parts = [_fields(self.solutions[name]) for name in drives]
        data: xr.Dataset = arrays.concat(parts, dim=arrays.DataArray(drives, dims="drive", name="drive"))
        data.attrs = {
            "shape": self.shape,
            "knudsen": self.knudsen,
            "rarefaction": self.rarefaction,
            "room": list(self.room),
            "position": self.position,
            "accommodation": list(self.accommodation),
            **self.values,
            **{f"{name}_error": value for name, value in self.errors.items()},
            "answer": json.dumps(self.to_json()),
        }
        return data

    @classmethod
    def from_dataset(cls, data: xr.Dataset) -> Response:
        """Return the response that `to_dataset` wrote, with its fields, from memory or a file.

        Raises
        ------
        InputError
            The data set holds no response.
        """
        try:
            plain = json.loads(data.attrs["answer"])
            return replace(cls.from_json(plain), fields=data)
        except (KeyError, TypeError, ValueError) as error:
            raise InputError(
                "this data set holds no response of the kinetic solver",
                key="answer",
                fix="give one that Response.to_dataset or `edgewind respond --fields` wrote",
            ) from error


def _fields(solution: Solution) -> xr.Dataset:
    """Return the fields on the whole length of the room, the back box unfolded."""
    grid = solution.grid
    axes = "xyz"[: 1 + len(grid.across)]
    kinds = ["density", *(f"velocity_{a}" for a in axes), "temperature", *(f"heat_flux_{a}" for a in axes)]
    front, back = solution.moments[: grid.start[1]], solution.moments[grid.start[1] :]
    sign = np.array([-1.0 if kind.endswith("_x") else 1.0 for kind in kinds])
    x_front, *across = (0.5 * (nodes[1:] + nodes[:-1]) for nodes in (grid.x[0], *grid.across))
    if grid.boxes == 1:
        back, x_back = solution.parity * front, x_front
    else:
        x_back = 0.5 * (grid.x[1][1:] + grid.x[1][:-1])
    moments = np.concatenate([(back * sign)[::-1], front])
    on_vane = np.where(grid.cover > 0.0, 1.0, np.nan)
    loads = [(solution.loads[0], 1.0), (solution.loads[-1], 1.0 if grid.boxes == 2 else solution.parity)]
    data = {kind: (tuple(axes), moments[..., k]) for k, kind in enumerate(kinds)}
    for what in ("pressure", "shear", "heat"):
        data[f"face_{what}"] = (
            ("face", *axes[1:]),
            np.array([s * getattr(load, what) * on_vane for load, s in loads]),
        )
    coordinates = {"x": np.concatenate([-x_back[::-1], x_front]), **dict(zip(axes[1:], across, strict=True))}
    return labelled(data, coordinates, ["hot", "cold"])


def labelled(data: Mapping[str, Any], places: Mapping[str, Any], faces: list[str]) -> xr.Dataset:
    """Return fields and loads of faces at places over the width of a vane, with the unit of each."""
    arrays = need("xarray", extra="notebook", purpose="for labelled arrays")
    dataset: xr.Dataset = arrays.Dataset(data, coords={**places, "face": faces})
    for name, variable in dataset.data_vars.items():
        kind = str(name).rsplit("_", 1)[0]
        units = {"velocity": "v0", "heat_flux": "p0 v0", "face": "p0 v0" if name == "face_heat" else "p0"}
        variable.attrs["units"] = units.get(kind, "1")
    for axis in places:
        dataset[axis].attrs["units"] = "width of a vane"
    return dataset
