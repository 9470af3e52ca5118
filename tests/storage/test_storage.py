"""The listening folder: nothing that was shown is lost, nothing is overwritten, whatever end the program had."""

from __future__ import annotations

import json
import random
import resource
import shutil
import sqlite3
import subprocess
import sys
import time
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from clicktimer.assessment.options import MeasureOptions
from clicktimer.errors import InputError, StoreError
from clicktimer.pipeline import measure_recording
from clicktimer.records import Block, Gap, Reason
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.storage import schema
from clicktimer.storage.batch import Batch, Event
from clicktimer.storage.paths import documents_folder, new_folder
from clicktimer.storage.reader import read_folder
from clicktimer.storage.writer import Folder
from clicktimer.streaming.finalize import measure_folder
from clicktimer.streaming.import_recording import measure_into
from clicktimer.streaming.state import told_clicks
from tests.conftest import TakenIn
from tests.support.live_parts import ROOT, FakeClock

RECORDING = ROOT / "fixtures_audio/short-cycling-12s.flac"
SHUT = MeasureOptions(taps="shut")


@pytest.fixture
def taken(taken_in: TakenIn) -> Path:
    return taken_in("short-cycling-12s", "shut")[0]


def test_a_folder_measures_as_the_recording_does(taken: Path):
    whole, kept = measure_recording(RECORDING, options=SHUT), measure_recording(taken, options=SHUT)
    assert len(whole.clicks) == 8
    assert kept == whole


def test_candidates_and_levels_on_disk_are_those_of_one_pass_over_the_recording(taken: Path):
    from clicktimer.audio import open_recording
    from clicktimer.pipeline import hear_blocks

    heard, stored = hear_blocks(open_recording(RECORDING).blocks()), read_folder(taken)
    for name in schema._ARRAYS:
        assert (getattr(heard.candidates, name) == getattr(stored.candidates, name)).all(), name
    (want,), (have,) = heard.levels, stored.levels
    assert (want.start_s, want.step_s, want.used) == (have.start_s, have.step_s, have.used)
    assert (want.codes == have.codes).all()
    (tones,), (kept,) = heard.tones, stored.tones
    assert (tones.start_s, tones.step_s) == (kept.start_s, kept.step_s)
    assert len(tones.freq_codes) > 80
    assert (tones.freq_codes == kept.freq_codes).all()
    assert (tones.over_codes == kept.over_codes).all()
    assert stored.end_s == heard.end_s


def test_the_options_it_was_listened_with_hold_when_it_is_read_again(taken: Path):
    assert measure_folder(taken).run == measure_recording(RECORDING, options=SHUT).run


def test_events_end_in_the_settled_clicks(taken: Path):
    stored = read_folder(taken)
    assert [(c.time_s, c.kind) for c in told_clicks(stored.events)] == [
        (c.time_s, c.kind) for c in measure_folder(taken).clicks
    ]
    assert stored.sessions[-1].ended == "end of the recording"


def test_one_second_of_sound_around_each_click_is_kept(taken: Path):
    from clicktimer.audio import open_recording

    stored = read_folder(taken)
    clicks = measure_folder(taken).clicks
    assert [round(from_s + 0.3, 3) for from_s, _, why, _ in stored.sounds if why == "click"] == [
        round(c.time_s, 3) for c in clicks
    ]
    whole = np.concatenate([b.samples for b in open_recording(RECORDING).blocks()])
    for from_s, length_s, _, name in stored.sounds:
        piece = np.concatenate([b.samples for b in open_recording(taken / name).blocks()])
        first = round(from_s * 16_000)
        assert (piece == whole[first : first + len(piece)]).all()
        assert length_s == pytest.approx(1.0, abs=0.01)


@pytest.mark.parametrize("keep", ["all", "none"])
def test_all_or_none_of_the_sound_is_kept(keep: str, tmp_path: Path):
    from clicktimer.audio import open_recording

    measure_into(RECORDING, tmp_path / "L", SHUT, program="test", keep=keep)  # type: ignore[arg-type]
    files = sorted((tmp_path / "L").rglob("*.flac"))
    if keep == "none":
        assert files == []
        return
    (part,) = files
    kept, whole = (np.concatenate([b.samples for b in open_recording(f).blocks()]) for f in (part, RECORDING))
    assert (kept == whole).all()


@pytest.mark.slow
def test_a_listening_of_which_all_sound_was_kept_is_proved_as_the_recording_is(tmp_path: Path):
    from clicktimer.quality.proof import prove_recording

    measure_into(RECORDING, tmp_path / "L", SHUT, program="test", keep="all")
    whole, kept = measure_recording(RECORDING, options=SHUT), measure_recording(tmp_path / "L", options=SHUT)
    assert prove_recording([tmp_path / "L"], kept, SHUT) == prove_recording([RECORDING], whole, SHUT)


