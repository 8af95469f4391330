"""Maximum-likelihood fit of a comb of harmonics whose fundamental may drift.

The model is a baseline plus harmonics of one phase,

    v(t) = sum_q c_q tau^q + sum_k Re[A_k exp(i k phi)],    phi = 2 pi (f t + a t^2 / 2),

with t from the middle of the trace and tau = 2 t / T. Least squares in all of its parameters is the estimate of maximum
likelihood in white noise and reaches the Cramér-Rao bound above its threshold. Every inner product of its Jacobian is a
sum of tau^p exp(i m phi), so the normal equations follow from those sums and the Jacobian itself is never built.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from edgewind.signals.least_squares import LeastSquares, NormalEquations, invert, minimise
from edgewind.signals.pattern import covering_factor
from edgewind.signals.smooth import fast_length, running_mean

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
IntArray = NDArray[np.int64]

BASELINE = 3
BLOCK = 2048
LEAST_BLOCKS = 8
"""Blocks of a trace from whose residuals a variance is estimated."""


@dataclass(frozen=True)
class Comb:
    """A comb of harmonics fitted to a trace.

    Attributes
    ----------
    rate_hz, acceleration_hz_s : float
        Fundamental at the middle of the trace and its change per second.
    rate_u_hz, acceleration_u_hz_s : float
        Standard uncertainties.
    orders : array of int
        Which harmonics were fitted.
    amplitudes : array of complex
        Their amplitudes, volts.
    noise_v2 : array of float
        Variance that each amplitude has from the noise, volts squared.
    rest_v : array of float
        Residual: the trace less the comb and the fitted baseline.
    """

    rate_hz: float
    acceleration_hz_s: float
    rate_u_hz: float
    acceleration_u_hz_s: float
    orders: IntArray
    amplitudes: ComplexArray
    noise_v2: FloatArray
    rest_v: FloatArray

    def slowed(self, factor: int) -> Comb:
        """Return the same comb with its fundamental divided by a whole number."""
        return replace(
            self,
            rate_hz=self.rate_hz / factor,
            acceleration_hz_s=self.acceleration_hz_s / factor,
            rate_u_hz=self.rate_u_hz / factor,
            acceleration_u_hz_s=self.acceleration_u_hz_s / factor,
            orders=self.orders * factor,
        )


def centred_time(samples: int, interval_s: float) -> FloatArray:
    """Return the time of each sample from the middle of the trace, seconds."""
    return np.asarray((np.arange(samples) - (samples - 1) / 2) * interval_s, dtype=np.float64)


def phasors(time: FloatArray, rate_hz: float, acceleration_hz_s: float, highest: int) -> ComplexArray:
    """Return exp(i m phi) for m from 0 to `highest`, shape (highest + 1, n), by repeated squaring."""
    powers = np.empty((highest + 1, time.size), dtype=np.complex128)
    powers[0] = 1.0
    if highest == 0:
        return powers
    angle = 2 * np.pi * np.remainder(rate_hz * time + acceleration_hz_s * time**2 / 2, 1.0)
    np.cos(angle, out=powers[1].real)
    np.sin(angle, out=powers[1].imag)
    done = 1
    while done < highest:
        more = min(done, highest - done)
        np.multiply(powers[1 : more + 1], powers[done], out=powers[done + 1 : done + more + 1])
        done += more
    return powers


def trace_sums(
    voltage: FloatArray, time: FloatArray, half: float, rate_hz: float, acceleration_hz_s: float, highest: int
) -> tuple[ComplexArray, ComplexArray]:
    """Return sums of tau^p z^m, p to 4, m to 2 `highest`, and of v tau^p z^m, p to 2, m to `highest`.

    Here z = exp(i phi).
    """
    sums = np.zeros((2 * highest + 1, 8), dtype=np.complex128)
    for begin in range(0, time.size, BLOCK):
        t = time[begin : begin + BLOCK]
        columns = np.empty((t.size, 8), dtype=np.complex128)
        columns[:, :5] = np.vander(t / half, 5, increasing=True)
        columns[:, 5:] = columns[:, :3] * voltage[begin : begin + BLOCK, None]
        sums += phasors(t, rate_hz, acceleration_hz_s, 2 * highest) @ columns
    return sums[:, :5].T, sums[: highest + 1, 5:].T


def normal_equations(
    plain: ComplexArray, weighted: ComplexArray, orders: IntArray, amplitudes: ComplexArray, half: float
) -> tuple[FloatArray, FloatArray]:
    """Return J^T J and J^T v for [baseline, Re A, Im A, f, a] from the sums of `trace_sums`.

    The column of Re A_k is Re z^k, that of Im A_k is Re i z^k; that of f is Re sum_k i 2 pi k A_k t z^k, and that of a
    the same with t^2/2. Products of two real parts, Re x Re y = Re(x y + x conj(y)) / 2, are sums of z^(k+l), `plus`,
    and of z^(k-l), `minus`.
    """
    turning = 2j * np.pi * orders * amplitudes
    slopes = (turning * half, turning * half**2 / 2)
    plus = [moment[orders[:, None] + orders[None, :]] for moment in plain]
    apart = orders[:, None] - orders[None, :]
    minus = [np.where(apart >= 0, moment[np.abs(apart)], np.conj(moment[np.abs(apart)])) for moment in plain]
    with_slopes = [plus[p] @ w + minus[p] @ np.conj(w) for p, w in enumerate(slopes, start=1)]
    slope_slope = [
        [np.real(w @ plus[p + q] @ v + w @ minus[p + q] @ np.conj(v)) / 2 for q, v in enumerate(slopes, start=1)]
        for p, w in enumerate(slopes, start=1)
    ]
    powers = np.arange(BASELINE)
    with_baseline = plain[:BASELINE, orders]
    baseline_slope = [plain[powers + p][:, orders] @ w for p, w in enumerate(slopes, start=1)]

    count = orders.size
    matrix = np.empty((BASELINE + 2 * count + 2, BASELINE + 2 * count + 2))
    real, imag = slice(BASELINE, BASELINE + count), slice(BASELINE + count, BASELINE + 2 * count)
    matrix[:BASELINE, :BASELINE] = np.real(plain[powers[:, None] + powers[None, :], 0])
    matrix[:BASELINE, real] = np.real(with_baseline)
    matrix[:BASELINE, imag] = -np.imag(with_baseline)
    matrix[:BASELINE, -2:] = np.real(np.stack(baseline_slope, axis=1))
    matrix[real, real] = np.real(plus[0] + minus[0]) / 2
    matrix[real, imag] = np.imag(minus[0] - plus[0]) / 2
    matrix[imag, imag] = np.real(minus[0] - plus[0]) / 2
    matrix[real, -2:] = np.real(np.stack(with_slopes, axis=1)) / 2
    matrix[imag, -2:] = -np.imag(np.stack(with_slopes, axis=1)) / 2
    matrix[-2:, -2:] = slope_slope
    upper = np.triu_indices(matrix.shape[0], 1)
    matrix.T[upper] = matrix[upper]
    right_side = np.concatenate(
        [
            np.real(weighted[:, 0]),
            np.real(weighted[0, orders]),
            -np.imag(weighted[0, orders]),
            [np.real(w @ weighted[p, orders]) for p, w in enumerate(slopes, start=1)],
        ]
    )
    return matrix, right_side


def fit_comb(
    voltage: FloatArray,
    interval_s: float,
    rate_hz: float,
    acceleration_hz_s: float,
    orders: IntArray,
    *,
    mute: IntArray | None = None,
    steady: bool = False,
    passes: int = 4,
    tolerance: float = 0.02,
    uncertain: bool = True,
) -> Comb:
    """Fit a comb of harmonics by least squares from a near start.

    Parameters
    ----------
    voltage : array, shape (n,)
        Trace, volts.
    interval_s : float
        Time between samples, seconds.
    rate_hz, acceleration_hz_s : float
        Start.
    orders : array of int
        Harmonics to fit, rising.
    mute : array of int, optional
        Harmonics that are fitted but do not determine the rate, because another line has the same frequency.
    steady : bool
        Hold the acceleration at its start.
    passes : int
        Most steps to take.
    tolerance : float
        Stop when the phase of the highest harmonic moves by less than this at the ends, radians; the error left is
        of the order of its square.
    uncertain : bool
        Whether to compute uncertainties and residual; an intermediate fit needs neither.

    Returns
    -------
    Comb
        Estimates; the uncertainties allow for noise that is not white, and are nan where not asked for.
    """
    time = centred_time(voltage.size, interval_s)
    half = voltage.size * interval_s / 2
    count = orders.size
    voices = np.ones(count) if mute is None else np.where(np.isin(orders, mute), 0.0, 1.0)
    free = 1 if steady else 2
    linear = BASELINE + 2 * count
    power = float(voltage @ voltage)
    sums: dict[tuple[float, float], tuple[ComplexArray, ComplexArray]] = {}

    def sums_at(rate: float, acceleration: float) -> tuple[ComplexArray, ComplexArray]:
        if (rate, acceleration) not in sums:
            sums.clear()
            sums[rate, acceleration] = trace_sums(voltage, time, half, rate, acceleration, int(orders[-1]))
        return sums[rate, acceleration]

    def equations(parameters: FloatArray) -> NormalEquations:
        level = parameters[:linear]
        plain, weighted = sums_at(parameters[linear], acceleration_hz_s if steady else parameters[-1])
        matrix, right = normal_equations(plain, weighted, orders, _complex(level) * voices, half)
        matrix, right = matrix[: linear + free, : linear + free], right[: linear + free]
        cost = power - 2 * float(level @ right[:linear]) + float(level @ matrix[:linear, :linear] @ level)
        if mute is not None and mute.size:
            cost = 0.0  # muted harmonics move with the rate; their misfit must not stop the fit
        return NormalEquations(matrix, right - matrix[:, :linear] @ level, max(cost, 0.0))

    def settled(here: FloatArray, step: FloatArray) -> bool:
        top = 2 * np.pi * _strongest(orders, _complex(here[:linear]) * voices)
        return bool(top * (abs(step[linear]) * half + abs(step[-1]) * (free - 1) * half**2 / 2) < tolerance)

    start = np.concatenate(
        [_levels(*sums_at(rate_hz, acceleration_hz_s), orders, half), [rate_hz, acceleration_hz_s][:free]]
    )
    fit = minimise(equations, start, settled=settled, damping=0.0, steps=passes, strict=False)
    rate_hz = float(fit.parameters[linear])
    acceleration_hz_s = acceleration_hz_s if steady else float(fit.parameters[-1])
    if not uncertain:
        amplitudes, nothing = _complex(fit.parameters[:linear]), np.empty(0)
        return Comb(rate_hz, acceleration_hz_s, np.nan, np.nan, orders, amplitudes, nothing, nothing)
    return _with_uncertainty(voltage, time, half, rate_hz, acceleration_hz_s, orders, voices, fit, free)


def _complex(levels: FloatArray) -> ComplexArray:
    """Return the complex amplitudes, which follow the baseline in the linear parameters."""
    count = (levels.size - BASELINE) // 2
    return np.asarray(levels[BASELINE : BASELINE + count] + 1j * levels[BASELINE + count :])


def _strongest(orders: IntArray, amplitudes: ComplexArray) -> int:
    """Return the highest order that still carries a tenth of the largest amplitude."""
    size = np.abs(amplitudes)
    return int(orders[np.flatnonzero(size >= 0.1 * size.max())[-1]])


def _levels(plain: ComplexArray, weighted: ComplexArray, orders: IntArray, half: float) -> FloatArray:
    """Return baseline and amplitudes by linear least squares at a fixed phase."""
    matrix, right = normal_equations(plain, weighted, orders, np.zeros(orders.size, dtype=np.complex128), half)
    return np.asarray(invert(matrix[:-2, :-2]) @ right[:-2])


def _with_uncertainty(
    voltage: FloatArray,
    time: FloatArray,
    half: float,
    rate_hz: float,
    acceleration_hz_s: float,
    orders: IntArray,
    voices: FloatArray,
    fit: LeastSquares,
    free: int,
) -> Comb:
    """Add the uncertainties that follow from the spectrum of the residual.

    An estimate is a weighted sum of the samples, with weights g = J (J^T J)^-1 e; in noise of power spectrum S its
    variance is the sum over frequency of |G|^2 S, white or not. S is the periodogram of the residual, averaged over
    neighbours, the places of the harmonics left out because the fit has emptied them.
    """
    count, inverse = orders.size, fit.inverse
    amplitudes = _complex(fit.parameters[: BASELINE + 2 * count])
    turning = 2j * np.pi * orders * amplitudes * voices
    coefficients = np.zeros((1 + free, 3, count), dtype=np.complex128)
    polynomials = np.zeros((1 + free, BASELINE))
    coefficients[0, 0] = amplitudes
    polynomials[0] = fit.parameters[:BASELINE]
    for row in range(free):
        column = inverse[:, inverse.shape[0] - free + row]
        polynomials[1 + row] = column[:BASELINE]
        coefficients[1 + row, 0] = (
            column[BASELINE : BASELINE + count] + 1j * column[BASELINE + count : BASELINE + 2 * count]
        )
        coefficients[1 + row, 1] = column[BASELINE + 2 * count] * turning * half
        if free == 2:
            coefficients[1 + row, 2] = column[-1] * turning * half**2 / 2
    series = np.empty((1 + free, voltage.size))
    flat = coefficients.reshape(-1, count)
    for begin in range(0, time.size, BLOCK):
        t = time[begin : begin + BLOCK]
        tau = np.vander(t / half, 3, increasing=True).T
        waves = phasors(t, rate_hz, acceleration_hz_s, int(orders[-1]))[orders]
        parts = np.real(flat @ waves).reshape(1 + free, 3, -1)
        series[:, begin : begin + BLOCK] = np.sum(parts * tau, axis=1) + polynomials @ tau
    rest = voltage - series[0]
    length = fast_length(voltage.size)
    spectrum = np.fft.rfft(np.vstack([rest, series[1:]]), length, axis=1)
    power = np.abs(spectrum) ** 2
    cells = np.asarray(orders * rate_hz * length * interval_of(time), dtype=np.float64)
    noise = local_noise(power[0] / voltage.size, cells)
    weight = np.full(power.shape[1], 2.0 / length)
    weight[0] = 1.0 / length
    turns = 2 * half * rate_hz
    steepest = _steepest(orders, amplitudes)
    by_flanks = _by_flanks(series[1:], rest, steepest * turns)
    # a shape fitted to few turns follows their errors: the correction HC3 of MacKinnon and White,
    # J. Econometrics 29, 305 (1985), for a leverage of one over the turns
    followed = (turns / (turns - 1)) ** 2 if turns > 2 else 4.0
    few = covering_factor(max(2 * steepest * (turns - 1) - 2, 1)) ** 2
    variances = few * np.maximum((power[1:] * noise) @ weight, by_flanks * followed)
    places = np.clip(np.rint(cells).astype(int), 0, noise.size - 1)
    return Comb(
        rate_hz,
        acceleration_hz_s,
        float(np.sqrt(variances[0])),
        float(np.sqrt(variances[1])) if free == 2 else 0.0,
        orders,
        amplitudes,
        4 * noise[places] / voltage.size,
        rest,
    )


def _steepest(orders: IntArray, amplitudes: ComplexArray) -> int:
    """Return the order that has the steepest wave."""
    return int(orders[int(np.argmax(orders * np.abs(amplitudes)))])


def _by_flanks(weights: FloatArray, rest: FloatArray, waves: float) -> FloatArray:
    """Return the variances of estimates from the residuals of the trace half a wave at a time, flank by flank.

    Noise is not the same everywhere in a trace: an amplifier that saturates hides it at the top of a pulse, and a hum
    is left over on the flanks, where all of the weight is. With weights g and residuals r the variance is the sum over
    blocks of (sum of g r in a block)^2: White, Econometrica 48, 817 (1980), in the form for clusters.
    """
    blocks = int(np.clip(2 * waves, 1, rest.size // 4))
    begin = np.linspace(0, rest.size, blocks, endpoint=False).astype(np.int64)
    sums = np.add.reduceat(weights * rest, begin, axis=1)
    variances = [(sums**2).sum(axis=1)]
    # a wandering baseline is the same over several flanks
    while len(variances) < 3 and sums.shape[1] >= 2 * LEAST_BLOCKS:
        sums = np.add.reduceat(sums, np.arange(0, sums.shape[1], 2), axis=1)
        variances.append((sums**2).sum(axis=1))
    return np.asarray(np.max(variances, axis=0))


def interval_of(time: FloatArray) -> float:
    """Return the interval of an even grid."""
    return float(time[-1] - time[0]) / (time.size - 1)


def local_noise(periodogram: FloatArray, places: FloatArray) -> FloatArray:
    """Return a periodogram averaged over neighbours, leaving out the cells next to the given places."""
    use = np.ones(periodogram.size)
    use[0] = 0.0
    cells = np.clip(np.rint(places).astype(int), 0, periodogram.size - 1)
    use[cells] = 0.0
    spacing = float(np.min(np.diff(places), initial=places[0])) if places.size else periodogram.size
    width = int(np.clip(spacing, 9, max(9, periodogram.size // 8))) | 1
    total = running_mean(periodogram * use, width)
    share = running_mean(use, width)
    return total / np.maximum(share, 1.0 / width)
