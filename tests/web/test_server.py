"""The server of the page: who may ask it for what, what its answers carry, and its command."""

from __future__ import annotations

import http.client
import importlib.resources
import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import html5lib
import pytest

from clicktimer.cli import run
from clicktimer.errors import SettingsError
from clicktimer.storage.batch import Batch
from clicktimer.storage.writer import Folder
from clicktimer.web.server import FILES, HEADERS, PageServer
from clicktimer.web.view_state import Shown
from tests.support.live_parts import ROOT
from tests.support.page_parts import hour, served, told


@pytest.fixture(scope="module")
def listening(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A listening of five minutes that has ended, with a name that must not be taken for markup."""
    path = tmp_path_factory.mktemp("page") / "Green <b>House</b> & 'Sons'"
    place = Folder.create(path, {})
    place.begin(rate_hz=48_000, device="made up", start_s=0.0, program="test")
    hour(place, 5)
    place.commit(Batch(end_s=300.0), ended="asked")
    place.close()
    return path


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
def port(listening: Path) -> Iterator[int]:
    with served(listening) as server:
        yield server.port


def test_the_page_is_served_here_only_and_as_it_is_told(port: int, listening: Path):
    with urllib.request.urlopen(f"http://127.0.0.1:{port}/now.json?have=-1") as answer:
        page = json.load(answer)
    assert page["runs"] == told(listening)["runs"]
    assert page["name"] == listening.name
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
    listening: Path,
):
    with served(listening, everyone=True) as server:
        for host, code in (("127.0.0.2", 200), ("127.0.0.1", 403), ("evil.example", 403)):
            connection = http.client.HTTPConnection("127.0.0.2", server.port, timeout=5)
            connection.request("GET", "/", headers={"Host": f"{host}:{server.port}"})
            assert connection.getresponse().status == code
            connection.close()


def test_a_port_that_is_taken_is_said(listening: Path, port: int):
    shown = Shown(listening)
    with pytest.raises(SettingsError, match=f"port {port} cannot be had"):
        PageServer(shown, port=port)
    shown.close()


def test_the_page_is_strict_html_and_names_only_what_it_is_served():
    text = importlib.resources.files("clicktimer.web").joinpath("files/page.html").read_text("utf-8")
    parser = html5lib.HTMLParser(strict=True)
    parser.parse(text)
    assert re.findall(r'(?:src|href)="([^"]+)"', text) == ["data:,", "report.css", "page.css", "page.js"]
    script = importlib.resources.files("clicktimer.web").joinpath("files/page.js").read_text("utf-8")
    assert "innerHTML" not in script
    ids = set(re.findall(r' id="([^"]+)"', text))
    assert set(re.findall(r'place\("([^"]+)"\)', script)) <= ids


# --- the command ----------------------------------------------------------------------------------------------------


def test_a_folder_that_is_none_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    assert run(["page", str(tmp_path / "no")]) == 2
    assert "is no folder" in capsys.readouterr().err


@pytest.mark.skipif(os.name != "posix", reason="signals of this kind are POSIX")
@pytest.mark.parametrize("more", [[], ["--everyone"]], ids=["here", "everyone"])
def test_ctrl_c_ends_it_cleanly(more: list[str], listening: Path):
    command = [sys.executable, "-m", "clicktimer", "page", str(listening), "--no-open", *more]
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
