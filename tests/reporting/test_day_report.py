"""What a day looks like to its reader: text, JSON against its schema, pictures, and the two commands."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.options import MeasureOptions
from clicktimer.cli import run
from clicktimer.cycles.pairing import pair_cycles
from clicktimer.day.analysis import DayReading, other_tanks, read_day
from clicktimer.day.comparison import compare
from clicktimer.day.cycle_log import DayLog
from clicktimer.day.measured import read_measured_day
from clicktimer.records import (
    Click,
    Gap,
    SourceInfo,
    Verdict,
)
from clicktimer.reporting.json.day import reading_json
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.text.day_sections import render_day
from clicktimer.simulator.demo import demo_recording
from clicktimer.simulator.household import simulate, us_system
from clicktimer.simulator.system import Use
from clicktimer.simulator.uses import household_uses
from clicktimer.site.options import describe
from clicktimer.tank.system import PumpRate, Tank, make_system
from clicktimer.units.conversions import gal_to_l
from clicktimer.units.format import UnitSystem

SCHEMA = json.loads((Path(__file__).parents[2] / "docs/day.schema.json").read_text("utf-8"))
DAY_S = 86_400.0


def a_day(*, known: bool = True, leak_gpm: float = 0.3) -> tuple[Measurement, DayReading]:
    house = us_system(14.0, pump_gpm=9.0)
    uses = [*household_uses("lean", DAY_S, 5), Use(0.0, DAY_S, gal_to_l(leak_gpm), "leak")]
    line = simulate(house, uses, duration_s=DAY_S)
    clicks = [Click(t, "cut-in", 0.99) for t in line.cut_ins_s] + [Click(t, "cut-out", 0.99) for t in line.cut_outs_s]
    clicks.sort(key=lambda c: c.time_s)
    cycles = pair_cycles(clicks, start_s=0.0, end_s=DAY_S)
    source = SourceInfo("cellar.flac", DAY_S, 48_000, 1, None, "2031-05-04 00:00" if known else None, "given")
    m = Measurement(source, tuple(clicks), cycles, (), None, None, Verdict(None, False))
    log = DayLog(cycles, DAY_S, (), 1_935_619_200.0 if known else None)
    system = make_system(tanks=(Tank(gal_to_l(14.0)),), pump=PumpRate(gal_to_l(9.0)) if known else None)
    return m, read_day(log, system=system, others=other_tanks(system))


@pytest.mark.parametrize("known", [True, False])
def test_the_document_fits_its_schema(known: bool):
    m, day = a_day(known=known)
    document = json.loads(json.dumps(reading_json(m, day, program_version="0"), allow_nan=False))
    jsonschema.validate(document, SCHEMA)
    assert document["seeping"]["told"] is True
    assert (document["seeping"]["from"] is None) is not known
    if known:
        assert document["seeping"]["flow_l_per_min"] == pytest.approx(gal_to_l(0.3), rel=0.05)
        assert document["seeping"]["low"] < gal_to_l(0.3) < document["seeping"]["high"]
        assert document["water"]["unit"] == "L"
    else:
        assert document["seeping"]["flow_l_per_min"] is None
        assert document["seeping"]["share_of_pump_rate"] == pytest.approx(0.3 / 9.0, rel=0.05)
        assert document["water"]["unit"] == "tankfuls"


def test_an_empty_day_fits_the_schema_and_says_why_nothing_is_told():
    m, _ = a_day()
    day = read_day(DayLog((), DAY_S))
    document = json.loads(json.dumps(reading_json(m, day, program_version="0"), allow_nan=False))
    jsonschema.validate(document, SCHEMA)
    assert document["run"] is None
    assert document["run_withheld"]
    text = render_day(day, "cellar.flac")
    assert "NOT TOLD" in text
    assert "no limit to what may seep" in text


@pytest.mark.parametrize("known", [True, False])
def test_the_text_is_narrow_and_tells_times_only_where_they_are_known(known: bool):
    m, day = a_day(known=known)
    text = render_day(day, m.source.name)
    assert max(map(len, text.splitlines())) <= 80
    assert (" min in" in text) is not known
    for heading in ("The day", "Seeping", "Starts", "Water", "The same day with another tank", "Cautions"):
        assert f"\n{heading}\n" in text
    assert "never open it" in text
    assert "--valve-test" in text


def test_a_break_of_unknown_length_is_told_beside_times_of_day():
    _, day = a_day()
    assert "may be too early" not in render_day(day, "a.flac")
    broken = read_day(DayLog(day.log.cycles, DAY_S, (Gap(40_000.0, None, "next part"),), day.log.started_s))
    assert "may be too early" in " ".join(render_day(broken, "a.flac + b.flac").split())
    elapsed = read_day(DayLog(day.log.cycles, DAY_S, (Gap(40_000.0, None, "next part"),)))
    assert "may be too early" not in " ".join(render_day(elapsed, "a.flac + b.flac").split())


def test_more_than_a_day_is_told_by_days_and_no_figure_has_more_digits_than_are_known():
    _, day = a_day()
    cycles = tuple(
        replace(c, cut_in_s=(c.cut_in_s or 0.0) + DAY_S, cut_out_s=(c.cut_out_s or 0.0) + DAY_S) for c in day.log.cycles
    )
    two = read_day(DayLog((*day.log.cycles, *cycles), 2 * DAY_S, (), day.log.started_s))
    text = render_day(two, "two.flac")
    for date in ("2031-05-04", "2031-05-05"):
        (line,) = [x for x in text.splitlines() if date in x]
        assert f" {len(day.log.cycles)} " in line
    for shown in (text, render_day(day, "one.flac")):
        assert not re.search(r"\d\.\d+%|\d{2}\.\d+ %", shown)
    # A limit is rounded up: it must not shrink.
    assert day.limit_l_per_min is not None
    limit = re.search(r"no more than ([\d.]+) gpm", render_day(day, "one.flac"))
    assert limit
    assert float(limit[1]) >= day.limit_l_per_min / gal_to_l(1.0)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return demo_recording(tmp_path_factory.mktemp("day") / "demo.wav", 7)[0]


@pytest.mark.slow
def test_the_commands_day_and_compare(demo: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    result, picture = tmp_path / "day.json", tmp_path / "day.svg"
    code = run(
        [
            "day",
            str(demo),
            "--taps-shut",
            "--tank",
            "20 gal",
            "--pump-rate",
            "8 gpm",
            "--started",
            "2031-05-04 06:00",
            "--json",
            str(result),
            "--picture",
            str(picture),
        ]
    )
    out = capsys.readouterr().out
    assert code == 0, out
    document: dict[str, Any] = json.loads(result.read_text("utf-8"))
    jsonschema.validate(document, SCHEMA)
    assert document["starts"]["count"] == 3
    assert document["run"]["how"] == "taps shut"
    # Every tap was said to be shut: no use is told, and nothing that says that the run is not known.
    assert "steady use" not in out
    assert "too few" not in out
    assert document["run_withheld"] is None
    assert document["run_rests_on"]["steady"] == document["starts"]["flows"] == []
    assert picture.read_bytes().startswith(b"<?xml")
    assert run(["compare", str(result), str(result)]) == 0
    assert "no change" in capsys.readouterr().out
    _compare_takes_sound_and_folders(demo, result, tmp_path, capsys)


def _compare_takes_sound_and_folders(
    demo: Path, result: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same recording as a file of --json, as sound and as a folder: its run is the same three times."""
    kept, told, picture = tmp_path / "kept", tmp_path / "told.json", tmp_path / "both.png"
    assert run(["measure", str(demo), "--taps-shut", "--into", str(kept)]) == 0
    capsys.readouterr()
    assert run(["compare", str(result), str(demo), "--taps-shut", "--json", str(told), "--picture", str(picture)]) == 0
    assert "no change" in capsys.readouterr().out
    of_sound = json.loads(told.read_text("utf-8"))["differences"][0]
    assert of_sound["name"] == "run with no water in use"
    assert of_sound["before"] == pytest.approx(of_sound["after"])
    assert of_sound["before_low"] < of_sound["before"] < of_sound["before_high"]
    assert picture.read_bytes().startswith(b"\x89PNG")
    # What the folder was listened with is noted in it, so nothing has to be said again.
    assert run(["compare", str(kept), str(result), "--json", str(told)]) == 0
    of_folder = json.loads(told.read_text("utf-8"))["differences"][0]
    assert of_folder["before"] == pytest.approx(of_sound["before"], abs=2e-3)
    of_day = tmp_path / "kept-day.json"
    assert run(["day", str(kept), "--json", str(of_day)]) == 0
    assert json.loads(of_day.read_text("utf-8"))["run"]["how"] == "taps shut"
    # Taps not said: what three starts of a test say is not compared, and the run is not guessed.
    assert run(["compare", str(demo), str(result), "--json", str(told)]) == 0
    assert {d["finding"] for d in json.loads(told.read_text("utf-8"))["differences"]} == {"cannot tell"}
    capsys.readouterr()
    assert run(["compare", str(result), str(result), "--taps-shut"]) == 2
    assert "measured before" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["day", "x.wav", "--nobody", "01:00-05:00"], "--started"),
        (["day", "x.wav", "--taps-shut", "--steady-tap"], "contradict"),
        (["day", "x.wav", "--picture", "x.bmp"], ".png"),
        (["day", "x.wav", "--other-tank", "62 gal"], "--tank"),
        (["compare", "nowhere.json", "nowhere.json"], "nowhere.json"),
        (["compare", "nowhere.wav", "nowhere.wav"], "nowhere.wav"),
        (["compare", "nowhere.wav", "nowhere.wav", "--picture", "x.bmp"], ".png"),
        (["compare", "nowhere.wav", "nowhere.wav", "--taps-shut", "--steady-tap"], "contradict"),
    ],
)
def test_what_cannot_be_is_one_line(arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]):
    assert run(arguments) == 2
    err = capsys.readouterr().err
    assert words in err
    assert len(err.strip().splitlines()) == 1


