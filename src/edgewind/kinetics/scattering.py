"""Walls of Cercignani and Lampis on discrete velocities: the modes of their scattering kernel.

The gas that leaves such a wall is an average of the incident gas (C. Cercignani and M. Lampis, Transp. Theory Stat.
Phys. 1, 101, 1971): along each direction of the wall a Gaussian about ``(1 - s) c_t``, along the normal a kernel of
``c_n^2``, s the accommodation of tangential momentum and a that of the energy of the normal motion. Linearised about
the Maxwellian the average is a symmetric operator in the measure of the flux, ``c_n exp(-c^2)``, and its modes are
known: products of Hermite polynomials of c_t and Laguerre polynomials of c_n^2 (Mehler's and Hardy and Hille's
formulas), which keep (1 - a)^k (1 - s)^n of the incident gas. The first mode, 1, is the flux: as many molecules leave
as arrive. Made orthonormal in the sums over the discrete velocities, the modes give an operator on these that is
symmetric (detailed balance), keeps a Maxwellian of the wall's temperature and the flux to rounding, and has the two
accommodations exactly.

In the plane the velocity across it is averaged over. h1 keeps all of it, and h2, the part of its second Hermite
polynomial, keeps ``(1 - s)^2``.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import eval_hermite, eval_laguerre

Floats = NDArray[np.float64]

# Modes of which less than this is kept are re-emitted diffusely.
FORGOTTEN = 1e-4
# Modes that differ from those before by less than this share on the discrete velocities are left out.
INDISTINCT = 0.1


@dataclass(frozen=True)
class CercignaniLampis:
    """A wall with two accommodations.

    Parameters
    ----------
    tangential : float
        Of the momentum along the wall, 0 to 2.
    normal : float
        Of the energy of the motion along the normal, 0 to 1.

    Examples
    --------
    >>> CercignaniLampis(0.9, 0.81).energy
    0.9
    """

    tangential: float = 1.0
    normal: float = 1.0

    @property
    def energy(self) -> float:
        """Accommodation of the whole kinetic energy, ``(a + s (2 - s)) / 2``."""
        return round(0.5 * (self.normal + self.tangential * (2.0 - self.tangential)), 12)


@dataclass(frozen=True)
class ScatteringModes:
    """Modes of a wall's kernel over the velocities that fall on it.

    Parameters
    ----------
    law : CercignaniLampis
        The wall.
    normal, tangent, speed, weight : arrays (rows, 2, lanes)
        Of each velocity that falls on the wall: the size of its component along the normal and that along the wall,
        both over its size, which is `speed`; its weight in the average over the Maxwellian.
    """

    law: CercignaniLampis
    normal: Floats
    tangent: Floats
    speed: Floats
    weight: Floats

    @cached_property
    def _flow(self) -> Floats:
        """Share of each velocity in the flux of a unit Maxwellian."""
        flow = (self.weight * self.speed * self.normal).ravel()
        return np.asarray(flow / flow.sum())

    @cached_property
    def _modes(self) -> tuple[Floats, Floats]:
        """Orthonormal modes (velocities, modes) that are kept, the flux first, and the share kept of each."""
        keep_n, keep_t = 1.0 - self.law.normal, 1.0 - self.law.tangential
        orders = []
        for k in range(64):
            for n in range(64):
                kept = keep_n**k * keep_t**n
                if abs(kept) > FORGOTTEN:
                    orders.append((kept, k, n))
        # The modes with the largest kept share are made orthogonal first and so are nearest to the exact ones.
        orders.sort(key=lambda order: (-abs(order[0]), order[1] + order[2]))
        cn2, ct = ((self.speed * self.normal) ** 2).ravel(), (self.speed * self.tangent).ravel()
        root = np.sqrt(self._flow)
        columns: list[Floats] = []
        kept_shares: list[float] = []
        for kept, k, n in orders:
            column = root * eval_laguerre(k, cn2) * eval_hermite(n, ct)
            size = float(np.linalg.norm(column))
            if size == 0.0:
                continue
            column = column / size
            for _ in range(2):
                for other in columns:
                    column = column - (other @ column) * other
            left = float(np.linalg.norm(column))
            if left > INDISTINCT:
                columns.append(column / left)
                kept_shares.append(kept)
        # A velocity without weight enters no sum.
        shown = np.divide(np.array(columns), root, out=np.zeros((len(columns), root.size)), where=root > 0.0)
        return np.ascontiguousarray(shown.T), np.array(kept_shares)

    @cached_property
    def kept(self) -> tuple[Floats, Floats]:
        """Share kept of each mode of h1, the flux left out, and of each of h2."""
        shares = self._modes[1]
        second = shares * (1.0 - self.law.tangential) ** 2
        return shares[1:], second[np.abs(second) > FORGOTTEN]

    @cached_property
    def _shown(self) -> tuple[Floats, Floats]:
        """Modes (velocities, modes) of h1 and of h2."""
        modes, shares = self._modes
        second = np.abs(shares * (1.0 - self.law.tangential) ** 2) > FORGOTTEN
        return modes[:, 1:], modes[:, second]

    @property
    def count(self) -> int:
        """Amounts of modes that a place of the wall has."""
        return sum(kept.size for kept in self.kept)

    def amounts(self, h1: Floats, h2: Floats) -> Floats:
        """Return the amount of each mode incident on the wall: (..., rows, 2, lanes) twice to (..., count)."""
        flow = self._flow[:, None]
        parts = [h.reshape(*h.shape[:-3], -1) @ (flow * modes) for h, modes in zip((h1, h2), self._shown, strict=True)]
        return np.concatenate(parts, axis=-1)

    def of_wall(self, tau: float, speed: float = 0.0, slide: float = 0.0) -> Floats:
        """Return the amounts of a Maxwellian at the wall's own temperature and velocity, (count,).

        It leaves the wall unchanged, so that only the difference from it scatters.
        """
        h1 = tau * (self.speed**2 - 1.5) + 2.0 * self.speed * (slide * self.tangent - speed * self.normal)
        return self.amounts(h1, np.full_like(h1, 0.5 * tau))

    def kept_of(self, amounts: Floats) -> tuple[Floats, Floats]:
        """Return the emission beyond that of a diffuse wall, from the incident amounts less those of the wall."""
        first = self.kept[0].size
        parts = (amounts[..., :first], amounts[..., first:])
        shape = (*amounts.shape[:-1], *self.speed.shape)
        h1, h2 = (
            ((part * kept) @ modes.T).reshape(shape)
            for part, kept, modes in zip(parts, self.kept, self._shown, strict=True)
        )
        return h1, h2

    def loads_of(self, amounts: Floats) -> tuple[Floats, Floats, Floats]:
        """Return pressure, momentum along the wall and energy of the emission `kept_of`, (...)."""
        h1, h2 = self.kept_of(amounts)
        flow = self.weight * self.speed * self.normal
        axes = (-3, -2, -1)
        pressure = 2.0 * np.sum(flow * self.speed * self.normal * h1, axis=axes)
        along = 2.0 * np.sum(flow * self.speed * self.tangent * h1, axis=axes)
        energy = np.sum(flow * ((self.speed**2 + 0.5) * h1 + h2), axis=axes)
        return pressure, along, energy
