"""Comparison of a gauge with a reference gauge."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgewind.errors import InputError
from edgewind.signals import compare_gauges
from edgewind.signals.comparison import compare_pairs


def invented_pairs(random, *, pairs=12, factor=1.2, slope=0.0, scatter=0.02):
    """Pairs over three decades, with a true correction about the pressure of 1 Pa."""
    indicated = np.exp(random.uniform(np.log(0.03), np.log(30), pairs))
    reference = indicated * factor * indicated**slope * np.exp(random.normal(0, scatter, pairs))
    return indicated, reference


def test_exact_pairs_give_their_factor_and_slope():
    indicated = np.geomspace(0.01, 10, 9)
    found = compare_gauges(indicated, 1.3 * indicated * (indicated / 0.1) ** 0.05)
    assert found.slope == pytest.approx(0.05, abs=1e-6)
    assert found.factor * (1 / found.pivot_pa) ** 0.05 == pytest.approx(1.3 * 10**0.05, rel=1e-6)
    assert found.pairs == 9


def test_a_comparison_worked_by_hand():
    """In the manner of ISO 3567:2011 (direct comparison, error of indication at each pressure) and ISO 27893:2011
    (uncertainties in quadrature): four pairs with errors of 2, 4, 4 and 6 % in the logarithm and 2 % for each, so a
    mean of 4 % with 2 %/sqrt(4) = 1 %; chi-square is (1 + 0 + 0 + 1) on three degrees of freedom; the certificate of
    the reference, 1 %, does not average out.
    """
    indicated = np.array([0.1, 1.0, 1.0, 10.0])
    errors = np.array([0.04, 0.02, 0.06, 0.04])
    found = compare_gauges(
        indicated,
        indicated * np.exp(errors),
        log_u=0.016,
        reference_log_u=0.012,
        reference_log_u_common=0.01,
    )
    assert found.factor == pytest.approx(np.exp(0.04))
    assert found.factor_u / found.factor == pytest.approx(np.hypot(0.01, 0.01))
    assert (found.slope, found.slope_u) == (0.0, 0.0)
    assert found.pivot_pa == pytest.approx(1.0)
    assert found.scatter == 0.0
    assert found.p_value == pytest.approx(0.5724, abs=1e-4)  # chi-square of 2 on 3 degrees of freedom, by table


def test_unequal_uncertainties_are_weighted_by_their_inverse_squares():
    """Errors of 0 and 0 at 1 % and of 3 % at 2 %: ``(0 * 1e4 + 0 * 1e4 + 0.03 * 2.5e3) / 2.25e4 = 0.00333``."""
    indicated = np.array([1.0, 2.0, 3.0])
    found = compare_gauges(indicated, indicated * np.exp([0.0, 0.0, 0.03]), log_u=[0.01, 0.01, 0.02])
    assert np.log(found.factor) == pytest.approx(0.03 * 2500 / 22500)
    assert found.factor_u / found.factor == pytest.approx(22500**-0.5)


def test_excess_scatter_is_added_as_by_mandel_and_paule(published):
    """Source: J. Mandel and R. C. Paule, Interlaboratory evaluation of a material with unequal numbers of replicates,
    Anal. Chem. 42, 1194 (1970): the variance added makes chi-square equal to its degrees of freedom. With equal
    uncertainties s the total variance is then the sample variance.
    """
    indicated = np.array([1.0, 2.0, 3.0])
    errors = np.array([-0.1, 0.0, 0.1])
    found = compare_gauges(indicated, indicated * np.exp(errors), log_u=0.03)
    assert found.scatter == pytest.approx(np.sqrt(0.1**2 - 0.03**2))
    published("relative standard uncertainty of the factor", found.factor_u / found.factor, 0.1 / np.sqrt(3), rel=1e-6)
    assert found.p_value < 1e-4


def test_without_stated_uncertainties_the_scatter_of_the_pairs_is_used():
    indicated = np.array([1.0, 2.0, 3.0])
    found = compare_gauges(indicated, indicated * np.exp([-0.1, 0.0, 0.1]))
    assert found.factor_u / found.factor == pytest.approx(0.1 / np.sqrt(3), rel=1e-6)


def coverage(**truth):
    """Shares of 300 seeded comparisons whose 68 % intervals hold the true factor and slope."""
    inside = np.zeros(2)
    for seed in range(300):
        indicated, reference = invented_pairs(np.random.default_rng(seed), **truth)
        found = compare_gauges(indicated, reference, log_u=0.02)
        at_pivot = truth["factor"] * found.pivot_pa ** truth.get("slope", 0.0)
        inside += (
            abs(found.factor - at_pivot) < found.factor_u,
            abs(found.slope - truth.get("slope", 0.0)) < found.slope_u,
        )
    return inside / 300


def test_factor_and_slope_have_calibrated_uncertainty():
    for share in coverage(factor=1.2, slope=0.1):
        assert 0.60 < share < 0.76


def test_factor_has_calibrated_uncertainty_where_there_is_no_slope():
    assert 0.60 < coverage(factor=0.8)[0] < 0.76


def test_unstated_scatter_widens_the_uncertainty_to_its_coverage():
    """The pairs scatter three times as much as their stated uncertainties say."""
    assert 0.60 < coverage(factor=1.2, slope=0.1, scatter=0.06, pairs=20)[0] < 0.76


def test_a_slope_is_rarely_claimed_without_one():
    claimed = 0
    for seed in range(300):
        indicated, reference = invented_pairs(np.random.default_rng(seed))
        claimed += compare_gauges(indicated, reference, log_u=0.02).slope_u > 0
    assert claimed <= 9


@given(st.integers(0, 10_000), st.floats(0.01, 100))
def test_units_of_pressure_do_not_matter(seed, scale):
    indicated, reference = invented_pairs(np.random.default_rng(seed), slope=0.1)
    one, other = compare_gauges(indicated, reference, 0.02), compare_gauges(scale * indicated, scale * reference, 0.02)
    assert other.factor == pytest.approx(one.factor, rel=1e-6)
    assert other.slope == pytest.approx(one.slope, rel=1e-6)
    assert other.pivot_pa == pytest.approx(scale * one.pivot_pa, rel=1e-6)


@pytest.mark.parametrize(
    ("indicated", "reference", "log_u", "said"),
    [
        ([1.0, 2.0], [1.0, 2.0], 0.01, "2 pairs are too few for a comparison; give three pairs or more"),
        ([1.0, 2.0, 3.0], [1.0, 2.0], 0.01, "give three pairs or more"),
        ([[1.0, 2.0, 3.0]], [[1.0, 2.0, 3.0]], 0.01, "give three pairs or more"),
        ([1.0, 0.0, 3.0], [1.0, 2.0, 3.0], 0.01, "not positive; leave out pairs at which a gauge was out of range"),
        ([1.0, 2.0, 3.0], [1.0, -2.0, 3.0], 0.01, "not positive"),
        ([1.0, np.nan, 3.0], [1.0, 2.0, 3.0], 0.01, "not positive"),
        ([1.0, np.inf, 3.0], [1.0, 2.0, 3.0], 0.01, "not positive"),
        ([1.0, 2.0, 3.0], [1.0, 2.0, 3.0], [0.01, np.nan, 0.01], "uncertainties"),
        ([1.0, 2.0, 3.0], [1.0, 2.0, 3.0], -0.01, "uncertainties"),
        ([1.0, 2.0, 3.0], [1.0, 2.0, 3.0], [0.01, 0.01], "uncertainties"),
    ],
)  # fmt: skip
def test_impossible_comparisons_are_refused_with_the_reason(indicated, reference, log_u, said):
    with pytest.raises(InputError) as raised:
        compare_gauges(indicated, reference, log_u)
    assert said in str(raised.value)


@given(st.lists(st.tuples(st.floats(1e-6, 1e6), st.floats(1e-6, 1e6), st.floats(0, 1)), min_size=3, max_size=12))
def test_any_positive_pairs_give_a_finite_correction(pairs):
    indicated, reference, log_u = np.array(pairs).T
    found = compare_gauges(indicated, reference, log_u)
    assert found.factor > 0 and np.isfinite(found.factor_u)
    assert np.isfinite(found.slope) and found.scatter >= 0 and 0 <= found.p_value <= 1


# Tables of pairs


def test_a_table_of_pairs_is_read_with_its_units(tmp_path):
    path = tmp_path / "pairs.csv"
    path.write_text(
        "indicated [mTorr],reference [Pa],reference uncertainty [%],exclude\n"
        "1,0.1466,1,\n10,1.466,1,\n100,14.66,1,\n3,9,1,valve open\n",
        encoding="utf-8",
    )
    found = compare_pairs(path)
    assert found.pairs == 3
    assert found.factor == pytest.approx(1.1, abs=1e-3)


def test_volts_are_turned_into_indicated_pressures_by_the_gauge_without_its_old_correction(tmp_path, make_bench):
    """2 V is 1 mTorr and a volt is a decade; 0.5 V is under-range and left out; the owner's old correction does not
    count twice.
    """
    path = tmp_path / "pairs.csv"
    path.write_text("gauge [V];reference [mTorr]\n2,0;1,2\n3,0;12,0\n4,0;120\n0,5;0,01\n", encoding="utf-8")
    bench = make_bench(gauge={"correction": {"factor": "3 +/- 0.1"}})
    found = compare_pairs(path, bench)
    assert found.pairs == 3
    assert found.factor == pytest.approx(1.2, rel=1e-3)


def test_pairs_left_out_are_named_by_their_flag_if_too_few_remain(tmp_path, make_bench):
    path = tmp_path / "pairs.csv"
    path.write_text("gauge [V],reference [Pa]\n2.0,1\n0.01,0.1\n0.02,0.2\n", encoding="utf-8")
    with pytest.raises(InputError, match="1 pairs; 2 are left out, since the gauge is flagged under-range there"):
        compare_pairs(path, make_bench())


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ("gauge [V],reference [Pa]\n1,1\n2,2\n3,3\n", "the pairs hold gauge voltages"),
        ("indicated [Pa],reference [Pa]\n1,1\n2,2\n", "2 pairs are too few for a comparison"),
        ("indicated [Pa],reference [Pa]\n1,1\n2,0\n3,3\n", "line 3, column 'reference'"),
        ("indicated [Pa],reference [Pa]\n1,1\n2,\n3,3\n", "line 3, column 'reference'"),
        ("indicated [Pa],reference [Pa]\n1,1\n-2,2\n3,3\n", "line 3, column 'indicated'"),
        ("indicated [Pa],reference [mm]\n1,1\n", "'mm' is not a unit of pressure"),
        ("indicated [Pa],speed [rpm]\n1,1\n", "unknown title 'speed'"),
        ("indicated [Pa],reference [Pa]\n", "there are titles and no pairs"),
    ],
)
def test_an_invalid_table_of_pairs_is_refused_with_its_place(tmp_path, table, said):
    path = tmp_path / "pairs.csv"
    path.write_text(table, encoding="utf-8")
    with pytest.raises(InputError) as raised:
        compare_pairs(path)
    assert str(raised.value).startswith(str(path))
    assert said in str(raised.value)
