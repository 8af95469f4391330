"""Unknowns from readings: truth recovered, unfixed ones named, seeds repeated, bad input refused."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr
from scipy.stats import multivariate_normal, norm, t

from edgewind.errors import InputError
from edgewind.evidence.coastdown import CoastDown
from edgewind.evidence.fit import FitData, Problem, Proposal, fit, prepare
from edgewind.evidence.priors import Unknown
from edgewind.rotor import parameters_of, response_of, steady_state

ROTOR = {"bright_emissivity": "0.80 +/- 0.05", "vane_thickness": "0.1 mm", "vane_conductance": "80 +/- 60 W/(m^2 K)"}
TRUTH = {"light": 1.05, "conductance": 60.0, "accommodation": 0.9, "pivot_dry": 2e-10, "pivot_viscous": 5e-11}


def data_of(bench, *, seed=1, readings=24, low=0.03, high=15.0, scatter=0.01, coasts=False):
    """Readings made by the forward model at a known truth; the gauge reads 3 % low."""
    random = np.random.default_rng(seed)
    nominal = parameters_of(bench)
    rotor = nominal.with_(
        irradiance_w_m2=nominal.irradiance_w_m2 * TRUTH["light"], vane_conductance_w_m2_k=TRUTH["conductance"],
        accommodation=TRUTH["accommodation"], pivot_dry_n_m=TRUTH["pivot_dry"], pivot_breakaway_n_m=TRUTH["pivot_dry"],
        pivot_viscous_n_m_s=TRUTH["pivot_viscous"],
    )  # fmt: skip
    response = response_of(rotor)
    shown = np.geomspace(low, high, readings)
    state = steady_state(1.03 * shown, rotor, response)
    seen = state.speed_rad_s * (1 + scatter * random.standard_normal(readings))
    found = ()
    if coasts:
        inertia = rotor.moment_of_inertia_kg_m2
        drag = steady_state(1.03 * np.array([0.05, 0.5, 5.0]), rotor, response).drag / inertia
        dry = TRUTH["pivot_dry"] / inertia
        found = tuple(
            CoastDown(
                float(rate * (1 + 0.01 * random.standard_normal())), float(0.01 * rate),
                float(dry * (1 + 0.02 * random.standard_normal())), float(0.02 * dry), 0.0, 5.0, 0.5, 1.0, p, 0.01,
            )
            for rate, p in zip(drag, (0.05, 0.5, 5.0), strict=True)
        )  # fmt: skip
    return FitData(shown, np.full(readings, 0.01), seen, 1e-3 * np.abs(seen), True, 0.05, found)


@pytest.fixture(scope="module")
def bench(make_bench):
    return make_bench(rotor=ROTOR)


@pytest.fixture(scope="module")
def found(bench):
    return fit(bench, data_of(bench), live_points=100)


def test_the_truth_lies_in_the_posterior_and_the_pivot_is_found(found):
    for name, truth in TRUTH.items():
        draws = found.draws[:, [unknown.name for unknown in found.unknowns].index(name)]
        assert np.quantile(draws, 0.005) < truth < np.quantile(draws, 0.995), name
    assert found.marginal("pivot_dry").fixed_by_data == "yes"
    assert found.marginal("pivot_dry").median == pytest.approx(2e-10, rel=0.15)
    assert 0.004 < found.marginal("scatter").median < 0.03


def test_what_the_readings_leave_open_is_named_with_the_reading_that_would_settle_it(found):
    assert found.marginal("light").fixed_by_data != "yes"
    assert found.marginal("light").width_ratio > found.marginal("pivot_dry").width_ratio
    assert "gauge" in found.marginal("gauge").settled_by or found.marginal("gauge").fixed_by_data == "yes"


def test_replicated_readings_look_like_the_real_ones(found):
    assert 0.02 < found.p_value < 0.98
    assert found.predictive["inside"].mean() > 0.7
    assert found.predictive["pull"].abs().max() < 5


def test_the_same_seed_gives_the_same_fit(bench):
    data = data_of(bench, readings=8)
    one, two = (fit(bench, data, live_points=40, seed=3) for _ in range(2))
    assert np.array_equal(one.draws, two.draws)
    assert one.log_evidence == two.log_evidence


@pytest.mark.parametrize("signed", [True, False])
def test_the_compiled_likelihood_is_that_of_normal_distributions_written_out(bench, signed):
    """Each speed normal about its prediction, each coast-down in two dimensions; SciPy's distributions."""
    data = data_of(bench, coasts=True)
    coasts = tuple(replace(one, correlation=-0.4, log_pressure_u=0.08) for one in data.coasts)
    data = replace(data, signed=signed, coasts=coasts)
    problem = Problem(bench, data)
    slopes, powers = 0.1 * data.speed_rad_s, np.array([0.9, 0.6, 0.2])
    problem.take_slopes(slopes, powers)
    scores = np.random.default_rng(4).standard_normal((6, len(problem.unknowns)))
    rows = problem.values(scores)
    at = {unknown.name: k for k, unknown in enumerate(problem.unknowns)}
    assert rows == pytest.approx(
        np.array([[unknown.value(z) for unknown, z in zip(problem.unknowns, one, strict=True)] for one in scores])
    )
    expected = []
    for row in rows:
        speed, _, drag = problem.predicted(row, problem.all_pressures)
        speed = speed[: data.speed_rad_s.size]
        own = row[at["scatter"]] * np.maximum(np.abs(speed), 0.05 * np.abs(data.speed_rad_s).max())
        spread = np.sqrt(data.speed_u_rad_s**2 + own**2 + (slopes * data.log_pressure_u) ** 2)
        total = norm.logpdf(data.speed_rad_s, speed if signed else np.abs(speed), spread).sum()
        for one, power, there in zip(coasts, powers, drag[data.speed_rad_s.size :], strict=True):
            rate_u = np.hypot(one.drag_rate_u, power * one.drag_rate * np.sqrt(0.08**2 - data.gauge_log_u**2))
            both = -0.4 * one.drag_rate_u * one.dry_rate_u
            total += multivariate_normal.logpdf(
                [one.drag_rate, one.dry_rate], np.array([there, row[at["pivot_dry"]]]) / row[at["inertia"]],
                [[rate_u**2, both], [both, one.dry_rate_u**2]], allow_singular=True,
            )  # fmt: skip
        expected.append(total)
    found = problem.log_likelihoods(rows)
    # constants of the distributions are left out
    assert found - found[0] == pytest.approx(np.array(expected) - expected[0], rel=1e-9)


