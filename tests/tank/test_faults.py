"""A charge or a switch range that was read and is wrong is a fault, not what the tank is judged by.

By hand, from Boyle's law and the fast-refill bound: 33 gal, charge 38 psi, 40/60 psi give 8.51 gal
(settled) and 6.34 gal (fast), at 10 gpm 51.1 and 38.0 s.
"""

from __future__ import annotations

import pytest

from clicktimer.assessment.verdict import judge
from clicktimer.errors import SettingsError
from clicktimer.records import RunTime
from clicktimer.reporting.headline import headline
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.text.advice import next_steps
from clicktimer.reporting.text.tank import finding_title, tank_lines
from clicktimer.site.options import parse_system_options
from clicktimer.tank.sizing import TankSizing, size_tank
from clicktimer.tank.stopwatch import run_timed_by_hand
from clicktimer.units.conversions import kpa_to_psi, l_to_gal
from tests.support.handmade import short_cycling


def sized(run_s: float, **options: str) -> TankSizing:
    given = {"tank": ("33 gal",), "pump_rate": "10 gpm"} | options
    return size_tank(parse_system_options(**given).system, run_timed_by_hand(run_s))


@pytest.mark.parametrize(
    ("run_s", "options", "bladder_may_leak"),
    [
        (20.0, {"precharge": "10 psi"}, True),  # 33 gal at 10 psi give 4.0 gal: 24 s
        (12.0, {"precharge": "0 psi", "air_valve": "nothing"}, True),  # 2.37 gal: 14.2 s
        (22.0, {"precharge": "50 psi"}, False),  # above cut-in: 33 x (1 - 64.696/74.696) = 4.42 gal: 26.5 s
    ],
)
def test_a_charge_found_wrong_is_the_remedy_not_a_larger_tank(run_s, options, bladder_may_leak) -> None:
    sizing = sized(run_s, **options)
    found = sizing.judgement
    assert found.finding == "charge-wrong"
    # The yardstick is the label at 38 psi, whatever was read.
    assert [l_to_gal(found.label_fast_l), l_to_gal(found.label_l)] == pytest.approx([6.34, 8.51], abs=0.01)
    assert found.right_run_s == pytest.approx((38.0, 51.1), abs=0.1)
    assert l_to_gal(sizing.right.drawdown_l) == pytest.approx(8.51, abs=0.01)
    text = Messages().texts(found.reasons)
    assert finding_title(sizing, found) == "WRONG AIR CHARGE"
    assert "38 psi is right" in text
    assert "explains the short run" in text
    assert "a larger tank is not the remedy" in text
    assert "expect a run of 38 to 51 s" in text
    assert "too small" not in text
    assert ("the bladder or the valve leaks" in text) == bladder_may_leak


def test_a_run_far_below_what_a_low_charge_explains_says_that_it_explains_a_part() -> None:
    found = sized(4.0, precharge="10 psi").judgement
    assert found.finding == "charge-wrong"
    assert "explains only a part" in Messages().texts(found.reasons)


def test_a_tank_that_gives_more_than_the_charge_read_allows_puts_the_reading_in_doubt() -> None:
    found = sized(45.0, precharge="10 psi").judgement
    assert found.finding == "cannot-tell"
    assert "the reading may be wrong" in Messages().texts(found.reasons)
    assert "air gauge" in Messages().texts(found.settle)


@pytest.mark.parametrize("charge", ["35 psi", "38 psi", "40 psi"])
def test_a_charge_that_is_right_leaves_the_judgment_as_it_was(charge: str) -> None:
    assert sized(45.0, precharge=charge).judgement.finding == "too-small-but-healthy"


def test_a_plain_tank_has_no_charge_that_could_be_wrong() -> None:
    assert sized(13.0, tank=("33 gal plain",), precharge="0 psi").judgement.finding == "too-small-but-healthy"


