"""The pump rate from what was caught or a steady tap, settled and read pressures, plain tanks, starts in a day."""

from __future__ import annotations

import json
import random
from dataclasses import replace

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from clicktimer.cli import cli
from clicktimer.errors import QuantityError, SettingsError
from clicktimer.records import Cycle, RunTime
from clicktimer.reporting.json.tank import tank_json
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.text.tank import tank_lines
from clicktimer.tank.installed import judge_installed_tank
from clicktimer.tank.observed_rate import with_measured_rate
from clicktimer.tank.options import tanks_row
from clicktimer.tank.sizing import size_tank
from clicktimer.tank.starts_per_day import day_starts, most_starts_per_day
from clicktimer.tank.stopwatch import STOPWATCH_SD_S, steady_timed_by_hand
from clicktimer.tank.system import Motor, PumpRate, RateObserved, System, Tank, make_system
from clicktimer.tank.warnings import unusual_values
from clicktimer.units.conversions import ATMOSPHERE_KPAA, W_PER_HP, gal_to_l, l_to_gal, psi_to_kpa


def a_run(seconds: float, half_s: float = 0.5, *, how: str = "taps shut", one_sided: bool = False) -> RunTime:
    return RunTime(seconds, seconds - half_s, seconds + half_s, 3, how, one_sided, 0.01, half_s)


def caught(*pairs: tuple[float, float | None], pump: PumpRate | None = None, **more: object) -> System:
    observed = RateObserved(tuple((gal_to_l(gal), refill_s) for gal, refill_s in pairs))
    return make_system(observed=observed, pump=pump, **more)  # type: ignore[arg-type]


def gpm(system: System) -> float:
    assert system.pump is not None
    return l_to_gal(system.pump.l_per_min)


def test_the_published_case_by_the_measured_run() -> None:
    # "How to calculate well output", the draw down and time the refill method: 15 gal, 75 s, 12 gpm.
    told = with_measured_rate(caught((15, None)), a_run(75.0))
    assert gpm(told.system) == pytest.approx(12.0)
    assert told.system.came_from("pump_rate") == "measured"
    by_itself = with_measured_rate(caught((15, 75.0)), None)
    assert gpm(by_itself.system) == pytest.approx(12.0)


def test_the_runs_error_is_carried_to_the_rate() -> None:
    sharp = with_measured_rate(caught((15, None)), a_run(75.0, 0.01)).system.pump
    blunt = with_measured_rate(caught((15, None)), a_run(75.0, 7.5)).system.pump
    assert sharp is not None
    assert blunt is not None
    # 2 % bucket and 1.5 % hand: 2.5 %; a run of +-10 % (95 %) has 5.1 % sd: 5.7 % together.
    assert sharp.sd_l_per_min / sharp.l_per_min == pytest.approx(0.025, abs=0.0005)
    assert blunt.sd_l_per_min / blunt.l_per_min == pytest.approx(0.0568, abs=0.0005)


def test_the_first_draw_is_left_out_and_a_falling_rate_is_told() -> None:
    told = with_measured_rate(caught((9, 40), (8, 60), (8, 66), (8, 72)), None)
    assert told.measured is not None
    assert told.measured.left_out == 1
    assert told.measured.falling
    assert any("fell from" in note for note in map(Messages().text, told.notes))


def test_a_stated_rate_is_kept_beside_the_measured_one() -> None:
    told = with_measured_rate(caught((6, 75.0), pump=PumpRate(gal_to_l(8))), None)
    assert told.system.stated_pump is not None
    assert any("clearly less than stated" in note for note in map(Messages().text, told.notes))
    agreeing = with_measured_rate(caught((10, 75.0), pump=PumpRate(gal_to_l(8))), None)
    assert any("agree" in note for note in map(Messages().text, agreeing.notes))
    more = with_measured_rate(caught((20, 75.0), pump=PumpRate(gal_to_l(8))), None)
    assert any("more than stated" in note for note in map(Messages().text, more.notes))
    twice = with_measured_rate(told.system, None)
    assert twice.system.pump == told.system.pump
    assert twice.system.stated_pump == told.system.stated_pump


