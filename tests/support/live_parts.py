"""Parts for the tests of live listening: a private sound server with a virtual input, clocks and fake microphones."""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from clicktimer.audio.clock import Clock
from clicktimer.errors import DeviceError

ROOT = Path(__file__).parents[2]
ROOM = "module-null-sink sink_name=room rate=48000 channels=1 format=s16le"
PIPE = "module-pipe-source source_name=mic file={} format=s16le rate=48000 channels=1"

needs_server = pytest.mark.skipif(
    shutil.which("pulseaudio") is None or shutil.which("pactl") is None, reason="pulseaudio is absent: no virtual input"
)


@contextlib.contextmanager
def pulse(*modules: str) -> Iterator[tuple[dict[str, str], subprocess.Popen[bytes]]]:
    """A sound server of our own, and the environment in which programs find it."""
    run = tempfile.mkdtemp(prefix="ct-pulse-")
    env = {**os.environ, "XDG_RUNTIME_DIR": run, "HOME": run, "PYTHONPATH": str(ROOT)}
    env.pop("PULSE_SERVER", None)
    server = start_server(env, *modules)
    try:
        yield env, server
    finally:
        for number in (15, 18):  # a stopped one has to go on to end
            with contextlib.suppress(ProcessLookupError):
                server.send_signal(number)
        with contextlib.suppress(subprocess.TimeoutExpired):
            server.wait(5)
        if server.poll() is None:
            server.kill()
            server.wait(5)
        shutil.rmtree(run, ignore_errors=True)


def start_server(env: dict[str, str], *modules: str) -> subprocess.Popen[bytes]:
    args = [a for m in ("module-native-protocol-unix", *modules) for a in ("-L", m)]
    server = subprocess.Popen(
        ["pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", *args], env=env, stderr=subprocess.DEVNULL
    )
    for _ in range(200):
        if subprocess.run(["pactl", "info"], env=env, capture_output=True, check=False).returncode == 0:
            return server
        time.sleep(0.05)
    server.kill()
    raise RuntimeError("pulseaudio did not start")


def clicktimer(env: dict[str, str], *arguments: str) -> subprocess.Popen[str]:
    """The program as a child, its stdout and stderr readable."""
    return subprocess.Popen(
        [sys.executable, "-m", "clicktimer", *arguments],
        env=env,
        text=True,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


def wait_for(what: Callable[[], bool], seconds: float = 20.0) -> None:
    end = time.monotonic() + seconds
    while not what():
        if time.monotonic() > end:
            raise AssertionError("waited in vain")
        time.sleep(0.05)


class FakeClock(Clock):
    """A clock that goes on when told to; sleeping takes no time."""

    def __init__(self) -> None:
        self.now_s = 1000.0
        self.wall_ahead_s = 0.0

    def boot_s(self) -> float:
        return self.now_s

    def wall(self) -> datetime:
        return datetime(2031, 5, 4, 6, 30, tzinfo=UTC) + timedelta(seconds=self.now_s - 1000.0 + self.wall_ahead_s)

    def sleep(self, seconds: float) -> None:
        self.now_s += seconds


class FakeStream:
    """A stream that sends what a test gives it."""

    def __init__(self, deliver: Callable[[npt.NDArray[np.int16], bool], None], ended: Callable[[], None]) -> None:
        self.rate_hz, self.name = 48_000, "made up"
        self.deliver, self.ended, self.closed = deliver, ended, False

    def close(self) -> None:
        self.closed = True


class FakeBackend:
    """Opens fake streams; fails while ``away``."""

    def __init__(self) -> None:
        self.streams: list[FakeStream] = []
        self.away = False
        self.tries = 0

    def open(
        self, device: str | None, rate_hz: int | None, deliver: Callable[..., None], ended: Callable[[], None]
    ) -> FakeStream:
        self.tries += 1
        if self.away:
            raise DeviceError("no sound input was found")
        self.streams.append(FakeStream(deliver, ended))
        return self.streams[-1]
