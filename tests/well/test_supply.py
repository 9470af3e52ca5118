"""The well's water against published cases, a numerical solution of its water balance, and what must hold always."""

from __future__ import annotations

import math

import numpy as np
import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from clicktimer.errors import SettingsError
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.tank.system import PumpRate, Tank, make_system
from clicktimer.units.conversions import gal_to_l, l_to_gal
from clicktimer.well.assess import Asked, assess_well
from clicktimer.well.description import Well, WellYield, stated_yield, summed_yield, unusual_values
from clicktimer.well.parse import format_bore, format_depth, parse_bore_m, parse_depth_m
from clicktimer.well.storage import storage_for, tanks_for
from clicktimer.well.supply import (
    bore_area_m2,
    drawn_down_full_s,
    drawn_down_growing_s,
    pumped_l,
    standing_water_l,
    supply_over,
    well_gives_l,
)
from clicktimer.well.supply_check import SupplySide

HOUR_S = 3600.0


# The Groundwater Project, "Domestic Wells", solution of exercise 1 (grade B, read): well 50 m deep, bore 152 mm, water
# at 5 m, 5 m kept over the pump, 2 L/min, four persons of 215 L a day: 726 L stored, 240 L in 2 h, 966 against 860 L.
def test_the_published_exercise_of_a_domestic_well():
    stands = standing_water_l(0.152, 50.0, 5.0, 5.0)
    assert stands == pytest.approx(726.0, abs=0.5)
    assert well_gives_l(0.0, 2.0, 2 * HOUR_S) == pytest.approx(240.0)
    assert well_gives_l(stands, 2.0, 2 * HOUR_S) == pytest.approx(966.0, abs=0.5)
    well = Well(bore_m=0.152, pump_depth_m=50.0, static_level_m=5.0, margin_m=5.0, water_yield=stated_yield(2.0))
    report = assess_well(well, make_system(), Asked(people=4, per_person_l=215.0))
    (house,) = report.households
    assert house.need.high_l == pytest.approx(860.0)
    assert house.peak == "met"
    assert report.storage is None


def test_a_six_inch_bore_holds_1_469_gallons_a_foot():
    units = pint.UnitRegistry()
    per_ft = (math.pi / 4 * (6 * units.inch) ** 2 * units.foot).to("gallon").magnitude
    ours = l_to_gal(standing_water_l(parse_bore_m("6 in"), parse_depth_m("101 ft"), parse_depth_m("100 ft")))
    assert ours == pytest.approx(per_ft, rel=1e-9)
    assert round(ours, 3) == 1.469  # as printed in tables of casing volume


def test_fractures_add_up():
    assert summed_yield((1.0, 2.5, 4.0)).l_per_min == pytest.approx(7.5)
    assert summed_yield((1.0,)).how == "sum of fractures"


def numerical_draw(stands: float, inflow: float, draw: float, *, growing: bool) -> float:
    """When the standing water is gone, s: the balance dS/dt = Q - inflow integrated, S what the bore has lost."""

    def balance(_t: float, drawn: np.ndarray) -> list[float]:
        share = drawn[0] / stands if growing else 1.0
        return [draw - inflow * share]

    def gone(_t: float, drawn: np.ndarray) -> float:
        return drawn[0] - stands

    gone.terminal = True  # type: ignore[attr-defined]
    most_min = 10 * stands / (draw - inflow)
    solved = solve_ivp(balance, (0, most_min), [0.0], events=gone, rtol=1e-9, atol=1e-9)
    return 60.0 * float(solved.t_events[0][0])


@pytest.mark.parametrize(
    ("stands", "inflow", "draw"), [(726, 2, 30), (500, 10, 40), (880, 18, 19), (100, 0.01, 30), (300, 0, 25)]
)
def test_time_to_draw_down_agrees_with_a_numerical_solution(stands: float, inflow: float, draw: float):
    full = numerical_draw(stands, inflow, draw, growing=False)
    growing = numerical_draw(stands, inflow, draw, growing=True)
    assert drawn_down_full_s(stands, inflow, draw) == pytest.approx(full, rel=1e-6)
    assert drawn_down_growing_s(stands, inflow, draw) == pytest.approx(growing, rel=1e-6)


@pytest.mark.parametrize("growing", [False, True])
@pytest.mark.parametrize("hours", [0.1, 0.5, 2.0, 6.0])
def test_what_is_pumped_agrees_with_a_numerical_solution(growing: bool, hours: float):
    stands, inflow, draw = 700.0, 6.0, 30.0

    def balance(_t: float, state: np.ndarray) -> list[float]:
        share = min(max(state[0] / stands, 0.0), 1.0) if growing else 1.0
        flows_in = inflow * share
        pumps = draw if state[0] < stands else min(draw, inflow)
        return [pumps - flows_in if state[0] < stands else 0.0, pumps]

    solved = solve_ivp(balance, (0, 60 * hours), [0.0, 0.0], max_step=0.05 * hours, rtol=1e-6)
    ours = pumped_l(stands, inflow, draw, hours * HOUR_S, growing=growing)
    assert ours == pytest.approx(float(solved.y[1][-1]), rel=2e-3)


