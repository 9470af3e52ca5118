"""What ``clicktimer listen`` shows while it listens, on stderr: one line of news each, and a live line below them."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Sequence
from datetime import datetime, timedelta

import click

from clicktimer.formats import format_time
from clicktimer.live.session import Said, Session
from clicktimer.live.state import Note, State
from clicktimer.report.words import wrap
from clicktimer.sound.microphone import DeviceNote
from clicktimer.store.folder import Event

WIDTH = 79
KIND = {
    "cut-in": "cut-in, the pump starts",
    "cut-out": "cut-out, the pump stops",
    "unknown": "the switch, which way is not known",
}


class Screen:
    """Shows what was said. tone: ring the terminal's bell; command: run for what is urgent."""

    def __init__(self, session: Session, *, until_s: float | None, tone: bool, command: str | None) -> None:
        self._session, self._until_s, self._tone, self._command = session, until_s, tone, command
        self._live = sys.stderr.isatty() and os.environ.get("TERM") != "dumb"
        self._drawn = False
        self._runs = 0
        self._heard: set[float] = set()
        self._children: list[subprocess.Popen[bytes]] = []
        self.prompt = ""

    def show(self, said: Sequence[Said]) -> None:
        """Say what is new (it is on disk already)."""
        for one in said:
            if isinstance(one, Event):
                self._event(one)
            elif isinstance(one, DeviceNote):
                self.line(f"{self._clock(one.at_s)}  {one.text}")
            else:
                self._note(one)
        if any(isinstance(one, Event) and one.what in ("kind", "withdrawn") for one in said):
            self._new_run()

    def draw(self) -> None:
        """Draw the live line anew."""
        if self._live:
            text = live_line(self._session.state(), self._until_s, self.prompt)
            click.echo("\r" + text[:WIDTH].ljust(WIDTH), nl=False, err=True)
            self._drawn = True

    def line(self, text: str) -> None:
        """One line of news, above the live line."""
        self.clear()
        click.echo(text, err=True)

    def clear(self) -> None:
        """Take the live line away."""
        if self._drawn:
            click.echo("\r" + " " * WIDTH + "\r", nl=False, err=True)
            self._drawn = False

    def _event(self, event: Event) -> None:
        at = self._clock(event.time_s)
        if event.what == "heard":
            self._heard.add(round(event.time_s, 1))
            self.line(f"{at}  a click; whether it is the switch is not known yet")
        elif event.what == "kind":
            self.line(f"{at}  {KIND[event.kind]} (provisional)")
            self._ring("\a")
        elif event.what == "withdrawn" and event.kind != "unknown":
            self.line(f"{at}  withdrawn: {event.note} (was told as {event.kind})")

    def _new_run(self) -> None:
        state = self._session.state()
        if state.runs > self._runs and state.last_run_s is not None:
            self.line(f"          run {state.runs}: {state.last_run_s:.2f} s (provisional)")
        self._runs = state.runs

    def _note(self, note: Note) -> None:
        self.clear()
        head = f"{self._clock(self._session.engine.end_s)}  "
        for text in wrap(note.text, head, " " * 10):
            click.echo(text, err=True)
        for text in wrap(note.caution, "        ! ", " " * 10) if note.caution else ():
            click.echo(text, err=True)
        if note.urgent:
            self._ring("\a\a\a")
            self._run_command(note)

    def _ring(self, bell: str) -> None:
        if self._tone:
            click.echo(bell, nl=False, err=True)

    def _run_command(self, note: Note) -> None:
        """The user's own command, with what happened in the environment; we do not wait for it."""
        if self._command is None:
            return
        self._children = [c for c in self._children if c.poll() is None]
        if len(self._children) >= 4:
            return
        told = {**os.environ, "CLICKTIMER_EVENT": note.code, "CLICKTIMER_TEXT": note.text}
        try:
            self._children.append(
                subprocess.Popen(
                    self._command, shell=True, env=told, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL
                )
            )
        except OSError as error:
            self.line(f"          the command could not be run: {error.strerror}")

    def _clock(self, time_s: float) -> str:
        """The time of day of a moment of the sound, by the computer's clock now."""
        return (datetime.now() - timedelta(seconds=max(self._session.engine.end_s - time_s, 0.0))).strftime("%H:%M:%S")


def live_line(state: State, until_s: float | None, prompt: str = "") -> str:
    """State, this run, runs so far, shortest, starts in the last hour, level, time left and room left, in one line."""
    if state.pump == "unknown" or state.since_s is None:
        pump = "pump ?" if not state.clicks else "pump ? (which click is which is not known)"
    else:
        pump = f"pump {state.pump.upper()} {stopwatch(state.since_s)}"
    parts = [pump, f"runs {state.runs}"]
    if state.shortest_s is not None:
        parts[-1] += f" (shortest {state.shortest_s:.1f} s)"
    parts.append(f"{state.starts_last_hour} starts/h")
    parts.append("no sound" if state.level_db is None else f"{state.level_db:.0f} dB")
    if until_s is not None:
        parts.append(f"{format_time(max(until_s - state.end_s, 0.0))} left")
    parts.append(f"{state.free_bytes / 1e9:.0f} GB free")
    if prompt:
        parts.insert(0, prompt)
    return " | ".join(parts)


def stopwatch(seconds: float) -> str:
    """Minutes and seconds as a watch shows them.

    >>> stopwatch(75.2)
    '1:15'
    """
    whole = int(seconds)
    return (
        f"{whole // 60}:{whole % 60:02d}"
        if whole < 3600
        else f"{whole // 3600}:{whole % 3600 // 60:02d}:{whole % 60:02d}"
    )