def test_where_not_all_sound_was_kept_nothing_is_proved_and_it_is_said_why(tmp_path: Path, taken: Path):
    from clicktimer.quality.proof import prove_recording
    from clicktimer.storage.replay_audio import sound_again

    told = prove_recording([taken], measure_recording(taken, options=SHUT), SHUT)
    assert told.usual.put == 0
    assert told.why == Reason("proof.not-kept")
    assert "--keep all" in Messages().text(told.why)
    shutil.copytree(taken, tmp_path / "L")
    (tmp_path / "L/sound").mkdir()
    part = next((taken / "clicks").glob("*.flac"))
    shutil.copy(part, tmp_path / "L/sound/from 000050.000s.flac")
    assert sound_again(tmp_path / "L") == Reason("proof.part-not-kept")


def test_parts_of_a_listening_are_one_recording_with_its_gaps(tmp_path: Path):
    from clicktimer.audio import open_recording
    from clicktimer.pipeline import hear_blocks
    from clicktimer.storage.replay_audio import sound_again
    from clicktimer.streaming.session import RecordingSource, Session

    sound = np.concatenate([b.samples for b in open_recording(RECORDING).blocks()])
    first, later = Block(sound[:800_000], 16_000, 0.0), Block(sound[800_000:], 16_000, 60.0, Gap(50.0, 60.0, "gone"))
    session = Session(
        RecordingSource(iter([first, later]), 16_000, "two parts"),
        Folder.create(tmp_path / "L", {}),
        SHUT,
        program="test",
        keep="all",
        provisional=False,
    )
    while not session.source.ended:
        session.step()
    session.finish("end of the recording")
    again = sound_again(tmp_path / "L")
    assert not isinstance(again, str)
    heard, stored = hear_blocks(again()), read_folder(tmp_path / "L")
    assert heard.gaps == stored.gaps == (Gap(50.0, 60.0, "gone"),)
    assert (heard.candidates.time_s == stored.candidates.time_s).all()


# -- places and refusals ----------------------------------------------------------------------------------------------


def test_nothing_is_ever_overwritten(tmp_path: Path, taken: Path):
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(StoreError, match="is there already"):
        Folder.create(tmp_path, {})
    with pytest.raises(StoreError, match="is a listening already; clicktimer measure reads it"):
        measure_into(RECORDING, taken, SHUT, program="test")
    with pytest.raises(StoreError, match="is there already"):
        Folder.create(tmp_path / "mine.txt", {})
    assert (tmp_path / "mine.txt").read_text() == "mine"


def test_a_new_place_is_named_by_date_and_site_and_is_new(tmp_path: Path):
    began = datetime(2031, 5, 4, 6, 30)
    first = new_folder(began, "Hill/side: No 7", tmp_path)
    assert first == tmp_path / "clicktimer 2031-05-04 06.30 Hill side No 7"
    first.mkdir()
    assert new_folder(began, "Hill/side: No 7", tmp_path).name.endswith("No 7 (2)")


def test_the_documents_folder_is_the_desktops_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.delenv("XDG_CONFIG_HOME", raising=False)
    assert documents_folder(tmp_path) == tmp_path
    (tmp_path / "Dokumente").mkdir()
    (tmp_path / ".config").mkdir()
    (tmp_path / ".config/user-dirs.dirs").write_text('XDG_DOCUMENTS_DIR="$HOME/Dokumente"\n')
    assert documents_folder(tmp_path) == tmp_path / "Dokumente"


def test_two_at_once_on_one_folder_are_refused(tmp_path: Path):
    first = Folder.create(tmp_path / "L", {})
    with pytest.raises(StoreError, match="another clicktimer is listening"):
        Folder.resume(tmp_path / "L")
    first.close()
    Folder.resume(tmp_path / "L").close()


def test_a_folder_of_a_newer_program_and_one_of_nobody_are_refused(tmp_path: Path, taken: Path):
    shutil.copytree(taken, tmp_path / "newer")
    database = sqlite3.connect(tmp_path / "newer" / schema.DATABASE)
    database.execute("UPDATE about SET value = '99' WHERE name = 'version'")
    database.commit()
    database.close()
    for ask in (read_folder, Folder.resume):
        with pytest.raises(StoreError, match="newer clicktimer"):
            ask(tmp_path / "newer")
        with pytest.raises(StoreError, match="no listening of clicktimer"):
            ask(tmp_path)
    (tmp_path / schema.DATABASE).write_bytes(b"not a database at all" * 100)
    with pytest.raises(StoreError, match="no listening of clicktimer"):
        read_folder(tmp_path)
    (tmp_path / "empty").mkdir()
    with pytest.raises(InputError):
        measure_recording(tmp_path / "empty")


