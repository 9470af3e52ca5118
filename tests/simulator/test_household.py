"""The simulator's truth against an independent solver, published values, and what physics forbids."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from clicktimer.errors import SettingsError
from clicktimer.simulator.household import System, Use, run_household, simulate, us_system
from clicktimer.simulator.uses import household_uses, refill_test

GAL_L, PSI_KPA = 3.785411784, 6.894757293168

# Drawdown by Boyle's law at sea level, charge 2 psi below cut-in, US gal, worked by hand from
# V (P0) (1/P1 - 1/P2) with 14.696 psi: 20 gal at 40/60: 20 x 52.696 x (1/54.696 - 1/74.696) = 5.16.
BY_HAND = [
    # tank gal, switch psi, drawdown gal, run at 5 / 8 / 10 / 12 gpm, s
    (20, (40, 60), 5.16, (62, 39, 31, 26)),
    (33, (40, 60), 8.51, (102, 64, 51, 43)),
    (62, (40, 60), 15.99, (192, 120, 96, 80)),
    (119, (40, 60), 30.70, (368, 230, 184, 153)),
    (20, (30, 50), 5.91, (71, 44, 35, 30)),
    (33, (30, 50), 9.75, (117, 73, 58, 49)),
    (62, (30, 50), 18.31, (220, 137, 110, 92)),
    (119, (30, 50), 35.14, (422, 264, 211, 176)),
]


@pytest.mark.parametrize(("tank_gal", "switch", "drawdown_gal", "runs_s"), BY_HAND)
def test_runs_without_use_are_those_of_boyles_law(tank_gal, switch, drawdown_gal, runs_s):
    for gpm, run_s in zip((5, 8, 10, 12), runs_s, strict=True):
        system = us_system(float(tank_gal), switch_psig=switch, pump_gpm=gpm)
        timeline = simulate(system, [], duration_s=1.0)
        assert timeline.no_use_run_s == pytest.approx(run_s, abs=0.51)
        assert system.drawdown_l / GAL_L == pytest.approx(drawdown_gal, abs=0.006)


@pytest.mark.parametrize(("switch", "share"), [((40.0, 60.0), 0.745), ((30.0, 50.0), 0.751)])
def test_without_heat_exchange_the_drawdown_is_the_adiabatic_one(switch, share):
    # reversible adiabatic squeezing, P V^1.4 constant: D = V (P0/P1) (1 - (P1/P2)^(1/1.4)), over Boyle's
    p0, p1, p2 = switch[0] - 2 + 14.695949, switch[0] + 14.695949, switch[1] + 14.695949
    exact = (1 - (p1 / p2) ** (1 / 1.4)) / (p1 * (1 / p1 - 1 / p2))
    isothermal = us_system(33.0, switch_psig=switch)
    ratio = (
        simulate(replace(isothermal, tau_s=math.inf), [], duration_s=1.0).no_use_run_s
        / simulate(isothermal, [], duration_s=1.0).no_use_run_s
    )
    assert ratio == pytest.approx(exact, rel=1e-6)
    assert ratio == pytest.approx(share, abs=0.0006)
    assert p0 < p1


def test_heat_that_passes_at_once_is_the_isothermal_tank():
    isothermal = us_system(33.0)
    quick = simulate(replace(isothermal, tau_s=0.05), [], duration_s=1.0).no_use_run_s
    assert quick == pytest.approx(simulate(isothermal, [], duration_s=1.0).no_use_run_s, rel=5e-4)


# Of a 40/60 refill that Boyle puts at this many seconds, the share that really comes, by tau: an earlier simulation of
# other make, rounded to two digits.
EARLIER = [
    (10, 30, 0.77),
    (10, 120, 0.75),
    (60, 30, 0.85),
    (60, 60, 0.81),
    (60, 120, 0.78),
    (300, 60, 0.93),
    (300, 120, 0.87),
]


@pytest.mark.parametrize(("boyle_s", "tau_s", "share"), EARLIER)
def test_a_fast_refill_takes_less_as_an_earlier_simulation_said(boyle_s, tau_s, share):
    isothermal = us_system(33.0)
    paced = replace(isothermal, pump_l_per_min=isothermal.drawdown_l / boyle_s * 60, tau_s=float(tau_s))
    assert simulate(paced, [], duration_s=1.0).no_use_run_s / boyle_s == pytest.approx(share, abs=0.011)


def _outside_solution(
    system: System, uses: list[Use], duration_s: float, start_kpag: float, pump_on: bool
) -> tuple[list[float], list[float]]:
    """Cut-ins and cut-outs by scipy's solver, written from the gas law alone: air volume and temperature as state."""
    from scipy.integrate import solve_ivp

    room_k, heat = 290.0, 0.4
    charge = system.precharge_kpag + system.atmosphere_kpa
    moles_r = charge * system.volume_l / room_k  # n R, kPa L / K
    middle = (system.cut_in_kpag + system.cut_out_kpag) / 2

    def pressure(y: NDArray[np.float64]) -> float:
        return float(moles_r * y[1] / y[0] - system.atmosphere_kpa)

    def rates(on: bool, tap: float, p: float) -> float:
        along = (p - system.cut_in_kpag) / (system.cut_out_kpag - system.cut_in_kpag)
        pump = system.pump_l_per_min / 60 * (1 - system.pump_fall * along) if on else 0.0
        return pump - (tap * math.sqrt(p / middle) if system.tap_law == "root of pressure" else tap)

    edges = sorted({0.0, duration_s, *(e for u in uses for e in (u.start_s, u.start_s + u.duration_s))})
    y = np.array([moles_r * room_k / (start_kpag + system.atmosphere_kpa), room_k])
    found: tuple[list[float], list[float]] = ([], [])
    for from_s, to_s in itertools.pairwise(edges):
        middle_s = (from_s + to_s) / 2
        tap = sum(u.flow_l_per_min for u in uses if u.start_s <= middle_s < u.start_s + u.duration_s) / 60
        time_s = from_s
        while time_s < to_s:

            def slope(_t: float, y: NDArray[np.float64], on: bool = pump_on, tap: float = tap) -> list[float]:
                water = rates(on, tap, pressure(y))
                cooling = 0.0 if system.tau_s is None else (y[1] - room_k) / system.tau_s
                squeeze = 0.0 if system.tau_s is None else heat * y[1] / y[0] * water
                return [-water, squeeze - cooling]

            def switch(_t: float, y: NDArray[np.float64], on: bool = pump_on) -> float:
                return pressure(y) - (system.cut_out_kpag if on else system.cut_in_kpag)

            switch.terminal = True  # type: ignore[attr-defined]
            switch.direction = 1 if pump_on else -1  # type: ignore[attr-defined]
            out = solve_ivp(
                slope, (time_s, to_s), y, events=switch, rtol=1e-10, atol=1e-10, max_step=20.0, method="DOP853"
            )
            y, time_s = out.y[:, -1], float(out.t[-1])
            if out.status == 1:
                found[1 if pump_on else 0].append(time_s)
                pump_on = not pump_on
    return found