def test_minutes_say_nothing_of_a_days_starts():
    def told(minutes: float) -> tuple[str, dict[str, object]]:
        end_s = 60.0 * minutes
        clicks = (Click(100.0, "cut-in", 0.99), Click(140.0, "cut-out", 0.99))
        cycles = pair_cycles(clicks, start_s=0.0, end_s=end_s)
        source = SourceInfo("short.wav", end_s, 48_000, 1, None, None, "given")
        m = Measurement(source, clicks, cycles, (), None, None, Verdict(None, False))
        day = read_day(DayLog(cycles, end_s))
        document = json.loads(json.dumps(reading_json(m, day, program_version="0"), allow_nan=False))
        jsonschema.validate(document, SCHEMA)
        return " ".join(render_day(day, "short.wav").split()), document

    text, short = told(9.0)
    assert "Starts a day: too short a recording for a day's figure; 1 hour at the least" in text
    assert "starts a day:" not in text
    longer_text, longer = told(90.0)
    assert "too short a recording" not in longer_text
    (found,) = (d for d in compare(short, longer).differences if d.name == "starts a day")
    assert (found.before, found.finding) == (None, "cannot tell")
    # A document of before holds a figure for minutes too.
    starts = short["starts"]
    assert isinstance(starts, dict)
    old = {**short, "starts": {**starts, "per_day": {"value": 160.0, "low": 1.0, "high": 900.0}}}
    assert next(d for d in compare(old, longer).differences if d.name == "starts a day").before is None


