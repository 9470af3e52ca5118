"""The tank's formulas against an independent numerical solution of its air, and the relations that must hold."""

from __future__ import annotations

import math
import statistics

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from clicktimer.cycles.steady_tap import steady_no_use_run_s
from clicktimer.errors import SettingsError
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.tank.drawdown import (
    drawdown_l,
    fraction,
    fraction_fast,
    overcharged_kpag,
    relative_gauge_sd,
    undercharged_kpag,
    water_held_l,
)
from clicktimer.tank.pump_rate import draw_and_refill, rate_from_steady_l_per_min, steady_tap
from clicktimer.tank.runs import (
    drawdown_needed_l,
    most_starts_per_h,
    rest_s,
    run_s,
    volume_needed_l,
)
from clicktimer.units.conversions import ATMOSPHERE_KPAA, atmosphere_kpaa, gal_to_l, kpa_to_psi, psi_to_kpa

USUAL = tuple(psi_to_kpa(p) for p in (38.0, 40.0, 60.0))
AIR = ATMOSPHERE_KPAA


def solved_s(volume_l, charge, cut_in, cut_out, flow_l_per_s, tau_s, *, filling: bool) -> float:
    """Seconds from one click to the next, by integrating mass and heat balance of the tank's air with an event.

    State: air volume (L) and temperature over the room's (ratio). Newton's law of cooling with time constant tau_s;
    heat capacity ratio 1.4; the air starts settled. Nothing of the program is used.
    """
    from scipy.integrate import solve_ivp

    p0, p1, p2 = charge + AIR, cut_in + AIR, cut_out + AIR
    start_p, end_p = (max(p0, p1), p2) if filling else (p2, max(p0, p1))
    air0 = volume_l * p0 / start_p
    sign = -1.0 if filling else 1.0

    def balance(_t, state):
        air, warm = state
        change = sign * flow_l_per_s
        heat = 0.0 if math.isinf(tau_s) else -(warm - 1.0) / tau_s
        return [change, -0.4 * warm * change / air + heat]

    def click(_t, state):
        return start_p * (air0 / state[0]) * state[1] - end_p

    click.terminal = True
    found = solve_ivp(balance, (0.0, 1e5), [air0, 1.0], events=click, method="LSODA", rtol=1e-9, atol=1e-11)
    assert found.t_events[0].size == 1
    return float(found.t_events[0][0])


@pytest.mark.parametrize("charge_psi", [10.0, 38.0, 40.0, 47.0, 55.0])
@pytest.mark.parametrize("pair", [(40, 60), (30, 50)])
def test_a_refill_lies_between_boyle_and_the_bound_and_meets_both_as_limits(charge_psi: float, pair) -> None:
    charge, cut_in, cut_out = (psi_to_kpa(p) for p in (charge_psi, *pair))
    if charge_psi >= pair[1]:
        with pytest.raises(SettingsError):
            fraction(charge, cut_in, cut_out)
        return
    volume, pump = gal_to_l(33), gal_to_l(8)
    settled = run_s(volume * fraction(charge, cut_in, cut_out), pump)
    fast = run_s(volume * fraction_fast(charge, cut_in, cut_out), pump)

    def solve(tau_s: float) -> float:
        return solved_s(volume, charge, cut_in, cut_out, pump / 60, tau_s, filling=True)

    assert solve(math.inf) == pytest.approx(fast, rel=1e-6)
    assert solve(1e-3) == pytest.approx(settled, rel=1e-4)
    assert fast < solve(90.0) < settled


def test_the_part_of_boyle_that_a_refill_takes_grows_with_its_length() -> None:
    # Simulated figures of another program (40/60, air settled at cut-in, tau 30, 60 and 120 s), printed to two digits.
    printed = {10: (0.77, 0.76, 0.75), 60: (0.85, 0.81, 0.78), 300: (0.96, 0.93, 0.87)}
    volume = 100.0
    for boyle_s, ratios in printed.items():
        flow = volume * fraction(*USUAL) / boyle_s
        for tau, ratio in zip((30.0, 60.0, 120.0), ratios, strict=True):
            ours = solved_s(volume, *USUAL, flow, tau, filling=True) / boyle_s
            assert ours == pytest.approx(ratio, abs=0.0151)
    assert fraction_fast(*USUAL) / fraction(*USUAL) == pytest.approx(0.745, abs=5e-4)
    low = tuple(psi_to_kpa(p) for p in (28.0, 30.0, 50.0))
    assert fraction_fast(*low) / fraction(*low) == pytest.approx(0.751, abs=5e-4)


