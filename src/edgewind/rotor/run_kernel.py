"""A rotor through a run in a compiled loop, for fits with fifty thousand calls; `motion.py` is the reference.

In each step gas and radiation are taken at the temperature of the vane half way, so that the heat of the two faces and
the speed obey linear equations with a closed form: exponentials of the two thermal times and of drag. No stiffness
remains, however thin the vane. Standstill and break-away are found in the closed form. A test compares it with LSODA.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.constants import Stefan_Boltzmann, speed_of_light

from edgewind.compiled import njit
from edgewind.kinetics.internal_energy import HALF_WAY
from edgewind.rotor.motion import Surroundings
from edgewind.rotor.parameters import RotorParameters
from edgewind.rotor.speed_kernel import arms_in_flight, diffuse_share_of, light_push, look_up, nearby, warm_gas

Array = NDArray[np.float64]
Integers = NDArray[np.int64]

# Steps: greatest change of the envelope (K) and of ln(pressure) in each, and greatest share of a run; after a change
# they begin at the least length and grow by the factor.
_MOST_K, _MOST_LOG, _MOST_SHARE = 2.5, 0.1, 1 / 16
_LEAST_SHARE, _GROWTH = 1 / 300, 2.0
# Steps from the change of the light to a later start of a run: greatest number, and factor from one to the next.
_MOST_RUNNING_IN, _IN_GROWTH = 24, 1.4
# Steps of the search for standstill and break-away, and the share of a step within which they are found.
_MOST_HALVINGS, _SHORT = 30, 1e-5
# Warmth of the vane over that of the gas about which two derivatives of the gas are taken, and how far ln(Kn) may move
# before they are computed again.
_FILM, _NEAR = 1.06, 0.3


class RunSteps(NamedTuple):
    """The steps of one or more runs, in order, with the surroundings of the rotor half way through each.

    Attributes
    ----------
    first : array of int, shape (runs + 1,)
        First step of each run.
    length_s, pressure, envelope_k, lamp_share : array of shape (steps,)
        Length, pressure relative to that noted for the run, temperature of the envelope and of the gas at rest, and
        share of the usual irradiance.
    viscosity, most_probable_speed : array of shape (steps,)
        Of the gas, Pa s and m/s.
    start_rad_s, start_share : array of shape (runs,)
        Speed at the start, and the share of the lamp under which the faces had settled before it.
    before_rad_s : array of shape (runs,)
        Speed at which the light changed, where that was some unknown time before the start: the rotor is followed from
        there until it has the speed of the start. Nan where the light changed at the start or later.
    signed : array of bool, shape (runs,)
        Whether the speed at the start has a sign; otherwise it has that of the torque under the lamp before it.
    """

    first: Integers
    length_s: Array
    pressure: Array
    envelope_k: Array
    lamp_share: Array
    viscosity: Array
    most_probable_speed: Array
    start_rad_s: Array
    start_share: Array
    before_rad_s: Array
    signed: NDArray[np.bool_]


def moments_of(around: Surroundings, wanted: Array) -> Array:
    """Return the moments between the closed-form steps, with the requested ones among them: fine after each change.

    Parameters
    ----------
    around : Surroundings
        Surroundings of the rotor from the first moment on.
    wanted : array
        Requested moments of the speed, ascending, s.
    """
    start, end = float(around.time_s[0]), float(wanted[-1])
    span = end - start
    lamp = np.flatnonzero(np.diff(around.lamp_share) != 0) + 1
    switched = [float(time) for time in around.time_s[lamp] if time < end]
    stops = np.union1d([one for one in (*switched, *wanted) if one > start], [end])
    log_p = np.log(around.pressure_pa)
    found, step = [start], _LEAST_SHARE * span
    for stop in stops:
        now = found[-1]
        while now < stop - 1e-6 * span:
            ahead = min(now + step, float(stop))
            moved_k, moved_log = (
                abs(np.interp(ahead, around.time_s, v) - np.interp(now, around.time_s, v))
                for v in (around.envelope_k, log_p)
            )
            over = max(moved_k / _MOST_K, moved_log / _MOST_LOG)
            if over > 1:
                ahead = now + (ahead - now) / over
            if stop - ahead < 0.3 * (ahead - now):
                ahead = float(stop)
            found.append(ahead)
            now, step = ahead, min(step * _GROWTH, _MOST_SHARE * span)
        found[-1] = float(stop)
        if stop in switched:
            step = _LEAST_SHARE * span
    return np.array(found)


def steps_of(
    runs: list[tuple[Surroundings, Array, float, float, float, bool]], rotor: RotorParameters
) -> tuple[RunSteps, list[Array]]:
    """Return the steps of runs, and the moments between them.

    Parameters
    ----------
    runs : list of (Surroundings, wanted, start_rad_s, start_share, before_rad_s, signed)
        Each with the requested moments and the start as in :class:`RunSteps`; pressures are relative to that noted for
        the run.
    rotor : RotorParameters
        The rotor, with its gas.
    """
    moments = [moments_of(run[0], run[1]) for run in runs]
    parts = []
    for (around, *_), time in zip(runs, moments, strict=True):
        middle = (time[1:] + time[:-1]) / 2
        place = np.searchsorted(around.time_s, middle, side="right") - 1
        envelope = np.interp(middle, around.time_s, around.envelope_k)
        gas = rotor.in_surroundings(envelope)
        parts.append(
            (
                np.diff(time), np.interp(middle, around.time_s, around.pressure_pa), envelope,
                around.lamp_share[place], np.broadcast_to(gas.viscosity_pa_s, envelope.shape),
                np.broadcast_to(gas.most_probable_speed_m_s, envelope.shape),
            )
        )  # fmt: skip
    length, pressure, envelope, lamp, viscosity, fastest = (
        np.ascontiguousarray(np.concatenate(column), dtype=float) for column in zip(*parts, strict=True)
    )
    first = np.concatenate([[0], np.cumsum([time.size - 1 for time in moments])]).astype(np.int64)
    start, share, before = (np.array([run[k] for run in runs], dtype=float) for k in (2, 3, 4))
    signed = np.array([run[5] for run in runs], dtype=bool)
    found = RunSteps(first, length, pressure, envelope, lamp, viscosity, fastest, start, share, before, signed)
    return found, moments


def no_steps() -> RunSteps:
    """Return the steps of no run."""
    none = np.zeros(0)
    first = np.zeros(1, dtype=np.int64)
    return RunSteps(first, none, none, none, none, none, none, none, none, none, np.zeros(0, dtype=bool))


@njit(cache=True)
def _gained(rate, left, other, other_left, span):  # type: ignore[no-untyped-def]
    """Return ``(exp(-other span) - exp(-rate span)) / (rate - other)``, given the two exponentials."""
    apart = (rate - other) * span
    if abs(apart) > 1e-3:
        return (other_left - left) / (rate - other)
    return other_left * span * (1.0 - apart / 2.0 * (1.0 - apart / 3.0))


@njit(cache=True)
def _between(low, at_low, high, at_high):  # type: ignore[no-untyped-def]
    """Return where a straight line through two points of opposite sign is zero, well inside them."""
    if at_low == at_high:
        return 0.5 * (low + high)
    share = at_low / (at_low - at_high)
    return low + (high - low) * min(max(share, 0.02), 0.98)


@njit(cache=True)
def _speed_after(span, start, rate, steady, slow, slow_rate, fast, fast_rate):  # type: ignore[no-untyped-def]
    """Speed a span after the start, under ``steady + slow exp(-slow_rate t) + fast exp(-fast_rate t)`` over inertia."""
    left, slow_left, fast_left = np.exp(-rate * span), np.exp(-slow_rate * span), np.exp(-fast_rate * span)
    found = start * left + steady * _gained(rate, left, 0.0, 1.0, span)
    found += slow * _gained(rate, left, slow_rate, slow_left, span)
    return found + fast * _gained(rate, left, fast_rate, fast_left, span)


@njit(error_model="numpy", cache=True)
def _look_round(x, q, table, c, by_x):  # type: ignore[no-untyped-def]
    """Write the gas at a ln(Kn) to `c`, two derivatives with the film in it, and the change of its logarithm with x.

    The last of `by_x` is that of the drag of the arms; their drag over that in free flight is returned.
    """
    aside, there = 0.1, np.empty((6, 3))
    for i in range(2):
        here = x + aside * i
        kn = np.exp(here)
        warm_gas(here, _FILM, kn / (1.0 + kn), diffuse_share_of(q[18]), q[33], q[18], table, there if i else c)
    for k in range(6):
        by_x[k] = np.log(there[k, 0] / c[k, 0]) / aside
    by_x[6] = 0.0
    if q[5] <= 0.0:
        return 0.0
    in_flight, on_arm, further = np.empty((2, 3)), np.empty((2, 3)), np.empty((2, 3))
    look_up(30.0, q[18], *table, in_flight)
    look_up(max(x + np.log(q[1] / q[5]), table[0][0]), q[18], *table, on_arm)
    look_up(max(x + aside + np.log(q[1] / q[5]), table[0][0]), q[18], *table, further)
    by_x[6] = np.log(further[1, 0] / on_arm[1, 0]) / aside
    return on_arm[1, 0] / in_flight[1, 0]


@njit(error_model="numpy", cache=True)
def run_speeds(run, pressure, q, factors, steps, table, speeds, kept):  # type: ignore[no-untyped-def]
    """Write the speed (rad/s) at the moments of one run, and the remaining share of a change at the start.

    Parameters
    ----------
    run : int
        Which of the runs.
    pressure : float
        Pressure noted for the run, Pa.
    q : array
        The rotor; see :class:`edgewind.rotor.speed_kernel.Place`.
    factors : array of shape (4,)
        On thermal force, drag and heat of the gas, and on the force of unequal accommodation besides the first.
    steps : RunSteps
        The steps.
    table : tuple of array
        Of :func:`edgewind.rotor.speed_kernel.table_arrays`.
    speeds, kept : array of shape (steps of the run + 1,)
        Written.
    """
    gas, c, by_x = np.empty((6, 3)), np.empty(7), np.empty(7)
    vanes, width, area, arm = q[0], q[1], q[2], q[4]
    black_dark, black_bright = q[11] * Stefan_Boltzmann, q[12] * Stefan_Boltzmann
    conductance, difference = q[13], q[31]
    thin, dense = 1.0 + q[23] / 2.0, q[34]
    half, inertia = q[35] / 2.0, q[36]
    dry, breakaway = q[15], max(q[15], q[16])
    lever = vanes * arm * area
    push = light_push(q)
    recoil = q[28] * lever * 2.0 / 3.0 / speed_of_light
    out = q[27] * lever * np.sqrt(np.pi) * q[14]
    on_vanes, on_arms = q[30] * vanes * area * (arm * arm + q[29]) * factors[1], arms_in_flight(q)
    begin, end = steps.first[run], steps.first[run + 1]
    # unpacked once: each access costs as much as a step
    lengths, pressures, envelopes, shares = steps.length_s, steps.pressure, steps.envelope_k, steps.lamp_share
    viscosities, fastest = steps.viscosity, steps.most_probable_speed
    speed, sensitivity = steps.start_rad_s[run], 1.0
    speeds[0], kept[0] = speed, 1.0
    te = envelopes[begin]
    dark = bright = te + 5.0
    looked, warming, kn_before, log_kn, more, arms = 1e300, 0.0, -1.0, 0.0, 1.0, 0.0
    settling = 40  # passes in which the faces settle under the light before the run
    running_in, target, in_step = 0, 0.0, lengths[begin]
    k = begin
    while k < end:
        still = settling > 0
        te, v0, p = envelopes[k], fastest[k], pressure * pressures[k]
        span = in_step if running_in > 0 else lengths[k]
        lit = steps.start_share[run] if still else shares[k]
        light = q[6] * q[7] * lit
        path = 0.5 * np.sqrt(np.pi) * viscosities[k] * v0
        kn = path / p / width
        film = (dark + bright) / 2.0 / te
        if not still:
            film += warming * span / 2.0
        if kn != kn_before:
            kn_before, log_kn = kn, np.log(kn)
            if abs(log_kn - looked) > _NEAR:
                looked = log_kn
                arms = _look_round(looked, q, table, gas, by_x)
            # HALF_WAY is compiled in: kept machine code knows of a new value only if this file is new, too.
            more = (dense + (thin - dense) * kn / (kn + HALF_WAY)) * factors[2]
        for i in range(6):
            c[i] = nearby(gas, i, film - _FILM)
        c[6] = arms
        if log_kn != looked:
            for i in range(7):
                c[i] *= np.exp((log_kn - looked) * by_x[i])
        drag = (on_vanes * c[1] + on_arms * c[6]) * p / v0 + q[17]
        per_difference = q[24] * lever * p / te * c[0] * factors[0]
        mean, apart = p * v0 / te * more * c[3] / 2.0, p * v0 / te * more * c[2]
        uneven = p * v0 / te * more * c[5] * difference
        by_warmth = q[26] * lever * p / te * c[4] * difference * factors[0] * factors[3]
        moved, moved_both = p * c[0] * speed * arm, p * c[4] * difference / 2.0 * speed * arm
        steep_dark, steep_bright = 4.0 * black_dark * dark**3, 4.0 * black_bright * bright**3
        over_dark = q[9] * light - black_dark * (dark**4 - te**4) - moved - moved_both
        over_dark -= (
            (mean + apart + uneven) * (dark - te) + (mean - apart) * (bright - te) + conductance * (dark - bright)
        )
        over_bright = q[10] * light - black_bright * (bright**4 - te**4) + moved - moved_both
        over_bright -= (
            (mean + apart - uneven) * (bright - te) + (mean - apart) * (dark - te) + conductance * (bright - dark)
        )
        # The faces near here: d/dt (dark, bright) = over/half - matrix (change), of a symmetric matrix.
        own_dark = (steep_dark + mean + apart + uneven + conductance) / half
        own_bright = (steep_bright + mean + apart - uneven + conductance) / half
        cross = (mean - apart - conductance) / half
        determinant = own_dark * own_bright - cross * cross
        to_dark = (own_bright * over_dark - cross * over_bright) / half / determinant
        to_bright = (own_dark * over_bright - cross * over_dark) / half / determinant
        if still:
            dark, bright = max(dark + to_dark, 1.0), max(bright + to_bright, 1.0)
            settling -= 1
            if max(abs(to_dark), abs(to_bright)) < 1e-6 or settling == 0:
                settling = 0
                torque = (
                    per_difference * (dark - bright) + by_warmth * ((dark + bright) / 2.0 - te) + push * lit + q[32]
                )
                if not steps.signed[run] and torque < 0.0:
                    speed = -abs(speed)
                    speeds[0] = speed
                if np.isfinite(steps.before_rad_s[run]):
                    running_in = _MOST_RUNNING_IN
                    target = abs(speed)
                    speed = np.sign(speed) * abs(steps.before_rad_s[run])
                    if abs(speed) <= target:
                        running_in, speed = 0, speeds[0]
            continue
        middle, aside = (own_dark + own_bright) / 2.0, (own_dark - own_bright) / 2.0
        root = np.sqrt(aside * aside + cross * cross)
        slow_rate, fast_rate = determinant / (middle + root), middle + root
        # Unit vector of the fast one; the remaining difference, -(to_dark, to_bright), in both.
        if aside >= 0.0:
            x, y = aside + root, cross
        else:
            x, y = cross, root - aside
        size = np.sqrt(x * x + y * y)
        x, y = (x / size, y / size) if size > 0.0 else (1.0, 0.0)
        fast, slow = -(to_dark * x + to_bright * y), -(to_bright * x - to_dark * y)
        end_dark, end_bright = dark + to_dark, bright + to_bright
        # Torque per kelvin of each face, the radiation among it, and its course over the inertia.
        by_dark = per_difference + by_warmth / 2.0 + recoil * steep_dark
        by_bright = -per_difference + by_warmth / 2.0 - recoil * steep_bright
        constant = per_difference * (end_dark - end_bright) + by_warmth * ((end_dark + end_bright) / 2.0 - te)
        radiated = black_dark * (dark**4 - te**4) + steep_dark * to_dark
        radiated -= black_bright * (bright**4 - te**4) + steep_bright * to_bright
        constant += recoil * radiated + push * lit + q[32] + out * p / v0
        by_fast = (by_dark * x + by_bright * y) * fast / inertia
        by_slow = (-by_dark * y + by_bright * x) * slow / inertia
        steady, rate = constant / inertia, drag / inertia
        done, inside = 0.0, running_in > 0
        if inside:  # no further than to the speed of the start
            held = steady - np.sign(speed) * dry / inertia
            after = _speed_after(span, speed, rate, held, by_slow, slow_rate, by_fast, fast_rate)
            running_in, in_step = running_in - 1, in_step * _IN_GROWTH
            if after * np.sign(speed) < target:
                low, at_low, high, at_high = 0.0, abs(speed) - target, span, after * np.sign(speed) - target
                for _turn in range(_MOST_HALVINGS):
                    at = _between(low, at_low, high, at_high)
                    there = _speed_after(at, speed, rate, held, by_slow, slow_rate, by_fast, fast_rate)
                    value = there * np.sign(speed) - target
                    if value > 0.0:
                        low, at_low = at, value
                        at_high *= 0.5
                    else:
                        high, at_high = at, value
                        at_low *= 0.5
                    if abs(value) < _SHORT * target:
                        high = at
                        break
                span, running_in = high, 0
        for _ in range(8):
            sense = np.sign(speed)
            if sense == 0.0:
                torque = steady + by_slow * np.exp(-slow_rate * done) + by_fast * np.exp(-fast_rate * done)
                if abs(torque) * inertia > breakaway:
                    sense = np.sign(torque)
            left = span - done
            if sense == 0.0:  # it stands: until the torque passes that of the pivot, if it does
                last = steady + by_slow * np.exp(-slow_rate * span) + by_fast * np.exp(-fast_rate * span)
                if abs(last) * inertia <= breakaway * (1.0 + 1e-9):
                    break
                # nearly straight within a step: the place between both ends, and once more on the side it lies
                at_low = breakaway / inertia - abs(
                    steady + by_slow * np.exp(-slow_rate * done) + by_fast * np.exp(-fast_rate * done)
                )
                low, high, at_high = done, span, breakaway / inertia - abs(last)
                for _turn in range(_MOST_HALVINGS):
                    at = _between(low, at_low, high, at_high)
                    there = steady + by_slow * np.exp(-slow_rate * at) + by_fast * np.exp(-fast_rate * at)
                    value = breakaway / inertia - abs(there)
                    if value < 0.0:
                        high, at_high = at, value
                        at_low *= 0.5
                    else:
                        low, at_low = at, value
                        at_high *= 0.5
                    if high - low < _SHORT * span:
                        break
                done = high
                continue
            held = steady - sense * dry / inertia
            slow_now, fast_now = by_slow, by_fast
            if done > 0.0:
                slow_now, fast_now = by_slow * np.exp(-slow_rate * done), by_fast * np.exp(-fast_rate * done)
            after = _speed_after(left, speed, rate, held, slow_now, slow_rate, fast_now, fast_rate)
            if after * sense >= 0.0 or breakaway == 0.0:
                speed = after
                sensitivity *= np.exp(-rate * left)
                break
            low, at_low, high, at_high = 0.0, speed, left, after
            for _turn in range(_MOST_HALVINGS):
                at = _between(low, at_low, high, at_high)
                there = _speed_after(at, speed, rate, held, slow_now, slow_rate, fast_now, fast_rate)
                if there * sense > 0.0:
                    low, at_low = at, there
                    at_high *= 0.5
                else:
                    high, at_high = at, there
                    at_low *= 0.5
                if high - low < _SHORT * span or abs(there) < _SHORT * abs(speeds[0]):
                    high = at
                    break
            done += high
            speed = sensitivity = 0.0
            if high < 1e-12 * span:  # at rest as it began to turn: the pivot holds it for the rest of this step
                break
        left_fast, left_slow = fast * np.exp(-fast_rate * span), slow * np.exp(-slow_rate * span)
        before = (dark + bright) / 2.0
        dark, bright = end_dark + left_fast * x - left_slow * y, end_bright + left_fast * y + left_slow * x
        warming = ((dark + bright) / 2.0 - before) / te / max(span, 1e-9)
        if inside:
            if running_in == 0:
                speed, sensitivity = np.sign(speeds[0]) * target, 1.0
            continue
        k += 1
        speeds[k - begin], kept[k - begin] = speed, sensitivity
        if k < end and shares[k] != shares[k - 1]:
            warming = 0.0
