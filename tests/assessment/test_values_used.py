"""The document tells every value that was used, and where it came from."""

from __future__ import annotations

import tomllib
from importlib import resources

import pytest

from clicktimer.assessment.options import MeasureOptions
from clicktimer.assessment.values_used import values_used
from clicktimer.site.options import parse_system_options
from clicktimer.units.parse import parse_pressure_kpa, parse_switch_kpa


def used(**texts: object) -> dict[str, dict[str, object]]:
    system = parse_system_options(**texts)
    return values_used(MeasureOptions(taps="shut", marks_s=system.marks_s, system=system))


def test_a_default_is_told_with_the_value_that_was_used():
    told = used()
    assert told["switch"] == {"value": "40/60 psi", "from": "default"}
    assert told["precharge"] == {"value": "38 psi", "from": "default"}
    assert told["marks"] == {"value": "30/60", "from": "default"}
    assert told["height"] == {"value": "0 ft", "from": "default"}
    assert told["units"] == {"value": "us", "from": "default"}
    assert told["taps"] == {"value": "shut", "from": "option"}
    assert told["pump_at_start"] == told["tank"] == told["pump_rate"] == {"value": None, "from": "default"}


def test_what_was_given_is_told_as_it_was_written():
    told = used(switch="30/50", tank=("33 gal",), pump_rate="8 gpm", units="metric")
    assert told["switch"] == {"value": "30/50", "from": "option"}
    assert told["tank"] == {"value": ("33 gal",), "from": "option"}
    assert told["pump_rate"] == {"value": "8 gpm", "from": "option"}
    # 2 psi below the cut-in of 30 psi that was given: read back by the program's own reader
    assert parse_pressure_kpa(str(told["precharge"]["value"])) == pytest.approx(28 * 6.894757, rel=0.01)
    assert parse_switch_kpa(str(used(units="metric")["switch"]["value"])) == pytest.approx((275.79, 413.69), rel=0.005)


def test_a_measured_pump_rate_is_told():
    told = used(caught=("15 gal in 75 s",))  # 15 gal came back in 75 s: 12 gpm
    assert told["pump_rate"] == {"value": "12 gpm", "from": "measured"}


def test_every_setting_of_the_detector_is_told():
    values = used()["detection"]["values"]
    assert isinstance(values, dict)
    table = tomllib.loads(resources.files("clicktimer.detection").joinpath("params.toml").read_text("utf-8"))
    assert {section: set(part) for section, part in values.items()} == {name: set(part) for name, part in table.items()}


def test_samples_from_memory_have_their_marks():
    assert values_used(MeasureOptions())["marks"] == {"value": "30/60", "from": "default"}