def test_less_than_an_hour_is_held_against_no_limit_of_an_hour_that_it_may_still_pass():
    def told(starts: int, minutes: float) -> tuple[str, DayReading]:
        ins_s = [20.0 + 24.0 * i for i in range(starts)]
        clicks = sorted(
            [Click(t, "cut-in", 0.99) for t in ins_s] + [Click(t + 12.0, "cut-out", 0.99) for t in ins_s],
            key=lambda c: c.time_s,
        )
        end_s = 60.0 * minutes
        day = read_day(DayLog(pair_cycles(clicks, start_s=0.0, end_s=end_s), end_s))
        return " ".join(render_day(day, "short.wav").split()), day

    text, day = told(4, 1.9)
    assert "starts in an hour" not in text
    assert "Starts in the 1 min 54 s heard: 4." in text
    # Cut-ins 24.000 s apart are 3600 / 24 = 150 an hour, told no finer than a start.
    assert "150 an hour while it lasts" in text
    assert not [f for f in day.starts.motor if f.what == "starts_per_h"]
    text, _ = told(20, 9.0)  # 20 are already more than every limit in the table (7.5 and 15 an hour)
    assert "20 starts in an hour: more than the most" in text
    text, day = told(0, 1.0)
    assert "0.00 %" not in text
    assert "no click of its switch was heard" in text
    assert not [f for f in day.starts.motor if f.what == "starts_per_h"]
    text, _ = told(4, 61.0)
    assert "4 starts in an hour: within the most" in text


