"""The steps of the apparatus in time, compiled: Dormand and Prince's 5(4) pair, and the pivot that catches and lets go.

Source of the pair: J. R. Dormand and P. J. Prince, J. Comput. Appl. Math. 6, 19 (1980), table 2.
"""

from __future__ import annotations

from enum import IntEnum

import numpy as np
from scipy.constants import Stefan_Boltzmann

from edgewind.compiled import njit


class State(IntEnum):
    """Places in the state of the apparatus."""

    PRESSURE = 0  # Pa
    GAUGE = 1  # pressure that the gauge has caught up with, Pa
    DARK = 2  # K
    BRIGHT = 3  # K
    ENVELOPE = 4  # K
    SPEED = 5  # rad/s
    TURNS = 6
    VALVE = 7  # voltage that the valve has caught up with, V
    LAMP = 8  # share of full light


class Input(IntEnum):
    """Places in the flat array of what the steps depend on; commands change valve, lamp and envelope."""

    VALVE_TO = 0  # V
    LAMP_TO = 1  # share of full light
    VOLUME = 2
    PUMPING = 3
    OUTGASSING = 4
    FLOW_AT_ZERO = 5  # flow that the log-linear law gives at 0 V, which is taken off it
    VOLTS_PER_E = 6
    VALVE_LAG = 7
    GAUGE_LAG = 8
    LAMP_LAG = 9
    ENVELOPE_LAG = 10
    ROOM_K = 11  # that the envelope comes to with the lamp off
    LAMP_WARMS = 12
    GAS_K = 13  # temperature at which the table of the gas was made
    LIGHT_DARK = 14  # absorbed by the dark face in full light, W/m^2
    LIGHT_BRIGHT = 15
    DARK_EMISSIVITY = 16
    BRIGHT_EMISSIVITY = 17
    THROUGH = 18
    HALF_HEAT = 19
    DRY = 20
    BREAKAWAY = 21
    VISCOUS = 22
    INERTIA = 23
    GAS_ABOVE_K = 24  # of the gas above the envelope
    KNUDSEN_POWER = 25  # of the temperature, at one pressure
    RECOIL = 26  # torque per net flux of infrared that the dark face gives off, N m/(W/m^2)
    FILM_POWER = 27  # of the temperature in the viscosity of the film round the vanes; 0 where the gas is linear
    KNUDSEN = 28  # of a vane, at 1 Pa and the temperature of the table
    DIFFUSE = 29  # share of the free-molecular drag that is re-emitted diffusely


STATES, INPUTS = len(State), len(Input)
ROW = 3 + 4 * STATES
"""A step as kept: start, length, state and rates at its start, the same at its end, sense of the motion."""
LONGEST_STEP_S, SHORTEST_STEP_S = 0.1, 1e-7
RTOL = 1e-6
ATOL = np.array([1e-9, 1e-9, 1e-6, 1e-6, 1e-6, 1e-7, 1e-7, 1e-6, 1e-7])

_C = np.array([0.0, 1 / 5, 3 / 10, 4 / 5, 8 / 9, 1.0, 1.0])
_A = np.array(
    [
        [0, 0, 0, 0, 0, 0],
        [1 / 5, 0, 0, 0, 0, 0],
        [3 / 40, 9 / 40, 0, 0, 0, 0],
        [44 / 45, -56 / 15, 32 / 9, 0, 0, 0],
        [19372 / 6561, -25360 / 2187, 64448 / 6561, -212 / 729, 0, 0],
        [9017 / 3168, -355 / 33, 46732 / 5247, 49 / 176, -5103 / 18656, 0],
        [35 / 384, 0, 500 / 1113, 125 / 192, -2187 / 6784, 11 / 84],
    ]
)
_E = np.array([71 / 57600, 0.0, -71 / 16695, 71 / 1920, -17253 / 339200, 22 / 525, -1 / 40])  # fifth order less fourth


@njit(error_model="numpy", cache=True)
def drive(y, q, log_least, step, rows, out):  # type: ignore[no-untyped-def]
    """Write the eight coefficients of the gas at the state `y` to `out`; return the torque of the drives, N m.

    The gas takes the temperature of the envelope. The table, made at one temperature, is looked up at the pressure
    of the same Knudsen number; force goes with ``p / T``, heat and drag with ``p / sqrt(T)``. Round a vane warmer than
    the gas it is that of the film, with the factors of finite warmth in free flight, as in `edgewind.rotor.film`.
    """
    gas = y[4] + q[24]
    colder = q[13] / gas
    log_p = np.log(max(y[0], 1e-300)) + q[25] * np.log(colder)
    warmth = (y[2] + y[3]) / 2.0 / gas
    place = (log_p - q[27] * np.log((1.0 + warmth) / 2.0) - log_least) / step
    place = min(max(place, 0.0), rows.shape[0] - 1.000001)
    k = int(place)
    share = place - k
    for j in range(8):
        out[j] = rows[k, j] + share * (rows[k + 1, j] - rows[k, j])
    root = np.sqrt(colder)
    out[0] *= root
    out[1] *= colder
    out[2] *= colder
    out[3] *= root
    out[4] *= root
    if q[27] != 0.0:
        kn = q[28] * np.exp(-log_p)
        thin = kn / (1.0 + kn) if kn < 1e15 else 1.0
        warm = np.sqrt(warmth)
        out[0] *= (1.0 + q[29] * (warm - 1.0)) ** thin
        out[1] *= warm**-thin
        out[2] *= (2.0 / (1.0 + warm)) ** thin
        out[5] *= warm**-thin
    outside = y[4] ** 4
    infrared = q[16] * (y[2] ** 4 - outside) - q[17] * (y[3] ** 4 - outside)
    pushed = max(y[0], 0.0) * (out[1] * (y[2] - y[3]) + out[2] * ((y[2] + y[3]) / 2.0 - gas))
    return pushed + q[26] * Stefan_Boltzmann * infrared + out[6] + out[7] * y[8]