@pytest.mark.parametrize("use_gpm", [0.5, 2.0, 4.0, 7.0])
def test_run_and_rest_under_use_and_r0_from_them_agree_with_the_numerical_solution(use_gpm: float) -> None:
    volume, pump, use = gal_to_l(33), gal_to_l(8), gal_to_l(use_gpm)
    drawn = drawdown_l(volume, *USUAL)
    run = solved_s(volume, *USUAL, (pump - use) / 60, 1e-3, filling=True)
    rest = solved_s(volume, *USUAL, use / 60, 1e-3, filling=False)
    assert run_s(drawn, pump, use) == pytest.approx(run, rel=1e-4)
    assert rest_s(drawn, use) == pytest.approx(rest, rel=1e-4)
    alone = solved_s(volume, *USUAL, pump / 60, 1e-3, filling=True)
    assert steady_no_use_run_s(run, rest) == pytest.approx(alone, rel=2e-4)
    assert rate_from_steady_l_per_min(use, run, rest) == pytest.approx(pump, rel=2e-4)


def test_no_steady_use_makes_more_starts_than_half_of_the_pumps_rate() -> None:
    drawn, pump = 30.0, 30.0
    starts = [3600 / (run_s(drawn, pump, q) + rest_s(drawn, q)) for q in [i * 0.5 for i in range(1, 60)]]
    assert max(starts) == pytest.approx(most_starts_per_h(run_s(drawn, pump)))
    assert starts.index(max(starts)) == 29  # 15 L/min, half of 30


pressures = st.tuples(st.floats(0.0, 80.0), st.floats(15.0, 70.0), st.floats(5.0, 40.0)).map(
    lambda t: (psi_to_kpa(t[0]), psi_to_kpa(t[1]), psi_to_kpa(t[1] + t[2]))
)
volumes = st.floats(5.0, 1000.0)
flows = st.floats(2.0, 200.0)


def workable(p: tuple[float, float, float]) -> tuple[float, float, float]:
    assume(p[0] < 0.99 * p[2])
    return p


@given(pressures, volumes, flows, st.floats(0.0, 500.0))
def test_a_larger_tank_never_runs_shorter(p, volume, pump, more) -> None:
    p = workable(p)
    assert run_s(drawdown_l(volume + more, *p), pump) >= run_s(drawdown_l(volume, *p), pump)


@given(pressures)
def test_a_charge_equal_to_cut_in_gives_most_drawdown(p) -> None:
    p = workable(p)
    assert fraction(*p) <= fraction(p[1], p[1], p[2]) + 1e-12


@given(pressures, st.floats(0.7, 1.0), st.floats(0.0, 5000.0))
def test_height_never_lowers_the_drawdown_of_a_tank_charged_below_cut_in(p, share, height_m) -> None:
    # Less air outside: more compression between the same gauge readings, as long as P0 (1/P1 + 1/P2) is above 1
    # (the derivative by the air's pressure): not so for a charge near zero.
    p = (share * p[1], *p[1:])
    assert fraction(*p, atmosphere_kpaa(height_m)) >= fraction(*p) - 1e-12


@given(pressures)
def test_fast_is_never_more_than_settled_nor_less_than_five_sevenths(p) -> None:
    p = workable(p)
    assert fraction(*p) / 1.4 - 1e-12 <= fraction_fast(*p) <= fraction(*p)


@given(pressures, volumes)
def test_water_is_conserved(p, volume) -> None:
    p = workable(p)
    drawn = water_held_l(volume, p[0], p[2]) - water_held_l(volume, p[0], p[1])
    assert drawdown_l(volume, *p) == pytest.approx(drawn, abs=1e-9 * volume)
    assert 0 <= drawn <= volume


