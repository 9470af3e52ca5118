"""What the page of a listening tells: held against what the session tells and what measuring the folder gives."""

from __future__ import annotations

import json
import re
import sqlite3
import subprocess
import sys
import time
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from clicktimer.assessment.options import MeasureOptions
from clicktimer.audio import open_recording
from clicktimer.audio.clock import Clock
from clicktimer.errors import StoreError
from clicktimer.pipeline import measure_samples
from clicktimer.records import Cycle, Gap, Notice, Reason
from clicktimer.reporting.messages.catalogue import Messages, entries
from clicktimer.storage.batch import Batch, Event
from clicktimer.storage.tail import Following
from clicktimer.storage.writer import Folder, in_use
from clicktimer.streaming.finalize import about_options, measure_folder
from clicktimer.streaming.session import RecordingSource, Session
from clicktimer.streaming.state import state_of
from clicktimer.web.strip import WIDTH, lines_of
from clicktimer.web.view_state import Shown
from clicktimer.web.view_text import verdict_view, warnings_view
from tests.conftest import TakenIn
from tests.support.live_parts import ROOT, wait_for
from tests.support.page_parts import hour, told

Steps = tuple[Path, list[tuple[dict[str, Any], Any]]]
RECORDING = ROOT / "fixtures_audio/short-cycling-12s.flac"


@pytest.fixture(scope="module")
def steps(tmp_path_factory: pytest.TempPathFactory) -> Steps:
    """A listening, and what the page told beside what the session told at some moments of it."""
    place = tmp_path_factory.mktemp("page") / "Green <b>House</b> & 'Sons'"
    opened = open_recording(RECORDING)
    source = RecordingSource(opened.blocks(), opened.info.rate_hz, "made up", piece_s=0.25)
    options = MeasureOptions(taps="shut")
    session = Session(source, Folder.create(place, about_options(options, "default", "t")), options, program="t")
    shown = Shown(place)
    moments = []
    next_s = 0.0
    while not source.ended:
        session.step()
        if session.engine.end_s >= next_s:
            session.mark("test")  # commits what has been heard
            moments.append((shown.now(), session.state()))
            next_s += 6.0
    session.finish("end of the recording")
    moments.append((shown.now(), None))
    shown.close()
    return place, moments


def test_it_tells_what_the_session_tells(steps: Steps):
    _, moments = steps
    seen = set()
    for page, state in moments[:-1]:
        assert page["status"] == "listening"
        facts = dict(page["facts"])
        assert facts["Whole runs"] == str(state.runs)
        assert facts["Shortest run"] == ("none yet" if state.shortest_s is None else f"{state.shortest_s:.2f} s")
        assert facts["Starts so far"] == str(state.starts_last_hour)
        assert page["pump"] == state.pump
        seen.add(state.pump)
        if state.since_s is not None:
            # The page's watch goes on by itself between two commits.
            assert state.since_s - 0.01 <= page["since_s"] <= state.since_s + 5.1
        if state.level_db is not None:  # the page has it from whole steps of a quarter second, in half decibels
            assert page["level"]["db"] == pytest.approx(state.level_db, abs=6.0)
        if state.runs:
            assert float(page["last"]["run"].split()[0]) == pytest.approx(state.last_run_s, abs=0.006)
    assert seen == {"unknown", "on", "off"}


def test_provisional_and_settled_are_told_apart(steps: Steps):
    _, moments = steps
    during, after = moments[-2][0], moments[-1][0]
    assert during["verdict"]["standing"] == "provisional"
    assert {r["standing"] for r in during["runs"]} == {"provisional", "settled"}
    assert re.fullmatch(r"Run \d is settled: 11\.99 s\.", during["spoken"])
    assert after["verdict"]["standing"] == "settled"
    assert {r["standing"] for r in after["runs"]} == {"settled"}
    assert after["spoken"].startswith("The listening has ended and is settled. Short runs")