def test_where_no_rate_can_be_made_that_is_said() -> None:
    for system, run, why in (
        (caught((15, None)), None, "no run was measured"),
        (caught((15, None)), a_run(75, one_sided=True), "only an upper bound"),
        (caught((15, None), (15, 75.0)), a_run(75), "Some of the water caught"),
        (make_system(observed=RateObserved(tap_l_per_min=8.0)), a_run(75), "--steady-tap"),
        (make_system(observed=RateObserved(tap_l_per_min=8.0)), a_run(75, how="steady tap"), "--pump-at-start"),
    ):
        told = with_measured_rate(system, run)
        assert told.measured is None
        assert told.system.pump is None
        assert any(why in note for note in map(Messages().text, told.notes))
        assert any(why in note for note in map(Messages().text, size_tank(system, run).notes))


@given(st.floats(10, 100), st.floats(0.1, 0.9), st.floats(5, 200))
def test_a_steady_tap_gives_back_rate_and_drawdown(rate: float, share: float, drawn: float) -> None:
    # Independent of the formula: fill at Q - q until D is in, draw at q until it is out.
    use = share * rate
    run_s, rest_s = 60 * drawn / (rate - use), 60 * drawn / use
    cycles = [Cycle(0.0, run_s, run_s, run_s, run_s, rest_s, True)] * 4
    system = make_system(observed=RateObserved(tap_l_per_min=use))
    told = with_measured_rate(system, a_run(60 * drawn / rate, how="steady tap"), cycles).system
    assert told.pump is not None
    assert told.pump.l_per_min == pytest.approx(rate)
    assert told.pump.how == "steady tap"


def test_cycles_in_which_something_else_ran_are_left_out() -> None:
    steady = [Cycle(0, 60, 60, 60, 60, 120, True)] * 3
    # A second tap halved the rest: run x rest / (run + rest) is 48, not 40.
    odd = [Cycle(0, 240, 240, 240, 240, 60, True), Cycle(0, 40, 40, 40, 40, None, True)]
    system = make_system(observed=RateObserved(tap_l_per_min=10.0))
    told = with_measured_rate(system, a_run(40.0, how="steady tap"), [*odd, *steady])
    assert told.system.pump is not None
    assert told.system.pump.l_per_min == pytest.approx(30.0)
    assert told.measured is not None
    assert len(told.measured.each_l_per_min) == 3


def test_a_steady_cycle_timed_by_hand() -> None:
    run = steady_timed_by_hand(60.0, 120.0)
    assert run.seconds == pytest.approx(40.0)
    # Against many draws of three presses of a watch.
    draw = random.Random(1)
    sd = STOPWATCH_SD_S / 2**0.5
    many = []
    for _ in range(20_000):
        a, b, c = (draw.gauss(0, sd) for _ in range(3))
        on, off = 60 + b - a, 120 + c - b
        many.append(on * off / (on + off))
    mean = sum(many) / len(many)
    spread = (sum((x - mean) ** 2 for x in many) / len(many)) ** 0.5
    assert (run.high_s - run.low_s) / 2 / 1.96 == pytest.approx(spread, rel=0.03)
    for wrong in ((0.0, 120.0), (60.0, 1e9)):
        with pytest.raises(QuantityError):
            steady_timed_by_hand(*wrong)


# --- pressures as read and settled -----------------------------------------------------------------------------------
def test_settled_pressures_leave_no_range_of_a_fast_refill() -> None:
    settled = (psi_to_kpa(40), psi_to_kpa(57))
    system = make_system(tanks=(Tank(gal_to_l(33)),), pump=PumpRate(gal_to_l(8)), settled_kpag=settled)
    row = tanks_row(system)
    # By the air itself: n moles at 38 psi fill the tank; their volume at the two pressures, by p V.
    air_l = [gal_to_l(33) * (psi_to_kpa(38) + ATMOSPHERE_KPAA) / (p + ATMOSPHERE_KPAA) for p in settled]
    assert row.drawdown_l == pytest.approx(air_l[0] - air_l[1])
    assert row.drawdown_fast_l == row.drawdown_l
    assert size_tank(system).stock[1].drawdown_l != pytest.approx(row.drawdown_l)  # new tanks: by the switch
    told = judge_installed_tank(a_run(0.8 * (row.run_s or 0)), system)
    assert told.label_l == told.label_fast_l
    assert told.finding == "short-of-air-or-overcharged"  # 0.8 of Boyle's, which a fast refill could have explained
    assert "settled pressures" in Messages().texts(told.reasons)
    assert told.undercharged_kpag is not None
    assert told.undercharged_kpag[0] == told.undercharged_kpag[1]
    lines = " ".join(" ".join(tank_lines(size_tank(system, a_run(40)))).split())
    assert "settled pressures 40/57 psi" in lines


