"""The page of a listening: held against what the session tells, a strict parser, a browser and an outside judge."""

from __future__ import annotations

import http.client
import importlib.resources
import json
import os
import re
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import threading
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import Any

import html5lib
import pytest

from clicktimer.cli import run
from clicktimer.errors import SettingsError, StoreError
from clicktimer.live.session import RecordingSource, Session
from clicktimer.live.taken import measure_into
from clicktimer.live.whole import about_options, measure_folder
from clicktimer.page.server import FILES, HEADERS, PageServer
from clicktimer.page.shown import Shown
from clicktimer.page.strip import WIDTH, lines_of
from clicktimer.records import Cycle, Gap
from clicktimer.settings import MeasureOptions
from clicktimer.sound import open_recording
from clicktimer.sound.clock import Clock
from clicktimer.store.folder import Batch, Event, Folder, in_use
from clicktimer.store.following import Following
from tests.live_parts import ROOT, wait_for

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
needs_browser = pytest.mark.skipif(CHROMIUM is None, reason="the browser chromium is absent")
Steps = tuple[Path, list[tuple[dict[str, Any], Any]]]
RECORDING = ROOT / "fixtures_audio/short-cycling-12s.flac"


def told(path: Path) -> dict[str, Any]:
    shown = Shown(path)
    try:
        return json.loads(json.dumps(shown.now()))
    finally:
        shown.close()


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


def test_a_recording_that_was_taken_in_has_times_from_its_beginning(tmp_path: Path):
    measure_into(RECORDING, tmp_path / "L", MeasureOptions(taps="shut"), program="test")
    page = told(tmp_path / "L")
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


def hour(place: Folder, runs: int, *, end_s: float | None = None) -> None:
    """Runs of 20 s, one a minute, told and settled."""
    for number in range(runs):
        at_s = 60.0 * number
        batch = Batch(end_s=at_s + 60.0 if end_s is None else end_s)
        batch.events = [
            Event(at_s + after_s, what, at_s + when_s, kind, 0.99, 12.0, "", 0.0005)
            for what, after_s in (("kind", 2.0), ("settled", 59.0))
            for when_s, kind in ((5.0, "cut-in"), (25.0, "cut-out"))
        ]
        place.commit(batch)


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
                "id <= 4", {"o": 60.0 * number},
            )  # fmt: skip
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
    from clicktimer.store.stored import read_folder

    stored, following = read_folder(steps[0]), Following(steps[0])
    following.look()
    assert [asdict(e) for e in following.events] == [asdict(e) for e in stored.events]
    assert tuple(following.gaps) == stored.gaps
    assert tuple(following.log) == stored.log
    assert following.notices == stored.notices
    assert following.look() == []
    following.close()


# --- the server -----------------------------------------------------------------------------------------------------


@contextmanager
def served(path: Path, **more: Any) -> Iterator[PageServer]:
    shown = Shown(path)
    server = PageServer(shown, produced="clicktimer test", **more)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield server
    finally:
        server.shutdown()
        thread.join(5)
        server.server_close()
        shown.close()


def asked(
    port: int, path: str = "/", method: str = "GET", host: str | None = None
) -> tuple[int, dict[str, str], bytes]:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
    connection.request(method, path, headers={"Host": f"127.0.0.1:{port}" if host is None else host})
    answer = connection.getresponse()
    content = answer.read()
    connection.close()
    return answer.status, dict(answer.getheaders()), content


@pytest.fixture(scope="module")
def port(steps: Steps) -> Iterator[int]:
    with served(steps[0]) as server:
        yield server.port


def test_the_page_is_served_here_only_and_as_it_is_told(port: int, steps: Steps):
    with urllib.request.urlopen(f"http://127.0.0.1:{port}/now.json?have=-1") as answer:
        page = json.load(answer)
    assert page["runs"] == told(steps[0])["runs"]
    assert page["name"] == steps[0].name
    with urllib.request.urlopen(f"http://localhost:{port}/now.json?have={page['version']}") as answer:
        assert "runs" not in json.load(answer)
    with socket.socket() as s:  # not on the addresses that others can reach
        assert s.connect_ex(("127.0.0.2", port)) != 0


@pytest.mark.parametrize("path", [*FILES, "/now.json", "/about.json"])
def test_every_answer_carries_the_strict_headers(path: str, port: int):
    code, headers, content = asked(port, path)
    assert code == 200
    assert content
    for name, value in HEADERS.items():
        assert headers[name] == value
    assert "unsafe" not in headers["Content-Security-Policy"]
    assert asked(port, path, "HEAD")[2] == b""


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:{port}", "127.0.0.1", "", "127.0.0.1:1", "192.0.2.7:{port}"]
)
def test_a_name_that_points_here_is_refused(host: str, port: int):
    code, _, content = asked(port, "/now.json", host=host.format(port=port))
    assert code == 403
    assert b"run" not in content


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_nothing_can_be_changed(method: str, port: int):
    assert asked(port, "/now.json", method)[0] == 405


@pytest.mark.parametrize(
    "path",
    [
        "/listening.sqlite",
        "/clicks/",
        "/../listening.sqlite",
        "/%2e%2e/x",
        "/files/page.js",
        "/favicon.ico",
    ],
)
def test_nothing_else_is_served(path: str, port: int):
    assert asked(port, path)[0] == 404


@pytest.mark.parametrize("have", ["x", "-1", "9" * 40, "", "1&have=2", "٣"])
def test_a_strange_question_is_answered(have: str, port: int):
    from urllib.parse import quote

    code, _, content = asked(port, f"/now.json?have={quote(have, safe='&=')}")
    assert code == 200
    assert "version" in json.loads(content)