amounts = st.floats(0.0, 5000.0)
flows = st.floats(0.0, 200.0)
times = st.floats(0.0, 2e5)


@settings(max_examples=80)
@given(amounts, flows, flows, times)
def test_no_more_comes_up_than_stood_there_and_flowed_in(stands: float, inflow: float, draw: float, time_s: float):
    least = pumped_l(stands, inflow, draw, time_s, growing=True)
    most = pumped_l(stands, inflow, draw, time_s, growing=False)
    slack = 1e-9 * (1.0 + stands + draw * time_s)
    assert least <= most + slack
    assert most <= well_gives_l(stands, inflow, time_s) + slack
    assert most <= draw * time_s / 60.0 + slack


@settings(max_examples=80)
@given(amounts, flows, st.floats(0.1, 200.0), st.floats(1.0, 1e5), st.floats(0.0, 50.0))
def test_more_water_or_more_inflow_never_gives_less(s: float, y: float, q: float, t: float, more: float):
    slack = 1e-9 * (1.0 + s + q * t)
    for growing in (False, True):
        base = pumped_l(s, y, q, t, growing=growing)
        assert pumped_l(s + more, y, q, t, growing=growing) >= base - slack
        assert pumped_l(s, y + more, q, t, growing=growing) >= base - slack
        assert pumped_l(s, y, q, t + 60.0 * more, growing=growing) >= base - slack


@settings(max_examples=80)
@given(st.floats(1.0, 5000.0), st.floats(0.01, 99.0), st.floats(0.01, 1.0))
def test_the_well_is_drawn_down_sooner_where_the_inflow_has_to_grow(s: float, y: float, part: float):
    q = y * (1.0 + part) + 0.01
    assert 60.0 * s / q <= drawn_down_growing_s(s, y, q) <= drawn_down_full_s(s, y, q)


def test_a_pump_below_the_yield_never_draws_the_well_down():
    assert math.isinf(drawn_down_full_s(500.0, 10.0, 10.0))
    assert math.isinf(drawn_down_growing_s(500.0, 10.0, 9.0))


def test_both_bounds_meet_where_nothing_flows_in():
    assert drawn_down_growing_s(600.0, 0.0, 30.0) == pytest.approx(20 * 60.0)
    assert drawn_down_growing_s(600.0, 1e-9, 30.0) == pytest.approx(drawn_down_full_s(600.0, 1e-9, 30.0))


def test_the_pressure_tank_adds_its_drawdown_and_the_storage_tank_its_room():
    bare = SupplySide((2.0, 2.0), 700.0, None).range_l(2 * HOUR_S)
    more = SupplySide((2.0, 2.0), 700.0, None, tank_l=30.0, storage_l=1000.0).range_l(2 * HOUR_S)
    assert bare is not None
    assert more is not None
    assert more[0] - bare[0] == pytest.approx(1030.0)
    # 33 gal at 40/60, charge 38: 8.51 gal by Boyle's law.
    report = assess_well(Well(water_yield=stated_yield(10.0)), make_system(tanks=(Tank(gal_to_l(33.0)),)))
    assert l_to_gal(report.supplies[0].tank_l) == pytest.approx(8.51, abs=0.005)


def test_a_small_pump_limits_what_a_good_well_gives():
    supply = supply_over(2 * HOUR_S, (50.0, 60.0), 700.0, draw_l_per_min=20.0)
    assert supply.pump_limited
    assert (supply.low_l, supply.high_l) == pytest.approx((2400.0, 2400.0))


def test_the_interval_of_the_yield_is_carried_to_the_supply():
    found = WellYield(10.0, 8.0, 12.0, "yield test")
    (two, _day) = assess_well(Well(water_yield=found), make_system()).supplies
    assert (two.low_l, two.high_l) == pytest.approx((960.0, 1440.0))