@njit(error_model="numpy", cache=True)
def rates(t, y, mode, q, tones, log_least, step, rows, c, dy):  # type: ignore[no-untyped-def]
    """Write the rates of the state to `dy`; `mode` is the sense of the motion, or 0 where the pivot holds.

    `tones`, shape (n, 3), are angular frequency, phase and relative strength of the wandering of the light.
    """
    torque = drive(y, q, log_least, step, rows, c)
    p = max(y[0], 0.0)
    flow = q[4] + q[5] * np.expm1(y[7] / q[6])
    dy[0] = (flow - q[3] * p) / q[2]
    dy[1] = (p - y[1]) / q[8]
    dark, bright = y[2], y[3]
    mean = p * c[3] * (dark + bright - 2.0 * (y[4] + q[24]))
    apart = p * c[4] * (dark - bright)
    moved = p * c[5] * y[5]
    through = q[18] * (dark - bright)
    outside = y[4] ** 4
    light = y[8]
    dy[2] = (q[14] * light - q[16] * Stefan_Boltzmann * (dark**4 - outside) - mean - apart - moved - through) / q[19]
    dy[3] = (q[15] * light - q[17] * Stefan_Boltzmann * (bright**4 - outside) - mean + apart + moved + through) / q[19]
    dy[4] = (q[11] + q[12] * light - y[4]) / q[10]
    if mode == 0:
        dy[5] = 0.0
        dy[6] = 0.0
    else:
        dy[5] = (torque - mode * q[20] - (c[0] * p + q[22]) * y[5]) / q[23]
        dy[6] = y[5] / (2.0 * np.pi)
    dy[7] = (q[0] - y[7]) / q[7]
    wander = 1.0
    for k in range(tones.shape[0]):
        wander += tones[k, 2] * np.sin(tones[k, 0] * t + tones[k, 1])
    dy[8] = (q[1] * max(wander, 0.0) - y[8]) / q[9]


@njit(error_model="numpy", cache=True)
def advance(t, y, mode, h, until, exact, q, tones, log_least, step, rows, out):  # type: ignore[no-untyped-def]
    """Take steps until `until` is reached or passed, or `out` is full; reach it to the last bit where `exact`.

    Returns the number of steps written to `out`, the time, the sense of the motion and the next step. `y` is changed
    in place. Where the speed passes through zero the step ends there, and the pivot holds until the torque of the
    drives is greater than its break-away.
    """
    n = y.size
    k = np.empty((7, n))
    c = np.empty(8)
    new = np.empty(n)
    trial = np.empty(n)
    written = 0
    if mode == 0:
        torque = drive(y, q, log_least, step, rows, c)
        if abs(torque) > q[21]:
            mode = 1 if torque > 0 else -1
    rates(t, y, mode, q, tones, log_least, step, rows, c, k[0])
    crossing = False
    while t < until and written < out.shape[0]:
        last = exact and t + h >= until
        taken = until - t if last else h
        for stage in range(1, 7):
            for i in range(n):
                total = 0.0
                for j in range(stage):
                    total += _A[stage, j] * k[j, i]
                trial[i] = y[i] + taken * total
            rates(t + _C[stage] * taken, trial, mode, q, tones, log_least, step, rows, c, k[stage])
        worst = 0.0
        for i in range(n):
            new[i] = trial[i]
            error = 0.0
            for j in range(7):
                error += _E[j] * k[j, i]
            scale = ATOL[i] + (0.0 if i == 6 else RTOL * max(abs(y[i]), abs(new[i])))
            worst = max(worst, abs(taken * error) / scale)
        if worst > 1.0 and taken > SHORTEST_STEP_S:
            h = max(taken * max(0.9 * worst**-0.2, 0.2), SHORTEST_STEP_S)
            crossing = False
            continue
        passed = mode != 0 and new[5] * mode < 0.0
        if passed and not crossing and taken > 1e-6:
            # The speed has changed its sign: take the step again up to where it was zero, by the secant.
            h = max(taken * abs(y[5]) / (abs(y[5]) + abs(new[5])), 1e-7)
            crossing = True
            continue
        row = out[written]
        row[0] = t
        row[1] = taken
        for i in range(n):
            row[2 + i] = y[i]
            row[2 + n + i] = k[0, i]
            row[2 + 2 * n + i] = new[i]
            row[2 + 3 * n + i] = k[6, i]
            y[i] = new[i]
            k[0, i] = k[6, i]
        row[2 + 4 * n] = mode
        written += 1
        t = until if last else t + taken
        if not last or taken >= h:
            grown = taken * min(0.9 * max(worst, 1e-10) ** -0.2, 5.0)
            h = min(max(grown, SHORTEST_STEP_S), LONGEST_STEP_S)
        stopped = crossing or passed
        crossing = False
        if stopped:
            y[5] = 0.0
            mode = 0
        if mode == 0:
            torque = drive(y, q, log_least, step, rows, c)
            if abs(torque) > q[21]:
                mode = 1 if torque > 0 else -1
            if stopped or mode != 0:
                rates(t, y, mode, q, tones, log_least, step, rows, c, k[0])
                if mode != 0:
                    h = min(h, 1e-3)
    return written, t, mode, h
