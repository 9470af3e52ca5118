"""``clicktimer listen`` and ``hear`` with a real sound server, a virtual input and PortAudio: nothing here is faked."""

from __future__ import annotations

import contextlib
import json
import os
import re
import signal
import subprocess
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.options import MeasureOptions
from clicktimer.audio import open_recording
from clicktimer.storage.reader import Stored, read_folder
from clicktimer.streaming.finalize import measure_folder
from tests.support.live_parts import PIPE, ROOM, ROOT, clicktimer, needs_server, pulse, start_server, wait_for

pytestmark = needs_server

SHORT = ROOT / "fixtures_audio/very-short-3s.flac"
SHUT = MeasureOptions(taps="shut")


def samples_of(path: Path) -> np.ndarray:
    return np.concatenate([b.samples for b in open_recording(path).blocks()])


class Listening:
    """A running ``clicktimer listen`` and what it has said on stderr so far."""

    def __init__(self, env: dict[str, str], folder: Path, *more: str) -> None:
        self.folder = folder
        self.child = clicktimer(env, "listen", "--into", str(folder), *more)
        self.lines: list[str] = []
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.child.stderr is not None
        for line in self.child.stderr:
            self.lines.append(line.rstrip())

    def said(self, text: str) -> bool:
        return text in " ".join(" ".join(self.lines).split())

    def end(self, how: int = signal.SIGINT, seconds: float = 30.0) -> tuple[int, str]:
        self.child.send_signal(how)
        return self.wait(seconds)

    def wait(self, seconds: float = 30.0) -> tuple[int, str]:
        out, _ = self._communicate(seconds)
        return self.child.returncode, out

    def _communicate(self, seconds: float) -> tuple[str, None]:
        assert self.child.stdout is not None
        out = self.child.stdout.read()
        self.child.wait(seconds)
        self._reader.join(5)
        self.child.stdout.close()
        if self.child.stderr is not None:
            self.child.stderr.close()
        return out, None

    def stored(self) -> Stored:
        return read_folder(self.folder)

    def hears(self) -> bool:
        try:
            return self.stored().end_s > 0.5
        except Exception:
            return False