def test_a_narrowed_switch_is_the_fault_and_new_tanks_are_sized_for_the_range_as_set() -> None:
    sizing = sized(25.0, switch="40/60", gauge_at_clicks="46/56")
    found = sizing.judgement
    assert found.finding == "range-wrong"
    # Two comparisons. As read, 33 x 52.696 x (1/60.696 - 1/70.696) = 4.05 gal; as set 8.51 gal.
    assert l_to_gal(found.label_l) == pytest.approx(4.05, abs=0.01)
    assert l_to_gal(found.set_l[1]) == pytest.approx(8.51, abs=0.01)
    assert found.right_run_s == pytest.approx((38.0, 51.1), abs=0.1)
    assert kpa_to_psi(sizing.stock_charge_kpag) == pytest.approx(38.0)
    assert l_to_gal(sizing.needed_l) == pytest.approx(10.0 / 0.25796, rel=1e-3)
    assert l_to_gal(sizing.choice.volume_l) == pytest.approx(62.0)  # at 46/56 it would be more than 119 gal
    text = " ".join(" ".join(tank_lines(sizing)).split())
    assert "over the range as read" in text
    assert "too small" not in text.lower().split("too large is harmless")[0]
    assert "the tank there, put right" in text


def test_a_switch_that_clicks_as_set_changes_nothing() -> None:
    assert sized(45.0, switch="40/60", gauge_at_clicks="41/60").judgement.finding == "too-small-but-healthy"


def test_an_air_valve_found_right_contradicts_a_charge_that_is_wrong() -> None:
    with pytest.raises(SettingsError, match=r"10 psi .* contradicts .* 38 psi"):
        parse_system_options(tank=("33 gal",), precharge="10 psi", air_valve="right")
    parse_system_options(tank=("33 gal",), precharge="37 psi", air_valve="right")
    parse_system_options(tank=("33 gal",), precharge="10 psi", air_valve="low")


def test_a_cut_out_above_the_tanks_plate_is_the_first_line() -> None:
    sizing = size_tank(parse_system_options(tank=("33 gal plate 50 psi",), pump_rate="10 gpm", switch="40/60").system)
    assert tank_lines(sizing)[0].lstrip(" !").startswith("Cut-out (60 psi) is above the pressure on the tank's plate")
    assert " ".join(tank_lines(sizing)).count("on the tank's plate") == 1


def test_a_large_motor_asks_for_its_own_run_in_size_finding_and_verdict() -> None:
    # 5 hp at 30 gpm: 120 s take 60 gal of drawdown, 60 / (0.745 x 0.25796) = 312 gal: no stock size. At 10 gpm 104 gal.
    assert size_tank(parse_system_options(pump_rate="30 gpm", motor="5 hp").system).choice is None
    large = size_tank(parse_system_options(pump_rate="10 gpm", motor="1.5 hp").system)
    assert large.target_s == 120.0
    assert l_to_gal(large.choice.volume_l) == pytest.approx(119.0)
    assert large.choice.most_starts_fast_per_h <= 7.5
    sizing = sized(92.0, tank=("62 gal",), motor="1.5 hp")  # 62 gal run 72 to 96 s
    assert sizing.judgement.finding == "too-small-but-healthy"
    assert "A larger one is needed" in Messages().texts(sizing.judgement.reasons)
    own = size_tank(parse_system_options(pump_rate="10 gpm", motor="1.5 hp", least_run="1 min").system)
    assert own.target_s == 60.0  # the maker's own figure wins


@pytest.mark.parametrize(
    ("run_s", "motor_hp", "least_run_s", "mild"),
    [
        (52.0, 0.5, None, True),
        (52.0, 1.5, None, False),
        (70.0, 1.5, None, False),
        (70.0, 1.5, 60.0, True),
        (70.0, None, 90.0, False),
        (130.0, 1.5, None, True),
    ],
)
def test_the_verdict_and_page_one_are_no_milder_than_the_motors_limit(run_s, motor_hp, least_run_s, mild) -> None:
    run = RunTime(run_s, run_s - 0.3, run_s + 0.3, 5, "taps shut", False, 0.01, 0.3)
    m = short_cycling(run=run, verdict=judge(run, motor_hp=motor_hp, least_run_s=least_run_s))
    assert (headline(m)[1].code == "headline.below-motor") != mild
    told = " ".join((Messages().texts(m.verdict.reasons), *next_steps(m)))
    assert ("larger tank fitted" in told) != mild
    if not mild:
        assert "Rarely a trouble" not in told
        assert "Keep this figure" not in told
