"""Propagate standard uncertainties: to first order (JCGM 100:2008), by Monte Carlo (JCGM 101:2008) where that fails."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import uncertainties
from numpy.typing import NDArray
from scipy.special import ndtri

FloatArray = NDArray[np.float64]
Model = Callable[..., FloatArray | float]
Distribution = Literal["normal", "rectangular", "t"]


@dataclass(frozen=True)
class Input:
    """An input quantity.

    Attributes
    ----------
    value : float
        Best estimate.
    u : float
        Standard uncertainty.
    distribution : {"normal", "rectangular", "t"}
        What is drawn in the Monte Carlo method. ``"t"`` is scaled and shifted with `freedom` degrees of freedom, `u`
        being the scale (JCGM 101:2008, 6.4.9).
    freedom : float
        Degrees of freedom of `u`; infinite unless it came from few repeats.
    """

    value: float
    u: float
    distribution: Distribution = "normal"
    freedom: float = np.inf

    def draw(self, trials: int, random: np.random.Generator) -> FloatArray:
        """Draw `trials` values."""
        if self.distribution == "rectangular":
            half = np.sqrt(3.0) * self.u
            return random.uniform(self.value - half, self.value + half, trials)
        if self.distribution == "t":
            return self.value + self.u * random.standard_t(self.freedom, trials)
        return random.normal(self.value, self.u, trials)


@dataclass(frozen=True)
class Propagated:
    """An output quantity.

    Attributes
    ----------
    value, u : float
        Estimate and standard uncertainty.
    interval : tuple of float
        Probabilistically symmetric coverage interval at `level`.
    level : float
        Its coverage probability.
    method : {"first order", "Monte Carlo"}
        Where the numbers come from.
    contributions : dict of str to float
        Part of `u` due to each input to first order, same unit as `value`; their quadrature sum is `u` for independent
        inputs.
    """

    value: float
    u: float
    interval: tuple[float, float]
    level: float
    method: str
    contributions: dict[str, float] = field(default_factory=dict)


def first_order(
    model: Model,
    inputs: Mapping[str, Input],
    *,
    level: float = 0.95,
    correlation: Mapping[tuple[str, str], float] | None = None,
) -> Propagated:
    """Propagate to first order: ``u^2(y) = sum_i sum_j (df/dx_i)(df/dx_j) u(x_i, x_j)``, JCGM 100:2008, eq. 13.

    Parameters
    ----------
    model : callable
        Takes the inputs by name and returns the output.
    inputs : mapping of str to Input
        Input quantities.
    level : float
        Coverage probability of the interval, which is that of a normal distribution.
    correlation : mapping of pairs of names to float, optional
        Correlation coefficients between inputs; zero where not named.

    Examples
    --------
    >>> result = first_order(lambda a, b: a * b, {"a": Input(2.0, 0.1), "b": Input(3.0, 0.2)})
    >>> result.value, round(result.u, 3)
    (6.0, 0.5)
    """
    names = list(inputs)

    def of_values(*values: float) -> float:
        return float(model(**dict(zip(names, values, strict=True))))

    steps = [max(quantity.u / 1000, 1e-9 * abs(quantity.value)) for quantity in inputs.values()]
    slopes = [_slope(of_values, place, step) for place, step in enumerate(steps)]
    wrapped = uncertainties.wrap(of_values, slopes)
    if correlation:
        covariance = np.diag([inputs[name].u ** 2 for name in names])
        for (one, other), r in correlation.items():
            i, j = names.index(one), names.index(other)
            covariance[i, j] = covariance[j, i] = r * inputs[one].u * inputs[other].u
        variables = uncertainties.correlated_values([inputs[name].value for name in names], covariance, tags=names)
    else:
        variables = [
            uncertainties.ufloat(quantity.value, quantity.u, tag=name) if quantity.u else quantity.value
            for name, quantity in inputs.items()
        ]
    output = wrapped(*variables)
    k = float(ndtri((1 + level) / 2))
    value, u = float(uncertainties.nominal_value(output)), float(uncertainties.std_dev(output))
    parts: dict[str, float] = {}
    if not correlation:
        parts = dict.fromkeys(names, 0.0)
    if not correlation and isinstance(output, uncertainties.UFloat):
        parts |= {str(variable.tag): float(part) for variable, part in output.error_components().items()}
    return Propagated(value, u, (value - k * u, value + k * u), level, "first order", parts)


def _slope(model: Callable[..., float], place: int, step: float) -> Callable[..., float]:
    """Derivative by a central difference whose step is a share of the uncertainty.

    A step that is a share of the value would vanish in the rounding of a sum whose other terms are large.
    """

    def slope(*values: float) -> float:
        ahead, behind = ([value + sign * step * (i == place) for i, value in enumerate(values)] for sign in (1, -1))
        return (model(*ahead) - model(*behind)) / (2 * step)

    return slope


def monte_carlo(
    model: Model,
    inputs: Mapping[str, Input],
    *,
    level: float = 0.95,
    trials: int = 200_000,
    seed: int = 1,
) -> Propagated:
    """Propagate distributions by seeded Monte Carlo, JCGM 101:2008, clause 7.

    Parameters
    ----------
    model : callable
        Takes arrays by name, shape (trials,), and returns an array of that shape.
    inputs : mapping of str to Input
        Independent input quantities.
    level, trials, seed : float, int, int
        Coverage probability; number of draws; seed.

    Examples
    --------
    >>> result = monte_carlo(lambda x: x**2, {"x": Input(0.0, 1.0)})
    >>> round(result.value, 1)
    1.0
    """
    random = np.random.default_rng(seed)
    output = np.asarray(
        model(**{name: quantity.draw(trials, random) for name, quantity in inputs.items()}), dtype=float
    )
    low, high = np.quantile(output, [(1 - level) / 2, (1 + level) / 2])
    return Propagated(float(output.mean()), float(output.std(ddof=1)), (float(low), float(high)), level, "Monte Carlo")


def propagate(
    model: Model,
    inputs: Mapping[str, Input],
    *,
    level: float = 0.95,
    trials: int = 200_000,
    seed: int = 1,
) -> Propagated:
    """Propagate to first order if Monte Carlo validates it, and by Monte Carlo if not.

    The validation is that of JCGM 101:2008, clause 8: the ends of the two intervals agree within the tolerance that
    belongs to two significant digits of the standard uncertainty.
    """
    simple = first_order(model, inputs, level=level)
    drawn = monte_carlo(model, inputs, level=level, trials=trials, seed=seed)
    tolerance = numerical_tolerance(simple.u)
    apart = max(abs(a - b) for a, b in zip(simple.interval, drawn.interval, strict=True))
    if apart <= tolerance:
        return simple
    return Propagated(drawn.value, drawn.u, drawn.interval, level, drawn.method, simple.contributions)


def numerical_tolerance(u: float, digits: int = 2) -> float:
    """Half a unit in the last of `digits` significant digits of `u`: ``10^l / 2``, JCGM 101:2008, 7.9.2.

    Examples
    --------
    >>> numerical_tolerance(0.000351)
    5e-06
    """
    if not u > 0:
        return 0.0
    exponent = int(np.floor(np.log10(u))) - digits + 1
    return float(f"{0.5 * 10.0**exponent:.12g}")
