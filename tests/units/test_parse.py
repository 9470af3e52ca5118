"""Quantities as people write them are read as meant, and whatever can be read in two ways is refused in one line."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clicktimer.errors import ClicktimerError, QuantityError, SettingsError
from clicktimer.units import parse as q

# Right-hand sides by hand from the exact definitions: 3.785411784 L, 4.54609 L (imperial), 6.894757 kPa, 745.69987 W.
READ_AS: list[tuple[Callable[[str], float], str, float]] = [
    (q.parse_volume_l, "33 gal", 124.918589),
    (q.parse_volume_l, "33gal", 124.918589),
    (q.parse_volume_l, " 33   GALLONS ", 124.918589),
    (q.parse_volume_l, "33 U.S. gal", 124.918589),
    (q.parse_volume_l, "３３ gal", 124.918589),
    (q.parse_volume_l, "27 imp gal", 122.74443),
    (q.parse_volume_l, "27 Imp. Gal.", 122.74443),
    (q.parse_volume_l, "125 L", 125.0),
    (q.parse_volume_l, "125 litres", 125.0),
    (q.parse_volume_l, "125 liters", 125.0),
    (q.parse_volume_l, "124,9 l", 124.9),
    (q.parse_volume_l, "1 200 L", 1200.0),
    (q.parse_volume_l, "1,200.5 L", 1200.5),
    (q.parse_volume_l, "0.125 m³", 125.0),
    (q.parse_flow_l_per_min, "8 gpm", 30.283294),
    (q.parse_flow_l_per_min, "8 gallons per minute", 30.283294),
    (q.parse_flow_l_per_min, "7 imp gpm", 31.82263),
    (q.parse_flow_l_per_min, "30 L/min", 30.0),
    (q.parse_flow_l_per_min, "1,8 m3/h", 30.0),
    (q.parse_flow_l_per_min, "0.5 l/s", 30.0),
    (q.parse_pressure_kpa, "40 psi", 275.790292),
    (q.parse_pressure_kpa, "40PSIG", 275.790292),
    (q.parse_pressure_kpa, "2.8 bar", 280.0),
    (q.parse_pressure_kpa, "2,8 bar", 280.0),
    (q.parse_pressure_kpa, "280 kPa", 280.0),
    (q.parse_pressure_kpa, "3 kg/cm²", 294.1995),
    (q.parse_height_m, "1200 ft", 365.76),
    (q.parse_height_m, "1200′", 365.76),
    (q.parse_height_m, "365 m", 365.0),
    (q.parse_height_m, "0 m", 0.0),
    (q.parse_height_m, "−100 ft", -30.48),
    (q.parse_time_s, "60 s", 60.0),
    (q.parse_time_s, "2 min", 120.0),
    (q.parse_time_s, "1 min 10 s", 70.0),
    (q.parse_time_s, "1min10s", 70.0),
    (q.parse_time_s, "38 sec.", 38.0),
    (q.parse_power_w, "1 hp", 745.699872),
    (q.parse_power_w, "3/4 hp", 559.274904),
    (q.parse_power_w, "1½ hp", 1118.549807),
    (q.parse_power_w, "1-1/2 HP", 1118.549807),
    (q.parse_power_w, "0.75 kW", 750.0),
]


@pytest.mark.parametrize(("read", "text", "meant"), READ_AS)
def test_a_quantity_is_read_as_meant(read: Callable[[str], float], text: str, meant: float) -> None:
    assert read(text) == pytest.approx(meant, rel=1e-7)


REFUSED: list[tuple[Callable[[str], object], str, str]] = [
    (q.parse_volume_l, "33", 'has no unit: write a volume such as "33 gal"'),
    (q.parse_volume_l, "33 gallos", "'gallos' is not a unit of volume"),
    (q.parse_volume_l, "-5 gal", "cannot be below zero"),
    (q.parse_volume_l, "0 gal", "must be more than zero"),
    (q.parse_volume_l, "nan gal", "must be a finite number"),
    (q.parse_volume_l, "inf L", "must be a finite number"),
    (q.parse_volume_l, "1e9 gal", "of more than 100000 L"),
    (q.parse_volume_l, "1e400 L", "of more than 100000 L"),
    (q.parse_volume_l, "1,200 gal", "the comma can mean thousands or decimals"),
    (q.parse_volume_l, "1.2.3 L", "with one point at most"),
    (q.parse_volume_l, "33 gal 5 gal", "one number and one unit"),
    (q.parse_volume_l, "3 3 gal", "one number and one unit"),
    (q.parse_volume_l, "33 psi", "'psi' is not a unit of volume"),
    (q.parse_volume_l, "", "is not a volume"),
    (q.parse_volume_l, "gal", "is not a volume"),
    (q.parse_volume_l, "١ gal", "is not a volume"),
    (q.parse_flow_l_per_min, "0 gpm", "must be more than zero"),
    (q.parse_flow_l_per_min, "8 gal", "'gal' is not a unit of flow"),
    (q.parse_pressure_kpa, "0 psi", "must be more than zero"),
    (q.parse_pressure_kpa, "-2 psi", "cannot be below zero"),
    (q.parse_pressure_kpa, "54.7 psia", "pressures are read on a gauge"),
    (q.parse_pressure_kpa, "40/60 psi", "one number and one unit"),
    (q.parse_pressure_kpa, "500 psi", "of more than 20 bar"),
    (q.parse_height_m, "9000 m", "of more than 6000 m"),
    (q.parse_time_s, "1:10", "':' is not a unit of time"),
    (q.parse_time_s, "2 m", "'m' is not a unit of time"),
    (q.parse_time_s, "10 s 1 min", "the larger unit first"),
    (q.parse_power_w, "1/0 hp", "one number and one unit"),
    (q.parse_switch_kpa, "40", "two numbers with a slash"),
    (q.parse_switch_kpa, "40/60/80", "two numbers with a slash"),
    (q.parse_switch_kpa, "40 psi/60", "the unit once at the end, or after both"),
    (q.parse_switch_kpa, "2.8/4.1", "too low for psi"),
    (q.parse_switch_kpa, "280/410", "of more than 20 bar"),
    (q.parse_switch_kpa, "-40/60", "cannot be below zero"),
    (q.parse_switch_kpa, "nan/60", "must be a finite number"),
    (q.parse_switch_kpa, "60/40", "must be below the second"),
    (q.parse_switch_kpa, "40/40", "must be below the second"),
    (q.parse_marks_s, "60/30", "below the second"),
    (q.parse_marks_s, "10/60", "the first must be 20 s or more"),
    (q.parse_marks_s, "30/200", "second 180 s or less"),
    (q.parse_units, "imperial", 'write "us" or "metric"'),
]


@pytest.mark.parametrize(("read", "text", "why"), REFUSED)
def test_what_cannot_be_meant_is_refused_in_one_plain_line(read: Callable[[str], object], text: str, why: str) -> None:
    with pytest.raises((QuantityError, SettingsError), match=why.replace("(", r"\(")) as caught:
        read(text)
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 220


@pytest.mark.parametrize(
    "text", ["40/60", "40/60 psi", "40-60", "40–60 psi", "40 psi/60 psi", "40 to 60", "40 / 60 PSI"]
)
def test_a_switch_is_read_however_it_is_written(text: str) -> None:
    assert q.parse_switch_kpa(text) == pytest.approx((275.790292, 413.685438), rel=1e-7)


@pytest.mark.parametrize("text", ["2.8/4.1 bar", "2,8/4,1 bar", "280/410 kPa"])
def test_a_switch_in_other_units_names_its_unit(text: str) -> None:
    assert q.parse_switch_kpa(text) == pytest.approx((280.0, 410.0))


@pytest.mark.parametrize(
    ("text", "marks"), [("30/60", (30, 60)), ("30/60 s", (30, 60)), ("0.5/1 min", (30, 60)), ("60/120", (60, 120))]
)
def test_marks_are_seconds_unless_said(text: str, marks: tuple[float, float]) -> None:
    assert q.parse_marks_s(text) == marks


def test_an_air_charge_of_zero_is_allowed_only_where_asked() -> None:
    assert q.parse_pressure_kpa("0 psi", zero_ok=True) == 0.0


def test_control_characters_never_reach_the_message() -> None:
    with pytest.raises(QuantityError) as caught:
        q.parse_volume_l("33\x1b[2J\ngal" + "x" * 500)
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 200


@pytest.mark.parametrize(
    "read", [q.parse_volume_l, q.parse_pressure_kpa, q.parse_power_w, q.parse_switch_kpa, q.parse_time_s]
)
@given(text=st.one_of(st.text(), st.text("0123456789.,/-+ e'galpsihmn½²m3", max_size=12)))
def test_any_text_is_read_or_refused_never_worse(read: Callable[[str], object], text: str) -> None:
    message = ""
    try:
        read(text)
    except ClicktimerError as error:
        message = str(error)
    assert message.isprintable()


@given(st.floats(0.1, 900), st.sampled_from(q.UNIT_SYSTEMS))
def test_what_is_written_can_be_read_back(value: float, units: q.UnitSystem) -> None:
    for write, read in [
        (q.format_volume, q.parse_volume_l),
        (q.format_flow, q.parse_flow_l_per_min),
        (q.format_pressure, q.parse_pressure_kpa),
    ]:
        # Two or three figures are kept for what a house has.
        assert read(write(value + 60, units)) == pytest.approx(value + 60, rel=0.01)
    assert q.parse_height_m(q.format_height(value, units)) == pytest.approx(value, abs=0.51)
    assert q.parse_time_s(q.format_time(value)) == pytest.approx(value, abs=0.51)


def test_numbers_are_written_with_no_more_figures_than_they_deserve() -> None:
    assert q.format_volume(32.2242) == "8.5 gal"
    assert q.format_volume(32.2242, "metric") == "32.2 L"
    assert q.format_volume(124.918589) == "33 gal"
    assert q.format_flow(30.283294) == "8 gpm"
    assert q.format_switch(275.79, 413.685) == "40/60 psi"
    assert q.format_switch(275.79, 413.685, "metric") == "2.76/4.14 bar"
    assert [q.format_time(t) for t in (0.423, 38.44, 119.97, 125.0, 4200.0)] == [
        "0.42 s",
        "38.4 s",
        "2 min 00 s",
        "2 min 05 s",
        "1 h 10 min",
    ]
