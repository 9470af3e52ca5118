"""Causes: the pairs that look alike and what splits them, the rules of the ranking, the table as a whole.

The expected answers are those of the trade (common practice, no source), written down here before the table's weights.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clicktimer.assessment.causes.facts import gather
from clicktimer.assessment.causes.observations import Found, make_found
from clicktimer.assessment.causes.ranking import FITS, LEAD, likely_causes, rank
from clicktimer.assessment.causes.table import Cause, Evidence, Table, observations, table
from clicktimer.errors import SettingsError
from clicktimer.records import Notice, RunTime, Verdict
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.messages.cautions import SURROUNDINGS
from clicktimer.reporting.text.causes import causes_json, causes_lines, cautions_shown
from clicktimer.tank.sizing import TankSizing, size_tank
from clicktimer.tank.stopwatch import run_timed_by_hand
from clicktimer.tank.system import PumpRate, RateObserved, Tank, make_system
from clicktimer.units.conversions import gal_to_l, psi_to_kpa
from tests.support.handmade import nothing_heard, short_cycling
from tests.support.words import in_words, reasons_of

ROOT = Path(__file__).parents[2]


def facts(**said: str) -> dict[str, str]:
    return {name.replace("_", "-"): value for name, value in said.items()}


def names(result: Any) -> list[str]:
    return [r.cause.name for r in result.shown]


# One row for each pair that looks alike: what is known of both, what then splits them (two answers), and the two
# causes. Before: open, with both in sight; after: the one or the other.
PAIRS = [
    (
        "narrowed range or lost air",
        facts(run="short", tank="short", tap_goes_dead="no"),
        (facts(switch_range="narrow"), "switch-range"),
        (facts(switch_range="as-set", air_valve="nothing"), "lost-air"),
    ),
    (
        "overcharged or undercharged: both roots of a short drawdown",
        facts(run="short", tank="short"),
        (facts(tap_goes_dead="yes"), "overcharged"),
        (facts(tap_goes_dead="no", charge="low", run_trend="falling"), "lost-air"),
    ),
    (
        "lost air or a failed bladder",
        facts(run="very-short", tank="far-short"),
        (facts(air_valve="water"), "bladder-failed"),
        (facts(air_valve="low"), "lost-air"),
    ),
    (
        "small tank or lost air",
        facts(run="short"),
        (facts(tank="too-small", air_valve="right"), "too-small"),
        (facts(tank="short", air_valve="nothing"), "lost-air"),
    ),
    (
        "lost air or never charged",
        facts(run="short", tank="short", air_valve="low"),
        (facts(run_trend="falling"), "lost-air"),
        (facts(run_trend="steady"), "undercharged"),
    ),
    (
        "weak pump hides lost air",
        facts(run="good", tank="short"),
        (facts(rate="below-stated", flow_weak="yes"), "weak-pump"),
        (facts(rate="as-stated", air_valve="low", run_trend="falling"), "lost-air"),
    ),
    (
        "one steady use or a short tank",
        facts(starts_per_day="over"),
        (facts(run="good", tank="healthy", only_in_one_use="yes"), "steady-use"),
        (facts(run="short", tank="too-small", only_in_one_use="no"), "too-small"),
    ),
    (
        "house leak or check valve",
        facts(run="good", starts_by_itself="yes"),
        (facts(starts_with_valve_shut="no"), "house-leak"),
        (facts(starts_with_valve_shut="yes", late_rise="yes"), "check-valve"),
    ),
    (
        "a protector's restarts or seeping",
        facts(regular_restarts="yes", seeping="yes"),
        (facts(stops_below_cut_out="yes", protector="yes"), "protector-restarts"),
        (facts(stops_below_cut_out="no", starts_with_valve_shut="no"), "house-leak"),
    ),
    (
        "cut-off or power, or a protector",
        facts(early_stop="yes"),
        (facts(power_went="yes"), "cut-off-tripped"),
        (facts(stops_below_cut_out="yes", regular_restarts="yes"), "protector-restarts"),
    ),
    (
        "blocked between switch and tank, or the tank itself",
        facts(run="very-short", chatter="yes"),
        (facts(gauges_differ="yes", air_valve="right"), "blocked-between"),
        (facts(gauges_differ="no", air_valve="water"), "bladder-failed"),
    ),
    (
        "one of several tanks, or all of them",
        facts(run="short", tank="short", tank_count="several"),
        (facts(air_valve="right", one_tank_heavy="yes"), "one-of-several"),
        (facts(air_valve="low", one_tank_heavy="no", run_trend="falling"), "lost-air"),
    ),
    (
        "runs on: use, or a pump that cannot reach cut-out",
        facts(endless="yes"),
        (facts(something_runs="yes", stays_below_cut_out="no"), "use-above-pump"),
        (facts(taps="shut", stays_below_cut_out="yes", rate="below-stated"), "worn-or-low-well"),
    ),
    (
        "runs on below cut-out: worn, or set too high",
        facts(stays_below_cut_out="yes", taps="shut"),
        (facts(rate="below-stated"), "worn-or-low-well"),
        (facts(rate="as-stated", switch_range="moved"), "cut-out-too-high"),
    ),
    (
        "runs on past cut-out: welded, or blocked line",
        facts(past_cut_out="yes", taps="shut"),
        (facts(clicks_but_runs_on="yes"), "welded-contacts"),
        (facts(clicks_but_runs_on="no", switch_range="moved"), "blocked-switch-line"),
    ),
]


@pytest.mark.parametrize(("title", "known", "one", "other"), PAIRS, ids=[p[0] for p in PAIRS])
def test_pairs_that_look_alike_are_split_by_what_splits_them(title: str, known: dict, one: tuple, other: tuple) -> None:
    before = rank(known)
    assert before.status == "open", "without what splits them nothing may be told as leading"
    for more, expected in (one, other):
        after = rank(known | more)
        assert names(after)[0] == expected, [(r.cause.name, r.score) for r in after.ranked[:4]]
        assert after.status == "leads", [(r.cause.name, r.score) for r in after.ranked[:4]]
    first, second = rank(known | one[0]), rank(known | other[0])
    score = {r.cause.name: r.score for r in first.ranked}
    swapped = {r.cause.name: r.score for r in second.ranked}
    assert score[one[1]] > score.get(other[1], -9)
    assert swapped[other[1]] > swapped.get(one[1], -9)


@pytest.mark.parametrize(
    ("known", "offered"),
    [
        (facts(run="short", tank="short"), "air-valve"),
        (facts(run="good", starts_by_itself="yes"), "starts-with-valve-shut"),
        (facts(endless="yes"), "stays-below-cut-out"),
        (facts(run="very-short", chatter="yes", air_valve="right"), "gauges-differ"),
        (facts(regular_restarts="yes", seeping="yes"), "stops-below-cut-out"),
        (facts(tank="more"), "rate"),
    ],
)
def test_what_would_settle_it_is_what_splits_them(known: dict[str, str], offered: str) -> None:
    result = rank(known)
    assert result.status == "open"
    learnt = [f.learn or f.name for f in result.settle]
    assert (table().fact(offered).learn or offered) in learnt


@pytest.mark.parametrize(
    ("known", "cause"),
    [
        (facts(drive_box="yes"), "variable-speed"),
        (facts(variable_speed="yes", endless="yes"), "variable-speed"),
        (facts(throttling_valve="yes", tank="more"), "throttling-valve"),
        (facts(two_pumps="yes", run="short", tank="short", air_valve="low"), "two-pumps"),
    ],
)
def test_where_the_method_does_not_apply_that_is_told_instead(known: dict[str, str], cause: str) -> None:
    result = rank(known)
    assert result.status == "does-not-apply"
    assert names(result) == [cause]
    assert "does not apply" in " ".join(causes_lines(result))
    assert result.settle == ()


@pytest.mark.parametrize("sign", ["past_cut_out", "stays_below_cut_out", "clicks_but_runs_on"])
def test_nobody_is_sent_to_test_on_while_the_pump_runs_without_end(sign: str) -> None:
    result = rank(facts(**{sign: "yes"}))
    text = " ".join(" ".join(causes_lines(result)).split())
    assert text.startswith("! A pump that runs on with every tap shut: switch it off at the disconnect now.")
    assert "off at the disconnect, and call" in text
    assert "To settle it" not in text
    assert result.settle == ()
    assert text.count("It can overheat, scald and burst a pipe") == 1


def test_a_gauge_that_stands_still_is_not_enough_to_say_which() -> None:
    result = rank(facts(pressure_steady="yes", tank="more"))
    assert result.status == "open"
    assert "throttling-valve" in names(result)


def test_a_second_sound_may_be_a_second_pump_and_no_other_cause_leads_meanwhile() -> None:
    result = rank(facts(second_sound="yes", run="very-short", tank="short", air_valve="low"))
    assert result.status == "open"
    assert "two-pumps" in names(result)


def test_thin_evidence_is_told_as_open_and_nothing_known_as_nothing() -> None:
    assert rank({}).status == "nothing-to-go-on"
    assert rank(facts(run="good")).status == "no-trouble"
    assert rank(facts(tank="healthy")).status == "no-trouble"
    for run in ("very-short", "short", "below-mark"):
        assert rank(facts(run=run)).status == "open"
    assert causes_lines(rank({})) == []


def test_no_cause_leads_by_how_common_it_is() -> None:
    for cause in table().causes:
        assert cause.common < FITS
    assert max(c.common for c in table().causes) - min(c.common for c in table().causes) < LEAD


every_fact = st.fixed_dictionaries({}, optional={f.name: st.sampled_from(f.values) for f in table().facts})


@given(every_fact)
def test_any_facts_give_a_result_that_can_be_printed(known: dict[str, str]) -> None:
    result = rank(known)
    assert Messages().texts(result.reasons)
    assert all(len(line) <= 80 for line in causes_lines(result))
    json.dumps(causes_json(result), allow_nan=False)
    # What fits and explains more than a run somewhat below the target comes first; after that the score decides.
    mild = {"short-run"} if known.get("run") == "below-mark" else set()
    urgent = set(result.complaints) - mild
    order = [(r.standing != "fits" or not urgent & set(r.cause.explains), -r.score) for r in result.ranked]
    assert order == sorted(order)
    if result.status == "leads":
        first = next(r for r in result.ranked if not r.cause.method)
        assert first.supports
        assert all(first.score - r.score >= LEAD for r in result.ranked if r is not first and r.standing != "unlikely")
    for step in result.checks:
        assert step.caution_reasons


@given(every_fact, st.sampled_from(table().facts))
def test_what_is_not_known_counts_for_nothing(known: dict[str, str], fact: Any) -> None:
    without = {name: value for name, value in known.items() if name != fact.name}
    for ranked in rank(without).ranked:
        assert all(e["fact"] != fact.name for e in (*ranked.supports, *ranked.against))


def test_of_one_group_only_the_heaviest_counts() -> None:
    both = {r.cause.name: r for r in rank(facts(run="short", tank="short")).ranked}["lost-air"]
    one = {r.cause.name: r for r in rank(facts(tank="short")).ranked}["lost-air"]
    assert both.score == one.score
    assert len(both.supports) == 2  # both are shown all the same


def test_a_table_whose_names_lead_nowhere_is_refused() -> None:
    known = table()
    lost = Cause("x", ("short-run",), 0, (Evidence("rnu", ("short",), 1),), "air-valve", False)
    with pytest.raises(LookupError, match="rnu"):
        Table(known.facts, known.complaints, (lost,), known.checks)
    with pytest.raises(LookupError, match="unknown check"):
        Table(known.facts, known.complaints, (Cause("x", ("short-run",), 0, (), "no", False),), known.checks)


def test_every_cause_can_lead_and_every_check_carries_its_cautions() -> None:
    for cause in table().causes:
        best: dict[str, str] = {}
        for e in sorted(cause.evidence, key=lambda e: e.weight):
            if e.weight > 0:
                best[e.fact] = e.values[0]
        result = rank(best)
        expected = "does-not-apply" if cause.method else "leads"
        told = result.status, (names(result) or ["-"])[0]
        # A narrowed range makes any tank give little, and lost air is what most signs of little air speak for.
        assert told == (expected, cause.name), (cause.name, told, best)
    for check in table().checks:
        assert check.steps
        assert check.caution_reasons


def test_what_was_looked_at_is_not_asked_for_again() -> None:
    (bladder,) = [c for c in table().causes if c.name == "bladder-failed"]
    assert "Tap the core" in Messages().text(bladder.settle_for({}))
    assert "valve" not in Messages().text(bladder.settle_for({"air-valve": "water"}))


def test_the_air_valve_check_has_the_cautions_in_full() -> None:
    lines = " ".join(" ".join(causes_lines(rank(facts(run="short", tank="short")))).split())
    for words in (
        "power off at the disconnect",
        "water heater off",
        "eye protection",
        "never over its plate",
        "Never enter a well pit",
        "licensed people",
        "disinfect",
        "275 lb",
    ):
        assert words in lines, words
    on = " ".join(" ".join(causes_lines(rank(facts(past_cut_out="yes")))).split())
    assert "switch it off at the disconnect now" in on
    assert "stay away from the tank" in on


# --- facts from what was measured ------------------------------------------------------------------------------------
def sizing(run_s: float = 38.0, gpm: float = 8.0, **more: Any) -> TankSizing:
    system = make_system(pump=PumpRate(gal_to_l(gpm)), tanks=more.pop("tanks", (Tank(gal_to_l(33)),)), **more)
    return size_tank(system, run_timed_by_hand(run_s))


def test_facts_of_a_run_timed_by_hand_and_a_tank() -> None:
    known = gather(None, sizing())
    # 38 s at 8 gpm is 5.07 gal where a 33-gal tank gives 6.3 to 8.5: the worked case of the formulas.
    assert known == {"run": "below-mark", "tank": "short", "tank-count": "one", "tank-kind": "bladder"}
    # 10 s: 1.3 gal. Both readings of the first root lie below open air (Dm 2.1 gal gives -1.7 psi already).
    assert gather(None, sizing(10.0))["tank"] == "far-short"
    assert gather(None, sizing(10.0))["run"] == "short"


@pytest.mark.parametrize(
    ("psi", "expected"),
    [
        (38, "right"),
        (40, "right"),
        (35, "right"),
        (34, "low"),
        (20, "low"),
        (1, "gone"),
        (0, "gone"),
        (41, "above-cut-in"),
    ],
)
def test_the_charge_as_found(psi: float, expected: str) -> None:
    assert gather(None, sizing(precharge_kpag=psi_to_kpa(psi)))["charge"] == expected


def test_an_assumed_charge_is_no_fact() -> None:
    assert "charge" not in gather(None, sizing())


@pytest.mark.parametrize(
    ("read", "expected"),
    [((40, 60), "as-set"), ((41, 58), "as-set"), ((45, 59), "narrow"), ((30, 50), "moved"), ((48, 68), "moved")],
)
def test_the_range_at_the_clicks(read: tuple[float, float], expected: str) -> None:
    at_clicks = (psi_to_kpa(read[0]), psi_to_kpa(read[1]))
    known = gather(None, sizing(switch_kpag=(psi_to_kpa(40), psi_to_kpa(60)), at_clicks_kpag=at_clicks))
    assert known["switch-range"] == expected
    assert "switch-range" not in gather(None, sizing(at_clicks_kpag=at_clicks))  # no setting to hold it against


def test_a_plain_tank_has_no_charge_to_be_judged() -> None:
    known = gather(None, sizing(tanks=(Tank(gal_to_l(42), "plain"),), precharge_kpag=psi_to_kpa(10)))
    assert known["tank-kind"] == "plain"
    assert "charge" not in known


def test_a_rate_below_the_papers_is_a_fact() -> None:
    # 8 gpm by the papers; 6 gal in 75 s is 4.8 gpm.
    observed = RateObserved(((gal_to_l(6), 75.0), (gal_to_l(6), 75.0), (gal_to_l(6), 75.5), (gal_to_l(6), 75.2)))
    known = gather(None, sizing(75.0, observed=observed))
    assert known["rate"] == "below-stated"
    assert known["rate-trend"] == "steady"


def test_a_full_bladder_is_a_fact() -> None:
    # 33 gal, 38 psi: at 60 psi it would hold 33 (1 - 52.7/74.7) = 9.7 gal.
    for takes, expected in ((9.0, "yes"), (11.0, "no")):
        known = gather(None, sizing(tanks=(Tank(gal_to_l(33), acceptance_l=gal_to_l(takes)),)))
        assert known["bladder-full"] == expected


def test_facts_of_a_recording() -> None:
    known = gather(short_cycling())
    assert known == {"run": "short", "taps": "shut", "endless": "no", "chatter": "no"}
    heard = gather(short_cycling(warnings=(Notice("two-pumps", in_words("Two pumps?")),)))
    assert heard["second-sound"] == "yes"
    assert gather(nothing_heard()) == {}


def test_a_run_that_is_not_sure_is_no_fact_unless_it_is_surely_below_the_mark() -> None:
    def known(low_s: float, high_s: float, *, one_sided: bool = False, doubt: str = "") -> dict[str, str]:
        run = RunTime(
            (low_s + high_s) / 2,
            low_s,
            high_s,
            5,
            "taps shut",
            one_sided,
            0.01,
            0.5,
            (),
            reasons_of(doubt),
        )
        return gather(short_cycling(run=run, verdict=Verdict("under-a-minute", False)))

    assert known(28.0, 32.0)["run"] == "below-mark"
    assert "run" not in known(55.0, 65.0)
    assert "run" not in known(28.0, 32.0, doubt="The runs differ.")


def test_a_run_that_ended_early_before_a_long_silence() -> None:
    from tests.support.handmade import cycle

    usual = [cycle(100.0 * i, 40.0, 60.0) for i in range(4)]
    early = cycle(400.0, 12.0, 900.0)
    assert gather(short_cycling(cycles=(*usual, early)))["early-stop"] == "yes"
    assert gather(short_cycling(cycles=tuple(usual)))["early-stop"] == "no"
    assert "early-stop" not in gather(short_cycling(cycles=tuple(usual[:2])))


def test_what_was_found_and_a_log_are_facts() -> None:
    found = make_found("low", ("tap goes dead",), ("needle_swings",))
    known = gather(None, None, found, {"seeping": "yes"})
    assert known == {"air-valve": "low", "tap-goes-dead": "yes", "needle-swings": "no", "seeping": "yes"}
    for wrong in ({"seeping": "maybe"}, {"run": "short"}, {"moon": "full"}):
        with pytest.raises(SettingsError):
            gather(None, None, Found(), wrong)


@pytest.mark.parametrize(
    ("given_names", "why"),
    [
        ({"seen": ("tap-goes-ded",)}, 'did you mean "tap-goes-dead"'),
        ({"not_seen": ("x\x1b[31m",)}, "the names are"),
        ({"air_valve": "wet"}, "right, low, water, nothing"),
        ({"seen": ("late-rise",), "not_seen": ("late rise",)}, "both seen and not seen"),
    ],
)
def test_what_was_found_is_checked(given_names: dict[str, Any], why: str) -> None:
    with pytest.raises(SettingsError, match=why) as caught:
        make_found(**given_names)
    assert caught.value.args[0].isprintable()


def test_what_is_found_at_the_air_valve_changes_the_ranking() -> None:
    first = {v: names(likely_causes(None, sizing(), make_found(v)))[0] for v in ("low", "water", "nothing", "right")}
    assert first["low"] == "lost-air"
    assert first["water"] == "bladder-failed"
    assert first["nothing"] == "lost-air"
    assert first["right"] in ("switch-range", "blocked-between", "one-of-several")


def test_the_report_says_each_caution_once() -> None:
    result = likely_causes(None, sizing())
    text = "\n".join(causes_lines(result))
    for caution in cautions_shown(result):
        assert " ".join(text.split()).count(" ".join(Messages().text(caution).split())) == 1


def test_nobody_is_sent_to_drain_a_tank_for_a_run_somewhat_below_the_mark() -> None:
    mild = rank(facts(run="below-mark"))
    assert "Check by hand" not in " ".join(causes_lines(mild))
    assert cautions_shown(mild) == frozenset()
    for worse in (facts(run="short"), facts(run="below-mark", tank="short"), facts(starts_by_itself="yes")):
        assert "Check by hand" in " ".join(causes_lines(rank(worse)))


def test_the_json_holds_all_that_was_weighed() -> None:
    document = causes_json(likely_causes(None, sizing(), make_found("water")))
    assert document["status"] == "leads"
    first = document["ranked"][0]
    assert (first["name"], first["standing"]) == ("bladder-failed", "fits")
    assert first["supports"][0]["fact"] == "air-valve"
    assert document["checks"][0]["name"] == "air-valve"
    assert causes_json(None) is None


def test_every_sign_to_be_seen_is_on_the_page_of_causes() -> None:
    written = (ROOT / "docs/causes.md").read_text("utf-8")
    for fact in observations():
        assert f"`{fact.name}`" in written


def test_what_was_given_is_not_asked_for_again() -> None:
    open_case = " ".join(" ".join(causes_lines(rank(facts(run="short", air_valve="right")))).split())
    with_tank = " ".join(" ".join(causes_lines(rank(facts(run="short", air_valve="right", tank_count="one")))).split())
    assert "the tank's volume" in open_case
    assert "the tank's volume" not in with_tank
    assert "pump rate" in with_tank
    found = " ".join(" ".join(causes_lines(rank(facts(run="below-mark", tank="too-small", tank_count="one")))).split())
    assert "To be sure: The pump rate by water caught" in found
    assert "the tank's volume" not in found


def test_a_caution_that_two_checks_share_is_said_in_full_once() -> None:
    text = " ".join(" ".join(causes_lines(rank(facts(run="short")))).split())
    assert text.count("Check by hand:") == 2
    assert text.count(SURROUNDINGS) == 1
    assert "Here as above: Never enter a well pit: bad air kills." in text
    for caution in cautions_shown(rank(facts(run="short"))):
        assert text.count(Messages().text(caution)) == 1


def test_nothing_that_needs_a_drained_tank_is_asked_for_where_no_check_is_listed():
    facts = {"run": "below-mark", "tank": "unknown"}
    result = rank(facts)
    assert any(fact.learn == "air" for fact in result.settle), "the case that pointed to steps that are not there"
    said = " ".join(" ".join(causes_lines(result)).split())
    assert "No check by hand is listed" in said
    assert "steps below" not in said
    short = " ".join(" ".join(causes_lines(rank(facts | {"run": "short"}))).split())
    assert "No check by hand" not in short
