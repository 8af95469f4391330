"""Errors of the model of the gas: smooth errors of force, drag, heat and gauge, as Gaussian processes.

The errors of coefficients known to some per cent are not one common factor but smooth functions of ln Kn.
A Gaussian process of that standard deviation, with a length of about a decade, stands for each of them in fit,
prediction and verdict (Kennedy and O'Hagan, J. R. Statist. Soc. B 63, 425, 2001). The length is not known better than
by a factor of two, and a place of greatest torque moves with the slope of an error more than with its size, so a third
of each variance has half of the length and a third twice the length. The gauge's common error is in part a factor and
in part a smooth function of ln p, which gets the same treatment.

An error of the shape of rotor and chamber changes force and drag together: it hardly changes speeds, which go as their
quotient, but it shifts the pressure of greatest torque. It is one process for both. So is the error of the heat for
heat and the force of unequal accommodation: a vane that loses more heat is colder, which cancels it where the gas takes
most of the heat.

Each process is written on a few nodes as ``sd(x) * basis(x) @ c`` with c standard normal, so a draw of the model's
errors is a row of numbers that holds at every pressure.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from edgewind.evidence.gaussian_process import covariance
from edgewind.rotor import GasResponse

Array = NDArray[np.float64]

# Length over which an error changes, in ln Kn and ln p: a decade, known within a factor of two. A covariance with one
# length is far too sure of slopes where that length is too long (Brynjarsdottir and O'Hagan, Inverse Problems 30,
# 114007, 2014, abstract read: without realistic priors on a model's error the unknowns are biased and too sure).
LENGTH = float(np.log(10.0))
_LENGTHS = LENGTH * np.array([0.5, 1.0, 2.0])
# Standard deviations beyond what the response of the gas states for itself (its table, the law of the walls, second
# order, hard spheres, a bulb or a cylinder). Sums of squares of sources that are named, not fitted to any rotor.
# Of the shape of the rotor, on force and drag together:
# - stem, hub and pivot, which the tables lack: 3 % of force and drag (our judgement);
# - vanes bent or turned by 10 degrees: force goes with the cosine, drag with its square: 1.5 and 3 % (computed).
# Of one of them alone:
# - accommodation of the internal energy at a wall: that energy is a third of the heat of a diatomic gas in free flight,
#   and its accommodation is not known to better than 0.2: 7 % of the heat (our judgement);
# - force of unequal accommodation, over the thermal force: what the response states for the law of the walls. This
#   force is in proportion to the heat that the motion of the molecules takes from the vane (`apparent_difference`), so
#   the response's error of the heat moves both, with the same sign; internal energy presses on nothing.
_SHAPE = {"stem and pivot": (0.03, 0.03), "bent vanes": (0.015, 0.03)}
HEAT_U = 0.07
_SHAPE_U = np.sqrt(np.sum(np.square(list(_SHAPE.values())), axis=0))
FORCE_U, DRAG_U = (float(u) for u in _SHAPE_U)
# Share of the variance of the gauge's common error that is a factor; the rest is smooth in ln p. Our judgement.
GAUGE_FACTOR_SHARE = 0.5
KINDS = (
    "thermal force of the gas", "drag of the gas", "heat of the gas", "force by unequal accommodation"
)  # fmt: skip
# Processes in ln Kn: one of the shape, and one of each kind; that of the heat moves the force by unequal accommodation
# too.
_PROCESSES = 1 + len(KINDS)
_SPACING = 0.9 * float(_LENGTHS[0])


def _parts(response: GasResponse, knudsen: ArrayLike) -> Array:
    """Return the standard deviation that each process adds to each kind, shape (kinds, processes, ...)."""
    own, shared = (np.asarray(one(knudsen), dtype=float) for one in (response.relative_errors, response.shared_errors))
    alone = np.sqrt(np.maximum(own[:2] ** 2 - shared**2, 0.0))
    found = np.zeros((len(KINDS), _PROCESSES, *own.shape[1:]))
    found[0, 0], found[1, 0] = (np.hypot(one, more) for one, more in zip(shared, _SHAPE_U, strict=True))
    found[0, 1], found[1, 2] = alone
    # Heat and the force of unequal accommodation have the covariance own^2: the two sources of the error of the heat,
    # of one length, are one process, and what of the force does not go with their sum is in the force's own.
    heat = np.hypot(own[2], HEAT_U)
    found[2, 3], found[3, 3] = heat, own[2] ** 2 / heat
    found[3, 4] = np.hypot(response.unequal_error(knudsen), own[2] * HEAT_U / heat)
    return found


@dataclass(frozen=True, eq=False)
class ModelError:
    """The processes of one rotor and gauge.

    Attributes
    ----------
    response : GasResponse
        Response that states the errors of force, drag and heat.
    log_path : float
        ln of the Knudsen number at 1 Pa, for the best estimate of the rotor.
    nodes, log_pressure_nodes : array of shape (m,), (g,)
        Places of the nodes, in ln Kn and in ln(p/Pa).
    gauge_u : float
        Standard deviation of the smooth part of the gauge's error in ln p.
    """

    response: GasResponse
    log_path: float
    nodes: Array
    log_pressure_nodes: Array
    gauge_u: float

    @property
    def size(self) -> int:
        """Number of numbers in a draw."""
        return _PROCESSES * self.nodes.size + self.log_pressure_nodes.size

    def basis(self, pressure_pa: ArrayLike) -> Array:
        """Return the errors per unit of each number, shape (5, n, size): of the logarithms of `KINDS`, and of ln p."""
        log_p = np.log(np.asarray(pressure_pa, dtype=float))
        x = self.log_path - log_p
        on_knudsen, on_pressure = _on_nodes(x, self.nodes), _on_nodes(log_p, self.log_pressure_nodes)
        parts = _parts(self.response, np.exp(x))
        found = np.zeros((len(KINDS) + 1, log_p.size, self.size))
        width = self.nodes.size
        on_all = np.einsum("kpn,nm->knpm", parts, on_knudsen)
        found[:-1, :, : _PROCESSES * width] = on_all.reshape(len(KINDS), log_p.size, -1)
        found[-1, :, _PROCESSES * width :] = self.gauge_u * on_pressure
        return found

    def sizes(self, pressure_pa: ArrayLike) -> Array:
        """Return the standard deviations of the logarithms of `KINDS` and of the pressure, shape (5, n)."""
        return np.asarray(np.linalg.norm(self.basis(pressure_pa), axis=2))

    def factors(self, drawn: Array, pressure_pa: ArrayLike) -> tuple[Array, Array]:
        """Return factors on `KINDS`, shape (k, 4, n), and on the pressure, shape (k, n), of k draws."""
        errors = np.einsum("bnc,kc->kbn", self.basis(pressure_pa), np.clip(drawn, -6, 6))
        return np.exp(errors[:, : len(KINDS)]), np.exp(errors[:, -1])


def model_error(response: GasResponse, log_path: float, pressure_pa: ArrayLike, gauge_log_u: float) -> ModelError:
    """Return the processes of a rotor; nodes cover its readings' pressures and a decade more on either side.

    Parameters
    ----------
    response : GasResponse
        Response of the gas.
    log_path : float
        ln of the Knudsen number at 1 Pa.
    pressure_pa : array
        Pressures of the readings, Pa.
    gauge_log_u : float
        Standard uncertainty of ln(pressure) that all readings share.
    """
    log_p = np.log(np.asarray(pressure_pa, dtype=float))
    x = log_path - log_p
    low = max(float(x.min()) - LENGTH, float(np.log(response.least_knudsen)))
    ends = (low, max(float(x.max()) + LENGTH, low + LENGTH))
    smooth = float(np.sqrt(1 - GAUGE_FACTOR_SHARE) * gauge_log_u)
    return ModelError(response, log_path, _nodes(*ends), _nodes(float(log_p.min()), float(log_p.max())), smooth)


def gauge_apart_u(gauge_log_u: float, apart: float) -> float:
    """Return the standard deviation of the difference of one gauge's errors at two pressures, in ln p.

    The factor in its error is the same at both; the smooth part is not.

    Parameters
    ----------
    gauge_log_u : float
        Standard uncertainty of ln(pressure) that all its readings share.
    apart : float
        Difference of ln(pressure).

    Examples
    --------
    >>> round(gauge_apart_u(0.05, 0.5), 3), round(gauge_apart_u(0.05, 100.0), 3)
    (0.01, 0.05)
    """
    alike = float(_correlation(np.array([[apart]]))[0, 0])
    return float(gauge_log_u * np.sqrt(2 * (1 - GAUGE_FACTOR_SHARE) * (1 - alike)))


def _nodes(low: float, high: float) -> Array:
    return np.linspace(low, high, max(2, 1 + int(np.ceil((high - low) / _SPACING))))


def _on_nodes(x: Array, nodes: Array) -> Array:
    """Return the basis at places, shape (n, m): its product with itself is the covariance of the process on the nodes.

    Beyond the nodes an error is constant.
    """
    x = np.clip(x, nodes[0], nodes[-1])
    root = np.linalg.cholesky(_correlation(nodes[:, None] - nodes) + 1e-9 * np.eye(nodes.size))
    return np.asarray(np.linalg.solve(root, _correlation(x[:, None] - nodes).T).T)


def _correlation(apart: Array) -> Array:
    return np.asarray(covariance(np.abs(apart), _LENGTHS, "squared exponential").mean(axis=0))
