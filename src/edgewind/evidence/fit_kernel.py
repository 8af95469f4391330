"""The likelihood of a rotor's readings in a compiled loop, which a fit calls fifty thousand times."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from edgewind.compiled import njit
from edgewind.rotor.run_kernel import RunSteps, run_speeds
from edgewind.rotor.speed_kernel import Place, deviating_speeds

Array = NDArray[np.float64]
Integers = NDArray[np.int64]

FOREIGN_TORQUE, DRY = int(Place.FOREIGN_TORQUE), int(Place.DRY)
# Of straight unknowns: how far their scores are let go, and the step of the first below which it shows no slope.
FARTHEST, LEAST_STEP = 6.0, 0.1


class UnknownColumns(NamedTuple):
    """Columns of the unknowns, and the places of a rotor's flat array that they set or multiply.

    Attributes
    ----------
    set_places, set_columns, scaled_places, scaled_columns : array of int
        Places of the flat array, and the columns whose value is set there or multiplies the value there.
    gauge, scatter, dry, inertia : int
        Columns; that of the inertia is -1 where it is not an unknown.
    shifted_places, shifted_columns : array of int
        Places that change in proportion to the difference of a column from its best estimate: the gas of a mixture.
    shifted_slopes, shifted_middles : array
        The change per unit of the column, and the best estimates.
    """

    set_places: Integers
    set_columns: Integers
    scaled_places: Integers
    scaled_columns: Integers
    gauge: int
    scatter: int
    dry: int
    inertia: int
    shifted_places: Integers
    shifted_columns: Integers
    shifted_slopes: Array
    shifted_middles: Array


class Readings(NamedTuple):
    """Readings as arrays.

    Attributes
    ----------
    pressure : array of shape (n + m + runs,)
        Indicated pressures of the n speeds, then of the m coast-downs, then of the runs, Pa, less the smooth error of
        the gauge about which the errors are linear.
    speed, speed_u, pressure_speed_u : array of shape (n,)
        Speeds, their standard uncertainty, and the part due to each reading's own uncertainty of pressure, rad/s.
    signed : array of bool, shape (n,)
        Whether the direction was observed; sizes are compared otherwise.
    floor : float
        Speed below which scatter does not shrink, rad/s.
    rate, rate_u, dry_rate, dry_rate_u, correlation : array of shape (m,)
        Coast-downs; the uncertainty of the rate with that of the pressure, 1/s and rad/s^2.
    rate_own_u : array of shape (m,)
        Uncertainty of the rate without that of the pressure, 1/s.
    """

    pressure: Array
    speed: Array
    speed_u: Array
    pressure_speed_u: Array
    signed: NDArray[np.bool_]
    floor: float
    rate: Array
    rate_u: Array
    dry_rate: Array
    dry_rate_u: Array
    correlation: Array
    rate_own_u: Array


class Runs(NamedTuple):
    """Runs through a change; the means of each are whitened by their covariance.

    Attributes
    ----------
    steps : RunSteps
        Steps in which the runs are followed.
    first_row, first_cell : array of int, shape (runs + 1,)
        First mean of each run, and first cell of its matrix in `whitening`.
    moment : array of int, shape (w,)
        Index of the moment of each mean among the steps of its run.
    whitening : array
        Lower triangles that whiten the means of each run, row by row without their zeros.
    seen : array of shape (w,)
        Observed whitened means.
    start_u : array of shape (runs,)
        Standard uncertainty of the speed at the start, rad/s.
    switched_u : array of shape (runs,)
        Standard uncertainty of the moment at which the lamp changed, s.
    switched : array of int, shape (runs,)
        That moment among those of the steps.
    signed : array of bool, shape (runs,)
        Whether the direction was observed; sizes are compared otherwise.
    logs : float
        Sum of the logarithms of the divisors of the whitening.
    """

    steps: RunSteps
    first_row: Integers
    first_cell: Integers
    moment: Integers
    whitening: Array
    seen: Array
    start_u: Array
    switched_u: Array
    switched: Integers
    signed: NDArray[np.bool_]
    logs: float


class Smooth(NamedTuple):
    """Smooth errors of the model, linearised at a place.

    Attributes
    ----------
    factors : array of shape (4, n + m + runs)
        Factors on the gas there.
    slopes : array of shape (n + m + w, r)
        Change of each speed (rad/s), each coast-down's rate (1/s) and each whitened mean of a run with each of the
        standard normal numbers.
    offset : array of shape (n + m + w,)
        Those slopes times the numbers of that place.
    reference : array of shape (n + m,)
        Speeds and rates that the slopes belong to; slopes go with the speed or rate predicted over these.
    """

    factors: Array
    slopes: Array
    offset: Array
    reference: Array


class Straight(NamedTuple):
    """Unknowns whose effect on the speeds is nearly linear, and the readings that determine them.

    Attributes
    ----------
    places : array of int, shape (m,)
        Their places in the flat array of a rotor.
    first, second, middle : array of shape (m,)
        Mean and standard deviation of their priors, and scores at which the speeds are computed.
    torque : array of shape (n, m)
        What each adds to the torque at the centre, by its score, N m.
    pressure, factors : array of shape (n,), (4, n)
        Indicated pressures of the readings, Pa, and factors on the gas there.
    seen, sense, known : array of shape (n,), (n,), (n, n)
        Speeds of the readings, rad/s, the sense in which they turn, and the inverse of their covariance.
    """

    places: Integers
    first: Array
    second: Array
    middle: Array
    torque: Array
    pressure: Array
    factors: Array
    seen: Array
    sense: Array
    known: Array


@njit(cache=True)
def numbers_of(values, flat, columns):  # type: ignore[no-untyped-def]
    """Return the flat arrays of the rotors at rows of values, shape (k, numbers)."""
    found = np.empty((values.shape[0], flat.size))
    for k in range(values.shape[0]):
        found[k] = flat
        for i in range(columns.scaled_places.size):
            found[k, columns.scaled_places[i]] *= values[k, columns.scaled_columns[i]]
        for i in range(columns.set_places.size):
            found[k, columns.set_places[i]] = values[k, columns.set_columns[i]]
        for i in range(columns.shifted_places.size):
            away = values[k, columns.shifted_columns[i]] - columns.shifted_middles[i]
            found[k, columns.shifted_places[i]] += columns.shifted_slopes[i] * away
    return found


@njit(cache=True)
def spreads_of(speed, scatter, readings):  # type: ignore[no-untyped-def]
    """Return the standard deviation of readings about predicted speeds, shape (k, n), at the scatter of each row."""
    found = np.empty_like(speed)
    for k in range(speed.shape[0]):
        for n in range(speed.shape[1]):
            own = scatter[k] * max(abs(speed[k, n]), readings.floor)
            found[k, n] = np.sqrt(readings.speed_u[n] ** 2 + own**2 + readings.pressure_speed_u[n] ** 2)
    return found


@njit(cache=True)
def _over(predicted, reference):  # type: ignore[no-untyped-def]
    """Return predicted over reference, within 0.2 to 5; 1 for a reference near zero or of the other sign.

    Slopes of a rotor that the pivot holds are zero.
    """
    if predicted == 0.0:
        return 0.0
    if abs(reference) < 1e-12 or predicted * reference <= 0.0:
        return 1.0
    return min(max(predicted / reference, 0.2), 5.0)


@njit(error_model="numpy", cache=True)
def run_means(pressure, rotor, factors, runs, table):  # type: ignore[no-untyped-def]
    """Return whitened means of every run as predicted, and two directions in which they are uncertain, shape (3, w).

    These are one standard uncertainty of the speed at the start, and of the moment at which the lamp changed, which
    shifts the later speeds in time.

    Parameters
    ----------
    pressure : array of shape (runs,)
        Pressure of each run, Pa.
    rotor : array
        The flat array of a rotor.
    factors : array of shape (4, runs)
        On the gas; see :func:`edgewind.rotor.speed_kernel.deviating_speeds`.
    runs : Runs
        The runs.
    table : tuple of array
        Response of the gas.
    """
    # unpacked once: each access of a tuple costs as much as a step of a run
    steps, moment, whitening, start_u, signed = runs.steps, runs.moment, runs.whitening, runs.start_u, runs.signed
    first_step, length, switched, switched_u = steps.first, steps.length_s, runs.switched, runs.switched_u
    first_row, first_cell = runs.first_row, runs.first_cell
    found = np.zeros((3, moment.size))
    for j in range(start_u.size):
        begin, first, many, cell = first_step[j], first_row[j], first_row[j + 1] - first_row[j], first_cell[j]
        size = first_step[j + 1] - begin + 1
        speeds, kept, here = np.empty(size), np.empty(size), np.zeros((3, many))
        run_speeds(j, pressure[j], rotor, factors[:, j], steps, table, speeds, kept)
        for row in range(many):
            i = moment[first + row]
            value = speeds[i]
            steep = 0.0
            if switched[j] < i < size - 1:
                steep = (speeds[i + 1] - speeds[i - 1]) / (length[begin + i - 1] + length[begin + i])
            turned = -1.0 if value < 0.0 and not signed[j] else 1.0
            here[0, row] = turned * value
            here[1, row] = turned * start_u[j] * kept[i]
            here[2, row] = -turned * switched_u[j] * steep
        for row in range(many):
            for i in range(row + 1):
                weight = whitening[cell + i]
                for part in range(3):
                    found[part, first + row] += weight * here[part, i]
            cell += row + 1
    return found


@njit(error_model="numpy", cache=True)
def whitened_of(values, indicated, factors, flat, columns, readings, smooth, runs, table):  # type: ignore[no-untyped-def]
    """Return, for one row of values, misfits over their spreads, the same of the slopes, and the sum of ln(spread).

    At indicated pressures, shape (n + m + runs,), and with factors on the gas, shape (4, n + m + runs).
    """
    size, coasts, count = readings.speed.size, readings.rate.size, smooth.slopes.shape[1]
    rotor = numbers_of(values, flat, columns)[0]
    steady, many = size + coasts, runs.seen.size
    pressure = values[0, columns.gauge] * indicated
    predicted = deviating_speeds(pressure[:steady], rotor, factors[:, :steady], *table)
    speed = predicted[:1, :size]
    spread = spreads_of(speed, values[:1, columns.scatter], readings)[0]
    misfit = np.empty(size + 2 * coasts + many)
    slopes = np.zeros((size + 2 * coasts + many, count))
    logs = runs.logs
    for n in range(size):
        turned = 1.0 if readings.signed[n] or speed[0, n] >= 0.0 else -1.0
        share = _over(speed[0, n], smooth.reference[n])
        apart = readings.speed[n] - turned * (speed[0, n] - share * smooth.offset[n])
        misfit[n] = apart / spread[n]
        for c in range(count):
            slopes[n, c] = turned * share * smooth.slopes[n, c] / spread[n]
        logs += np.log(spread[n])
    for m in range(coasts):
        inertia = values[0, columns.inertia]
        rate = predicted[2, size + m] / inertia
        share = _over(rate, smooth.reference[size + m])
        a = readings.rate[m] - rate + share * smooth.offset[size + m]
        a /= readings.rate_u[m]
        # A constant torque from outside acts with the lamp off too, on one side of dry friction.
        held = values[0, columns.dry] - np.sign(predicted[0, size + m]) * rotor[FOREIGN_TORQUE]
        b = (readings.dry_rate[m] - held / inertia) / readings.dry_rate_u[m]
        r = min(max(readings.correlation[m] * readings.rate_own_u[m] / readings.rate_u[m], -0.99), 0.99)
        left = np.sqrt(1 - r * r)
        misfit[size + m] = (a - r * b) / left
        misfit[size + coasts + m] = b
        for c in range(count):
            slopes[size + m, c] = share * smooth.slopes[size + m, c] / readings.rate_u[m] / left
        logs += np.log(readings.rate_u[m] * left * readings.dry_rate_u[m])
    if many:
        means = run_means(pressure[steady:], rotor, factors[:, steady:], runs, table)
        at, seen = size + 2 * coasts, runs.seen
        for k in range(many):
            misfit[at + k] = seen[k] - means[0, k] + smooth.offset[steady + k]
            for c in range(count):
                slopes[at + k, c] = smooth.slopes[steady + k, c]
        for j in range(runs.start_u.size):
            first, last = runs.first_row[j], runs.first_row[j + 1]
            for i in (1, 2):
                logs += _without(
                    i, means[:, first:last], misfit[at + first : at + last], slopes[at + first : at + last]
                )
    return misfit, slopes, logs


@njit(error_model="numpy", cache=True)
def _without(i, means, misfit, slopes):  # type: ignore[no-untyped-def]
    """Integrate an uncertain direction of a run out of its whitened misfits and slopes, and out of later directions.

    With a direction s of one standard uncertainty the whitened covariance is ``1 + s s^T``, whose inverse square root
    shortens the component along s by ``1/sqrt(1 + s.s)``; returns the logarithm of the square root of its determinant.
    """
    size, square, along = misfit.size, 0.0, 0.0
    for k in range(size):
        square += means[i, k] ** 2
        along += means[i, k] * misfit[k]
    if square <= 0.0:
        return 0.0
    less = (1.0 - 1.0 / np.sqrt(1.0 + square)) / square
    for k in range(size):
        misfit[k] -= less * along * means[i, k]
    for c in range(slopes.shape[1]):
        along = 0.0
        for k in range(size):
            along += means[i, k] * slopes[k, c]
        for k in range(size):
            slopes[k, c] -= less * along * means[i, k]
    for later in range(i + 1, means.shape[0]):
        along = 0.0
        for k in range(size):
            along += means[i, k] * means[later, k]
        for k in range(size):
            means[later, k] -= less * along * means[i, k]
    return 0.5 * np.log(1.0 + square)


@njit(error_model="numpy", cache=True)
def whitened_rows(values, indicated, factors, flat, columns, readings, smooth, runs, table):  # type: ignore[no-untyped-def]
    """Return misfits, shape (k, w), and slopes, shape (k, w, r), of rows of values.

    Each is at pressures and factors of its own, shapes (k, n + m + runs) and (k, 4, n + m + runs).
    """
    size = readings.speed.size + 2 * readings.rate.size + runs.seen.size
    misfits, slopes = np.empty((values.shape[0], size)), np.empty((values.shape[0], size, smooth.slopes.shape[1]))
    for k in range(values.shape[0]):
        misfits[k], slopes[k], _ = whitened_of(
            values[k : k + 1], indicated[k], factors[k], flat, columns, readings, smooth, runs, table
        )
    return misfits, slopes


@njit(error_model="numpy", cache=True)
def held_never(pressure, rotor, sense, factors, table):  # type: ignore[no-untyped-def]
    """Return the speeds of a rotor if its pivot never holds, and what a unit of torque adds to each, 1/(N m s).

    Dry friction acts against a sense, +1 or -1 at each pressure.
    """
    moved = deviating_speeds(pressure, rotor, factors, *table)
    return (moved[1] - sense * rotor[DRY]) / moved[2], 1.0 / moved[2]


@njit(error_model="numpy", cache=True)
def _balanced(place, effect, apart, known):  # type: ignore[no-untyped-def]
    """Return the scores at which prior and readings balance, the speeds linear in them.

    From scores of standard normal priors, with the effect of each on the speeds, shape (n, m), what the readings are
    apart from the speeds there, and the inverse covariance of the readings; m is 1 or 2.
    """
    weighted = effect.T @ known
    normal, wanted = weighted @ effect, weighted @ apart - place
    a, d = normal[0, 0] + 1.0, normal[-1, -1] + 1.0
    if place.size == 1:
        return place + wanted / a
    b, determinant = normal[0, 1], a * d - normal[0, 1] ** 2
    step = np.array([d * wanted[0] - b * wanted[1], a * wanted[1] - b * wanted[0]])
    return place + step / determinant


@njit(error_model="numpy", cache=True)
def straight_scores(values, straight, flat, columns, table):  # type: ignore[no-untyped-def]
    """Return the likeliest scores of the straight unknowns for rows of values of all others, shape (k, m).

    A first step by the torque that each adds at the centre, over the drag of the row; a second by what the first one
    showed the first unknown to add. Any function of the other unknowns would do: the nearer to the likeliest, the
    better walkers move.
    """
    rotors, found = numbers_of(values, flat, columns), np.empty((values.shape[0], straight.places.size))
    for k in range(values.shape[0]):
        rotor, at = rotors[k], straight.middle
        pressure = values[k, columns.gauge] * straight.pressure
        rotor[straight.places] = straight.first + straight.second * at
        speed, by_torque = held_never(pressure, rotor, straight.sense, straight.factors, table)
        effect = straight.torque * by_torque.reshape(-1, 1)
        step = np.clip(_balanced(at, effect, straight.seen - speed, straight.known), -FARTHEST, FARTHEST) - at
        at = at + step
        rotor[straight.places] = straight.first + straight.second * at
        speed += effect @ step
        after = held_never(pressure, rotor, straight.sense, straight.factors, table)[0]
        effect[:, 0] += (after - speed) * step[0] / (step[0] ** 2 + LEAST_STEP**2)
        at = _balanced(at, effect, straight.seen - after, straight.known)
        found[k] = np.clip(at, -FARTHEST, FARTHEST)
    return found


@njit(error_model="numpy", cache=True)
def log_likelihoods_of(values, flat, columns, readings, smooth, runs, table):  # type: ignore[no-untyped-def]
    """Return the logarithm of the likelihood of each row of values; -1e300 where it is none.

    The smooth errors are integrated out: misfits z with slopes G and standard normal numbers have the quadratic form
    ``z.z - t.W^-1 t`` with ``t = G^T z`` and ``W = 1 + G^T G``, and the determinant of W.
    """
    found = np.empty(values.shape[0])
    count = smooth.slopes.shape[1]
    for k in range(values.shape[0]):
        misfit, slopes, logs = whitened_of(
            values[k : k + 1], readings.pressure, smooth.factors, flat, columns, readings, smooth, runs, table
        )
        total = -logs
        root = np.zeros((count, count))
        along = np.zeros(count)
        for n in range(misfit.size):
            total -= 0.5 * misfit[n] ** 2
            for i in range(count):
                along[i] += slopes[n, i] * misfit[n]
                for j in range(i + 1):
                    root[i, j] += slopes[n, i] * slopes[n, j]
        for i in range(count):
            root[i, i] += 1.0
        for i in range(count):  # Cholesky, and the forward solution with it
            for j in range(i + 1):
                value = root[i, j]
                for c in range(j):
                    value -= root[i, c] * root[j, c]
                root[i, j] = np.sqrt(value) if i == j else value / root[j, j]
            part = along[i]
            for c in range(i):
                part -= root[i, c] * along[c]
            along[i] = part / root[i, i]
            total += 0.5 * along[i] ** 2 - np.log(root[i, i])
        found[k] = total if np.isfinite(total) else -1e300
    return found