VARIANTS = {
    "isothermal": us_system(33.0),
    "falling rate": us_system(33.0, pump_fall=0.4),
    "root taps": us_system(20.0, tap_law="root of pressure", pump_fall=0.2),
    "heat": us_system(33.0, tau_s=60.0),
    "heat and all": us_system((20.0, 13.0), tau_s=90.0, pump_fall=0.3, tap_law="root of pressure", height_ft=5000.0),
}


@pytest.mark.parametrize("variant", VARIANTS)
def test_every_operation_is_where_an_independent_solver_puts_it(variant):
    system = VARIANTS[variant]
    uses = [
        Use(20.0, 260.0, 11.0),
        Use(150.0, 90.0, 6.0),
        Use(500.0, 600.0, 8.0),
        Use(1300.0, 60.0, 45.0),
    ]  # never empties the tank
    cut_ins_s, cut_outs_s = _outside_solution(system, uses, 1800.0, 380.0, False)
    timeline = simulate(system, uses, duration_s=1800.0, start_kpag=380.0)
    assert len(cut_ins_s) >= 4
    assert timeline.cut_ins_s == pytest.approx(cut_ins_s, abs=1e-4)
    assert timeline.cut_outs_s == pytest.approx(cut_outs_s, abs=1e-4)


def test_a_timeline_may_begin_inside_a_run():
    system = us_system(33.0, tau_s=60.0)
    cut_ins_s, cut_outs_s = _outside_solution(system, [Use(100.0, 200.0, 15.0)], 400.0, 330.0, True)
    timeline = simulate(system, [Use(100.0, 200.0, 15.0)], duration_s=400.0, start_kpag=330.0, pump_on_at_start=True)
    assert timeline.pump_on_at_start
    assert timeline.cut_outs_s[0] < timeline.cut_ins_s[0]
    assert timeline.cut_outs_s == pytest.approx(cut_outs_s, abs=1e-4)
    assert timeline.cut_ins_s == pytest.approx(cut_ins_s, abs=1e-4)