def test_what_is_settled_is_what_measuring_the_folder_gives(steps: Steps):
    place, moments = steps
    after, measured = moments[-1][0], measure_folder(place)
    assert measured.run is not None
    assert f"{measured.run.seconds:.2f} s" in after["verdict"]["found"][0]
    assert "mean of 3 runs with every tap shut" in after["verdict"]["found"][0]
    whole = [c for c in measured.cycles if c.complete]
    shown = [float(r["run"].split()[0]) for r in after["runs"] if r["number"]][::-1]
    assert shown == pytest.approx([c.run_s for c in whole], abs=0.006)
    assert told(place)["verdict"] == after["verdict"]


def test_short_cycling_is_on_the_page_with_its_caution(steps: Steps):
    _, moments = steps
    first = next(page for page, _ in moments if any(w["code"] == "short-cycling" for w in page.get("warnings", [])))
    (warning,) = [w for w in first["warnings"] if w["code"] == "short-cycling"]
    assert "2 runs under 30 s" in warning["text"]
    assert "not for owners to adjust" in warning["caution"]


def test_the_page_that_has_it_is_not_sent_it_again(steps: Steps):
    shown = Shown(steps[0])
    first = shown.now()
    again = shown.now(first["version"])
    shown.close()
    assert "runs" in first
    assert "runs" not in again
    assert again["version"] == first["version"]


def test_a_recording_that_was_taken_in_has_times_from_its_beginning(taken_in: TakenIn):
    page = told(taken_in("short-cycling-12s", "shut")[0])
    assert page["status"] == "recording"
    assert page["verdict"]["standing"] == "settled"
    assert [r["began"] for r in page["runs"]][-1] == "0:09.0"  # 9.000 s by the fixture's truth
    assert page["level"]["db"] is None


def test_a_folder_of_the_first_released_format_is_shown_and_called_provisional():
    page = told(ROOT / "tests/data/listening-v1")
    assert page["status"] in ("ended", "cut-off", "recording")
    assert page["verdict"]["standing"] == "provisional"
    assert "clicktimer measure" in page["verdict"]["standing_text"]


def test_an_empty_folder_waits_and_goes_on_once_somebody_listens(tmp_path: Path):
    shown = Shown(tmp_path)
    assert shown.now()["status"] == "waiting"
    place = Folder.create(tmp_path, {})
    assert shown.now()["status"] == "waiting"
    place.begin(rate_hz=48_000, device="made up", start_s=0.0, program="test")
    place.commit(Batch(end_s=0.5))
    page = shown.now()
    assert page["status"] == "listening"
    assert page["pump_why"] == "No click of the switch has been told yet."
    assert page["runs"] == []
    shown.close()
    place.close()


def test_a_folder_that_is_not_there_or_goes_away_is_said(tmp_path: Path):
    with pytest.raises(StoreError, match="no listening"):
        Shown(tmp_path / "nowhere").now()


def test_a_listening_that_was_killed_is_told_as_cut_off_and_never_as_settled(tmp_path: Path):
    place = Folder.create(tmp_path / "L", {})
    place.begin(rate_hz=48_000, device="made up", start_s=0.0, program="test")
    hour(place, 5)
    assert in_use(tmp_path / "L")
    place.close()
    assert not in_use(tmp_path / "L")
    page = told(tmp_path / "L")
    assert page["status"] == "cut-off"
    assert page["verdict"]["standing"] == "provisional"
    assert "clicktimer measure" in page["verdict"]["standing_text"]
    assert page["since_s"] is None


class LateClock(Clock):
    """A clock that is behind: what was written now seems to be old."""

    behind_s = 0.0

    def wall(self) -> Any:
        from datetime import timedelta

        return super().wall() - timedelta(seconds=self.behind_s)


