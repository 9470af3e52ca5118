"""The classic faults of a pressure tank system, each with the cause that must come first.

The table is the trade's (common practice, no source): 33 gal, 40/60 psi, 10 gpm unless a row says otherwise. What is
typed is what a person would type at the site; no row names a fact of the table of causes that no option gives.
"""

from __future__ import annotations

from typing import Any

import pytest

from clicktimer.assessment.causes.ranking import CausesResult, likely_causes
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.text.causes import causes_lines
from clicktimer.site.options import parse_system_options
from clicktimer.tank.sizing import size_tank
from clicktimer.tank.stopwatch import run_timed_by_hand

SETUP = {"tank": ("33 gal",), "pump_rate": "10 gpm", "switch": "40/60"}

# Signs, the run in s, what is given, the log's facts, the first cause.
FAULTS: list[tuple[str, float, dict[str, Any], dict[str, str], str]] = [
    ("run 4 s, nothing at the air valve", 4.0, {"air_valve": "nothing"}, {}, "lost-air"),
    ("run 4 s, water at the air valve", 4.0, {"air_valve": "water"}, {}, "bladder-failed"),
    ("charge read 20 psi, run 25 s, steady", 25.0, {"precharge": "20 psi"}, {"run-trend": "steady"}, "undercharged"),
    ("charge read 20 psi, run 25 s, falling", 25.0, {"precharge": "20 psi"}, {"run-trend": "falling"}, "lost-air"),
    ("charge read 50 psi, tap goes dead", 22.0, {"precharge": "50 psi", "seen": ("tap-goes-dead",)}, {}, "overcharged"),
    ("20 gal, charge right, run 31 s", 31.0, {"tank": ("20 gal",), "precharge": "38 psi"}, {}, "too-small"),
    (
        "2 s, charge right, gauges differ",
        2.0,
        {"seen": "gauges-differ", "precharge": "38 psi"},
        {},
        "blocked-between",
    ),
    (
        "starts by itself, not with the valve closed, run 46 s",
        46.0,
        {"seen": ("starts-by-itself",), "not_seen": ("starts-with-valve-shut",)},
        {},
        "house-leak",
    ),
    (
        "starts by itself with the valve closed, pressure rises late",
        46.0,
        {"seen": ("starts-by-itself", "starts-with-valve-shut", "late-rise")},
        {},
        "check-valve",
    ),
    (
        "two catches of 8 gal in 140 s",
        140.0,
        {"caught": ("8 gal in 140 s",) * 2, "seen": ("flow-weak",)},
        {},
        "weak-pump",
    ),
    ("runs past cut-out", 46.0, {"seen": ("past-cut-out", "clicks-but-runs-on")}, {}, "welded-contacts"),
    ("clicks at 46 and 56 psi", 25.0, {"gauge_at_clicks": "46/56"}, {}, "switch-range"),
    (
        "run 70 s, many starts in one use",
        70.0,
        {"tank": ("44 gal",), "seen": ("only-in-one-use",)},
        {"starts-per-day": "over"},
        "steady-use",
    ),
    ("plain tank, run shortens over weeks", 8.0, {"tank": ("33 gal plain",)}, {"run-trend": "falling"}, "lost-air"),
]


def causes_of(run_s: float, given: dict[str, Any], log: dict[str, str]) -> CausesResult:
    options = parse_system_options(**(SETUP | given))
    return likely_causes(None, size_tank(options.system, run_timed_by_hand(run_s)), options.found, log)


@pytest.mark.parametrize(("signs", "run_s", "given", "log", "first"), FAULTS, ids=[row[0] for row in FAULTS])
def test_the_right_cause_comes_first(signs: str, run_s: float, given: dict, log: dict, first: str) -> None:
    result = causes_of(run_s, given, log)
    assert result.shown, signs
    assert result.shown[0].cause.name == first, [(r.cause.name, r.score) for r in result.ranked[:4]]
    assert result.shown[0].supports


@pytest.mark.parametrize(("signs", "run_s", "given", "log", "first"), FAULTS, ids=[row[0] for row in FAULTS])
def test_what_was_given_is_not_asked_for_again(signs: str, run_s: float, given: dict, log: dict, first: str) -> None:
    result = causes_of(run_s, given, log)
    assert not {fact.name for fact in result.settle} & set(result.facts), signs
    if "precharge" in given or "air_valve" in given:
        assert not {fact.learn for fact in result.settle} & {"air"}
    text = " ".join(causes_lines(result))
    if "gauge_at_clicks" in given:
        assert "Read the gauge at both clicks, and" not in text
    if "caught" in given:
        assert "To be sure: Catch the water" not in text


def test_no_cause_is_listed_that_the_figures_deny() -> None:
    # 6 gal at 40/60 give 1.55 gal at most; 25 s at 10 gpm are 4.2 gal: no narrowed range gives more water.
    result = causes_of(25.0, {"tank": ("6 gal",)}, {})
    assert result.facts["tank"] == "more"
    shown = {ranked.cause.name for ranked in result.shown}
    assert not shown & {"switch-range", "blocked-between", "blocked-switch-line", "lost-air", "too-small"}


@pytest.mark.parametrize("sign", ["past-cut-out", "stays-below-cut-out", "clicks-but-runs-on"])
def test_a_pump_that_does_not_stop_is_switched_off_and_nothing_else(sign: str) -> None:
    result = causes_of(46.0, {"seen": (sign, "starts-by-itself")}, {})
    assert [check.name for check in result.checks] == ["runs-on"]
    steps = " ".join(Messages().text(step) for step in result.checks[0].steps).lower()
    assert steps.startswith("switch the pump off at the disconnect now")
    assert not any(word in steps for word in ("shut", "close", "wait", "valve", "tap "))
    assert not result.settle


def test_a_plain_tank_is_drained_and_refilled_with_air_and_has_no_bladder_to_check() -> None:
    result = causes_of(8.0, {"tank": ("33 gal plain",)}, {"run-trend": "falling"})
    text = " ".join(" ".join(causes_lines(result)).split())
    assert result.checks[0].name == "plain-tank"
    for never in ("2 psi below cut-in", "bladder has failed", "add clean air", "Add clean air", "air gauge"):
        assert never not in text
    assert "Add no compressed air to an open tank" in text