def test_air_that_cools_can_bring_the_pump_on_with_every_tap_shut():
    # An empty tank with a low charge, filled fast to a narrow range: the air is so hot at cut-out that cooling alone
    # takes the pressure down to cut-in.
    system = us_system(33.0, switch_psig=(40.0, 44.0), precharge_psig=10.0, pump_gpm=30.0, tau_s=100.0)
    timeline = simulate(system, [], duration_s=2000.0, start_kpag=12 * PSI_KPA, pump_on_at_start=True)
    cut_ins_s, cut_outs_s = _outside_solution(system, [], 2000.0, 12 * PSI_KPA, True)
    assert len(cut_ins_s) >= 1
    assert timeline.cut_ins_s == pytest.approx(cut_ins_s, abs=1e-4)
    assert timeline.cut_outs_s == pytest.approx(cut_outs_s, abs=1e-4)


FLOWS = st.floats(0.3, 60.0)
USES = st.lists(st.builds(Use, st.floats(-100, 5000), st.floats(0, 2000), FLOWS), max_size=8)
SYSTEMS = st.builds(
    us_system,
    st.floats(2.0, 119.0),
    precharge_psig=st.floats(-10.0, 55.0),
    pump_gpm=st.floats(3.0, 25.0),
    pump_fall=st.sampled_from([0.0, 0.0, 0.3]),
    tau_s=st.sampled_from([None, None, 20.0, 90.0]),
    switch_sd_psi=st.sampled_from([0.0, 0.3]),
    tap_law=st.sampled_from(["constant flow", "root of pressure"]),
)


@settings(max_examples=25)
@given(SYSTEMS, USES, st.booleans(), st.integers(0, 9))
def test_no_water_is_made_or_lost(system, uses, pump_on, seed):
    start_kpag = (system.cut_in_kpag + system.cut_out_kpag) / 2
    timeline, account = run_household(
        system, uses, duration_s=6000.0, seed=seed, start_kpag=start_kpag, pump_on_at_start=pump_on
    )
    left_l = account.stored_at_start_l + account.pumped_l - account.delivered_l
    assert account.stored_at_end_l == pytest.approx(left_l, abs=1e-6)
    assert 0 <= account.stored_at_end_l < system.volume_l
    assert timeline.water_l == account.delivered_l
    # starts and stops take turns, and at a constant rate the pump's hours are the water it gave
    operations = sorted([(t, True) for t in timeline.cut_ins_s] + [(t, False) for t in timeline.cut_outs_s])
    assert [on for _, on in operations] == [(k % 2 == 0) != pump_on for k in range(len(operations))]
    assert all(0 <= t <= 6000.0 for t, _ in operations)
    edges = ([0.0] if pump_on else []) + [t for t, _ in operations]
    edges += [6000.0] if len(edges) % 2 else []
    running_s = sum(edges[1::2]) - sum(edges[::2])
    if system.pump_fall == 0:
        assert running_s * system.pump_l_per_min / 60 == pytest.approx(account.pumped_l, rel=1e-9, abs=1e-6)
    # what the taps asked for at most (constant flow): they got no more
    if system.tap_law == "constant flow":
        asked_l = sum(
            max(0.0, min(6000.0, u.start_s + u.duration_s) - max(0.0, u.start_s)) * u.flow_l_per_min / 60 for u in uses
        )
        assert timeline.water_l <= asked_l * (1 + 1e-9) + 1e-6