def test_the_gauge_at_the_clicks_takes_the_place_of_the_setting() -> None:
    system = make_system(
        switch_kpag=(psi_to_kpa(40), psi_to_kpa(60)),
        at_clicks_kpag=(psi_to_kpa(44), psi_to_kpa(57)),
        tanks=(Tank(gal_to_l(33)),),
    )
    narrow = tanks_row(system).drawdown_l
    # 33 gal x 52.696 x (1/58.696 - 1/71.696) = 5.37 gal; over the stated range it would be 8.51.
    assert l_to_gal(narrow) == pytest.approx(5.37, abs=0.005)
    text = " ".join(tank_lines(size_tank(system)))
    assert "44/57 psi as read on the gauge" in " ".join(text.split())


def test_a_better_gauge_makes_a_narrower_verdict() -> None:
    system = make_system(tanks=(Tank(gal_to_l(33)),), pump=PumpRate(gal_to_l(8)), gauge_sd_kpa=psi_to_kpa(0.2))
    coarse = replace(system, gauge_sd_kpa=psi_to_kpa(4.0))
    sharp, blunt = judge_installed_tank(a_run(45.0), system), judge_installed_tank(a_run(45.0), coarse)
    assert sharp.gauge_sd < blunt.gauge_sd
    assert blunt.finding == "cannot-tell"


@pytest.mark.parametrize(("settled", "charge"), [((57, 40), 38), ((0, 40), 38), ((40, 57), 57.5)])
def test_settled_pressures_that_cannot_be(settled: tuple[float, float], charge: float) -> None:
    with pytest.raises(SettingsError):
        make_system(settled_kpag=(psi_to_kpa(settled[0]), psi_to_kpa(settled[1])), precharge_kpag=psi_to_kpa(charge))


# --- plain tanks, plates, relief valve -------------------------------------------------------------------------------
def test_a_plain_tank_gives_what_open_air_gives() -> None:
    # Filled from open air, f = a (1/P1 - 1/P2) = 0.072 at 40/60: 33 gal give 2.37 gal.
    system = make_system(tanks=(Tank(gal_to_l(33), "plain"),))
    assert l_to_gal(tanks_row(system).drawdown_l) == pytest.approx(2.37, abs=0.005)
    sizing = size_tank(system)
    assert any("plain one" in note for note in map(Messages().text, sizing.notes))
    assert not any("air charge" in note for note in map(Messages().text, unusual_values(system)))


def test_plate_and_relief_valve_are_held_against_cut_out() -> None:
    over = make_system(tanks=(Tank(gal_to_l(33), plate_kpag=psi_to_kpa(50)),))
    assert any("above the pressure on the tank's plate" in note for note in map(Messages().text, unusual_values(over)))
    none = make_system(relief_valve="none")
    assert any("No relief valve was found" in note for note in map(Messages().text, unusual_values(none)))
    high = make_system(switch_kpag=(psi_to_kpa(65), psi_to_kpa(85)))
    assert any("nothing was said of one" in note for note in map(Messages().text, unusual_values(high)))
    tested = replace(high, relief_valve="tested")
    assert any("as was said" in note for note in map(Messages().text, unusual_values(tested)))


# --- motor and household ---------------------------------------------------------------------------------------------
def test_the_motor_makers_figure_is_the_target() -> None:
    asked = size_tank(make_system(pump=PumpRate(30.0), motor=Motor(least_run_s=120.0)))
    assert asked.target_s == 120.0
    assert asked.advised is None
    large = size_tank(make_system(pump=PumpRate(30.0), motor=Motor(power_w=1.5 * W_PER_HP)))
    assert large.target_s == 120.0  # what makers ask for above 3/4 hp, unless the maker's own figure is known
    assert large.advised is not None
    assert (large.advised.run_s, large.advised.status) == (120.0, "common practice, no source")
    assert large.advised.needed_l == pytest.approx(large.needed_fast_l)
    assert tank_json(large)["advised"]["run_s"] == 120.0
    small = size_tank(make_system(pump=PumpRate(30.0), motor=Motor(power_w=0.75 * W_PER_HP)))
    assert small.advised is None


