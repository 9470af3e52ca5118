"""The guided tests of listen: when they go on, what they mark, when it is enough; and the words of the live line."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.options import MeasureOptions
from clicktimer.audio import open_recording
from clicktimer.cli import run
from clicktimer.cli.guided import Guide, Refill, SteadyTap, with_caught
from clicktimer.cli.listen import _until
from clicktimer.cli.live_screen import live_line
from clicktimer.cycles.run_time import no_use_run
from clicktimer.detection.candidates import Candidates
from clicktimer.errors import SettingsError
from clicktimer.records import (
    Block,
    Click,
    Cycle,
    Kind,
)
from clicktimer.site.options import parse_system_options
from clicktimer.storage import schema
from clicktimer.storage.batch import Event
from clicktimer.storage.reader import read_folder
from clicktimer.storage.writer import Folder
from clicktimer.streaming.finalize import measure_folder
from clicktimer.streaming.refill_test import shut_times_s
from clicktimer.streaming.session import RecordingSource, Session
from clicktimer.streaming.state import state_of
from tests.support.live_parts import ROOT
from tests.support.words import said


def guided(
    name: str, guide: Guide, options: MeasureOptions, folder: Path, typed: dict[float, str]
) -> tuple[Any, Session]:
    """Listen to a fixture with a guide; ``typed``: what the person types, by the time of the sound."""
    if name == "quiet":
        noise = np.random.default_rng(2).normal(0.0, 0.003, 60 * 8_000).astype(np.float32)
        blocks, rate_hz = iter([Block(noise, 8_000, 0.0)]), 8_000
    else:
        opened = open_recording(ROOT / f"fixtures_audio/{name}.flac")
        blocks, rate_hz = opened.blocks(), opened.info.rate_hz
    source = RecordingSource(blocks, rate_hz, name, piece_s=0.1)
    session = Session(source, Folder.create(folder, {}), options, program="test")
    guide.begin()
    while not source.ended and not guide.done:
        said = session.step()
        due = [t for t in typed if t <= session.engine.end_s]
        guide.look(session, said, typed.pop(due[0]) if due else None)
    if isinstance(guide, Refill):
        with_caught(guide, session)
    measured: Measurement = session.finish("verdict")
    return measured, session


@pytest.mark.slow
def test_the_steady_tap_test_tells_r0_after_every_cycle_and_ends_when_the_verdict_is_sure(tmp_path: Path):
    words: list[str] = []
    guide = SteadyTap(words.append)
    measured, _ = guided("steady-tap", guide, MeasureOptions(taps="steady"), tmp_path / "L", {})
    told = [w for w in words if w.startswith("after ")]
    assert told, words
    assert measured.run is not None
    assert measured.run.how == "steady tap"
    assert f"{measured.run.seconds:.1f} s" in told[-1]
    assert guide.done == measured.verdict.sure


def test_the_refill_test_leads_on_by_the_clicks_and_marks_the_shutting(tmp_path: Path):
    words: list[str] = []
    guide = Refill(words.append, 3, shut_after_s=2.0)
    system = parse_system_options()
    options = MeasureOptions(taps="shut", system=system)
    measured, session = guided("short-cycling-12s", guide, options, tmp_path / "L", {5.0: "9 gal", 26.0: "2 gal"})
    assert guide.done
    assert sum("shut" in w for w in words) >= 3
    assert len(guide.shut_s) == 3
    cut_ins = [c.cut_in_s for c in measured.cycles if c.complete]
    assert [s - 2.0 for s in guide.shut_s] == pytest.approx(cut_ins, abs=0.05)
    marks = [m for m in read_folder(tmp_path / "L").marks if m[1] == "taps-shut"]
    assert [float(text) for _, _, text in marks] == pytest.approx(guide.shut_s, abs=0.001)
    # What the open tap did is in the run itself, and again when the folder is measured.
    assert measured.run is not None
    assert "too long by 0 to 1.0 s" in said(measured.run.notes)
    assert measured.run.low_s == pytest.approx(measured.run.high_s - 1.0, abs=0.3)
    assert measure_folder(tmp_path / "L", session.options) == measured
    # 2 gallons and the 12 s of the second run, by the person's bucket; what was typed before the first is not used.
    assert any("9 gal is not used" in w for w in words)
    assert session.options.system is not None
    (caught,) = session.options.system.given["caught"]
    assert caught == "2 gal in 11.99 s"


def test_every_wait_has_a_way_out(tmp_path: Path):
    words: list[str] = []
    guide = Refill(words.append, 2)
    keys = {5.0: "", 8.0: "", 30.0: "", 40.0: "q"}
    guided("quiet", guide, MeasureOptions(taps="shut"), tmp_path / "L", keys)
    assert guide.done
    assert keys == {}
    assert [m[1] for m in read_folder(tmp_path / "L").marks] == ["refill-test", "cut-in", "taps-shut", "cut-out"]


class Told:
    """A session as far as a refill test looks at it. order_known: whether the switch is known."""

    def __init__(self, *, order_known: bool = False) -> None:
        self.engine = self
        self.order_known, self.end_s = order_known, 0.0
        self.marks: list[tuple[float, str, str]] = []

    def mark(self, what: str, text: str = "") -> None:
        self.marks.append((self.end_s, what, text))


def led(guide: Refill, session: Any, *steps: tuple[float, Event | str | None]) -> list[float]:
    """Tell a refill test what is heard and typed, each at its time; the marks that it sets."""
    guide.begin()
    for at_s, one in steps:
        session.end_s = at_s
        guide.look(session, [one] if isinstance(one, Event) else [], one if isinstance(one, str) else None)
    return shut_times_s(session.marks) or []


def heard(at_s: float) -> Event:
    return Event(at_s + 0.1, "heard", at_s)


def kind(at_s: float, which: Kind) -> Event:
    return Event(at_s + 2.0, "kind", at_s, which, 0.9)


def test_a_click_that_was_not_the_start_is_taken_back_and_the_start_is_waited_for():
    words: list[str] = []
    guide = Refill(words.append, 2)
    led(guide, Told(), (3.1, heard(3.0)), (10.0, Event(10.0, "withdrawn", 3.0)))
    assert words[-2:] == ["That click was not the pump.", "Open ONE tap a little and wait for the pump to start."]
    # The tap's handle clicked, Enter was pressed too soon, and then the pump starts.
    words.clear()
    guide = Refill(words.append, 2)
    steps = [(3.1, heard(3.0)), (4.0, ""), (9.1, heard(9.0)), (11.0, kind(9.0, "cut-in"))]
    assert led(guide, Told(), *steps) == [4.0]
    assert words[-1].startswith("The pump has started: shut EVERY tap now")
    session = Told()
    assert led(guide, session, (12.0, "")) == [12.0]
    assert guide.prompt == "wait for the pump to stop"
    led(guide, session, (22.0, kind(20.0, "cut-out")))
    assert words[-2].startswith("Refill 1 of 2 is done")


@pytest.mark.parametrize("count", [2, 3, 4])
def test_the_first_refill_is_said_not_to_count_only_where_it_does_not(count: int):
    words: list[str] = []
    Refill(words.append, count).begin()
    runs = [Cycle(40.0 * n, 40.0 * n + 20.0, 20.0, 19.99, 20.01, 20.0, True) for n in range(count)]
    run = no_use_run(runs, taps="shut")
    assert run is not None
    assert ("first one does not count" in words[0]) == (run.count == count - 1)


def test_without_a_key_the_marks_follow_the_start_that_was_told_and_not_a_click_before_it():
    guide = Refill(lambda _: None, 2, shut_after_s=2.0)
    steps = [(8.1, heard(8.0)), (9.1, heard(9.0)), (10.2, None), (10.8, kind(9.0, "cut-in")), (11.1, None)]
    assert led(guide, Told(), *steps) == [11.0]
    # Where no pump is heard nothing is told: the click is gone by, once its kind would have been told.
    guide = Refill(lambda _: None, 2, shut_after_s=2.0)
    assert led(guide, Told(), (8.1, heard(8.0)), (10.5, None)) == []
    assert led(guide, Told(), (11.1, None)) == [10.0]


def test_a_refill_in_which_the_shutting_was_not_marked_is_done_again():
    words: list[str] = []
    guide = Refill(words.append, 1)
    known = Told(order_known=True)
    assert led(guide, known, (10.0, kind(9.0, "cut-in")), (22.0, kind(21.0, "cut-out"))) == []
    assert "was not marked" in words[-2]
    assert not guide.done
    again = [(40.0, kind(39.0, "cut-in")), (40.5, "abc"), (41.0, ""), (52.0, kind(51.0, "cut-out"))]
    assert led(guide, known, *again) == [41.0]
    assert any('"abc" is not understood' in w for w in words)
    assert guide.done


def test_until_is_the_next_such_time_of_day():
    now = datetime(2031, 5, 4, 22, 0)
    assert _until("07:00", now) == 9 * 3600.0
    assert _until("22:30", now) == 1800.0
    for wrong in ("7", "25:00", "07.00"):
        with pytest.raises(SettingsError, match="time of day"):
            _until(wrong, now)


def test_options_that_contradict_each_other_are_refused(capsys: pytest.CaptureFixture[str]):
    for more in (["--refill-test", "--steady-tap"], ["--for", "1 h", "--until", "07:00"], ["--shut-after", "3 s"]):
        assert run(["listen", *more]) == 2
        assert len(capsys.readouterr().err.splitlines()) == 1
    assert run(["hear", "--prove"]) == 2
    assert "needs a recording" in capsys.readouterr().err


def test_the_live_line_tells_state_run_runs_starts_level_time_and_room():
    clicks = tuple(Click(t, "cut-in" if i % 2 == 0 else "cut-out", 0.99) for i, t in enumerate((10.0, 48.2, 100.0)))
    line = live_line(state_of(clicks, (), 142.0, -51.6, 41_000_000_000, MeasureOptions()), 3742.0)
    assert line == "pump ON 0:42 | runs 1 (shortest 38.2 s) | 2 starts/h | -52 dB | 1 h 00 min left | 41 GB free"
    assert live_line(state_of((), (), 5.0, None, 10**9, MeasureOptions()), None).startswith("pump ? | runs 0")


def test_the_folder_holds_every_field_of_a_candidate():
    # A new field needs a new version of the folder's format, and the old one must still be read.
    assert tuple(schema._ARRAYS) == tuple(Candidates.__slots__)