@settings(max_examples=40)
@given(st.floats(2.0, 100.0), st.floats(1.01, 3.0), st.sampled_from([None, 60.0]), st.sampled_from([0.0, 0.3]))
def test_a_larger_tank_never_runs_shorter(tank_gal, factor, tau_s, fall):
    small, large = (
        simulate(us_system(v, tau_s=tau_s, pump_fall=fall), [], duration_s=1.0).no_use_run_s
        for v in (tank_gal, tank_gal * factor)
    )
    assert large > small


@pytest.mark.parametrize("flow_gpm", [1.0, 3.0, 6.0, 9.0])
def test_run_and_rest_under_a_steady_tap_give_the_run_without_use(flow_gpm):
    # 1/r0 = 1/run + 1/rest follows from run = D/(Q - q), rest = D/q; here the times come from the simulated switch
    timeline = simulate(us_system(33.0), [Use(0, 20_000, flow_gpm * GAL_L)], duration_s=20_000.0)
    run_s = timeline.cut_outs_s[0] - timeline.cut_ins_s[0]
    rest_s = timeline.cut_ins_s[1] - timeline.cut_outs_s[0]
    assert run_s * rest_s / (run_s + rest_s) == pytest.approx(timeline.no_use_run_s, rel=1e-9)


def test_use_above_the_pumps_rate_keeps_it_running_and_empties_the_tank():
    timeline, account = run_household(us_system(33.0, pump_gpm=5.0), [Use(10, 5000, 40.0)], duration_s=4000.0)
    assert len(timeline.cut_ins_s) == 1
    assert not timeline.cut_outs_s
    assert account.stored_at_end_l == 0
    # the store, and then only what the pump gives
    pumped_l = (4000.0 - timeline.cut_ins_s[0]) * 5.0 * GAL_L / 60
    assert timeline.water_l == pytest.approx(account.stored_at_start_l + pumped_l, rel=1e-9)


def test_a_charge_above_cut_in_brings_the_pump_on_when_the_tank_runs_empty():
    system = us_system(33.0, precharge_psig=50.0)
    timeline, account = run_household(system, [Use(0, 600, 10.0)], duration_s=3000.0)
    # D = V (1 - P0/P2) = 33 (1 - 64.696/74.696) gal = 4.418 gal
    assert system.drawdown_l / GAL_L == pytest.approx(4.418, abs=0.001)
    assert timeline.cut_ins_s[0] == pytest.approx(account.stored_at_start_l / 10.0 * 60, rel=1e-9)
    assert timeline.no_use_run_s == pytest.approx(4.418 / 10 * 60, abs=0.01)


def test_a_pump_too_weak_for_cut_out_has_an_endless_run():
    weak = us_system(33.0, pump_fall=1.0, switch_psig=(40.0, 60.0), tau_s=60.0)
    assert simulate(weak, [], duration_s=1.0).no_use_run_s == math.inf


def test_the_switch_scatters_as_told():
    system = us_system(33.0, switch_sd_psi=0.5)
    timeline = simulate(system, [Use(0, 400_000, 18.9)], duration_s=400_000.0, seed=3)
    runs_s = np.array(timeline.cut_outs_s[:1000]) - np.array(timeline.cut_ins_s[:1000])
    exact = simulate(replace(system, switch_sd_kpa=0.0), [Use(0, 9_000, 18.9)], duration_s=9_000.0)
    assert len(runs_s) > 900
    assert np.mean(runs_s) == pytest.approx(exact.cut_outs_s[0] - exact.cut_ins_s[0], rel=0.01)
    # dD/D for one setting off by 0.5 psi, from D ~ 1/P1 - 1/P2 at 54.7 and 74.7 psia: 0.0341 and 0.0183, in quadrature
    assert np.std(runs_s) / np.mean(runs_s) == pytest.approx(math.hypot(0.0341, 0.0183), rel=0.08)