FIRST_FORMAT = ROOT / "tests/data/listening-v1"


def test_the_first_released_format_is_still_read():
    # Made once by tests/data/make_listening_v1.py from short-cycling-12s.flac; never made again.
    database = sqlite3.connect(FIRST_FORMAT / schema.DATABASE)
    assert database.execute("SELECT value FROM about WHERE name = 'version'").fetchone() == ("1",)
    database.close()
    runs = [c.run_s for c in measure_folder(FIRST_FORMAT).cycles]
    truth = json.loads((ROOT / "fixtures_audio/short-cycling-12s.truth.json").read_text())["clicks"]
    true = [b["time_s"] - a["time_s"] for a, b in zip(truth[::2], truth[1::2], strict=True)]
    assert runs == pytest.approx(true, abs=0.005)


def test_a_listening_in_the_first_released_format_goes_on(tmp_path: Path):
    shutil.copytree(FIRST_FORMAT, tmp_path / "L")
    before = read_folder(tmp_path / "L")
    place = Folder.resume(tmp_path / "L")
    assert place.resumed is not None
    assert place.resumed.end_s == before.end_s
    place.begin(rate_hz=48_000, device="made up", start_s=before.end_s + 10.0, program="test")
    new = Event(before.end_s + 11.0, "heard", before.end_s + 10.5)
    assert place.commit(Batch(end_s=before.end_s + 11.0, events=[new]))
    place.close()
    after = read_folder(tmp_path / "L")
    assert list(after.events) == [*before.events, new]
    assert (after.candidates.time_s == before.candidates.time_s).all()
    assert before.tones == after.tones == []  # the first programs wrote none; there is room for them now


# -- clocks -----------------------------------------------------------------------------------------------------------


def session(folder: Folder, clock: FakeClock, seconds: float = 10.0) -> None:
    folder.begin(rate_hz=48_000, device="made up", start_s=0.0, program="test")
    clock.now_s += seconds
    folder.commit(Batch(end_s=seconds))


@pytest.mark.parametrize(
    ("set_by_s", "away_s", "told_s"),
    [(0.0, 60.0, 60.0), (-3600.0, 60.0, 60.0), (2.0, 60.0, 60.0)],
    ids=["as usual", "clock set back meanwhile", "clock corrected a little"],
)
def test_the_gap_before_a_resumed_listening_is_told_by_the_clock_that_can(
    set_by_s: float, away_s: float, told_s: float, tmp_path: Path
):
    clock = FakeClock()
    folder = Folder.create(tmp_path / "L", {}, clock=clock)
    session(folder, clock)
    folder.close()
    clock.now_s += away_s
    clock.wall_ahead_s += set_by_s
    again = Folder.resume(tmp_path / "L", clock=clock)
    assert again.resumed is not None
    assert (again.resumed.end_s, again.resumed.cut_off) == (10.0, True)
    assert again.resumed.gap_s == pytest.approx(told_s, abs=0.01)
    again.close()


def test_after_a_restart_of_the_computer_the_wall_clock_tells_the_gap(tmp_path: Path):
    clock = FakeClock()
    folder = Folder.create(tmp_path / "L", {}, clock=clock)
    session(folder, clock)
    folder.close()
    later = FakeClock()
    later.now_s = 5.0  # counted from the start of the computer
    later.wall_ahead_s = 1000.0 - 5.0 + 10.0 + 300.0
    again = Folder.resume(tmp_path / "L", clock=later)
    assert again.resumed is not None
    assert again.resumed.gap_s == pytest.approx(300.0, abs=0.01)
    again.close()


# -- bad ends ---------------------------------------------------------------------------------------------------------


def said(lines: list[str]) -> tuple[list[list[object]], float]:
    """Events and the last commit that a child told before it died; a half line is none."""
    events, end_s = [], 0.0
    for line in lines:
        try:
            told = json.loads(line)
        except ValueError:
            continue
        if isinstance(told, list):
            events.append(told)
        else:
            end_s = told.get("end_s", end_s)
    return events, end_s


