"""Unknowns from readings: recovery of the truth, undetermined unknowns, repeatability, refused input."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.special import ndtr
from support import outside_laws
from support.rotor_readings import TRUTH, data_of

from edgewind.errors import InputError
from edgewind.evidence.fit import Likelihood, fit, fit_data, prepare_likelihood
from edgewind.evidence.fit_check import residuals, smooth_misfit
from edgewind.evidence.priors import Unknown
from edgewind.evidence.sampling import sample
from edgewind.rotor import parameters_of
from edgewind.signals import read_experiment


def test_the_truth_lies_in_the_posterior_and_the_constant_torque_offsets_dry_friction(found):
    for name, truth in (TRUTH | {"accommodation_difference": 0.0, "foreign": 0.0}).items():
        draws = found.draws[:, [unknown.name for unknown in found.unknowns].index(name)]
        assert np.quantile(draws, 0.005) < truth < np.quantile(draws, 0.995), name
    # Lit or coasting, a rotor that turns one way shows dry friction less the constant torque, and neither alone.
    names = [unknown.name for unknown in found.unknowns]
    net = found.draws[:, names.index("pivot_dry")] - found.draws[:, names.index("foreign")]
    assert np.quantile(net, 0.005) < 2e-10 < np.quantile(net, 0.995)
    assert np.median(net) == pytest.approx(2e-10, rel=0.15)
    assert found.marginal("pivot_dry").fixed_by_data == "no"
    assert 0.003 < found.marginal("scatter").median < 0.03


def test_coast_downs_determine_the_moment_of_inertia(bench, found):
    assert found.marginal("inertia").fixed_by_data == "yes"
    nominal = parameters_of(bench).moment_of_inertia_kg_m2
    assert found.marginal("inertia").median == pytest.approx(nominal, rel=0.15)


def test_undetermined_unknowns_are_named_with_the_reading_that_would_determine_them(found):
    assert found.marginal("light").fixed_by_data != "yes"
    assert found.marginal("light").width_ratio > found.marginal("inertia").width_ratio
    assert found.marginal("accommodation").settled_by


def test_replicated_readings_look_like_the_real_ones(found):
    assert 0.02 < found.p_value < 0.98
    assert found.predictive["inside"].mean() > 0.7
    assert found.predictive["pull"].abs().max() < 5


def test_the_same_seed_gives_the_same_fit(bench):
    data = data_of(bench, readings=8)
    one, two = (fit(bench, data, model="light pressure alone", steps=25, seed=3) for _ in range(2))
    assert np.array_equal(one.draws, two.draws)
    assert one.log_evidence == two.log_evidence


@pytest.mark.parametrize("signed", [True, False])
def test_the_compiled_likelihood_equals_the_multivariate_normal_density(bench, signed):
    """Speeds and coast-downs with all correlations of their errors, by SciPy's multivariate distribution.

    Each speed has its own variance, each coast-down's rate and friction are correlated; the smooth errors of force,
    drag, heat and gauge add the covariance of their processes, through the slopes by finite differences here.
    """
    from scipy.stats import multivariate_normal

    data = data_of(bench, coasts=True)
    coasts = tuple(replace(one, correlation=-0.4, log_pressure_u=0.08) for one in data.coasts)
    data = replace(data, signed=signed, coasts=coasts)
    problem = Likelihood(bench, data)
    best = problem.values(np.zeros(len(problem.unknowns)))
    truth = TRUTH | {"gauge": 1.03, "scatter": 0.01, "inertia": parameters_of(bench).moment_of_inertia_kg_m2}
    for k, unknown in enumerate(problem.unknowns):
        best[k] = truth.get(unknown.name, best[k])
    problem.linearise(best)
    size, at = data.speed_rad_s.size, {unknown.name: k for k, unknown in enumerate(problem.unknowns)}
    pressure = problem.all_pressures
    basis = problem.error.basis(pressure)
    step, centre = 1e-3, problem.deviations(best[None], None)[0]

    def speeds_and_rates(numbers):
        speed, _, drag = problem.predicted(best, pressure, numbers[None])
        return np.concatenate([speed[:size], drag[size:] / best[at["inertia"]]])

    assert basis.shape == (5, pressure.size, problem.error.size)
    slopes = np.array(
        [
            (speeds_and_rates(centre + step * one) - speeds_and_rates(centre - step * one)) / (2 * step)
            for one in np.eye(problem.error.size)
        ]
    ).T
    by_pressure = np.array([(problem.predicted(best, pressure * np.exp(s * 1e-3))[0, :size]) for s in (-1, 1)])
    slope_p = (by_pressure[1] - by_pressure[0]) / 2e-3
    drag_p = np.array([problem.predicted(best, pressure * np.exp(s * 1e-3))[2, size:] for s in (-1, 1)])
    power = (drag_p[1] - drag_p[0]) / 2e-3 / best[at["inertia"]]

    def expected(row):
        speed, _, drag = problem.predicted(row, pressure)
        sign = np.ones(size) if signed else np.sign(speed[:size])
        own = row[at["scatter"]] * np.maximum(np.abs(speed[:size]), 0.05 * np.abs(data.speed_rad_s).max())
        noise = data.speed_u_rad_s**2 + own**2 + (slope_p * data.log_pressure_u) ** 2
        covariance = np.zeros((size + 6, size + 6))
        covariance[:size, :size] = np.diag(noise)
        wide = np.zeros((size + 6, problem.error.size))
        wide[:size] = sign[:, None] * slopes[:size]
        wide[size : size + 3] = slopes[size:]
        middle = np.concatenate([sign * speed[:size], drag[size:] / row[at["inertia"]], np.zeros(3)])
        seen = np.concatenate([data.speed_rad_s, [c.drag_rate for c in coasts], [c.dry_rate for c in coasts]])
        for k, one in enumerate(coasts):
            rate_u = np.hypot(one.drag_rate_u, power[k] * np.sqrt(0.08**2 - data.gauge_log_u**2))
            covariance[size + k, size + k], covariance[size + 3 + k, size + 3 + k] = rate_u**2, one.dry_rate_u**2
            both = -0.4 * one.drag_rate_u * one.dry_rate_u
            covariance[size + k, size + 3 + k] = covariance[size + 3 + k, size + k] = both
            held = row[at["pivot_dry"]] - np.sign(speed[size + k]) * row[at["foreign"]]
            middle[size + 3 + k] = held / row[at["inertia"]]
        return multivariate_normal.logpdf(seen, middle, covariance + wide @ wide.T)

    rows = best * (1 + 0.01 * np.random.default_rng(4).standard_normal((5, best.size)))
    found = problem.log_likelihoods(rows)
    wanted = np.array([expected(row) for row in rows])
    # left out are a constant for each number read, and directions that move no reading
    assert found - found[0] == pytest.approx(wanted - wanted[0], rel=0.02, abs=0.5)
    whole = problem.log_likelihood(best) - (size + 6) / 2 * np.log(2 * np.pi)
    assert whole == pytest.approx(expected(best), abs=0.15)


def test_the_sampler_finds_mean_spread_and_evidence_of_a_known_posterior():
    """A normal likelihood on a standard normal prior: everything in closed form."""
    width, middle = np.array([0.1, 0.5, 2.0]), np.array([0.3, -1.0, 0.5])
    found = sample(
        lambda z: -0.5 * np.sum(((z - middle) / width) ** 2, axis=-1) - 0.5 * np.sum(z**2, axis=-1),
        [lambda n, random, wider=1.0: wider * random.standard_normal((n, 3))], seed=2, steps=150,
    )  # fmt: skip
    variance = 1 / (1 + width**-2)
    assert found.draws.mean(axis=0) == pytest.approx(middle / width**2 * variance, abs=0.06)
    assert found.draws.std(axis=0) == pytest.approx(np.sqrt(variance), rel=0.1)
    total = 1 + width**2
    exact = np.sum(np.log(width) - 0.5 * np.log(total) - 0.5 * middle**2 / total)
    assert found.log_evidence == pytest.approx(exact, abs=4 * found.log_evidence_u + 0.02)
    assert found.log_evidence_u < 0.1 and found.autocorrelation > 1
    assert found.settled and found.r_hat < 1.01


@pytest.mark.parametrize("bend", [0.0, 1.0])
def test_the_stated_uncertainty_of_the_evidence_is_that_over_seeds(bend):
    """Ten directions, some bent by the first: ln(evidence) is 0, as the bend keeps every volume.

    The mixture of the bridge follows the draws that it is compared with, which makes the evidence too small by three
    to four times what chance alone in these draws would allow.
    """

    def log_posterior(z):
        straight = z.copy()
        straight[:, 1:4] -= bend * (z[:, :1] ** 2 - 1)
        return -0.5 * np.sum(straight**2, axis=1)

    begin = [lambda n, random, wider=1.0: wider * random.standard_normal((n, 10))]
    found = [sample(log_posterior, begin, seed=seed) for seed in range(1, 7)]
    seen = np.sqrt(np.mean([one.log_evidence**2 for one in found]))
    stated = np.sqrt(np.mean([one.log_evidence_u**2 for one in found]))
    assert 1 / 1.5 < stated / seen < 1.5, (stated, seen)


def test_ensembles_started_in_two_modes_weight_them_correctly_by_mode_jumps():
    """Two normal distributions far apart, the second three times as heavy: no walk of small steps goes between."""
    places, weights = np.array([-4.0, 4.0]), np.array([0.25, 0.75])

    def log_posterior(z):
        apart = (z[:, None] - places[:, None]) / 0.3
        each = -0.5 * np.sum(apart**2, axis=-1) - z.shape[1] * np.log(0.3 * np.sqrt(2 * np.pi))
        return np.logaddexp(*(each + np.log(weights)).T)

    begin = [lambda n, random, wider=1.0, at=at: at + wider * 0.3 * random.standard_normal((n, 4)) for at in places]
    found = sample(log_posterior, begin, seed=3)
    assert found.settled
    assert np.mean(found.draws[:, 0] > 0) == pytest.approx(0.75, abs=0.06)
    assert found.log_evidence == pytest.approx(-2 * np.log(2 * np.pi), abs=0.1)
    stuck = sample(log_posterior, begin[:1], seed=3)  # a mode far from every start is not found
    assert np.all(stuck.draws[:, 0] < 0)


def test_ensembles_that_disagree_are_not_reported_as_converged():
    def log_posterior(z):  # two places, and a jump between them that no proposal makes: rings of many dimensions
        return -0.5 * np.sum((np.abs(z) - 6.0) ** 2, axis=-1) / 0.01**2

    begin = [
        lambda n, random, wider=1.0, at=at: at + 0.01 * wider * random.standard_normal((n, 8))
        for at in (6.0, -6.0, 6.0 * np.array([1, -1] * 4), 6.0 * np.array([1, 1, -1, -1] * 2))
    ]
    found = sample(log_posterior, begin, seed=1, steps=25, most=1)
    assert not found.settled and found.r_hat > 1.01


def test_decorrelated_coordinates_give_the_same_posterior(bench):
    """There and back; and the volume: a small box of places becomes one of scores as large as is said."""
    shear = (mode := prepare_likelihood(bench, data_of(bench, readings=12), "all", None, 1)[1]).shear
    places = mode.near(5, np.random.default_rng(1))
    assert shear.places(shear.scores(places)) == pytest.approx(places, abs=1e-6)
    size, step = places.shape[1], 1e-4
    aside = step * np.eye(size)
    slope = np.array([shear.scores(places[:1] + row)[0] - shear.scores(places[:1] - row)[0] for row in aside])
    assert np.linalg.slogdet(slope / (2 * step))[1] == pytest.approx(shear.log_volume, abs=0.02)


def test_decorrelated_unknowns_are_measured_from_their_likeliest_values(bench):
    """Against a minimum found without slopes, within a tenth of the spread about it, over the whole posterior."""
    problem, mode = prepare_likelihood(bench, data_of(bench, readings=12), "all", None, 1)
    shear, straight = mode.shear, mode.shear._straight
    moved = [k for k, one in enumerate(problem.unknowns) if one.name in ("accommodation_difference", "foreign")]

    def cost(at, row):
        values = problem.values(np.insert(np.delete(row, moved), moved[0], at))
        speeds = problem.held_never(values, (straight.pressure, straight.factors), straight.sense)[0]
        apart = straight.seen - speeds
        return 0.5 * at @ at + 0.5 * apart @ straight.known @ apart

    for row in mode.draw(6, np.random.default_rng(1)):
        wanted = shear.wanted(row[None])[0]
        best = minimize(cost, wanted, args=(row,), method="Nelder-Mead", options={"xatol": 1e-4, "fatol": 1e-6}).x
        assert np.linalg.norm(np.linalg.solve(shear._scale, wanted - best)) < 0.1


def test_a_smooth_misfit_is_detected_and_random_scatter_is_not(bench):
    honest = data_of(bench, readings=20, scatter=0.01)
    bent = replace(honest, speed_rad_s=honest.speed_rad_s * np.exp(0.5 * np.sin(1.5 * np.log(honest.pressure_pa))))
    worth = []
    for data in (honest, bent):
        problem, mode = prepare_likelihood(bench, data, "thermal force alone")
        worth.append(smooth_misfit(problem, problem.values(mode.centre)))
    assert not worth[0].found and worth[0].log_evidence < 0
    assert worth[1].found


def test_a_curve_that_a_fit_follows_only_by_scatter_is_a_smooth_misfit(tmp_path):
    """A rotor of nearly one speed at every pressure, as a motor turns it; thermal force with random scatter is none."""
    found = []
    for law in ("flat", "noise 30 % stated as 2 %"):
        outside_laws.write(tmp_path / law, law, np.random.default_rng([0, 5, 13]))
        read = read_experiment(tmp_path / law)
        data = fit_data(read.used, read.bench)
        problem, mode = prepare_likelihood(read.bench, data, "all")
        values = problem.values(mode.centre)
        scatter = values[[unknown.name for unknown in problem.unknowns].index("scatter")]
        assert scatter > 0.05  # both are taken for scatter
        found.append(smooth_misfit(problem, values).found)
    assert found == [True, False]


OF_A_READING = ("pressure_pa", "log_pressure_u", "speed_rad_s", "speed_u_rad_s", "signed")


def test_a_smooth_misfit_is_the_same_whether_or_not_the_direction_was_seen(bench):
    """Of a rotor that turns backwards in part of its sweep."""
    data = data_of(bench, readings=20)
    problem = Likelihood(bench, data)
    values = problem.values(np.zeros(len(problem.unknowns)))
    names = [unknown.name for unknown in problem.unknowns]
    torque = problem.predicted(values, data.pressure_pa)[1]
    values[names.index("foreign")] = -0.2 * np.max(torque)
    values[names.index("pivot_dry")] = 1e-4 * np.max(torque)
    speed = problem.predicted(values, data.pressure_pa)[0]
    clear = np.abs(speed) > 0.04 * np.max(np.abs(speed))  # beside zero the errors of the gas may change the sign
    data = replace(data, **{name: getattr(data, name)[clear] for name in OF_A_READING})
    speed = speed[clear] * np.exp(0.1 * np.sin(3 * np.log(data.pressure_pa)))
    assert 4 < np.sum(speed > 0) < speed.size - 4
    worth = []
    for seen in (replace(data, speed_rad_s=speed, signed=True), replace(data, speed_rad_s=abs(speed), signed=False)):
        problem = Likelihood(bench, seen)
        for _ in range(3):  # slopes of the speeds themselves, not those assumed before the first time
            problem.linearise(values)
        worth.append(smooth_misfit(problem, values))
    assert worth[0].log_evidence == pytest.approx(worth[1].log_evidence, rel=1e-3)
    assert worth[0].found


def test_the_stated_error_of_the_residuals_is_that_of_gas_and_gauge_on_the_speeds(bench):
    """By the slopes of the speeds with all errors, which are linear about the best place."""
    problem, mode = prepare_likelihood(bench, data_of(bench, readings=12), "all", None, 1)
    values = problem.values(mode.centre)
    drawn = np.tile(values, (400, 1))
    found = residuals(problem, drawn, np.zeros((400, problem.error.size)), 0.9)
    assert found.middle == pytest.approx(1) and found.low == pytest.approx(1)
    pressure = problem.data.pressure_pa
    problem.linearise(values)
    expected = np.linalg.norm(problem.speed_slopes, axis=1) / np.abs(problem.predicted(values, pressure)[0])
    stated = np.interp(np.log(pressure), np.log(found.band_pa), found.stated) / 1.645  # half a 90 % interval
    assert stated == pytest.approx(expected, rel=0.2)


def test_the_evidence_equals_a_one_dimensional_integral(bench):
    """With one unknown free the evidence is a one-dimensional integral over its prior; Laplace's is close to it."""
    problem, mode = prepare_likelihood(bench, data_of(bench, readings=12), "thermal force alone", None, 1)
    best = mode.centre
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
    _, mode = prepare_likelihood(bench, data_of(bench, coasts=True), "all", None, 1)
    assert found.log_evidence == pytest.approx(mode.log_evidence, abs=4)