@given(pressures, volumes, st.floats(0.01, 0.9), st.booleans())
def test_both_roots_of_a_short_drawdown_give_it_back(p, volume, part, fast) -> None:
    share = fraction_fast if fast else fraction
    drawn = part * volume * share(p[1], p[1], p[2])
    under = undercharged_kpag(drawn, volume, p[1], p[2], fast=fast)
    over = overcharged_kpag(drawn, volume, p[2], fast=fast)
    assert under < p[1] < over < p[2]
    # The root below cut-in may lie under zero gauge: still air, only less than the open room holds.
    assume(under > -0.95 * AIR)
    assert volume * share(under, p[1], p[2]) == pytest.approx(drawn, rel=1e-9)
    assert volume * share(over, p[1], p[2]) == pytest.approx(drawn, rel=1e-9)


def test_the_roots_of_a_worked_case() -> None:
    # 33 gal at 40/60, by hand: 6.0 gal is 22.4 or 46.4 psi; 2.1 gal is -1.7 (water in the air's room) or 55.2 psi.
    for drawn, under, over in ((6.0, 22.4, 46.4), (2.1, -1.7, 55.2)):
        assert kpa_to_psi(undercharged_kpag(drawn, 33.0, USUAL[1], USUAL[2])) == pytest.approx(under, abs=0.05)
        assert kpa_to_psi(overcharged_kpag(drawn, 33.0, USUAL[2])) == pytest.approx(over, abs=0.05)


@given(volumes, flows, st.floats(10.0, 300.0), pressures)
def test_the_volume_needed_gives_the_run_asked_for(volume, pump, target, p) -> None:
    part = fraction(*workable(p))
    needed = volume_needed_l(pump, target, part)
    assert run_s(drawdown_l(needed, *p), pump) == pytest.approx(target)
    assert drawdown_needed_l(pump, target) == pytest.approx(needed * part)


def test_limits() -> None:
    drawn, pump = 30.0, 20.0
    assert run_s(drawn, pump, 1e-9) == pytest.approx(run_s(drawn, pump))
    assert rest_s(drawn, 0.0) == math.inf
    assert run_s(drawn, pump, pump) == math.inf
    assert run_s(drawn, pump, pump * 1.5) == math.inf
    assert run_s(drawn, pump, pump * (1 - 1e-9)) > 1e9
    assert fraction(USUAL[2] * (1 - 1e-9), USUAL[1], USUAL[2]) == pytest.approx(0.0, abs=1e-8)
    # Straight through the kink at charge = cut-in.
    assert fraction(USUAL[1] + 1e-9, USUAL[1], USUAL[2]) == pytest.approx(fraction(USUAL[1], USUAL[1], USUAL[2]))


def test_settled_pressures_undo_the_warmth_of_a_refill() -> None:
    # Refilled at once to 60 psi with no heat lost, then left to cool: the gauge falls, and Boyle on the settled reading
    # gives back the water that went in.
    p0, p1, p2 = (p + AIR for p in USUAL)
    went_in = 100.0 * fraction_fast(*USUAL)
    settled_out = p1 * (100.0 * p0 / p1) / (100.0 * p0 / p1 - went_in)
    assert kpa_to_psi(p2 - settled_out) > 3.0
    assert drawdown_l(100.0, USUAL[0], USUAL[1], settled_out - AIR) == pytest.approx(went_in)


def test_a_bladder_takes_no_more_than_its_acceptance() -> None:
    free = drawdown_l(125.0, *USUAL)
    held = water_held_l(125.0, USUAL[0], USUAL[1])
    assert drawdown_l(125.0, *USUAL, acceptance_l=held + free + 1) == pytest.approx(free)
    assert drawdown_l(125.0, *USUAL, acceptance_l=held + 10.0) == pytest.approx(10.0)
    assert drawdown_l(125.0, *USUAL, acceptance_l=held / 2) == 0.0


