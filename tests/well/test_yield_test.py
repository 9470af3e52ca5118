"""A recorded yield test: slope against numpy and scipy, interval against simulated tests, files against users."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.integrate import solve_ivp

from clicktimer.errors import InputError, SettingsError
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.units.conversions import gal_to_l, l_to_gal
from clicktimer.well.reading import make_well
from clicktimer.well.recovery import fit_recovery
from clicktimer.well.slope import fit_slope
from clicktimer.well.supply import bore_area_m2
from clicktimer.well.yield_log import TestRows, parse_test, read_test_file
from clicktimer.well.yield_test import steady_yield

BORE_M = 0.1524
PER_M_L = 1000.0 * bore_area_m2(BORE_M)


@pytest.mark.parametrize("seed", range(5))
def test_the_slope_is_that_of_numpy_and_scipy(seed: int):
    rng = np.random.default_rng(seed)
    t = np.cumsum(rng.uniform(60, 600, 12))
    y = 0.2 * t + rng.normal(0, 5, 12)
    fit = fit_slope(t, y)
    reference = stats.linregress(t, y)
    assert fit.per_s == pytest.approx(reference.slope, rel=1e-9)
    assert fit.per_s == pytest.approx(np.polyfit(t, y, 1)[0], rel=1e-9)
    # The interval is never narrower than the textbook's.
    assert fit.half_width_per_s >= stats.t.ppf(0.975, 10) * reference.stderr * (1 - 1e-9)
    second = np.polyfit(t, y, 2)[0]
    assert fit.change == pytest.approx(2 * second * (t[-1] - t[0]) / fit.per_s, rel=1e-6)


def test_the_interval_is_scipys_where_the_scatter_is_smooth_from_row_to_row():
    t = np.arange(400) * 60.0
    y = 0.1 * t + 3.0 * np.sin(np.arange(400) * 0.1)
    reference = stats.linregress(t, y)
    fit = fit_slope(t, y)
    wandering = np.sum((np.diff(y) - fit.per_s * 60.0) ** 2) / 398 / 60.0
    plain = stats.t.ppf(0.975, 398) * reference.stderr
    rates = stats.t.ppf(0.975, 398) * np.sqrt(1.2 * wandering / (t[-1] - t[0]))
    assert fit.half_width_per_s == pytest.approx(max(plain, rates), rel=1e-9)


@pytest.mark.parametrize(("kind", "least", "most"), [("wavering flow", 0.90, 0.985), ("errors of reading", 0.98, 1.0)])
def test_the_interval_holds_the_true_yield_as_often_as_it_says(kind: str, least: float, most: float):
    rng = np.random.default_rng(7)
    t = np.arange(12) * 600.0
    held = 0
    for _ in range(250):
        error = rng.normal(0, 2.0, 12)
        total = 0.25 * t + (np.cumsum(error) if kind == "wavering flow" else error)
        found = steady_yield(TestRows(tuple(t), tuple(total), None)).water_yield
        held += found is not None and found.low_l_per_min <= 15.0 <= found.high_l_per_min
    assert least <= held / 250 <= most


def pumped_well(inflow: float, draw: float, minutes: int, stands_m: float = 40.0) -> tuple[TestRows, float]:
    """A simulated test: constant inflow at full drawdown, growing with the drawdown, pump at ``draw`` L/min."""

    def balance(_t: float, level: np.ndarray) -> list[float]:
        return [(draw - inflow * level[0] / stands_m) / PER_M_L]

    t = np.linspace(0.0, minutes, 25)
    levels = solve_ivp(balance, (0, minutes), [0.0], t_eval=t, rtol=1e-9, atol=1e-9).y[0]
    rows = TestRows(tuple(60.0 * t), tuple(draw * t), tuple(10.0 + levels), 1.0, 0.01)
    return rows, inflow * float(levels[-1]) / stands_m


def test_the_water_that_the_bore_lost_is_not_taken_for_yield():
    rows, inflow = pumped_well(20.0, 15.0, 600)
    found = steady_yield(rows, bore_m=BORE_M).water_yield
    assert found is not None
    # At the steady end the well gives what is drawn.
    assert found.l_per_min == pytest.approx(15.0, rel=0.02)
    assert found.l_per_min == pytest.approx(inflow, rel=0.02)


def test_a_pump_that_only_empties_the_bore_shows_no_yield_by_levels():
    t = np.arange(0, 21, 2) * 60.0
    volume = 20.0 * t / 60.0
    rows = TestRows(tuple(t), tuple(volume), tuple(10.0 + volume / PER_M_L), 1.0, 0.01)
    told = steady_yield(rows, bore_m=BORE_M)
    # What was drawn is what stood in the bore: the inflow is nothing as far as can be measured, and that is known.
    assert told.water_yield.low_l_per_min == 0.0
    assert told.water_yield.high_l_per_min < 0.1
    assert "Not enough for a yield" in Messages().texts(told.reasons)


def a_test_file(tmp_path: Path, levels_ft: tuple[float, ...]) -> Path:
    path = tmp_path / "test.csv"
    rows = "".join(f"{10 * i},{50 * i},{level}\n" for i, level in enumerate(levels_ft))
    path.write_text(f"time_min,volume_gal,level_ft\n{rows}", "utf-8")
    return path


NEAR_FT = (40.0, 60.0, 75.0, 85.0, 90.0, 92.0)


def test_a_level_that_nears_the_pump_stops_the_test(tmp_path: Path) -> None:
    path = a_test_file(tmp_path, NEAR_FT)
    _, test = make_well(test_file=path, bore_m=BORE_M, pump_depth_m=100 * 0.3048)
    assert (
        Messages().text(test.reasons[0]).startswith("Stop the test: the water stood at 92 ft, only 8 ft above the pump")
    )
    assert Messages().texts(test.settle).startswith("Do not go on")
    _, deep = make_well(test_file=path, bore_m=BORE_M, pump_depth_m=150 * 0.3048)
    assert "Stop the test" not in Messages().texts(deep.reasons)


@pytest.mark.parametrize(("given", "says"), [("pump_depth_m", "below the pump"), ("well_depth_m", "below the bottom")])
def test_a_level_below_the_pump_or_the_bottom_is_refused(tmp_path: Path, given: str, says: str) -> None:
    with pytest.raises(SettingsError, match=says):
        make_well(test_file=a_test_file(tmp_path, NEAR_FT), bore_m=BORE_M, **{given: 90 * 0.3048})


def test_volumes_alone_are_told_to_be_the_pumps_rate_unless_the_level_stood_still():
    t = np.arange(0, 61, 5) * 60.0
    told = steady_yield(TestRows(tuple(t), tuple(20.0 * t / 60.0), None, 1.0))
    assert told.water_yield is not None
    assert told.water_yield.l_per_min == pytest.approx(20.0)
    assert "pump's rate" in Messages().texts(told.reasons)
    assert "water level" in Messages().texts(told.settle)


def test_readings_without_scatter_are_not_taken_as_exact():
    t = np.arange(0, 31, 5) * 60.0
    told = steady_yield(TestRows(tuple(t), tuple(20.0 * t / 60.0), None, volume_step_l=10.0))
    assert told.water_yield is not None
    n = 7
    sd = 10.0 / np.sqrt(12.0)
    half = stats.t.ppf(0.975, n - 2) * sd / np.sqrt(np.sum((t - t.mean()) ** 2)) * 60.0
    assert told.water_yield.high_l_per_min - told.water_yield.l_per_min == pytest.approx(half, rel=1e-6)


def test_the_start_is_left_out_where_the_inflow_still_changed():
    t = np.arange(0, 241, 10.0)
    total = 12.0 * t + 200.0 * (1 - np.exp(-t / 25.0))
    told = steady_yield(TestRows(tuple(60 * t), tuple(total), None, 0.1))
    assert told.water_yield is not None
    assert told.used < told.readings
    assert told.water_yield.l_per_min == pytest.approx(12.0, rel=0.03)
    assert "left out" in Messages().texts(told.reasons)


def test_an_inflow_that_keeps_falling_gives_no_steady_yield():
    t = np.linspace(0, 120, 7)
    total = 300.0 * np.log1p(t / 2.0)
    told = steady_yield(TestRows(tuple(60 * t), tuple(total), None, 0.01))
    assert told.water_yield is None
    assert "no steady yield" in Messages().texts(told.reasons)
    assert told.settle


def test_four_readings_are_too_few():
    told = steady_yield(TestRows((0.0, 60.0, 120.0, 180.0), (0.0, 20.0, 40.0, 60.0), None))
    assert told.water_yield is None
    assert "fewer than 5" in Messages().texts(told.reasons)


def recovery(inflow: float, from_m: float, minutes: int, readings: int = 13) -> tuple[np.ndarray, np.ndarray]:
    """A recovery by a numerical solution: inflow L/min at ``from_m`` below rest, in proportion to the drawdown."""
    t = np.linspace(0.0, minutes, readings)
    solved = solve_ivp(
        lambda _t, s: [-inflow * s[0] / from_m / PER_M_L], (0, minutes), [from_m], t_eval=t, rtol=1e-10, atol=1e-10
    )
    return 60.0 * t, solved.y[0]


def test_a_recovery_gives_the_inflow_at_the_deepest_level():
    time_s, below = recovery(12.0, 30.0, 120)
    rows = TestRows(tuple(time_s), None, tuple(8.0 + below), 0.0, 1e-6)
    told = steady_yield(rows, bore_m=BORE_M, static_level_m=8.0)
    assert told.water_yield is not None
    assert told.water_yield.l_per_min == pytest.approx(12.0, rel=1e-5)


def test_the_interval_of_a_recovery_holds_the_true_inflow():
    rng = np.random.default_rng(3)
    time_s, below = recovery(12.0, 30.0, 90)
    held = 0
    for _ in range(200):
        fit = fit_recovery(time_s, below + rng.normal(0, 0.05, len(below)))
        true_m_per_s = 12.0 / PER_M_L / 60.0
        held += abs(fit.rise_m_per_s - true_m_per_s) <= fit.half_width_m_per_s and not fit.strays
    assert 0.90 <= held / 200 <= 0.99


def test_a_recovery_of_another_kind_is_noticed():
    time_s, _ = recovery(12.0, 30.0, 90)
    below = 30.0 - 25.0 * (time_s / time_s[-1]) ** 2  # ever faster: something else fills it
    rows = TestRows(tuple(time_s), None, tuple(8.0 + below), 0.0, 0.01)
    told = steady_yield(rows, bore_m=BORE_M, static_level_m=8.0)
    assert told.water_yield is None
    assert "does not rise as" in Messages().texts(told.reasons)


def test_a_bent_recovery_without_the_level_at_rest_is_not_guessed():
    time_s, below = recovery(12.0, 30.0, 120)
    told = steady_yield(TestRows(tuple(time_s), None, tuple(8.0 + below), 0.0, 0.01), bore_m=BORE_M)
    assert told.water_yield is None
    assert "--static-level" in Messages().texts(told.settle)


def test_what_cannot_be_judged_is_refused():
    rising = TestRows((0.0, 60.0, 120.0, 180.0, 240.0), None, (30.0, 29.0, 28.0, 27.0, 26.0))
    with pytest.raises(SettingsError, match="needs the bore"):
        steady_yield(rising)
    falling = TestRows(rising.time_s, None, rising.level_m[::-1] if rising.level_m else None)
    with pytest.raises(SettingsError, match="does not rise"):
        steady_yield(falling, bore_m=BORE_M)
    with pytest.raises(SettingsError, match="not below the level at rest"):
        steady_yield(rising, bore_m=BORE_M, static_level_m=35.0)


@settings(max_examples=40)
@given(st.floats(0.5, 80.0), st.floats(0.1, 10.0), st.integers(6, 30))
def test_scaling_the_water_scales_the_yield(rate: float, scale: float, n: int):
    t = np.arange(n) * 300.0
    wobble = np.sin(np.arange(n) * 1.7)
    one = fit_slope(t, rate * t / 60.0 + wobble)
    other = fit_slope(t + 1000.0, scale * (rate * t / 60.0 + wobble) + 55.0)
    assert other.per_s == pytest.approx(scale * one.per_s, rel=1e-7)
    assert other.half_width_per_s == pytest.approx(scale * one.half_width_per_s, rel=1e-6)


def test_a_file_in_gallons_and_one_in_litres_say_the_same():
    us = parse_test("time_min,volume_gal,level_ft\n0,0,40\n10,50,60\n20,100,61\n")
    metric = parse_test(
        "# the same\ntime [s];volume (L);level_m;remark\n"
        f"0;0;{40 * 0.3048:.6f};begin\n600;{gal_to_l(50):.6f};{60 * 0.3048:.6f};\n1200;{gal_to_l(100):.6f};"
        f"{61 * 0.3048:.6f};end\n"
    )
    assert us.time_s == metric.time_s == (0.0, 600.0, 1200.0)
    assert us.volume_l == pytest.approx(metric.volume_l, abs=1e-5)
    assert us.level_m == pytest.approx(metric.level_m, abs=1e-5)
    assert l_to_gal(us.volume_step_l) == pytest.approx(1.0)


def test_units_in_the_cells_dates_and_decimal_commas_are_read():
    rows = parse_test("time\tcaught\n2024-05-01 23:50\t0 gal\n2024-05-02 00:00\t5,5 gal\n2024-05-02 00:10\t4,5 gal\n")
    assert rows.time_s == (0.0, 600.0, 1200.0)
    assert rows.volume_l is not None
    assert [l_to_gal(v) for v in rows.volume_l] == pytest.approx([0.0, 5.5, 10.0])
    assert l_to_gal(rows.volume_step_l) == pytest.approx(0.1)


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="this system cannot change its clock zone")
def test_summer_time_does_not_bend_a_yield_test(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("TZ", "CET-1CEST,M3.5.0,M10.5.0/3")
    time.tzset()
    try:
        rows = parse_test("time,volume_gal\n2024-03-31 01:30,0\n2024-03-31 03:30,5\n")
    finally:
        monkeypatch.undo()
        time.tzset()
    assert rows.time_s == (0.0, 7200.0)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "nothing in it"),
        ("a,b\n1,2\n", 'must name a column "time"'),
        ("time_min\n1\n", 'must name a column "time" and one of'),
        ("time_min,volume_gal\n0,0\n", "one reading tells no rate"),
        ("time_min,volume_gal\n0,0\n5,5\n5,6\n", "its time is not after"),
        ("time_min,volume_gal\n0,0\n5,5\n10,4\n", "less than in the row before"),
        ("time_min,volume\n0,0\n5,5\n", "has no unit"),
        ("time_min,volume_gal\n0,0\n5,five\n", "line 3"),
        ("time_min,volume_gal\n0,0\n5,\n", "is empty"),
        ("time_min,volume_gal\n0,0\n5,5,6\n", "3 values where 2 columns"),
        ("time_min,volume_gal,caught_gal\n0,0,0\n5,5,5\n", "keep either"),
        ("time_min,time_s,volume_gal\n0,0,0\n5,300,5\n", "is there twice"),
        ("time_min,volume_gal\n0,0\n5,-5\n", "line 3"),
    ],
)
def test_a_file_that_cannot_be_read_says_where_and_what_to_do(text: str, says: str):
    with pytest.raises(InputError, match=says) as caught:
        parse_test(text, "yield.csv")
    assert "\n" not in str(caught.value)
    assert "yield.csv" in str(caught.value)


def test_a_missing_file_and_one_that_is_no_text(tmp_path: Path):
    with pytest.raises(InputError, match="check the name"):
        read_test_file(tmp_path / "none.csv")
    bad = tmp_path / "sound.csv"
    bad.write_bytes(b"\xff\xfe\x00\x01RIFF\x9c")
    with pytest.raises(InputError, match="not a text file"):
        read_test_file(bad)


def test_only_one_way_of_giving_the_yield():
    with pytest.raises(SettingsError, match="more than one way"):
        make_well(stated_l_per_min=10.0, fractures_l_per_min=(5.0, 5.0))