def test_readings_at_one_end_of_the_range_give_wide_intervals(bench):
    got = fit(bench, data_of(bench, low=0.03, high=0.06, readings=8), steps=25)
    assert "no" in {got.marginal(name).fixed_by_data for name in ("accommodation", "gauge", "light")}


def test_few_readings_and_unknown_models_are_refused(bench):
    with pytest.raises(InputError, match="too few"):
        fit(bench, data_of(bench, readings=3))
    with pytest.raises(InputError, match="choose one of"):
        Likelihood(bench, data_of(bench), "magic")


@pytest.mark.parametrize(
    "unknown",
    [
        Unknown("a", "a", "", "log-normal", 2.0, 0.3),
        Unknown("a", "a", "", "log-uniform", 1e-3, 10.0),
        Unknown("a", "a", "", "uniform", 0.6, 1.0),
        Unknown("a", "a", "", "normal", 0.9, 0.1, 0.0, 1.0),
    ],
)
def test_prior_quantiles_are_the_inverse_of_their_distribution_functions(unknown):
    scores = np.linspace(-2.5, 2.5, 11)
    values = [unknown.value(score) for score in scores]
    assert np.all(np.diff(values) > 0)
    assert [unknown.share(value) for value in values] == pytest.approx(list(ndtr(scores)), abs=1e-9)
    assert unknown.words