def test_the_same_seed_gives_the_same_day_and_another_seed_another():
    system = us_system(33.0, switch_sd_psi=0.3, tau_s=80.0)
    uses = household_uses("ordinary", 86_400.0, 5)
    days = [simulate(system, uses, duration_s=86_400.0, seed=seed) for seed in (1, 1, 2)]
    assert days[0] == days[1]
    assert days[0].cut_ins_s != days[2].cut_ins_s


@pytest.mark.parametrize(
    ("kind", "low_l", "high_l"),
    [
        ("ordinary", 150, 900),
        ("lean", 30, 400),
        ("irrigation", 600, 3_500),
        ("softener", 300, 1_300),
        ("seeping", 600, 3_300),
        ("steady tap", 7_000, 17_500),
        ("taps shut", 0, 0),
    ],
)
def test_kinds_of_household_use_what_they_should_in_a_day(kind, low_l, high_l):
    for seed in range(4):
        uses = household_uses(kind, 86_400.0, seed)
        asked_l = sum(
            (min(86_400.0, u.start_s + u.duration_s) - max(0.0, u.start_s)) * u.flow_l_per_min / 60 for u in uses
        )
        assert low_l <= asked_l <= high_l
        assert uses == household_uses(kind, 86_400.0, seed)
        assert uses != household_uses(kind, 86_400.0, seed + 100) or not uses


def test_water_is_drawn_by_day():
    uses = [u for seed in range(20) for u in household_uses("ordinary", 86_400.0, seed)]
    night = sum(u.start_s < 5 * 3600 for u in uses)
    morning = sum(6 * 3600 <= u.start_s < 11 * 3600 for u in uses)
    assert morning > 5 * night


@pytest.mark.parametrize("delay_s", [0.0, 5.0])
def test_a_hand_that_is_late_lengthens_the_run_by_delay_times_draw_over_rate(delay_s):
    system = us_system(33.0, pump_gpm=10.0)
    uses, start_kpag, duration_s = refill_test(
        system, runs=3, draw_l_per_min=4 * GAL_L, hand_delay_s=delay_s, first_draw_s=20.0
    )
    timeline = simulate(system, uses, duration_s=duration_s, start_kpag=start_kpag)
    assert timeline.cut_ins_s[0] == pytest.approx(28.0, abs=1e-6)
    runs_s = np.subtract(timeline.cut_outs_s, timeline.cut_ins_s)
    # 5 s at 4 of 10 gpm: 2 s
    assert runs_s == pytest.approx(timeline.no_use_run_s + 0.4 * delay_s, abs=1e-5)
    assert duration_s == pytest.approx(timeline.cut_outs_s[-1] + 5.0)


def test_height_sets_the_atmosphere():
    # 1976 standard atmosphere: 12.228 psi at 5,000 ft (its published table: 24.896 in Hg)
    assert us_system(33.0, height_ft=5000.0).atmosphere_kpa / PSI_KPA == pytest.approx(12.228, abs=0.002)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"cut_out_kpag": 200.0}, "below cut-out"),
        ({"precharge_kpag": 420.0}, "air charge"),
        ({"tank_l": ()}, "volume"),
        ({"tank_l": (-3.0,)}, "volume"),
        ({"pump_l_per_min": 0.0}, "pump rate"),
        ({"pump_l_per_min": math.nan}, "finite"),
        ({"tau_s": 0.0}, "tau_s"),
        ({"switch_sd_kpa": 60.0}, "scatter"),
    ],
)
def test_impossible_systems_are_refused(change, words):
    with pytest.raises(SettingsError, match=words):
        replace(us_system(33.0), **change)


def test_impossible_starts_are_refused():
    with pytest.raises(SettingsError, match="above cut-in"):
        simulate(us_system(33.0), [], duration_s=10.0, start_kpag=200.0)
    with pytest.raises(SettingsError, match="below cut-out"):
        simulate(us_system(33.0), [], duration_s=10.0, start_kpag=420.0, pump_on_at_start=True)
    with pytest.raises(SettingsError, match="duration_s"):
        simulate(us_system(33.0), [], duration_s=0.0)
    with pytest.raises(SettingsError, match="unknown kind"):
        household_uses("picnic", 10.0, 1)  # type: ignore[arg-type]