def test_where_no_sound_comes_any_more_it_is_said_and_the_watch_stands(tmp_path: Path):
    clock = LateClock()
    place = Folder.create(tmp_path / "L", {}, clock=clock)
    place.begin(rate_hz=48_000, device="made up", start_s=0.0, program="test")
    hour(place, 2)
    assert told(tmp_path / "L")["status"] == "listening"
    place.commit(Batch(end_s=120.0, log=[(120.0, "gone", "the microphone is gone; it is tried again")]))
    page = told(tmp_path / "L")
    assert (page["status"], page["ticking"]) == ("silent", False)
    assert "the microphone is gone" in page["status_text"]
    assert page["pump_text"] == "The pump was at rest when the sound stopped"
    assert page["since_s"] is None
    assert page["level"]["db"] is None
    place.commit(Batch(end_s=121.0, log=[(121.0, "back", "the microphone is back")]))
    assert told(tmp_path / "L")["status"] == "listening"
    clock.behind_s = 60.0
    place.commit(Batch(end_s=122.0))
    page = told(tmp_path / "L")
    assert page["status"] == "silent"
    assert "60" in page["status_text"]
    place.close()


def test_a_run_counted_beside_it_is_not_denied_where_nothing_is_judged_yet(tmp_path: Path):
    place = Folder.create(tmp_path / "L", {})
    place.begin(rate_hz=48_000, device="made up", start_s=0.0, program="test")
    unsure = [Event(s + 2.0, "kind", s, k, 0.3, 12.0, "", 0.0005) for s, k in ((5.0, "cut-in"), (17.0, "cut-out"))]
    place.commit(Batch(end_s=60.0, events=unsure))
    page = told(tmp_path / "L")
    assert ["Whole runs", "1"] in page["facts"]
    assert page["last"]["run"].startswith("12.0")
    assert page["verdict"]["title"] == "Nothing to judge yet"
    assert page["verdict"]["found"] == [
        "One whole run of the pump has been timed so far, but not by clicks that are sure enough yet to judge by."
    ]
    place.close()


def test_nothing_is_quieter_than_the_quietest_moments_and_the_day_is_told(tmp_path: Path):
    place = Folder.create(tmp_path / "L", {})
    place.begin(rate_hz=48_000, device="made up", start_s=0.0, program="test")
    place.commit(Batch(end_s=60.0))
    shown = Shown(tmp_path / "L")
    shown.now()
    shown._following.levels_db.extend([-90.0] * 59 + [-119.0])
    page = shown.now()
    assert page["level"]["text"].startswith("-119 dB now, -119 dB in the quietest")
    began = shown._following.sessions[0].began
    assert f"{began:%Y-%m-%d %H:%M:%S}" in page["status_text"]
    shown.close()
    place.close()


def test_a_run_that_does_not_end_is_on_the_page_while_it_lasts(tmp_path: Path):
    place = Folder.create(tmp_path / "L", {})
    place.begin(rate_hz=48_000, device="made up", start_s=0.0, program="test")
    hour(place, 3)
    start = Event(182.0, "kind", 180.0, "cut-in", 0.99, 12.0, "", 0.0005)
    place.commit(Batch(end_s=320.0, events=[start], log=[(310.0, "endless-run", "the pump has been running")]))
    (warning,) = [w for w in told(tmp_path / "L")["warnings"] if w["code"] == "endless-run"]
    assert "switch it off at the disconnect now" in warning["caution"]
    stop = Event(332.0, "kind", 330.0, "cut-out", 0.99, 12.0, "", 0.0005)
    place.commit(Batch(end_s=333.0, events=[stop]))
    assert [w for w in told(tmp_path / "L")["warnings"] if w["code"] == "endless-run"] == []
    place.close()


OPTIONED = [c for c, f in entries().items() if re.search("--[a-z]", f["text"]) and "{" not in f["text"]]
OPTIONED.remove("document.label.check")  # how a document is checked: the page has no such line
assert OPTIONED


@pytest.mark.parametrize("code", OPTIONED)
def test_no_sentence_of_the_page_names_an_option(code: str):
    measured = measure_samples(np.zeros(48_000, np.float32), 48_000)
    measured = replace(measured, verdict=replace(measured.verdict, settle=(Reason(code),)))
    state = state_of((), (), 1.0, None, 0, MeasureOptions())
    verdict = verdict_view(measured, "ended", (30.0, 60.0), "FOLDER", Messages("page"), refills=True)
    warnings = warnings_view(state, False, [], [Notice("any", Reason(code))], (), str, Messages("page"))
    assert not re.search("--[a-z]", json.dumps([verdict, warnings]))