def test_a_leak_that_makes_most_starts_is_put_before_the_tank_everywhere():
    """Household of 14 h with a leak; of the simulator's truth most starts are the leak's own."""
    house, hours_s = us_system(20.0, pump_gpm=8.0), 14 * 3600.0
    line = simulate(house, household_uses("seeping", hours_s, 7), duration_s=hours_s, seed=7)
    clicks = [Click(t, "cut-in", 0.99) for t in line.cut_ins_s] + [Click(t, "cut-out", 0.99) for t in line.cut_outs_s]
    cycles = pair_cycles(sorted(clicks, key=lambda c: c.time_s), start_s=0.0, end_s=hours_s)
    source = SourceInfo("leak.flac", hours_s, 48_000, 1, None, "2031-05-04 00:00", "given")
    m = Measurement(source, (), cycles, (), None, None, Verdict(None, False))
    options = MeasureOptions(system=describe({"tank": ("20 gal",), "pump_rate": "8 gpm"}))
    m, day = read_measured_day(m, options)
    assert day.leak_makes_most_starts
    text = " ".join(render_day(day, "leak.flac").split())
    assert text.index("stop the leak first") < text.index("larger tank at the next change")
    assert m.verdict.reasons == day.verdict.reasons
    assert m.causes is not None
    assert m.causes.ranked[0].cause.name == "house-leak"
    text = Messages().texts(m.causes.reasons)
    assert "check valve" in text  # whether house or well side, no click tells
    assert "too small" in text.partition("Beside it, for another trouble")[2]  # both may be true
    document = json.loads(json.dumps(reading_json(m, day, program_version="0"), allow_nan=False))
    jsonschema.validate(document, SCHEMA)
    assert document["starts"]["flows"][0]["remedy"] == "leak"
    assert "leak first" in document["verdict"]["text"]


def test_a_run_timed_by_the_pumps_sound_is_told_as_that_in_text_and_json():
    m, day = a_day()
    index = min(range(1, len(day.log.cycles) - 1), key=lambda i: day.log.cycles[i].run_s or DAY_S)
    cycles = list(day.log.cycles)
    run_s = cycles[index].run_s
    assert run_s is not None
    cycles[index] = replace(
        cycles[index], complete=False, how="pump sound", confidence=0.8, run_low_s=run_s - 0.59, run_high_s=run_s + 0.59
    )
    day = read_day(replace(day.log, cycles=tuple(cycles)))
    text = " ".join(render_day(day, "cellar.flac").split())
    assert re.search(r"hortest run [\d.]+ s \(±0.59 s\) \(an end by the pump's sound\)", text)
    assert "1 run timed by the pump's sound" in text
    document = json.loads(json.dumps(reading_json(m, day, program_version="0"), allow_nan=False))
    jsonschema.validate(document, SCHEMA)
    (found,) = [r for r in document["left_out"] if r["why"] == "by the pump's sound"]
    assert (found["at_s"], found["run_s"]) == pytest.approx((cycles[index].cut_in_s, run_s), abs=1e-5)


def test_a_run_over_five_times_r0_whose_clicks_are_in_doubt_is_told_as_that():
    """Two starts an hour, each of 40 s; an end and the next start are missed, so that a rest looks a run."""
    ins_s = [600.0 + 1800.0 * i + 90.0 * (i % 4) for i in range(40)]
    clicks = [Click(t, "cut-in", 0.95) for t in ins_s] + [Click(t + 40.0, "cut-out", 0.95) for t in ins_s]
    heard = sorted((c for c in clicks if c.time_s not in (ins_s[20] + 40.0, ins_s[21])), key=lambda c: c.time_s)
    day = read_day(DayLog(pair_cycles(heard, start_s=0.0, end_s=DAY_S), DAY_S))
    assert day.starts.endless == 1
    text = " ".join(render_day(day, "one.flac").split())
    assert re.search(r"longest run [^.]* \(in doubt\)\.", text.replace("±0.", "±"))
    assert "1 run went on for more than five times the run with no water. It may be no such run" in text
    assert "A pump that runs on" in text  # the caution stays: the doubt may be wrong


@pytest.mark.parametrize("units", ["us", "metric"])
def test_stock_sizes_are_told_in_the_unit_asked_for_with_the_gallons_beside(units: UnitSystem):
    text = render_day(a_day()[1], "one.flac", units=units)
    table = text.partition("The same day with another tank")[2].partition("Cautions")[0]
    assert ("44 gal " in table) == (units == "us")
    assert ("167 L is 44 gal" in " ".join(table.split())) == (units == "metric")  # 44 x 3.785411784
    assert ("  167 L " in table) == (units == "metric")
    assert all(len(line) <= 80 for line in text.splitlines())
    assert "no water, s\n" in table
    assert not re.search(r"^ +\d+\)$", table, re.MULTILINE)  # no interval is broken off
