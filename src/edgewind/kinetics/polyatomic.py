"""A thin vane in a gas of rotating molecules, by a model equation with two temperatures.

The linearised model of Rykov (V. A. Rykov, Fluid Dyn. 10, 959, 1975), with rates of its own for the two flows of heat:
h is the disturbance of the distribution of velocities, theta(c) that of the internal energy of molecules of velocity c
over its mean (heat k T0 a molecule), and

    c . grad h     = delta [nu + 2 c.u + tau_s (c^2 - 3/2) + (4/5) (1 - 5/(3 f_tr)) c.q (c^2 - 5/2) - h],
    c . grad theta = delta [tau_is + 2 (1 - 1/f_in) c.r - theta],

    tau_s = tau_t + (tau - tau_t)/Z,   tau_is = tau_i + (tau - tau_i)/Z,   tau = (3/2 tau_t + heat tau_i)/(3/2 + heat),
    tau_t = (2/3) <(c^2 - 3/2) h>,   tau_i = <theta>,   q = <c (c^2 - 5/2) h>,   r = <c theta>.

Only the share 1/Z of the collisions exchanges translational and internal energy. The stress relaxes at the rate delta
for every Z, so that delta represents the viscosity as in a monatomic gas; the translational and internal
conductivities are f_tr (3/2) k mu/m and f_in heat k mu/m (Eucken's factors). Walls re-emit molecules with the internal
energy of their own temperature, except the share that they reflect specularly.

With heat 0 (or Z infinite) and f_tr 5/2 the force is that of the Shakhov model.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from edgewind.kinetics.drives import Drive
from edgewind.kinetics.plane import PlaneOperator
from edgewind.kinetics.room_operator import Incoming, RoomOperator
from edgewind.kinetics.space import SpaceOperator

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class InternalEnergy:
    """The internal energy of the molecules of a gas.

    Parameters
    ----------
    heat : float
        Its heat capacity over k: 1 for a rotating linear molecule.
    exchange : float
        Z: time in which the two temperatures approach each other over that in which the stress relaxes. It is
        ``(pi/4) 1.5/(1.5 + heat)`` times the collision number of Mason and Monchick and of acoustics, which counts
        collisions, pi mu/(4 p) apart, until the internal temperature has approached the translational one.
    translational, internal : float
        Eucken's factors f_tr and f_in; ``1.5 f_tr + heat f_in`` is the conductivity over mu R/M, 4.89 for N2 at
        300 K. Those of `NITROGEN` follow from this and from the formula of E. A. Mason and L. Monchick, J. Chem. Phys.
        36, 1622 (1962), as it stands in the source of Cantera (``GasTransport::fitProperties``; the paper itself was
        not read), with rho D/mu = 1.31 and a collision number of 4.4.
    """

    heat: float
    exchange: float
    translational: float = 2.5
    internal: float = 1.3


# Collision number 4.4 by thermal transpiration between 290 and 545 K (abstract read at scilit.com: transpiration of Ar,
# Xe, N2 and CO2), 3.8 at 500 K by the same means (abstract read at discovery.researcher.life: "Rotational relaxation
# numbers from thermal transpiration measurements"), 4.0 in the data of GRI-Mech: f_tr 2.30, 2.28 and 2.29.
NITROGEN = InternalEnergy(1.0, 2.1, 2.3, 1.44)


@dataclass(frozen=True)
class PolyatomicOperator(RoomOperator):
    """Moments: those of a monatomic gas, internal temperature, and flow of internal energy along each axis (r).

    A mixin for the operator of the plane or of space, whose sweep runs twice: for h and for theta.

    Parameters
    ----------
    gas : InternalEnergy
        Internal energy of the molecules.
    """

    gas: InternalEnergy = field(default=NITROGEN)

    @property
    def kinds(self) -> int:
        """Moments of a cell."""
        return super().kinds + 2 + len(self.grid.across)

    @property
    def kind_weights(self) -> list[float]:
        """Mean square of the disturbance of one unit of each moment."""
        heat = max(self.gas.heat, 0.1)
        return [*super().kind_weights, heat, *[2.0 * heat] * (1 + len(self.grid.across))]

    def _run(self, moments: Floats, walls: list[Floats], kept: list[Floats], drive: Drive) -> tuple[Floats, Incoming]:
        gas, dimensions = self.gas, 1 + len(self.grid.across)
        monatomic = 2 + 2 * dimensions
        tau_t, tau_i = moments[..., dimensions + 1], moments[..., monatomic]
        tau = (1.5 * tau_t + gas.heat * tau_i) / (1.5 + gas.heat)
        moving = moments[..., :monatomic].copy()
        moving[..., dimensions + 1] = tau_t + (tau - tau_t) / gas.exchange
        # The sweep has the factor 4/15 of the Shakhov model.
        moving[..., dimensions + 2 :] *= 3.0 * (1.0 - 5.0 / (3.0 * gas.translational))
        new, incoming = super()._run(moving, walls, kept, drive)  # type: ignore[safe-super]

        # Theta obeys the equation of a distribution with a density and a velocity alone.
        inner = np.zeros_like(moving)
        inner[..., 0] = tau_i + (tau - tau_i) / gas.exchange
        inner[..., 1 : 1 + dimensions] = (1.0 - 1.0 / gas.internal) * moments[..., monatomic + 1 :]
        warm = self.faces(drive)[:, 0].reshape(-1, *[1] * self.grid.cover.ndim)
        sent = [np.full(wall.shape, drive.room) for wall in walls[:-1]] + [warm * (self.grid.cover > 0.0)]
        flow, carried = super()._run(inner, sent, [], Drive())  # type: ignore[safe-super]
        end, *sides, vane = self._with_internal_energy(incoming, carried, sent)
        found = np.concatenate([new, flow[..., : 1 + dimensions]], axis=-1)
        return found, replace(incoming, end=end, sides=tuple(sides), vane=vane)

    def _with_internal_energy(self, incoming: Incoming, carried: Incoming, sent: list[Floats]) -> list[Floats]:
        """Return the fluxes onto end walls, side walls and faces, the energy flux including the internal energy.

        The heat of a wall is the emitted less the incident energy flux; the emitted internal energy is subtracted here.
        """
        found = []
        blocks = zip(
            (incoming.end, *incoming.sides, incoming.vane), (carried.end, *carried.sides, carried.vane), strict=True
        )
        for (falls, inner), flux, own in zip(blocks, self._fluxes, sent, strict=False):
            more = falls.copy()
            more[..., 3] += self.gas.heat * (inner[..., 0] - flux * own)
            found.append(more)
        return found


@dataclass(frozen=True)
class PolyatomicPlane(PolyatomicOperator, PlaneOperator):
    """A thin strip in a gas whose molecules rotate."""


@dataclass(frozen=True)
class PolyatomicSpace(PolyatomicOperator, SpaceOperator):
    """A flat vane of any outline in a gas whose molecules rotate."""

    def matrix(self, workers: int = 1) -> Floats:
        """Return ``1 - K`` as a matrix, column by column: each is two sweeps."""
        return RoomOperator.matrix(self, workers)