def test_a_well_that_may_or_may_not_keep_up_is_told_so():
    found = WellYield(30.0, 25.0, 35.0, "yield test")
    well = Well(bore_m=0.15, pump_depth_m=60.0, static_level_m=10.0, water_yield=found)
    report = assess_well(well, make_system(pump=PumpRate(30.0)))
    assert report.drawn_down_s is not None
    assert math.isfinite(report.drawn_down_s[0])
    assert math.isinf(report.drawn_down_s[1])
    assert any("cannot be told" in note for note in map(Messages().text, report.notes))


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"pump_depth_m": 80.0, "well_depth_m": 70.0}, "cannot hang deeper than the well"),
        ({"static_level_m": -100.0}, "a well that flows by itself has"),
        ({"pump_depth_m": 30.0, "static_level_m": 30.0}, "the pump would stand in air"),
        ({"pump_depth_m": 30.0, "static_level_m": 40.0}, "the pump would stand in air"),
        ({"static_level_m": 90.0, "well_depth_m": 70.0}, "the well is dry"),
        ({"bore_m": 0.0}, "a bore of zero or less"),
        ({"bore_m": -0.1}, "a bore of zero or less"),
        ({"bore_m": math.nan}, "a bore of zero or less"),
        ({"pump_depth_m": 0.0}, "pump's depth must be more than zero"),
        ({"margin_m": -2.0}, "the margin over the pump cannot be below zero"),
    ],
)
def test_a_well_that_cannot_be_is_refused_in_one_line(fields: dict[str, float], says: str):
    with pytest.raises(SettingsError, match=says) as caught:
        Well(**fields)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("well", "says"),
    [
        (Well(bore_m=0.03), "too narrow"),
        (Well(bore_m=1.0), "dug well"),
        (Well(pump_depth_m=30.0, static_level_m=27.0, margin_m=5.0), "no standing water is counted"),
        (Well(pump_depth_m=69.5, well_depth_m=70.0), "sand and silt"),
        (Well(static_level_m=0.0), "flows by itself"),
        (Well(static_level_m=-1.0), "3.3 ft above the ground: the well flows by itself"),
        (Well(water_yield=stated_yield(gal_to_l(150.0))), "is it right"),
        (Well(water_yield=stated_yield(0.0)), "only the water standing in the bore"),
    ],
)
def test_what_is_doubtful_is_computed_and_said(well: Well, says: str):
    assert any(says in doubt for doubt in map(Messages().text, unusual_values(well, None)))


def test_an_ordinary_well_raises_no_doubt():
    well = Well(bore_m=0.152, well_depth_m=75.0, pump_depth_m=60.0, static_level_m=12.0, water_yield=stated_yield(20.0))
    assert unusual_values(well, 30.0) == ()


def test_everything_that_is_missing_is_named_with_how_to_get_it():
    report = assess_well(Well(), make_system())
    assert [Messages().text(f"well-missing.{name}", what=name) for name in report.missing] == [
        "the yield",
        "the bore",
        "the depth of the pump",
        "the static level",
        "the depth of the well",
        "the pump rate",
        "who uses the water",
    ]
    assert all("--" in Messages().text(f"well-missing-how.{name}", what=name) for name in report.missing)
    assert report.supplies == ()
    assert report.drawn_down_s is None


def test_storage_counts_whole_tanks_by_the_gallons_each_holds():
    # 119 gal at 40/60 and 38 psi holds 30.70 gal: 500 gal take 17 of them, 510 still 17, 522 take 18.
    found = storage_for(gal_to_l(500.0), make_system(), gal_to_l(2.0))
    assert l_to_gal(found.tanks[-1].holds_l) == pytest.approx(30.70, abs=0.005)
    assert found.tanks[-1].count == 17
    assert storage_for(gal_to_l(522.0), make_system(), None).tanks[-1].count == 18
    assert found.refill_s == pytest.approx(250 * 60.0)


@given(st.floats(0.1, 500.0), st.floats(0.0, 1e5, allow_subnormal=False))
def test_the_tanks_hold_the_shortfall_and_one_fewer_would_not(holds: float, short: float):
    count = tanks_for(holds, short)
    assert count * holds >= short * (1.0 - 1e-9)
    assert (count - 1) * holds < short or count == 0


def test_depths_and_bores_are_read_and_written():
    assert parse_depth_m("45 ft 6 in") == pytest.approx(45.5 * 0.3048)
    assert parse_bore_m("6 1/4 in") == pytest.approx(6.25 * 0.0254)
    assert parse_bore_m("152 mm") == pytest.approx(0.152)
    assert parse_depth_m("0 ft", zero_ok=True) == 0.0
    assert format_depth(parse_depth_m("180 ft")) == "180 ft"
    assert format_bore(parse_bore_m("6 in")) == "6 in"
    assert format_bore(0.152, "metric") == "152 mm"
    with pytest.raises(ValueError, match="a depth cannot be below zero"):
        parse_depth_m("-40 ft", zero_ok=True)
    with pytest.raises(ValueError, match="has no unit"):
        parse_depth_m("40")


def test_area_of_a_bore():
    assert bore_area_m2(0.152) == pytest.approx(math.pi * 0.076**2)
