"""r0: against closed forms, an independent numerical solution of the tank, and simulated scatter."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from clicktimer.cycles.pairing import pair_cycles, unknown_intervals
from clicktimer.cycles.run_time import RUN_TO_RUN_SHARE, STEADY_READS_LONG, STEADY_READS_SHORT, no_use_run
from clicktimer.cycles.steady_tap import steady_no_use_run_s, steady_stretch
from clicktimer.records import Click, Cycle
from tests.support.words import said

SD_S = 0.002


def clicks_of(runs_s, rests_s, *, confidence=0.99, sd_s=SD_S, known=True) -> list[Click]:
    """Cut-ins and cut-outs of runs with the rest after each; a rest of None ends the recording."""
    time_s, clicks = 5.0, []
    for run_s, rest_s in zip(runs_s, rests_s, strict=True):
        clicks += [(time_s, "cut-in"), (time_s + run_s, "cut-out")]
        time_s += run_s + (rest_s or 0.0)
    if rests_s[-1] is not None:
        clicks.append((time_s, "cut-in"))
    return [Click(t, kind if known else "unknown", confidence, sd_s) for t, kind in clicks]


def cycles_of(runs_s, rests_s=None, **how) -> tuple[Cycle, ...]:
    clicks = clicks_of(runs_s, rests_s or [60.0] * (len(runs_s) - 1) + [None], **how)
    return pair_cycles(clicks, start_s=0, end_s=clicks[-1].time_s + 1)


# --- an independent solution of the tank: gas mass and heat balance, integrated with events --------------------------
@dataclass(frozen=True)
class Tank:
    volume_gal: float = 33.0
    charge_psia: float = 38 + 14.696
    cut_in_psia: float = 40 + 14.696
    cut_out_psia: float = 60 + 14.696
    rate_gpm: float = 10.0
    rate_falls: float = 0.0  # share of the mean rate lost from cut-in to cut-out
    tau_s: float | None = None  # heat exchange of the air; None: constant temperature

    def rate(self, psia: float) -> float:
        middle = 0.5 * (self.cut_in_psia + self.cut_out_psia)
        span = self.cut_out_psia - self.cut_in_psia
        return self.rate_gpm / 60 * (1 - self.rate_falls * (psia - middle) / span)

    def pressure(self, state) -> float:
        return (
            self.charge_psia * self.volume_gal / state[0] * state[1]
        )  # state: air in gal, temperature over the room's


def switch_times(tank: Tank, use, cycles: int, *, wait_s: float = 0.0) -> list[tuple[float, float]]:
    """(run, rest) pairs, after three cycles to settle. ``use(psia)`` is the flow taken, in gal/s."""

    def slope(on: bool):
        def f(_t, state):
            psia = tank.pressure(state)
            growth = use(psia) - (tank.rate(psia) if on else 0.0)
            heat = 0.0
            if tank.tau_s is not None:  # air as an ideal gas, 7/5
                heat = -0.4 * state[1] / state[0] * growth - (state[1] - 1) / tank.tau_s
            return [growth, heat]

        return f

    def until(on: bool, state):
        mark = tank.cut_out_psia if on else tank.cut_in_psia

        def event(_t, s):
            return tank.pressure(s) - mark

        event.terminal = True
        event.direction = 1 if on else -1
        answer = solve_ivp(slope(on), (0, 36000), state, events=event, rtol=1e-9, atol=1e-10, max_step=60)
        assert answer.status == 1
        return float(answer.t[-1]), answer.y[:, -1]

    state = np.array([tank.charge_psia * tank.volume_gal / tank.cut_in_psia, 1.0])
    pairs = []
    for _ in range(cycles + 3):
        run_s, state = until(True, state)
        rest_s, state = until(False, state)
        pairs.append((run_s, rest_s))
    return pairs[3:]


def no_use_s(tank: Tank, before_gpm: float) -> float:
    """r0 by the same equations: water drawn at ``before_gpm`` down to cut-in, then every tap shut."""

    drawn = {"gal_s": before_gpm / 60}
    state = np.array([tank.charge_psia * tank.volume_gal / tank.cut_out_psia, 1.0])

    def slope(_t, s):
        growth = drawn["gal_s"] - (tank.rate(tank.pressure(s)) if drawn["gal_s"] == 0 else 0.0)
        heat = 0.0 if tank.tau_s is None else -0.4 * s[1] / s[0] * growth - (s[1] - 1) / tank.tau_s
        return [growth, heat]

    for flow, mark, direction in ((before_gpm / 60, tank.cut_in_psia, -1), (0.0, tank.cut_out_psia, 1)):
        drawn["gal_s"] = flow

        def event(_t, s, mark=mark):
            return tank.pressure(s) - mark

        event.terminal, event.direction = True, direction
        answer = solve_ivp(slope, (0, 36000), state, events=event, rtol=1e-9, atol=1e-10, max_step=60)
        assert answer.status == 1
        state = answer.y[:, -1]
    return float(answer.t[-1])


@pytest.mark.parametrize("use_gpm", [1.0, 3.0, 5.0, 8.0])
def test_steady_tap_against_the_tank_solved_numerically_and_in_closed_form(use_gpm):
    tank = Tank()
    pairs = switch_times(tank, lambda _p: use_gpm / 60, 3)
    run = no_use_run(cycles_of(*zip(*pairs, strict=True)), taps="steady")
    # Boyle: D = V P0 (1/P1 - 1/P2), r0 = D/Q
    closed_s = 33 * tank.charge_psia * (1 / tank.cut_in_psia - 1 / tank.cut_out_psia) / 10 * 60
    assert run is not None
    assert run.how == "steady tap"
    assert run.count == 3
    assert run.seconds == pytest.approx(closed_s, rel=1e-5)
    assert run.low_s < closed_s < run.high_s
    assert no_use_s(tank, 4.0) == pytest.approx(closed_s, rel=1e-6)


@pytest.mark.parametrize(("volume_gal", "rate_gpm", "use_gpm"), [(10, 10, 8), (10, 10, 2), (10, 10, 5)])
def test_cycle_law_of_the_handbook_is_symmetric(volume_gal, rate_gpm, use_gpm):
    # MIL-HDBK-1005/9A 2.5.3.6: t = (V/D)[1/(1-Q/D) + 1/(Q/D)] minutes; V = 10, D = 10: 6.25, 6.25 and 4.
    published_min = {8: 6.25, 2: 6.25, 5: 4.0}[use_gpm]
    run_min, rest_min = volume_gal / (rate_gpm - use_gpm), volume_gal / use_gpm
    assert run_min + rest_min == pytest.approx(published_min)
    assert steady_no_use_run_s(60 * run_min, 60 * rest_min) == pytest.approx(60 * volume_gal / rate_gpm)
    assert steady_no_use_run_s(60 * rest_min, 60 * run_min) == pytest.approx(60 * volume_gal / rate_gpm)


@pytest.mark.parametrize("volume_gal", [33.0, 62.0])
@pytest.mark.parametrize("tau_s", [None, 30.0, 60.0, 120.0])
@pytest.mark.parametrize("rate_falls", [0.0, 0.4])
@pytest.mark.parametrize("use_gpm", [1.0, 5.0])
def test_steady_tap_stays_within_what_the_verdict_allows_for(volume_gal, tau_s, rate_falls, use_gpm):
    tank = Tank(volume_gal=volume_gal, tau_s=tau_s, rate_falls=rate_falls)

    def tap(psia):  # a real tap: flow as the root of the gauge pressure
        return use_gpm / 60 * math.sqrt(max(psia - 14.696, 0) / 50)

    run_s, rest_s = switch_times(tank, tap, 1)[0]
    told_s = steady_no_use_run_s(run_s, rest_s)
    assert told_s / no_use_s(tank, 0.5) > 1 - STEADY_READS_SHORT  # drawn so slowly that the air has settled
    assert told_s / no_use_s(tank, 2.0) < 1 + STEADY_READS_LONG  # drawn by one tap


def test_run_of_one_tank_differs_by_how_fast_water_was_drawn_before_within_the_allowance():
    fast_s, slow_s = no_use_s(Tank(tau_s=80.0), 8.0), no_use_s(Tank(tau_s=80.0), 0.5)
    assert 0.05 < (slow_s - fast_s) / (slow_s + fast_s) < RUN_TO_RUN_SHARE


def test_numerical_tank_reaches_the_adiabatic_bound_of_boyles_drawdown():
    # Settled air pressed without any loss of heat: D_ad / D = 0.745 at 40/60 (closed form, exponent 7/5).
    tank = Tank(tau_s=1e9)
    boyle = 1 / tank.cut_in_psia - 1 / tank.cut_out_psia
    bound = (1 - (tank.cut_in_psia / tank.cut_out_psia) ** (1 / 1.4)) / tank.cut_in_psia / boyle
    # Adiabatic the draw undoes the refill, so the air is back at its start of 60 psi: cut-in is cold by the same law.
    expected = ((tank.cut_out_psia / tank.cut_in_psia) ** (1 / 1.4) - 1) / tank.cut_out_psia / boyle
    assert bound == pytest.approx(0.745, abs=5e-4)
    settled_s = no_use_s(Tank(), 4.0)
    assert no_use_s(tank, 4.0) / settled_s == pytest.approx(expected, rel=1e-5)


# --- taps shut -------------------------------------------------------------------------------------------------------
def test_first_of_three_or_more_is_left_out():
    run = no_use_run(cycles_of([50, 40, 41, 42]), taps="shut")
    assert run is not None
    assert (run.count, run.how, run.one_sided) == (3, "taps shut", False)
    assert run.seconds == pytest.approx(41)
    # Student's t on 2 degrees of freedom is 4.303 (any printed table); sd 1 s over root 3
    assert run.spread_s == pytest.approx(4.303 / math.sqrt(3), abs=1e-3)
    assert run.high_s - run.seconds == pytest.approx(run.spread_s + 41e-4, abs=1e-9)
    assert "first run was left out" in said(run.notes)
    assert run.doubts == ()


def test_one_run_has_timing_and_clock_only_and_says_so():
    run = no_use_run(cycles_of([40]), taps="shut")
    assert run is not None
    assert run.spread_s is None
    assert run.high_s - run.seconds == pytest.approx(1.96 * SD_S * math.sqrt(2) + 0.004)
    assert run.timing_s == pytest.approx(run.high_s - run.seconds)
    assert "spread between runs is unknown" in said(run.notes)


def test_two_runs_are_both_covered_and_a_gross_difference_is_in_doubt():
    run = no_use_run(cycles_of([40, 42]), taps="shut")
    assert run is not None
    assert run.low_s < 40
    assert run.high_s > 42
    assert (run.spread_s, run.doubts) == (None, ())
    apart = no_use_run(cycles_of([20, 40]), taps="shut")
    assert apart is not None
    assert apart.low_s < 20
    assert apart.high_s > 40
    assert "differ by 67 %" in said(apart.doubts)


@pytest.mark.parametrize("odd_s", [12.0, 79.0])
def test_a_run_far_from_the_others_is_left_out_and_named(odd_s):
    run = no_use_run(cycles_of([41, 40, 40.5, odd_s, 41, 40.2, 40.8]), taps="shut")
    assert run is not None
    assert run.count == 5
    assert run.seconds == pytest.approx(40.5)
    assert f"1 of 6 runs ({odd_s:.1f} s)" in said(run.notes)
    assert run.doubts == ()  # five of six agree
    few = no_use_run(cycles_of([41, 40, odd_s, 40.5]), taps="shut")
    assert few is not None
    assert "1 of 3" in said(few.doubts)


def test_runs_that_merely_scatter_are_all_kept():
    run = no_use_run(cycles_of([40, 28, 40, 52, 33]), taps="shut")
    assert run is not None
    assert run.count == 4
    assert run.high_s - run.low_s > 20


def test_doubtful_clicks_are_left_out_or_doubted():
    sure, faint = cycles_of([40]), cycles_of([90], confidence=0.6)
    run = no_use_run([*faint, *sure], taps="shut")
    assert run is not None
    assert run.seconds == 40
    assert "1 of 2 runs whose clicks are doubtful" in said(run.notes)
    half_sure = no_use_run(cycles_of([40], confidence=0.8), taps="shut")
    assert half_sure is not None
    assert "not certain (confidence 0.64)" in said(half_sure.doubts)


@pytest.mark.parametrize("n", [3, 4, 5, 6])
def test_interval_holds_the_truth_in_95_of_100(n):
    rng = np.random.default_rng(20240 + n)
    trials, truth_s = 1500, 50.0
    held = 0
    for _ in range(trials):
        runs_s = truth_s * (1 + 0.02 * rng.standard_normal(n + 1))
        run = no_use_run(cycles_of(list(runs_s), sd_s=0.001), taps="shut")
        assert run is not None
        assert run.count == n
        held += run.low_s <= truth_s <= run.high_s
    assert 0.93 < held / trials < 0.97


@pytest.mark.parametrize("n", [3, 5])
def test_interval_by_a_steady_tap_holds_the_truth_in_95_of_100(n):
    rng = np.random.default_rng(777 + n)
    trials, r0_s, share = 1500, 50.0, 0.3  # the tap takes 0.3 of the pump's rate
    held = told = 0
    for _ in range(trials):
        drawdown = 1 + 0.01 * rng.standard_normal(2 * n)  # the switch scatters, so what a run fills differs
        runs_s, rests_s = r0_s / (1 - share) * drawdown[:n], r0_s / share * drawdown[n:]
        run = no_use_run(cycles_of(list(runs_s), list(rests_s)), taps="steady")
        if run is not None and run.how == "steady tap" and run.count == n:
            told += 1
            held += run.low_s <= r0_s <= run.high_s
    assert told > 0.95 * trials
    assert 0.93 < held / told < 0.97


# --- steady tap ------------------------------------------------------------------------------------------------------
RUNS_S, RESTS_S = [70.0, 71.0, 70.4, 70.2, 70.8], [175.0, 176.0, 174.0, 175.5, 175.2]


def test_steady_tap_needs_no_order():
    clicks = clicks_of(RUNS_S, RESTS_S, known=False)
    both = unknown_intervals(clicks)
    by_order = no_use_run(cycles_of(RUNS_S, RESTS_S), taps="steady")
    by_intervals = no_use_run((), taps="steady", clicks=clicks, ambiguous=both)
    assert by_order is not None
    assert by_intervals is not None
    assert by_intervals.seconds == pytest.approx(by_order.seconds)
    assert (by_intervals.low_s, by_intervals.high_s) == pytest.approx((by_order.low_s, by_order.high_s))
    assert by_intervals.count == 5
    assert no_use_run((), taps=None, clicks=clicks, ambiguous=both) is None
    assert no_use_run((), taps="shut", clicks=clicks, ambiguous=both) is None


def test_cycles_in_which_another_tap_ran_are_left_out_and_counted():
    runs_s, rests_s = [70.0, 120.0, *RUNS_S], [175.0, 90.0, *RESTS_S]
    run = no_use_run(cycles_of(runs_s, rests_s), taps="steady")
    assert run is not None
    assert run.count == 5
    assert run.seconds == pytest.approx(np.mean([a * b / (a + b) for a, b in zip(RUNS_S, RESTS_S, strict=True)]))
    assert "2 of 7 cycles were left out" in said(run.notes)


def test_a_recording_that_begins_in_a_rest_loses_no_cycle():
    clicks = clicks_of(RUNS_S, RESTS_S)[1:-1]  # cut-out first, cut-out last: four rests, each followed by a run
    run = no_use_run(pair_cycles(clicks, start_s=0, end_s=2000), taps="steady", clicks=clicks)
    assert run is not None
    assert run.count == 4


@given(st.lists(st.sampled_from([60.0, 66.0, 68.0, 72.0, 90.0]), min_size=1, max_size=14))
def test_the_longest_stretch_is_the_one_found_by_trying_all(runs_s):
    rests_s = [170.0] * len(runs_s)
    longest = max(
        end - start
        for start in range(len(runs_s))
        for end in range(start + 1, len(runs_s) + 1)
        if max(runs_s[start:end]) - min(runs_s[start:end]) <= 0.06 * (max(runs_s[start:end]) + min(runs_s[start:end]))
    )
    # From cut-in to cut-in; a cycle may also be a rest and the run after it, which one run at an edge less can bound.
    stretch, total = steady_stretch(cycles_of(runs_s, rests_s))
    assert total == len(runs_s)
    assert longest <= len(stretch) <= longest + 1
    if len(runs_s) > 1 and len(stretch) > longest:
        assert stretch[0].first.is_run is False


def test_two_agreeing_cycles_are_too_few_and_the_bound_is_told():
    run = no_use_run(cycles_of([70, 71, 110], [175, 176, 90]), taps="steady")
    assert run is not None
    assert (run.how, run.one_sided, run.seconds) == ("shortest run", True, 70)
    assert "no 3 cycles in a row agree within 6 %" in said(run.notes)


def test_a_missing_click_breaks_the_stretch():
    clicks = clicks_of(RUNS_S, RESTS_S)
    del clicks[4]  # the third cut-in
    run = no_use_run(pair_cycles(clicks, start_s=0, end_s=2000), taps="steady", clicks=clicks)
    assert run is not None
    assert run.how == "shortest run"  # two cycles on either side of the hole


def test_a_tap_open_too_far_is_doubted():
    run = no_use_run(cycles_of([200.0] * 3, [80.0] * 3), taps="steady")
    assert run is not None
    assert "more than 60 %" in said(run.doubts)


def test_steady_timing_is_the_one_found_by_moving_each_click():
    # Independent: the same by random errors on the clicks of one cycle.
    rng = np.random.default_rng(5)
    times = np.array([0.0, 70.0, 245.0]) + 0.05 * rng.standard_normal((200_000, 3))
    run_s, rest_s = times[:, 1] - times[:, 0], times[:, 2] - times[:, 1]
    simulated_s = float(np.std(run_s * rest_s / (run_s + rest_s)))
    clicks = clicks_of([70.0] * 3, [175.0] * 3, sd_s=0.05)
    cycles = pair_cycles(clicks, start_s=0, end_s=900)
    run = no_use_run(cycles, taps="steady", clicks=clicks, clock_ppm=0.0)
    assert run is not None
    assert run.timing_s == pytest.approx(1.96 * simulated_s / math.sqrt(3), rel=0.01)


# --- nothing known of the taps ---------------------------------------------------------------------------------------
def test_shortest_trusted_run_is_an_upper_bound():
    run = no_use_run(cycles_of([90, 61, 75]), taps=None)
    assert run is not None
    assert (run.how, run.one_sided, run.low_s, run.count, run.seconds) == ("shortest run", True, 0.0, 3, 61)
    assert run.high_s == pytest.approx(61 + 1.96 * SD_S * math.sqrt(2) + 0.0061)
    assert run.doubts == ()


def test_a_shorter_but_less_trusted_run_does_not_count():
    run = no_use_run([*cycles_of([90, 61]), *cycles_of([3], confidence=0.8)], taps=None)
    assert run is not None
    assert run.seconds == 61
    only = no_use_run(cycles_of([33], confidence=0.8), taps=None)
    assert only is not None
    assert "not certain" in said(only.doubts)


def test_a_shortest_run_that_stands_alone_is_doubted():
    run = no_use_run(cycles_of([90, 61, 3, 75, 80]), taps=None)
    assert run is not None
    assert run.seconds == 3
    assert "stands alone: the next is 61.0 s" in said(run.doubts)


@pytest.mark.parametrize("taps", ["shut", "steady", None])
def test_no_complete_run_gives_no_figure(taps):
    assert no_use_run((), taps=taps) is None
    assert no_use_run(pair_cycles([Click(5, "cut-in", 1.0)], start_s=0, end_s=9), taps=taps) is None
    assert no_use_run(cycles_of([40], confidence=0.5), taps=taps) is None


def test_two_whole_cycles_are_called_too_few_and_not_unlike():
    run = no_use_run(cycles_of([70, 71], [175, 176]), taps="steady")
    assert run is not None
    assert run.one_sided
    assert "needs 3 whole cycles (a run and the rest after it); heard: 2" in said(run.notes)
    assert "agree" not in said(run.notes)