def test_a_folder_of_a_day_is_looked_at_quickly(tmp_path: Path):
    place = Folder.create(tmp_path / "L", {})
    place.begin(rate_hz=48_000, device="made up", start_s=0.0, program="test")
    hour(place, 1)
    place.close()
    with sqlite3.connect(tmp_path / "L/listening.sqlite") as db:  # a day of it: 1440 cycles
        for number in range(1, 1440):
            db.execute(
                "INSERT INTO events (at_s, utc, what, time_s, kind, confidence, level_db, note, timing_sd_s) SELECT "
                "at_s + :o, utc, what, time_s + :o, kind, confidence, level_db, note, timing_sd_s FROM events WHERE "
                "id <= 4",
                {"o": 60.0 * number},
            )
        db.execute("UPDATE sessions SET end_s = 86400")
    db.close()
    place = Folder.resume(tmp_path / "L")
    place.begin(rate_hz=48_000, device="made up", start_s=86400.0, program="test")
    place.commit(Batch(end_s=86400.5))
    shown = Shown(tmp_path / "L")
    page = shown.now()
    assert dict(page["facts"])["Whole runs"] == "1440"
    assert len(page["runs"]) == 100
    assert "1340 earlier runs" in page["more_runs"]
    assert len(page["strip"]["lines"]) == 24
    spent = []
    for number in range(20):
        place.commit(Batch(end_s=86401.0 + number * 0.5))
        began = time.perf_counter()
        shown.now(page["version"])
        spent.append(time.perf_counter() - began)
    shown.close()
    place.close()
    assert sorted(spent)[10] < 0.05, spent


def test_the_strip_draws_the_times_that_were_told():
    cycles = (
        Cycle(360.0, 720.0, 360.0, 359.0, 361.0, 1080.0, True),
        Cycle(1800.0, None, None, None, None, None, False),
    )
    (line,) = lines_of(cycles, [Gap(36.0, 72.0, "lost")], {360.0, 720.0}, 2160.0, "on")
    assert line.settled == "M100.0 0h100.0v10h-100.0z"  # a tenth of an hour from 6 minutes on
    assert line.rests == "M200.0 0h300.0v10h-300.0z"
    assert line.provisional == "M500.0 0h100.0v10h-100.0z"  # the run that goes on
    assert line.gaps == "M10.0 0h10.0v10h-10.0z"
    assert line.heard == 600
    later = lines_of((), [], None, 100_000.0, "unknown")
    assert len(later) == 24
    assert later[-1].start_s == 27 * 3600.0
    assert 0 < later[-1].heard <= WIDTH


def test_what_follows_a_folder_reads_everything_that_lies_in_it(steps: Steps):
    from clicktimer.storage.reader import read_folder

    stored, following = read_folder(steps[0]), Following(steps[0])
    following.look()
    assert [asdict(e) for e in following.events] == [asdict(e) for e in stored.events]
    assert tuple(following.gaps) == stored.gaps
    assert tuple(following.log) == stored.log
    assert following.notices == stored.notices
    assert following.look() == []
    following.close()


@pytest.mark.slow
def test_a_listening_in_another_process_is_followed(tmp_path: Path):
    command = [sys.executable, "-m", "tests.support.live_child", str(RECORDING), str(tmp_path / "L"), "0.05", "60"]
    (tmp_path / "L").mkdir()
    shown = Shown(tmp_path / "L")
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT) as child:
        wait_for(lambda: shown.now()["status"] == "listening")
        wait_for(lambda: bool(shown.now().get("runs")))
        child.communicate(timeout=60)
    page = shown.now()
    shown.close()
    assert page["status"] == "ended"
    assert [r["run"] for r in page["runs"]] == ["11.99 s"] * 4