@pytest.mark.parametrize(("sd_psi", "printed", "tolerance"), [(1.0, 0.076, 0.001), (2.0, 0.134, 0.0025)])
def test_gauge_errors_are_carried(sd_psi: float, printed: float, tolerance: float) -> None:
    # Printed: drawn at random by another program. Here the same draws anew, a million of them.
    import numpy as np

    ours = relative_gauge_sd(*USUAL, gauge_sd_kpa=psi_to_kpa(sd_psi))
    assert ours == pytest.approx(printed, abs=tolerance)
    rng = np.random.default_rng(7)
    a, b, c = (p + AIR + psi_to_kpa(sd_psi) * rng.standard_normal(1_000_000) for p in USUAL)
    drawn = np.where(a <= b, a * (1 / b - 1 / c), 1 - a / c)
    assert ours == pytest.approx(float(drawn.std()) / fraction(*USUAL), rel=0.02)


def test_cut_in_read_two_psi_high_costs_an_eighth() -> None:
    assert fraction(USUAL[0], psi_to_kpa(42.0), USUAL[2]) / fraction(*USUAL) == pytest.approx(0.87, abs=0.005)


@pytest.mark.parametrize(
    ("charge", "cut_in", "cut_out"),
    [(60.0, 40.0, 60.0), (70.0, 40.0, 60.0), (38.0, 60.0, 40.0), (38.0, 40.0, 40.0), (38.0, 0.0, 40.0), (-15, 40, 60)],
)
def test_pressures_that_cannot_work_are_refused(charge: float, cut_in: float, cut_out: float) -> None:
    for formula in (fraction, fraction_fast):
        with pytest.raises(SettingsError):
            formula(psi_to_kpa(charge), psi_to_kpa(cut_in), psi_to_kpa(cut_out))


@pytest.mark.parametrize("bad", [0.0, -5.0, math.nan, math.inf])
def test_volumes_and_flows_that_cannot_be_are_refused(bad: float) -> None:
    with pytest.raises(SettingsError):
        drawdown_l(bad, *USUAL)
    with pytest.raises(SettingsError):
        run_s(30.0, bad)


def test_the_first_draw_is_left_out_and_the_spread_is_carried() -> None:
    told = draw_and_refill([(gal_to_l(17), 75.0), (gal_to_l(15), 75.0), (gal_to_l(15.2), 75.0), (gal_to_l(14.8), 75.0)])
    assert told.left_out == 1
    assert told.rate.l_per_min == pytest.approx(gal_to_l(12.0))
    # By hand: bucket 2 %, late tap 1.5 %: 2.5 %; spread 0.16/sqrt(3) x 4.303/1.96 = 0.203 gpm, 1.69 %; together 3.0 %.
    assert told.rate.sd_l_per_min == pytest.approx(gal_to_l(12.0) * 0.0302, rel=0.01)
    assert not told.falling
    assert "12 gpm" in Messages().texts(told.reasons)
    assert draw_and_refill([(15.0, 75.0)]).left_out == 0


def test_a_pump_rate_that_falls_is_told() -> None:
    told = draw_and_refill([(30.0, 60.0), (30.0, 60.0), (30.0, 64.0), (30.0, 69.0)])
    assert told.falling
    assert "It fell from 30 L/min to 26.1 L/min" in Messages(units="metric").texts(told.reasons)


def test_a_steady_tap_with_its_flow_gives_the_pump_rate() -> None:
    told = steady_tap(10.0, [(60.0, 120.0), (60.0, 120.0), (60.0, 120.0)])
    assert told.rate.l_per_min == pytest.approx(30.0)
    assert told.rate.sd_l_per_min == pytest.approx(0.6)  # two percent of the bucket, no spread
    with pytest.raises(SettingsError, match="no whole cycle"):
        steady_tap(10.0, [])


@pytest.mark.parametrize("cycles", [2, 3, 11, 12, 13, 40])
def test_the_spread_of_a_pump_rate_is_that_of_students_t(cycles: int) -> None:
    """With the tap's flow exact, the 95 % interval is the one scipy.stats gives for a mean."""
    runs_s = [60.0 + 3.0 * math.sin(2.1 * i) for i in range(cycles)]
    result = steady_tap(10.0, [(run_s, 120.0) for run_s in runs_s], use_relative_sd=0.0)
    each = result.each_l_per_min
    low, high = stats.t.interval(0.95, cycles - 1, loc=statistics.fmean(each), scale=stats.sem(each))
    assert result.rate.l_per_min == pytest.approx((low + high) / 2)
    assert 1.96 * result.rate.sd_l_per_min == pytest.approx((high - low) / 2)
