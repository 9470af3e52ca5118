"""Motor limits against the figures of the sources, and how a count or a run is held against them."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clicktimer.errors import SettingsError
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.tank.motors import PHASES, Phase, Seen, What, all_limits, judge_motor, limits_for
from clicktimer.units.conversions import W_PER_HP

# Submersible-motor makers' common application table (trade practice, grade C, read second hand): starts in 24 hours.
# The edges of each row as printed: power in hp, single phase, three phase (None: the table has no such row).
PRINTED_STARTS_A_DAY = [
    (0.5, 300, 300),
    (0.75, 300, 300),
    (1.0, 100, 300),
    (3.0, 100, 300),
    (5.5, 100, 300),
    (7.5, 50, 100),
    (30.0, 50, 100),
    (40.0, None, 100),
]


def exactly(value: float) -> Seen:
    return Seen(value, value, value)


@pytest.mark.parametrize(("hp", "single", "three"), PRINTED_STARTS_A_DAY)
def test_starts_a_day_are_those_of_the_makers_table(hp: float, single: float | None, three: float | None):
    for phase, printed in (("single", single), ("three", three)):
        given_phase: Phase = "single" if phase == "single" else "three"
        values = [limit.value for limit in limits_for("starts_per_day", hp * W_PER_HP, given_phase)]
        assert values == ([] if printed is None else [printed])


# Foreword of the water-well pressurized-storage-tank standard (text grade A, read on a copy): 15 an hour to 3/4 hp,
# 7.5 above. Contractor's page on 4-inch motors (grade C, read): 1 min to 3/4 hp, 2 min above.
@pytest.mark.parametrize(("hp", "per_h", "run_s"), [(0.5, 15.0, 60.0), (0.75, 15.0, 60.0), (1.0, 7.5, 120.0)])
def test_starts_an_hour_and_the_least_run(hp: float, per_h: float, run_s: float):
    assert [limit.value for limit in limits_for("starts_per_h", hp * W_PER_HP, None)] == [per_h]
    assert limits_for("least_run_s", hp * W_PER_HP, None)[0].value == run_s
    # The two say the same: the most starts of a steady use are 900 / run (MIL-HDBK-1005/9A, t = 4 V / Q).
    assert 900.0 / run_s == per_h


@pytest.mark.parametrize(("kw", "hp"), [(0.37, 0.5), (0.55, 0.75), (0.75, 1.0), (4.0, 5.5), (5.5, 7.5), (22.0, 30.0)])
def test_the_metric_size_of_a_motor_falls_into_the_row_of_its_name(kw: float, hp: float):
    for phase in PHASES:
        for what in ("starts_per_day", "starts_per_h", "least_run_s"):
            kind: What = what  # type: ignore[assignment]
            assert limits_for(kind, kw * 1000.0, phase) == limits_for(kind, hp * W_PER_HP, phase)


def test_between_two_rows_both_neighbours_are_kept_and_it_is_said():
    (found,) = judge_motor(6.0 * W_PER_HP, "single", starts_per_day=exactly(70))
    assert [limit.value for limit in found.limits] == [50.0, 100.0]
    assert found.answer == "cannot tell"
    assert "between two rows" in Messages().texts(found.reasons)
    assert judge_motor(6.0 * W_PER_HP, "single", starts_per_day=exactly(120))[0].answer == "outside"
    assert judge_motor(6.0 * W_PER_HP, "single", starts_per_day=exactly(50))[0].answer == "within"


def test_beyond_the_table_nothing_is_judged():
    (found,) = judge_motor(40.0 * W_PER_HP, "single", starts_per_day=exactly(10))
    assert (found.answer, found.limits) == ("cannot tell", ())
    assert "no row" in Messages().texts(found.reasons)


def test_what_is_not_known_of_the_motor_is_asked_for():
    (found,) = judge_motor(None, None, starts_per_day=exactly(120))
    assert found.answer == "cannot tell"
    assert "the motor's power" in Messages().texts(found.reasons)
    assert "phase" in Messages().texts(found.reasons)
    # Over every limit of the table, and under every one: no need to know.
    assert judge_motor(None, None, starts_per_day=exactly(301))[0].answer == "outside"
    assert judge_motor(None, None, starts_per_day=exactly(50))[0].answer == "within"
    (one_hp,) = judge_motor(W_PER_HP, None, starts_per_day=exactly(120))
    assert one_hp.answer == "cannot tell"
    assert "single or three phase" in Messages().texts(one_hp.reasons)


def test_an_advice_for_large_motors_is_not_held_against_a_small_or_unknown_one():
    assert len(judge_motor(0.5 * W_PER_HP, "single", least_run_s=exactly(90))) == 1
    table, advice = judge_motor(1.0 * W_PER_HP, "single", least_run_s=exactly(90))
    assert (table.answer, advice.answer) == ("within", "outside")
    assert "no government source" in Messages().texts(advice.reasons)
    table, advice = judge_motor(None, "single", least_run_s=exactly(90))
    assert (table.answer, advice.answer) == ("within", "cannot tell")
    assert judge_motor(None, "single", least_run_s=exactly(130))[1].answer == "within"


def test_an_interval_that_holds_the_limit_is_too_close_to_call():
    (found,) = judge_motor(0.5 * W_PER_HP, "single", least_run_s=Seen(59.0, 57.0, 61.0))
    assert found.answer == "too close to call"
    # One-sided: "at most 20 s" is surely short, "at most 80 s" tells nothing.
    assert judge_motor(0.5 * W_PER_HP, "single", least_run_s=Seen(20.0, 0.0, 20.0))[0].answer == "outside"
    assert judge_motor(0.5 * W_PER_HP, "single", least_run_s=Seen(80.0, 0.0, 80.0))[0].answer == "too close to call"


def test_the_makers_figure_takes_the_place_of_the_tables():
    (found,) = judge_motor(1.0 * W_PER_HP, "single", starts_per_day=exactly(150), maker_starts_per_day=200.0)
    assert found.answer == "within"
    assert "entered by you" in Messages().texts(found.reasons)
    (run,) = judge_motor(1.0 * W_PER_HP, "single", least_run_s=exactly(70), maker_least_run_s=60.0)
    assert run.answer == "within"
    with pytest.raises(SettingsError, match="more than zero"):
        judge_motor(1.0 * W_PER_HP, least_run_s=exactly(70), maker_least_run_s=0.0)


def test_what_use_could_cause_is_not_told_as_counted():
    (found,) = judge_motor(0.5 * W_PER_HP, "single", could_start_per_h=Seen(22.5, 21.0, 24.0))
    assert found.could
    assert found.answer == "outside"
    assert "could cause" in Messages().texts(found.reasons)


def test_every_limit_names_source_grade_and_status_and_every_text_shows_them():
    for limit in all_limits():
        assert limit.source
        assert limit.grade in ("A", "B", "C", "A/C")
        assert limit.status in ("READ", "READ-2nd")
        assert limit.to_hp is None or limit.to_hp > limit.from_hp
    for found in judge_motor(W_PER_HP, "single", starts_per_day=exactly(1), least_run_s=exactly(1)):
        assert found.limits[0].source in Messages().texts(found.reasons)
        assert found.limits[0].status in Messages().texts(found.reasons)
        assert "\n" not in Messages().texts(found.reasons)


@given(st.floats(0.05, 60.0), st.sampled_from(PHASES), st.floats(0.0, 500.0), st.floats(0.0, 100.0))
def test_more_starts_never_turn_outside_into_within(hp: float, phase: Phase, starts: float, more: float):
    order = {"within": 0, "cannot tell": 1, "outside": 2}
    (few,) = judge_motor(hp * W_PER_HP, phase, starts_per_day=exactly(starts))
    (many,) = judge_motor(hp * W_PER_HP, phase, starts_per_day=exactly(starts + more))
    assert order[few.answer] <= order[many.answer]


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_a_power_that_cannot_be(bad: float):
    with pytest.raises(SettingsError, match="power must be more than zero"):
        judge_motor(bad, "single", starts_per_day=exactly(1))


def test_a_figure_outside_its_interval_is_refused():
    with pytest.raises(SettingsError, match="inside its interval"):
        Seen(5.0, 6.0, 7.0)