def killed_after(folder: Path, seconds: float) -> tuple[list[list[object]], float]:
    child = subprocess.Popen(
        [sys.executable, "-m", "tests.support.live_child", str(RECORDING), str(folder), "0.05", "40"],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert child.stdout is not None
    assert "ready" in child.stdout.readline()
    time.sleep(seconds)
    child.kill()
    lines = child.stdout.read().splitlines()
    child.wait()
    child.stdout.close()
    return said(lines)


def check_killed(folder: Path, seconds: float) -> None:
    events, end_s = killed_after(folder, seconds)
    stored = read_folder(folder)
    kept = [[e.what, e.time_s, e.kind] for e in stored.events]
    assert kept[: len(events)] == events, "something was shown that is not on disk"
    assert stored.end_s >= end_s
    reference = read_folder(REFERENCE["folder"])
    times = set(reference.candidates.time_s.tolist())
    sure = [t for t in stored.candidates.time_s.tolist() if t < stored.end_s - 1.5]
    assert set(sure) <= times, "something was invented"
    missed = [t for t in times if t < stored.end_s - 1.0 and t not in set(stored.candidates.time_s.tolist())]
    assert missed == [], "more than a second was lost"
    assert measure_folder(folder, SHUT).source.duration_s == stored.end_s
    if stored.sessions[-1].ended is None:
        assert "cut-off" in [w.code for w in measure_folder(folder, SHUT).warnings]


REFERENCE: dict[str, Path] = {}


@pytest.fixture
def reference(taken: Path) -> None:
    REFERENCE["folder"] = taken


@pytest.mark.slow
@pytest.mark.usefixtures("reference")
def test_a_listening_that_is_killed_keeps_what_was_shown_and_is_resumed(tmp_path: Path):
    check_killed(tmp_path / "L", 1.1)
    first_s = read_folder(tmp_path / "L").end_s
    child = subprocess.run(
        [sys.executable, "-m", "tests.support.live_child", str(RECORDING), str(tmp_path / "L"), "1.0"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert "finished" in child.stdout, child.stderr
    stored = read_folder(tmp_path / "L")
    assert len(stored.sessions) == 2
    assert stored.gaps[0] == Gap(first_s, first_s + 1.0, "nobody listened")
    measured = measure_folder(tmp_path / "L", SHUT)
    assert sum(c.complete for c in measured.cycles) >= 4
    assert all(not (c.complete and c.cut_in_s < first_s < c.cut_out_s) for c in measured.cycles if c.complete)  # type: ignore[operator]


@pytest.mark.slow
@pytest.mark.usefixtures("reference")
@pytest.mark.parametrize("number", range(30))
def test_killed_at_thirty_random_moments(number: int, tmp_path: Path):
    check_killed(tmp_path / "L", random.Random(number).uniform(0.0, 2.3))


def test_a_write_ahead_log_that_is_cut_anywhere_still_opens(tmp_path: Path):
    clock = FakeClock()
    folder = Folder.create(tmp_path / "L", {}, clock=clock)
    folder.begin(rate_hz=48_000, device="made up", start_s=0.0, program="test")
    for number in range(12):
        folder.commit(Batch(end_s=float(number), events=[Event(float(number), "heard", float(number))]))
    # A copy of the files as they lie there while the program runs is what a power cut leaves.
    base, log = ((tmp_path / "L" / (schema.DATABASE + end)).read_bytes() for end in ("", "-wal"))
    folder.close()
    random.seed(5)
    seen, early = set(), []
    for cut in sorted({0, 1, 31, 32, len(log), *(random.randrange(len(log)) for _ in range(40))}):
        copy = tmp_path / f"cut-{cut}"
        copy.mkdir()
        (copy / schema.DATABASE).write_bytes(base)
        (copy / (schema.DATABASE + "-wal")).write_bytes(log[:cut])
        try:
            events = [e.time_s for e in read_folder(copy).events]
        except StoreError:  # allowed only before the tables themselves were on disk
            early.append(cut)
            continue
        assert events == [float(n) for n in range(len(events))], "a later event without an earlier one"
        seen.add(len(events))
        again = Folder.resume(copy, clock=clock)
        again.begin(rate_hz=48_000, device="made up", start_s=20.0, program="test")
        assert again.commit(Batch(end_s=21.0, events=[Event(21.0, "heard", 21.0)]))
        again.close()
        assert len(read_folder(copy).events) == len(events) + 1
    assert max(early) < 4200 * 20
    assert max(seen) == 12
    assert len(seen) > 5


def full_disk(folder: str) -> None:
    """In a child: a limit on the size of files stands in for a full disk, later lifted."""
    import signal

    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    place = Folder.create(Path(folder), {})
    place.begin(rate_hz=48_000, device="made up", start_s=0.0, program="test")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (150_000, hard))
    results = [
        place.commit(Batch(end_s=float(n), events=[Event(float(n), "heard", float(n), note="x" * 3000)]))
        for n in range(100)
    ]
    assert results[0]
    assert not results[-1]
    assert place.fault == "not-written", "a limit on files is no full disk"
    assert len(read_folder(Path(folder)).events) == sum(results)
    resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert place.commit(Batch(end_s=100.0))
    assert place.fault is None
    assert [e.time_s for e in read_folder(Path(folder)).events] == [float(n) for n in range(100)]
    place.close()


def test_a_full_disk_loses_nothing_once_there_is_room_again(tmp_path: Path):
    code = f"from tests.storage.test_storage import full_disk; full_disk({str(tmp_path / 'L')!r})"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
