"""Two rotors compared: the exponent of the optimum pressure on the width of the vane."""

from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from edgewind.evidence import Findings, Optimum, SweepData, compare_sizes, find_optimum
from edgewind.evidence.sizes import _sentence
from edgewind.signals import Experiment


@pytest.fixture
def findings(make_bench):
    """Return findings with an optimum and a width only, read with one gauge or with another."""

    @cache
    def bench_of(width_mm, own_gauge):
        gauge = {"noise": "3 mV"} if own_gauge else {}
        return make_bench(rotor={"vane_width": f"{width_mm} mm", "arm": "25 mm"}, gauge=gauge)

    def make(name, width_mm, optimum, own_gauge=False):
        bench = bench_of(width_mm, own_gauge)
        experiment = Experiment(name, Path(name), bench, pd.DataFrame(), {}, (), ())
        return Findings(experiment, optimum, None, None, (), (), None)

    return make


def about(middle_pa, spread, seed, level=0.90):
    """Return an optimum given by draws alone."""
    draws = middle_pa * np.exp(spread * np.random.default_rng(seed).standard_normal(4000))
    low, middle, high = np.quantile(draws, [(1 - level) / 2, 0.5, (1 + level) / 2])
    return Optimum(
        found=True, pressure_pa=middle, interval_pa=(low, high), level=level, speed_rad_s=30.0, speed_u_rad_s=0.3,
        draws_pa=draws,
    )  # fmt: skip


def swept(place_pa, seed, common=0.0):
    """Return the optimum of an invented sweep with a known maximum."""
    pressure = np.geomspace(place_pa / 30, 30 * place_pa, 20)
    x = pressure / place_pa
    noise = 0.2 * np.random.default_rng(seed).standard_normal(20)
    data = SweepData(
        pressure, np.full(20, 0.01), 30 * 4 * x / (1 + x) ** 2 + noise, np.full(20, 0.2), common_log_pressure_u=common
    )
    return find_optimum(data, level=0.90, seed=seed)


@pytest.mark.parametrize("exponent", [-1.0, -0.5, 0.0, 1.0])
def test_a_known_exponent_is_recovered(findings, exponent):
    narrow = findings("narrow", 12, about(1.0, 0.05, 1))
    wide = findings("wide", 20, about((20 / 12) ** exponent, 0.05, 2), own_gauge=True)
    found = compare_sizes(narrow, wide)
    assert found.exponent == pytest.approx(exponent, abs=0.02)
    assert found.exponent_interval[0] < exponent < found.exponent_interval[1]
    assert found.width_ratio == pytest.approx(20 / 12)
    assert found.pressure_ratio == pytest.approx((20 / 12) ** exponent, rel=0.01)


def test_uncertainties_of_the_two_optima_add_in_quadrature(findings):
    """``1.645 * hypot(0.05, 0.12)`` in the logarithm of the ratio, to each side."""
    narrow = findings("narrow", 12, about(1.0, 0.05, 1))
    wide = findings("wide", 20, about(0.6, 0.12, 2), own_gauge=True)
    low, high = np.log(compare_sizes(narrow, wide).pressure_ratio_interval)
    assert high - low == pytest.approx(2 * 1.645 * 0.13, rel=0.05)


def test_the_order_of_the_two_does_not_matter(findings):
    narrow, wide = findings("narrow", 12, about(1.0, 0.05, 1)), findings("wide", 20, about(0.6, 0.05, 2))
    assert compare_sizes(narrow, wide) == compare_sizes(wide, narrow)
    assert compare_sizes(wide, narrow).names == ("narrow", "wide")


def test_the_interval_of_the_exponent_has_its_stated_coverage(findings):
    """200 seeded pairs whose optima lie about the truth as their draws say; 90 % intervals, true exponent -1."""
    inside = 0
    for seed in range(200):
        random = np.random.default_rng(seed)
        narrow = findings("narrow", 12, about(np.exp(0.05 * random.standard_normal()), 0.05, seed))
        wide = findings(
            "wide", 20, about(0.6 * np.exp(0.10 * random.standard_normal()), 0.10, seed + 1000), own_gauge=True
        )
        low, high = compare_sizes(narrow, wide, seed=seed).exponent_interval
        inside += low <= -1 <= high
    assert 0.84 <= inside / 200 <= 0.96


def test_a_factor_of_a_shared_gauge_cancels_in_the_exponent(findings):
    narrow, wide = swept(1.0, 1, common=0.3), swept(0.6, 2, common=0.3)
    one = compare_sizes(findings("narrow", 12, narrow), findings("wide", 20, wide))
    two = compare_sizes(findings("narrow", 12, narrow), findings("wide", 20, wide, own_gauge=True))
    assert one.shared_gauge and not two.shared_gauge
    spans = [float(np.diff(found.exponent_interval)[0]) for found in (one, two)]
    assert spans[0] < spans[1] / 2
    exact = compare_sizes(findings("narrow", 12, swept(1.0, 1)), findings("wide", 20, swept(0.6, 2)))
    ratio = np.log(20 / 12)
    # ln(1/0.6) apart, by lengths of half a decade, one and two.
    alike = np.exp(-0.5 * (ratio / (np.log(10) * np.array([0.5, 1.0, 2.0]))) ** 2).mean()
    left = 2 * 1.645 * 0.3 * np.sqrt(1 - alike) / ratio
    assert spans[0] == pytest.approx(np.hypot(np.diff(exact.exponent_interval)[0], left), rel=0.1)
    assert one.exponent_interval[0] < -1 < one.exponent_interval[1]


def test_the_sentence_claims_only_what_the_numbers_show(findings):
    narrow = findings("narrow", 12, about(1.0, 0.05, 1))
    inside = compare_sizes(narrow, findings("wide", 20, about(0.6, 0.05, 2))).sentence
    outside = compare_sizes(narrow, findings("wide", 20, about(1.5, 0.05, 2))).sentence
    assert "1.67 times as wide" in inside and "90 % interval" in inside
    assert "the -1 of a fixed Knudsen number is inside that interval" in inside
    assert "the -1 of a fixed Knudsen number is outside that interval" in outside
    assert inside.endswith("this is a comparison and not yet a law.")


@pytest.mark.parametrize(("high", "where"), [(-1.0025, "at an end of"), (-1.012, "outside"), (-0.992, "inside")])
def test_the_sentence_calls_an_end_that_is_printed_as_minus_one_an_end(high, where):
    """An interval printed as ending at -1.00 neither contains -1 nor excludes it, whatever further digits say."""
    words = _sentence(1.67, 0.56, (0.5, 0.6), -1.14, (-1.294, high), 0.9)
    assert f"the -1 of a fixed Knudsen number is {where} that interval" in words


def test_a_comparison_needs_two_optima_of_two_widths(findings):
    known = about(1.0, 0.05, 1)
    unknown = Optimum(found=False, reason="too few readings")
    assert compare_sizes(findings("a", 12, known), findings("b", 12, known)) is None
    assert compare_sizes(findings("a", 12, known), findings("b", 20, unknown)) is None
