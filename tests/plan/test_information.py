"""Information of a reading: against the closed form of jointly normal quantities."""

from __future__ import annotations

import numpy as np
import pytest

from edgewind.evidence import ResponseCurve, SweepData
from edgewind.plan.information import InformationGain, expected_noise
from edgewind.plan.spread import IntervalWidth, bits_of

SIGMA, NOISE, DRAWS = 0.05, 0.1, 32_768


@pytest.fixture(scope="module")
def parabolas() -> InformationGain:
    """Curves 1 - (x - z)^2 with z normal: f(x) is nearly linear in z, so that the information has a closed form."""
    random = np.random.default_rng(3)
    x = np.linspace(-1.0, 1.0, 41)
    z = SIGMA * random.standard_normal(DRAWS)
    draws = 1.0 - (x - z[:, None]) ** 2
    data = SweepData(np.exp(x[::8]), np.zeros(6), 1.0 - x[::8] ** 2, np.full(6, NOISE))
    curve = ResponseCurve(
        np.exp(x), draws.mean(0), draws.std(0), draws, 0.0, (0.0, 0.0), 1.0, (1.0, 1.0), 0.0, 9.0, data,
        np.zeros(0), np.zeros((0, 0)),
    )  # fmt: skip
    return InformationGain(curve)


def _ratio(x: float) -> float:
    """Variance of f(x) = 1 - x^2 + 2 x z - ... over that of the noise."""
    return (2 * x * SIGMA / NOISE) ** 2


@pytest.mark.parametrize("place", [0, 8, 12, 28, 36])
def test_information_of_one_reading_is_that_of_two_jointly_normal_quantities(
    parabolas: InformationGain, place: int
) -> None:
    """I(z; y) = log2(1 + s^2 / n^2) / 2 for y = s z + n (Cover and Thomas 2006, section 9.1, Gaussian channel)."""
    x = float(parabolas.curve.log_pressure[place])
    assert parabolas.information()[place] == pytest.approx(0.5 * np.log2(1 + _ratio(x)), rel=0.1, abs=0.004)


def test_a_reading_at_the_top_of_a_known_parabola_has_no_information(parabolas: InformationGain) -> None:
    assert parabolas.information()[20] < 0.005


def test_information_of_a_second_reading_excludes_that_of_the_first(parabolas: InformationGain) -> None:
    x = float(parabolas.curve.log_pressure[0])
    both = 0.5 * np.log2(1 + 2 * _ratio(x))
    first = parabolas.information()[0]
    second = parabolas.information([0])[0]
    assert second == pytest.approx(both - 0.5 * np.log2(1 + _ratio(x)), rel=0.15)
    assert second < first


def test_expected_noise_follows_the_stated_uncertainties(parabolas: InformationGain) -> None:
    assert expected_noise(parabolas.curve) == pytest.approx(np.full(41, NOISE**2), rel=1e-6)
    data = parabolas.curve.data
    twice = SweepData(data.pressure_pa, np.full(6, 0.1), data.speed_rad_s, data.speed_u_rad_s)
    steep = ResponseCurve(**(vars(parabolas.curve) | {"data": twice, "excess_rad_s": 0.3}))
    slope = np.gradient(steep.mean, steep.log_pressure)
    assert expected_noise(steep) == pytest.approx(NOISE**2 + (0.1 * slope) ** 2 + 0.09, rel=1e-6)


def test_one_bit_halves_the_reducible_part_of_the_width() -> None:
    free = IntervalWidth(-0.2, 0.0, 0.2, 0.2, 0.0)
    assert np.log(free.after(1.0)) == pytest.approx([-0.1, 0.1])
    bound = IntervalWidth(-0.2, 0.0, 0.2, 0.0, 0.2)
    assert np.log(bound.after(5.0)) == pytest.approx([-0.2, 0.2])
    assert bits_of((0.5, 2.0), (2**-0.5, 2**0.5)) == pytest.approx(1.0)