def test_the_ratio_of_prior_to_proposal_is_that_of_the_distributions():
    random = np.random.default_rng(5)
    proposal = Proposal(random.standard_normal(4), random.standard_normal((4, 4)), 0.0)
    scores = random.standard_normal(4)
    stretched = np.linalg.solve(proposal.root, scores - proposal.centre)
    log_det = np.linalg.slogdet(proposal.root)[1]
    expected = norm.logpdf(scores).sum() - (t.logpdf(stretched, proposal.freedom).sum() - log_det)
    assert proposal.log_ratio(scores) == pytest.approx(expected, rel=1e-10)


def test_the_evidence_is_that_of_an_integral_in_one_dimension(bench):
    """With one unknown free the evidence is a one-dimensional integral over its prior; Laplace's is close to it."""
    problem, proposal = prepare(bench, data_of(bench), "all", None, 1)
    best = proposal.centre
    k = [unknown.name for unknown in problem.unknowns].index("conductance")
    scores = best[k] + np.linspace(-0.6, 0.6, 4001)
    costs = np.array(
        [problem.log_likelihood(problem.values(np.where(np.arange(best.size) == k, z, best))) for z in scores]
    )
    costs -= 0.5 * scores**2
    integral = costs.max() + np.log(np.sum(np.exp(costs - costs.max())) * (scores[1] - scores[0]))
    width = np.sqrt(
        np.sum(np.exp(costs - costs.max()) * (scores - scores[costs.argmax()]) ** 2)
        / np.sum(np.exp(costs - costs.max()))
    )
    assert integral == pytest.approx(costs.max() + 0.5 * np.log(2 * np.pi) + np.log(width), abs=0.1)


def test_sampled_and_laplace_evidence_agree_where_the_posterior_is_nearly_normal(bench, found):
    _, proposal = prepare(bench, data_of(bench), "all", None, 1)
    assert found.log_evidence == pytest.approx(proposal.log_evidence, abs=2.5)


def test_coast_downs_bring_the_moment_of_inertia(bench):
    data = data_of(bench, coasts=True)
    problem = Problem(bench, data)
    assert "inertia" in [unknown.name for unknown in problem.unknowns]
    got = fit(bench, data, live_points=80)
    assert got.marginal("inertia").fixed_by_data == "yes"
    nominal = parameters_of(bench).moment_of_inertia_kg_m2
    assert got.marginal("inertia").median == pytest.approx(nominal, rel=0.1)


def test_a_rotor_seen_at_one_end_only_is_not_given_confident_numbers(bench):
    got = fit(bench, data_of(bench, low=0.03, high=0.06, readings=8), live_points=60)
    assert "no" in {got.marginal(name).fixed_by_data for name in ("accommodation", "gauge", "light")}


def test_few_readings_and_unknown_models_are_refused(bench):
    with pytest.raises(InputError, match="too few"):
        fit(bench, data_of(bench, readings=3))
    with pytest.raises(InputError, match="choose one of"):
        Problem(bench, data_of(bench), "magic")


@pytest.mark.parametrize(
    "unknown",
    [
        Unknown("a", "a", "", "log-normal", 2.0, 0.3),
        Unknown("a", "a", "", "log-uniform", 1e-3, 10.0),
        Unknown("a", "a", "", "uniform", 0.6, 1.0),
        Unknown("a", "a", "", "normal", 0.9, 0.1, 0.0, 1.0),
    ],
)
def test_priors_are_the_inverse_of_their_shares(unknown):
    scores = np.linspace(-2.5, 2.5, 11)
    values = [unknown.value(score) for score in scores]
    assert np.all(np.diff(values) > 0)
    assert [unknown.share(value) for value in values] == pytest.approx(list(ndtr(scores)), abs=1e-9)
    assert unknown.words
