"""The chamber in time against closed forms and another solver."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from support.pump_down import pump_down_closed_form

from edgewind.bench import parse_bench
from edgewind.errors import InputError
from edgewind.gas import GasState, find_gas
from edgewind.plan.chamber import EARLIEST_S, Vacuum, vacuum_of
from edgewind.plan.conductance import Tube

NITROGEN = GasState(find_gas("N2"), 1.0, 295.15)


def on_the_pump(**changes):
    told = {"volume_m3": 3e-3, "pump_m3_s": 1e-2, "tube": None, "outgassing_pa_m3_s": 0.0, "leak_pa_m3_s": 0.0}
    return Vacuum(**told | changes, gas=NITROGEN)


def test_pump_down_without_outgassing_walls_is_exponential():
    chamber = on_the_pump(leak_pa_m3_s=1e-6)
    time = np.linspace(0.5, 6.0, 12)
    pressure = pump_down_closed_form(time, 3e-3, 1e-2, 101_325.0, load_pa_m3_s=1e-6, start_s=0.0)
    assert [chamber.time_to_s(p) for p in pressure] == pytest.approx(time, rel=1e-5)


def test_the_closed_form_with_walls_agrees_with_a_solver():
    """The exponential integral against Radau at 1e-10, over the hour in which the load falls as 1/t."""
    volume, speed, falling, load = 0.05, 1e-3, 1e-3 * 3600, 1e-5
    time = np.geomspace(EARLIEST_S, 3600.0, 30)
    solved = solve_ivp(
        lambda t, p: (-speed * p + load + falling / t) / volume, (time[0], time[-1]), [100.0], method="Radau",
        t_eval=time, rtol=1e-10, atol=1e-12,
    ).y[0]  # fmt: skip
    closed = pump_down_closed_form(time, volume, speed, 100.0, load_pa_m3_s=load, falling_pa_m3=falling)
    assert closed == pytest.approx(solved, rel=1e-6)


def test_pump_down_with_walls_agrees_with_the_closed_form():
    """Up to EARLIEST_S the load stays as it is then."""
    chamber = on_the_pump(volume_m3=0.05, pump_m3_s=1e-3, outgassing_pa_m3_s=1e-3, leak_pa_m3_s=1e-5)
    early = float(chamber.load_pa_m3_s(EARLIEST_S))
    first = pump_down_closed_form(np.array([EARLIEST_S]), 0.05, 1e-3, 100.0, load_pa_m3_s=early, start_s=0.0)[0]
    time = np.geomspace(2 * EARLIEST_S, 3600.0, 15)
    pressure = pump_down_closed_form(time, 0.05, 1e-3, first, load_pa_m3_s=1e-5, falling_pa_m3=1e-3 * 3600)
    assert [chamber.time_to_s(p, start_pa=100.0) for p in pressure] == pytest.approx(time, rel=1e-3)


def test_pump_down_through_a_tube_agrees_with_a_solver():
    chamber = on_the_pump(tube=Tube(0.5, 0.01), outgassing_pa_m3_s=1e-4, leak_pa_m3_s=1e-6)
    time = np.array([0.0, 5.0, 30.0, 100.0, 600.0])

    def rate(t, p):
        return (chamber.load_pa_m3_s(t) - chamber.speed_m3_s(p) * p) / chamber.volume_m3

    solved = solve_ivp(rate, (0, 600), [1e5], method="Radau", t_eval=time, rtol=1e-8, atol=1e-9).y[0]
    assert [chamber.time_to_s(p, start_pa=1e5) for p in solved[1:]] == pytest.approx(time[1:], rel=1e-4)


def test_long_pumping_ends_where_pump_and_load_balance():
    chamber = on_the_pump(tube=Tube(0.5, 0.025), outgassing_pa_m3_s=1e-4, leak_pa_m3_s=1e-6)
    assert chamber.time_to_s(chamber.least_pressure_pa(20_000.0)) == pytest.approx(20_000.0, rel=1e-2)
    assert chamber.time_to_s(1e-5) == np.inf  # the leak holds it above
    assert chamber.time_to_s(2e5) == 0.0
    assert on_the_pump().least_pressure_pa(100.0) == 0.0


def test_pressure_after_a_change_of_flow_follows_the_closed_form():
    chamber = on_the_pump()
    time = float(chamber.settling_time_s(1.0, 10.0, within=0.01))
    left = abs(1.0 + 9.0 * np.exp(-1e-2 / 3e-3 * time) - 1.0)
    assert left == pytest.approx(0.01, rel=1e-9)
    assert float(chamber.settling_time_s(1.0, 1.005, within=0.01)) == 0.0


def test_a_vacuum_is_read_with_its_units(vacuum_bench):
    chamber = vacuum_of(vacuum_bench)
    assert chamber.volume_m3 == pytest.approx(3e-3) and chamber.pump_m3_s == pytest.approx(1e-2)
    assert chamber.outgassing_pa_m3_s == pytest.approx(1e-5) and chamber.leak_pa_m3_s == pytest.approx(1e-7)
    assert chamber.tube == Tube(0.5, 0.025)


def test_a_bench_without_a_vacuum_section_has_no_chamber(bench_text):
    assert vacuum_of(parse_bench(bench_text)) is None


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('tube_length = "0.5 m"\n', "", r"line \d+, key vacuum.tube_length: only one of tube_length and tube_diameter"),
        ('volume = "3 l"', 'volume = "0 l"', "key vacuum.volume.*too small"),
        ('pumping_speed = "10 l/s"', 'pumping_speed = "10 l"', "key vacuum.pumping_speed.*not a unit of pumping speed"),
        ('leak = "1e-6 mbar l/s"', 'leek = "1e-6 mbar l/s"', "vacuum.leek: unknown key; did you mean 'leak'"),
        ('volume = "3 l"\n', "", "key vacuum.volume: this key is missing"),
    ],
)
def test_an_invalid_vacuum_section_is_refused_with_its_line(vacuum_text, old, new, message):
    with pytest.raises(InputError, match=message):
        parse_bench(vacuum_text.replace(old, new))