@given(st.integers(0, 10_000))
def test_no_day_of_draws_starts_the_pump_more_often_than_told(seed: int) -> None:
    # Draws one after the other from a tank, the pump refilling it at once: counted, not reckoned.
    draw = random.Random(seed)
    drawdown = draw.uniform(10, 80)
    draws = [draw.uniform(0.2, 120) for _ in range(60)]
    held, starts = drawdown, 0
    for litres in draws:
        held -= litres
        if held <= 0:  # cut-in; what is drawn beyond comes from the pump, and the tank is full at its stop
            starts += 1
            held = drawdown
    assert starts <= most_starts_per_day(sum(draws), drawdown) + 1e-9


def test_a_day_of_small_draws_starts_it_as_often_as_told() -> None:
    drawdown, starts, held = 30.0, 0, 30.0
    for _ in range(12_000):
        held -= 0.1
        if held <= 1e-9:
            starts += 1
            held = drawdown
    assert most_starts_per_day(1200.0, drawdown) == pytest.approx(starts)


def test_a_day_is_judged_by_the_measured_run_only() -> None:
    system = make_system(pump=PumpRate(gal_to_l(8)), tanks=(Tank(gal_to_l(33)),), motor=Motor(0.5 * W_PER_HP, "single"))
    use = [("a figure", 757.0, 1514.0)]
    expected = day_starts(size_tank(system), use)
    assert expected is not None
    assert expected.motor == ()
    measured = day_starts(size_tank(system, a_run(38.0)), use)
    assert measured is not None
    assert {f.what for f in measured.motor} >= {"least_run_s", "starts_per_h"}
    assert measured.most_high == pytest.approx(1514.0 / (30.2833 * 38.0 / 60), rel=1e-3)
    assert day_starts(size_tank(make_system())) is None
    assert day_starts(size_tank(system, a_run(38.0, one_sided=True)), use) is not None
    for wrong in ((-1.0, 10.0), (10.0, 0.0)):
        with pytest.raises(SettingsError):
            most_starts_per_day(*wrong)


# --- the command -----------------------------------------------------------------------------------------------------
def run_cli(*args: str) -> str:
    out = CliRunner().invoke(cli, ["tank", *args], standalone_mode=False)
    assert out.return_value == 0, out.exception
    return " ".join(out.output.split())


def test_the_command_takes_all_of_it() -> None:
    text = run_cli("--tank", "42 gal plain", "--run", "20 s", "--caught", "3 gal", "--pump-rate", "9 gpm")
    assert "pump rate 9 gpm (draw-and-refill)" in text
    assert "plain one" in text
    steady = run_cli("--tank", "33 gal", "--run", "60 s", "--rest", "120 s", "--tap-flow", "2 gpm")
    assert "pump rate 6 gpm (steady tap)" in steady
    document = json.loads(run_cli("--run", "75 s", "--caught", "15 gal", "--json", "-"))
    assert document["pump_rate_measured"]["gpm"] == pytest.approx(12.0)
    assert document["inputs"]["caught"]["origin"] == "option"
    assert document["inputs"]["pump_rate"]["origin"] == "measured"


@pytest.mark.parametrize(
    "args",
    [
        ("--rest", "3 s"),
        ("--caught", "15"),
        ("--gauge-at-clicks", "60/40"),
        ("--seen", "nothing"),
        ("--tank", "33 gal plain, charge 3 psi"),
        ("--least-run", "0 s"),
        ("--gauge-error", "0 psi"),
    ],
)
def test_what_cannot_be_is_refused(args: tuple[str, ...]) -> None:
    out = CliRunner().invoke(cli, ["tank", *args], standalone_mode=False)
    assert isinstance(out.exception, QuantityError | SettingsError)
    assert str(out.exception).isprintable()