def test_with_everyone_the_address_it_was_reached_at_is_the_only_name(
    steps: Steps,
):
    with served(steps[0], everyone=True) as server:
        for host, code in (("127.0.0.2", 200), ("127.0.0.1", 403), ("evil.example", 403)):
            connection = http.client.HTTPConnection("127.0.0.2", server.port, timeout=5)
            connection.request("GET", "/", headers={"Host": f"{host}:{server.port}"})
            assert connection.getresponse().status == code
            connection.close()


def test_a_port_that_is_taken_is_said(steps: Steps, port: int):
    shown = Shown(steps[0])
    with pytest.raises(SettingsError, match=f"port {port} cannot be had"):
        PageServer(shown, port=port)
    shown.close()


def test_the_page_is_strict_html_and_names_only_what_it_is_served():
    text = importlib.resources.files("clicktimer.page").joinpath("files/page.html").read_text("utf-8")
    parser = html5lib.HTMLParser(strict=True)
    parser.parse(text)
    assert re.findall(r'(?:src|href)="([^"]+)"', text) == ["data:,", "report.css", "page.css", "page.js"]
    script = importlib.resources.files("clicktimer.page").joinpath("files/page.js").read_text("utf-8")
    assert "innerHTML" not in script
    ids = set(re.findall(r' id="([^"]+)"', text))
    assert set(re.findall(r'place\("([^"]+)"\)', script)) <= ids


# --- the command ----------------------------------------------------------------------------------------------------


def test_a_folder_that_is_none_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    assert run(["page", str(tmp_path / "no")]) == 2
    assert "is no folder" in capsys.readouterr().err


@pytest.mark.skipif(os.name != "posix", reason="signals of this kind are POSIX")
@pytest.mark.parametrize("more", [[], ["--everyone"]], ids=["here", "everyone"])
def test_ctrl_c_ends_it_cleanly(more: list[str], steps: Steps):
    command = [sys.executable, "-m", "clicktimer", "page", str(steps[0]), "--no-open", *more]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT) as child:
        assert child.stdout is not None
        address = child.stdout.readline().strip()
        with urllib.request.urlopen(address + "now.json") as answer:
            assert json.load(answer)["status"] == "ended"
        child.send_signal(signal.SIGINT)
        began = time.monotonic()
        _, said = child.communicate(timeout=10)
    assert time.monotonic() - began < 2.0
    assert child.returncode == 0
    assert ("EVERYBODY" in said) == bool(more)
    assert "Traceback" not in said


# --- a real browser -------------------------------------------------------------------------------------------------


@needs_browser
@pytest.mark.slow
def test_a_real_browser_shows_it_as_it_goes_on_and_everybody_can_read_it(tmp_path: Path):
    from axe_playwright_python.sync_playwright import Axe
    from playwright.sync_api import sync_playwright

    place = Folder.create(tmp_path / "L", {})
    place.begin(rate_hz=48_000, device="made up", start_s=0.0, program="test")
    with served(tmp_path / "L") as server, sync_playwright() as player:
        address = f"http://127.0.0.1:{server.port}/"
        browser = player.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page()
        said: list[str] = []
        asked_for: list[str] = []
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on("request", lambda request: asked_for.append(request.url))
        page.goto(address)
        page.wait_for_selector("#pump")
        hour(place, 3)
        running = Event(182.0, "kind", 180.0, "cut-in", 0.99, 12.0, "", 0.0005)
        place.commit(Batch(end_s=184.0, events=[running]))
        page.get_by_role("heading", name="The pump is running", exact=True).wait_for(timeout=5000)
        first = page.inner_text("#watch")
        time.sleep(1.5)
        assert page.inner_text("#watch") != first
        assert re.fullmatch(r"0:\d\d", first)
        assert page.locator("#runs tr").count() == 4
        assert page.inner_text("#last-run") == "20.00 s"
        assert page.inner_text("#spoken") == "Run 3 is settled: 20.00 s."
        assert page.locator("#strip svg path.settled").count() == 1
        place.commit(Batch(end_s=185.0, log=[(185.0, "short-cycling", "short cycling: 2 runs under 30 s")]))
        page.wait_for_selector("[role=alert].warning", timeout=5000)
        page.evaluate("document.querySelector('.warning').dataset.same = 'yes'")
        place.commit(Batch(end_s=200.0))  # the strip has moved on; what is read aloud must stay as it is
        page.get_by_text(re.compile(r"^3 min 2\d s$")).wait_for(timeout=5000)
        assert page.locator(".warning[data-same=yes]").count() == 1
        assert [u for u in asked_for if not u.startswith((address, "data:"))] == []
        assert said == []
        for scheme in ("light", "dark"):
            for width in (1200, 390):
                context = browser.new_context(
                    color_scheme="dark" if scheme == "dark" else "light",
                    viewport={"width": width, "height": 800}, bypass_csp=True,
                )  # fmt: skip
                judged = context.new_page()
                judged.goto(address)
                judged.wait_for_selector("#runs tr")
                found = Axe().run(judged)
                assert found.violations_count == 0, found.generate_report()
                assert len(found.response["passes"]) > 15, "it has looked at little"
                wider = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
                assert judged.evaluate(wider) == 0, "it has to be moved sideways"
                context.close()
        server.shutdown()
        server.server_close()
        page.wait_for_selector("#lost", timeout=15000)
        assert "Connection lost" in page.inner_text("#lost")
        assert "What is shown is as of" in page.inner_text("#lost")
        browser.close()
    place.close()


def test_a_listening_in_another_process_is_followed(tmp_path: Path):
    command = [sys.executable, "-m", "tests.live_child", str(RECORDING), str(tmp_path / "L"), "0.05", "60"]
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