class Fifo:
    """The far end of a pipe source: what is written is what the microphone hears."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._file = os.open(path, os.O_RDWR | os.O_NONBLOCK)

    def play(self, samples: np.ndarray, pace: float, rate: int = 48_000) -> None:
        data = np.clip(np.rint(samples * 32768.0), -32768, 32767).astype("<i2").tobytes()
        began, sent = time.monotonic(), 0
        taken_at = began
        while sent < len(data) and time.monotonic() - taken_at < 3.0:  # nobody listens any more
            due = int((time.monotonic() - began) * pace * rate) * 2 + 9600
            try:
                count = os.write(self._file, data[sent : min(due, sent + 65536)]) if sent < due else 0
            except BlockingIOError:
                count = 0
            sent += count
            if count:
                taken_at = time.monotonic()
            else:
                time.sleep(0.005)

    def close(self) -> None:
        os.close(self._file)


@contextlib.contextmanager
def piped(tmp_path: Path) -> Iterator[tuple[dict[str, str], subprocess.Popen[bytes], Fifo]]:
    """A server with a microphone whose sound we write ourselves, at any pace."""
    path = tmp_path / "mic.fifo"
    with pulse(PIPE.format(path)) as (env, server):
        fifo = Fifo(path)
        try:
            yield env, server, fifo
        finally:
            fifo.close()


def runs_of(measured: Measurement) -> list[float]:
    return [c.run_s for c in measured.cycles if c.complete and c.run_s is not None]


def true_runs(path: Path) -> list[float]:
    clicks = json.loads(path.with_suffix("").with_suffix(".truth.json").read_text("utf-8"))["clicks"]
    ins = [c["time_s"] for c in clicks if c["kind"] == "cut-in"]
    outs = [c["time_s"] for c in clicks if c["kind"] == "cut-out"]
    return [min(o for o in outs if o > i) - i for i in ins]


@pytest.mark.slow
def test_runs_heard_through_portaudio_are_within_5_ms_of_the_truth(tmp_path: Path):
    with piped(tmp_path) as (env, _, fifo):
        listening = Listening(env, tmp_path / "L", "--taps-shut", "--for", "58 s", "--keep", "all")
        wait_for(lambda: listening.said("Listening to"), 60)
        fifo.play(np.concatenate([samples_of(SHORT), np.zeros(48_000 * 8, np.float32)]), pace=12.0)
        code, report = listening.wait(60)
    assert code == 0, listening.lines
    measured = measure_folder(tmp_path / "L", SHUT)
    truth = true_runs(SHORT)
    assert len(truth) >= 3
    assert runs_of(measured) == pytest.approx(truth, abs=0.005)
    assert listening.said("cut-in, the pump starts (provisional")
    assert listening.said("short cycling")
    assert "VERY SHORT" in report.upper()
    assert f"clicktimer measure {tmp_path / 'L'}" in report
    # The same sound as a recording: the kept parts.
    from clicktimer.pipeline import measure_recording

    (part,) = (tmp_path / "L/sound").glob("*.flac")
    recording = measure_recording(part, options=SHUT)
    assert recording.clicks == measured.clicks
    assert recording.run == measured.run


@pytest.mark.slow
def test_runs_played_into_the_room_in_real_time_are_within_5_ms_of_the_truth(tmp_path: Path):
    from clicktimer.audio import write_sound

    write_sound(tmp_path / "play.wav", samples_of(SHORT), 48_000)
    with pulse(ROOM) as (env, _):
        listening = Listening(env, tmp_path / "L", "--taps-shut", "--device", "default")
        wait_for(listening.hears, 60)
        subprocess.run(["paplay", "--device=room", str(tmp_path / "play.wav")], env=env, check=True)
        time.sleep(3.0)
        code, _ = listening.end()
    assert code == 0
    assert runs_of(measure_folder(tmp_path / "L", SHUT)) == pytest.approx(true_runs(SHORT), abs=0.005)
    # Cut-ins are heard at once, by what is on disk: the folder tells sound time and computer time of each.
    events = read_folder(tmp_path / "L").events
    assert max(e.at_s - e.time_s for e in events if e.what == "heard") <= 0.3


@pytest.mark.slow
def test_a_server_that_stops_and_comes_back_leaves_a_gap_and_the_listening_goes_on(tmp_path: Path):
    with pulse(ROOM) as (env, server):
        listening = Listening(env, tmp_path / "L", "--taps-shut")
        wait_for(listening.hears, 60)
        server.kill()
        server.wait()
        wait_for(lambda: listening.said("the microphone is gone"), 5)
        before_s = listening.stored().end_s
        again = start_server(env, ROOM)
        try:
            wait_for(lambda: listening.said("the microphone is back"), 30)
            wait_for(lambda: listening.stored().end_s > before_s + 4.0, 30)
            code, _ = listening.end()
        finally:
            again.terminate()
            again.wait(5)
    assert code == 1
    stored = listening.stored()
    (gap,) = stored.gaps
    assert gap.to_s is not None
    assert 0.3 <= gap.to_s - gap.from_s <= 30.0
    assert [code for _, _, code, _ in stored.log if code in ("gone", "back")] == ["gone", "back"]


@pytest.mark.slow
def test_a_source_that_is_taken_away_is_found_at_once(tmp_path: Path):
    with piped(tmp_path) as (env, _, fifo):
        listening = Listening(env, tmp_path / "L")
        wait_for(lambda: listening.said("Listening to"), 60)
        fifo.play(np.zeros(48_000 * 2, np.float32), pace=4.0)
        wait_for(listening.hears)
        modules = subprocess.run(
            ["pactl", "list", "short", "modules"], env=env, capture_output=True, text=True, check=True
        )
        number = next(line.split()[0] for line in modules.stdout.splitlines() if "module-pipe-source" in line)
        subprocess.run(["pactl", "unload-module", number], env=env, check=True)
        wait_for(lambda: listening.said("the microphone is gone"), 5)
        code, _ = listening.end()
    assert code == 1
    assert listening.stored().sessions[-1].ended == "asked"


@pytest.mark.slow
def test_a_server_that_hangs_loses_nothing_once_it_goes_on(tmp_path: Path):
    with pulse(ROOM) as (env, server):
        listening = Listening(env, tmp_path / "L")
        wait_for(listening.hears, 60)
        server.send_signal(signal.SIGSTOP)
        wait_for(lambda: listening.said("no sound has come from the device"), 10)
        server.send_signal(signal.SIGCONT)
        stopped_s = listening.stored().end_s
        wait_for(lambda: listening.stored().end_s > stopped_s + 5.0, 20)
        code, _ = listening.end()
    assert code == 1
    stored = listening.stored()
    # By the server's own account nothing was lost; where its clock says otherwise it is a gap with a length.
    assert all(g.to_s is not None and g.to_s - g.from_s < 8.0 for g in stored.gaps)
    assert stored.end_s > stopped_s + 5.0


def test_it_ends_in_good_order_when_it_is_told_to_and_two_can_listen_beside_each_other(tmp_path: Path):
    with pulse(ROOM) as (env, _):
        both = {how: Listening(env, tmp_path / how.name) for how in (signal.SIGTERM, signal.SIGHUP)}
        for listening in both.values():
            wait_for(listening.hears, 60)
        ends = {how: listening.end(how) for how, listening in both.items()}
    for how, (code, report) in ends.items():
        assert code == 1
        assert "NOT MEASURED" in report
        assert both[how].stored().sessions[-1].ended == "signal"


@pytest.mark.slow
def test_it_is_killed_resumed_and_refused_while_another_listens(tmp_path: Path):
    with pulse(ROOM) as (env, _):
        listening = Listening(env, tmp_path / "L")
        wait_for(listening.hears, 60)
        other = clicktimer(env, "listen", "--into", str(tmp_path / "L"))
        _, complaint = other.communicate(timeout=60)
        assert other.returncode == 2
        assert "another clicktimer is listening" in complaint.splitlines()[-1]
        listening.child.kill()
        listening.wait()
        killed_s = listening.stored().end_s
        again = Listening(env, tmp_path / "L", "--for", "2 s")
        code, _ = again.wait(60)
    assert code == 1
    assert again.said("Going on with what is there")
    stored = again.stored()
    assert len(stored.sessions) == 2
    assert stored.gaps[0].from_s == killed_s
    assert stored.gaps[0].to_s is not None
    assert stored.end_s > stored.gaps[0].to_s + 1.0


@pytest.mark.slow
def test_hear_judges_the_place_by_a_pump_cycle(tmp_path: Path):
    with piped(tmp_path) as (env, _, fifo):
        child = clicktimer(env, "hear", "--for", "24 s", "--json", str(tmp_path / "place.json"))
        wait_for(lambda: _said(child, "Hearing"), 60)
        fifo.play(samples_of(SHORT)[: 48_000 * 30], pace=12.0)
        out, _ = child.communicate(timeout=60)
    assert child.returncode == 0
    place = json.loads((tmp_path / "place.json").read_text("utf-8"))
    assert place["grade"] in ("near", "far")
    assert out.strip()


def _said(child: subprocess.Popen[str], text: str) -> bool:
    assert child.stderr is not None
    return text in child.stderr.readline()


@pytest.mark.slow
def test_check_tells_that_the_microphone_works_and_silence_apart(tmp_path: Path):
    with piped(tmp_path) as (env, _, fifo):
        child = clicktimer(env, "check")
        time.sleep(1.0)
        fifo.play(np.random.default_rng(1).normal(0.0, 0.05, 48_000 * 12).astype(np.float32), pace=1.5)
        out, _ = child.communicate(timeout=60)
    assert re.search(r"ok +microphone: .*48 kHz", " ".join(out.split())), out
    with pulse(ROOM) as (env, _):  # a room in which nothing plays gives zeros
        out, _ = clicktimer(env, "check").communicate(timeout=60)
    assert "MISSING microphone" in out
    assert "digital silence" in " ".join(out.split())


def test_without_any_input_it_is_one_line(tmp_path: Path):
    env = {**os.environ, "XDG_RUNTIME_DIR": str(tmp_path), "HOME": str(tmp_path), "PYTHONPATH": str(ROOT)}
    env.pop("PULSE_SERVER", None)
    child = clicktimer(env, "listen", "--into", str(tmp_path / "L"))
    out, complaint = child.communicate(timeout=60)
    assert (child.returncode, out) == (2, "")
    (line,) = complaint.splitlines()
    assert line.startswith("clicktimer: no sound input was found")
    assert not (tmp_path / "L").exists()
