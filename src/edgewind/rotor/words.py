"""Text of a prediction."""

from __future__ import annotations

from collections.abc import Iterator

from edgewind.bench.faces import FACES
from edgewind.formatting import RPM_PER_RAD_S, format_interval, format_number, text_table
from edgewind.rotor.drives import NAMES
from edgewind.rotor.parameters import DEFAULT_ACCOMMODATION, DEFAULT_CONDUCTANCE
from edgewind.rotor.predict import CurveOptimum, OptimumRange, Prediction
from edgewind.units import from_si


def answer_lines(found: Prediction) -> Iterator[str]:
    """Yield both optima, and the assumptions for unstated keys."""
    return map(found.bench.shown.text, _answer_lines(found))


def _answer_lines(found: Prediction) -> Iterator[str]:
    if len(found.table) > 1:
        yield _optimum("greatest speed ", found.speed, RPM_PER_RAD_S, "rpm")
        yield _optimum("greatest torque", found.force, 1.0, "N m")
    if found.speed_range is not None:
        yield _range(found.speed_range)
    yield "speed and torque are positive when the bright face leads"
    yield from assumptions(found)


# A drive below this share of the torque at every pressure has no column in the table.
_LEAST_SHARE = 0.1


def table_lines(found: Prediction, *, every: int = 1) -> Iterator[str]:
    """Yield the lines of the table, with units: a selection of its pressures, and the significant drives."""
    least = _LEAST_SHARE * found.table["torque_n_m"].abs()
    torque = {key: found.table[f"torque_{key}_n_m"].abs() for key in NAMES}
    torques = [key for key in NAMES if (torque[key] > least).any()]
    small = [NAMES[key] for key in NAMES if key not in torques and (torque[key] > 0).any()]
    titles = ["pressure", "Kn", "speed", "torque", "drag", "dark face", "bright face", *(NAMES[key] for key in torques)]
    units = ["Pa", "", "rpm", "N m", "N m s", "K", "K", *("N m" for _ in torques)]
    rows = [titles, units]
    for record in found.table.iloc[::every].to_dict("records"):
        values = [
            format_number(record["pressure_pa"], 3),
            format_number(record["knudsen"], 3),
            format_number(RPM_PER_RAD_S * record["speed_rad_s"], 3),
            f"{record['torque_n_m']:.2e}",
            f"{record['drag_n_m_s']:.2e}",
            f"{record['t_hot_k']:.2f}",
            f"{record['t_cold_k']:.2f}",
            *(f"{record[f'torque_{key}_n_m']:.2e}" for key in torques),
        ]
        rows.append(values)
    above, rows[0] = map(list, zip(*map(_in_two, titles), strict=True))
    yield from text_table([above, *found.bench.shown.table(rows)])
    if small:
        yield f"below {100 * _LEAST_SHARE:g} % of the torque at every pressure: {', '.join(small)}"


def _in_two(title: str) -> tuple[str, str]:
    """Return a title in two lines; the first is empty for a short title."""
    if len(title) <= 12:
        return "", title
    at = min((k for k, sign in enumerate(title) if sign == " "), key=lambda k: abs(2 * k - len(title)))
    return title[:at], title[at + 1 :]


def _range(over: OptimumRange) -> str:
    low, high = (format_number(end, 3) for end in over.pressure_pa)
    least, most = over.emissivity
    slow, fast = (format_number(RPM_PER_RAD_S * end, 3) for end in over.speed_rad_s)
    place = f"somewhere from {low} to {high} Pa" + ("" if over.every else ", or outside the given pressures")
    common = "; ".join(f"{face.name} {face.emissivity}" for face in FACES if face.bright)
    return (
        f"rotor.bright_emissivity is not given: for {least:g} to {most:g} the speed is greatest {place}, at {slow} to "
        f"{fast} rpm. State it first; common faces: {common}"
    )


def _optimum(name: str, at: CurveOptimum, scale: float, unit: str) -> str:
    mtorr = float(from_si(at.pressure_pa, "mTorr", "pressure"))
    place = (
        f"{format_number(at.pressure_pa, 3)} Pa ({format_number(mtorr, 3)} mTorr), Kn {format_number(at.knudsen, 2)}"
    )
    edge = "" if at.found else ", at the edge of the given pressures: no optimum shown"
    line = f"{name}  {place}: {format_number(scale * at.value, 3)} {unit}{edge}"
    if at.interval_pa is not None and at.value_interval is not None:
        least, most = sorted(scale * end for end in at.value_interval)
        line += (
            f"; with the error of the model {format_interval(*at.interval_pa, 'Pa', digits=2)}, "
            f"{format_interval(least, most, unit, digits=2)} ({100 * at.level:g} %)"
        )
    elif at.found and at.reason:
        line += f"; with the error of the model {at.reason}"
    return line if at.flat_pa is None else f"{line}; {flat_words(at.flat_pa)}"


def flat_words(flat_pa: tuple[float, float]) -> str:
    """Return a clause on the range in which a curve is flat within 1 %."""
    low, high = (format_number(end, 2) for end in flat_pa)
    return f"flat from {low} to {high} Pa, within 1 %"


def _from(fitted: bool) -> str:
    return "found by the fit" if fitted else "assumed"


def assumptions(found: Prediction) -> Iterator[str]:
    """Yield a sentence for each significant value that the bench does not state."""
    rotor, taken = found.bench.rotor, found.parameters
    if rotor.vane_conductance is None:
        through = f"{format_number(taken.vane_conductance_w_m2_k, 3)} W/(m^2 K) through the vane"
        fitted = taken.vane_conductance_w_m2_k != DEFAULT_CONDUCTANCE
        yield f"{_from(fitted)}: {through} (rotor.vane_conductance is not given)"
    if rotor.dark_emissivity is None:
        yield "assumed: the dark face emits as it absorbs (rotor.dark_emissivity is not given)"
    if rotor.bright_reflection is None or rotor.dark_reflection is None:
        yield (
            "assumed: reflection between diffuse and mirror, where rotor.dark_reflection or bright_reflection is not "
            "given"
        )
    if rotor.mean_accommodation is None:
        share, fitted = format_number(taken.accommodation, 3), taken.accommodation != DEFAULT_ACCOMMODATION
        yield f"{_from(fitted)}: accommodation {share} (rotor.accommodation is not given)"
    if rotor.pivot_dry_torque is None:
        dry = f"a pivot of {format_number(taken.pivot_dry_n_m, 2)} N m of dry friction"
        friction = dry if taken.pivot_dry_n_m else "a pivot without friction"
        yield f"{_from(bool(taken.pivot_dry_n_m))}: {friction} (rotor.pivot_dry_torque is not given)"
    if found.response_source:
        yield f"gas: {found.response_source}"
