"""Every command that reads a recording reads a listening folder too, and says the same of the same sound."""

from __future__ import annotations

import json
import shutil
import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from clicktimer import measure
from clicktimer.assessment.conclusion import corrected
from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.options import MeasureOptions
from clicktimer.audio import open_recording
from clicktimer.cli import run
from clicktimer.cycles.corrections import label_text, read_labels
from clicktimer.pipeline import measure_recording
from clicktimer.storage.writer import Folder
from clicktimer.streaming.session import RecordingSource, Session
from tests.conftest import TakenIn
from tests.support.live_parts import ROOT, FakeClock
from tests.support.words import said

RECORDING = ROOT / "fixtures_audio/short-cycling-12s.flac"


@pytest.fixture
def folder(taken_in: TakenIn) -> Path:
    return taken_in("short-cycling-12s")[0]


def copied(taken: tuple[Path, Measurement], place: Path) -> Measurement:
    """Copy a listening that a test changes, and give what was measured."""
    shutil.copytree(taken[0], place)
    return taken[1]


def test_a_folder_is_read_as_a_day_as_the_recording_is(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    told = []
    for what in (RECORDING, folder):
        target = tmp_path / f"{what.stem}.json"
        code = run(["day", str(what), "--started", "2031-05-04 06:30", "--json", str(target)])
        told.append((code, capsys.readouterr().out, json.loads(target.read_text("utf-8"))))
    (code, text, document), (folder_code, folder_text, folder_document) = told
    assert "06:30" in text
    assert (folder_code, folder_text) == (code, text)
    assert folder_document == document


@pytest.mark.slow
def test_a_day_of_a_folder_is_told_with_what_it_was_listened_with(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    place, target = tmp_path / "listening", tmp_path / "day.json"
    said = ["--tank", "125 L", "--pump-rate", "30 L/min", "--switch", "2.8/4.2 bar", "--units", "metric"]
    assert run(["measure", str(RECORDING), "--into", str(place), *said]) == 0
    capsys.readouterr()

    def told(*typed: str) -> dict[str, dict[str, object]]:
        run(["day", str(place), "--json", str(target), *typed])
        settings: dict[str, dict[str, object]] = json.loads(target.read_text("utf-8"))["program"]["settings"]
        return settings

    settings = told()
    assert [settings[name]["value"] for name in ("pump_rate", "switch", "units")] == [
        "30 L/min",
        "2.8/4.2 bar",
        "metric",
    ]
    assert settings["tank"]["value"] == ["125 L"]
    assert " L" in capsys.readouterr().out
    # What is typed overrules what it was listened with, and the rest stands.
    settings = told("--pump-rate", "40 L/min")
    assert (settings["pump_rate"]["value"], settings["tank"]["value"]) == ("40 L/min", ["125 L"])
    capsys.readouterr()
    assert run(["compare", str(place), str(target)]) == 0
    both = capsys.readouterr().out
    assert run(["compare", str(place), str(target), "--units", "us"]) == 0
    assert ("L/min" in both, "gpm" in both, "gpm" in capsys.readouterr().out) == (True, False, True)


class ClockInHalifax(FakeClock):
    """The computer's clock is right, and its zone known."""

    def zone(self) -> str:
        return "America/Halifax"


def test_a_day_that_was_listened_to_has_its_times_from_the_computers_clock(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    clock = ClockInHalifax()  # 06:30 UTC is 03:30 there, in summer time
    opened = open_recording(RECORDING)
    source = RecordingSource(opened.blocks(), opened.info.rate_hz, "microphone", piece_s=0.25)
    place = Folder.create(tmp_path / "L", {}, clock=clock)
    session = Session(source, place, MeasureOptions(), program="test", clock=clock, provisional=False)
    while not source.ended:
        session.step()
        clock.now_s += 0.25
    session.finish("end of the recording")
    run(["day", str(tmp_path / "L"), "--nobody", "03:00-05:00"])
    here = capsys.readouterr().out
    assert "from 03:30" in here
    run(["day", str(tmp_path / "L"), "--zone", "Europe/Berlin"])
    assert "from 08:30" in capsys.readouterr().out
    run(["day", str(tmp_path / "L"), "--started", "2031-05-04 12:00", "--zone", "Europe/Berlin"])
    assert "from 12:00" in capsys.readouterr().out


def test_a_recording_in_a_folder_has_no_time_of_day_unless_it_is_given(
    folder: Path, capsys: pytest.CaptureFixture[str]
):
    assert run(["day", str(folder), "--nobody", "01:00-05:00"]) == 2
    assert "--started" in capsys.readouterr().err


def test_a_proof_that_needs_sound_which_was_not_kept_is_one_sentence_and_the_rest_stands(
    folder: Path, capsys: pytest.CaptureFixture[str]
):
    run(["measure", str(RECORDING), "--taps-shut"])
    without = capsys.readouterr().out
    assert run(["measure", str(folder), "--taps-shut", "--prove"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "Nothing could be proved: of this listening only a second of sound around each click was kept" in told
    assert " ".join(without.split())[:300] in told


@pytest.mark.slow
def test_a_driven_pump_is_noticed_live_as_in_a_recording(tmp_path: Path):
    from clicktimer.pipeline import measure_samples
    from clicktimer.records import Block
    from tests.benchmarks.machines import make

    sound, rate_hz, _ = make("driven", "develop", 18)
    source = RecordingSource(iter([Block(sound, rate_hz, 0.0)]), rate_hz, "microphone", piece_s=0.25)
    session = Session(
        source, Folder.create(tmp_path / "L", {}), MeasureOptions(), program="test", provisional=False, keep="none"
    )
    while not source.ended:
        session.step()
    measured, whole = session.finish("end of the recording"), measure_samples(sound, rate_hz)
    assert "variable-speed" in [w.code for w in measured.warnings]
    codes = [{w.code for w in m.warnings if w.code in ("variable-speed", "two-pumps")} for m in (measured, whole)]
    assert codes[0] == codes[1]
    assert (measured.clicks, measured.verdict) == (whole.clicks, whole.verdict)


@pytest.mark.parametrize("moved_s", [0.05, 0.0], ids=["one click moved", "nothing changed"])
def test_a_refill_test_that_is_corrected_by_hand_keeps_what_the_open_tap_did(
    moved_s: float, taken_in: TakenIn, tmp_path: Path
):
    place, labels = tmp_path / "L", tmp_path / "clicks.txt"
    shut = MeasureOptions(taps="shut")
    plain = copied(taken_in("short-cycling-12s", "shut"), place)
    before = measure_recording(RECORDING, options=shut)
    with sqlite3.connect(place / "listening.sqlite") as db:
        rows = [((c.cut_in_s or 0.0) + 2.0, f"{(c.cut_in_s or 0.0) + 2.0:.3f}") for c in plain.cycles]
        db.executemany("INSERT INTO marks (time_s, utc, what, text) VALUES (?, '', 'taps-shut', ?)", rows)
    db.close()
    clicks = list(plain.clicks)
    clicks[3] = replace(clicks[3], time_s=clicks[3].time_s + moved_s)
    labels.write_text(label_text(clicks), "utf-8")
    # Outside of folders: the recording corrected by the same labels. The tap was open for 2 s at less than half of the
    # pump's rate, so by the water balance the runs are up to 1 s too long.
    of_recording = corrected(before, read_labels(str(labels))[1], shut, name="clicks.txt")
    of_folder = measure(place, corrected=labels)
    assert of_recording.run is not None
    assert of_folder.run is not None
    assert of_folder.run.how == of_recording.run.how == "taps shut"
    assert of_folder.run.seconds == pytest.approx(of_recording.run.seconds)
    assert of_folder.run.low_s == pytest.approx(of_recording.run.low_s - 1.0)
    assert of_folder.run.high_s == pytest.approx(of_recording.run.high_s)
    assert said(of_folder.run.notes).count("The last tap was shut") == 1
    assert of_folder.verdict.has("verdict.by-hand") == bool(moved_s)


@pytest.mark.slow
def test_the_command_says_of_a_corrected_refill_test_what_the_open_tap_did(
    taken_in: TakenIn, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    place, labels = tmp_path / "L", tmp_path / "clicks.txt"
    plain = copied(taken_in("short-cycling-12s", "shut"), place)
    with sqlite3.connect(place / "listening.sqlite") as db:
        at_s = (plain.cycles[1].cut_in_s or 0.0) + 2.0
        db.execute("INSERT INTO marks (time_s, utc, what, text) VALUES (?, '', 'taps-shut', ?)", (at_s, f"{at_s:.3f}"))
    db.close()
    clicks = [replace(c, time_s=c.time_s + 0.05) if i == 3 else c for i, c in enumerate(plain.clicks)]
    labels.write_text(label_text(clicks), "utf-8")
    for command in (["measure"], ["report", "-o", str(tmp_path / "r.html")]):
        assert run([*command, str(place), "--corrected", str(labels), "--json", str(tmp_path / "out.json")]) == 0
        told = json.loads((tmp_path / "out.json").read_text("utf-8"))
        told = told.get("measurement", told)
        assert "The last tap was shut 2 s after the pump started" in json.dumps(told), command
    capsys.readouterr()
