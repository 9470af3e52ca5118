"""What ``clicktimer listen`` shows while it listens, on stderr: one line of news each, and a live line below them."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Sequence

import click

from clicktimer.audio.microphone import DeviceNote
from clicktimer.reporting.formatting import wrap
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.storage.batch import Event
from clicktimer.streaming.session import Said, Session
from clicktimer.streaming.state import Note, State
from clicktimer.units.format import format_time

MOST_WIDTH = 119
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
        self._drawn = 0
        self._runs = 0
        self._settled_runs: set[float] = set()
        self._children: list[subprocess.Popen[bytes]] = []
        self.prompt = self.typing = ""

    def show(self, said: Sequence[Said]) -> None:
        """Say what is new (it is on disk already)."""
        for one in said:
            if isinstance(one, Event):
                self._event(one)
            elif isinstance(one, DeviceNote):
                self.line(f"{self._clock(one.at_s)}  {one.text}")
            else:
                self._note(one)
        events = [one for one in said if isinstance(one, Event)]
        self._not_the_switch([e.time_s for e in events if e.what == "withdrawn" and e.kind == "unknown"])
        if any(e.what in ("kind", "withdrawn") for e in events):
            self._new_run()
        if any(e.what == "settled" for e in events):
            self._settled()

    def draw(self) -> None:
        """Draw the live line anew, within the terminal's width as it is now."""
        if self._live:
            width = min(shutil.get_terminal_size().columns - 1, MOST_WIDTH)
            text = live_line(self._session.state(), self._until_s, self.prompt, width=width - len(self.typing) - 3)
            if self.typing:
                text += f" > {self.typing}"
            text = text[:width]
            click.echo("\r" + text.ljust(min(self._drawn, width)), nl=False, err=True)
            self._drawn = len(text)

    def line(self, text: str) -> None:
        """One line of news, above the live line."""
        self.clear()
        click.echo(text, err=True)

    def say(self, text: str) -> None:
        """Words to the person, above the live line."""
        self.clear()
        for line in wrap(text):
            click.echo(line, err=True)

    def clear(self) -> None:
        """Take the live line away."""
        if self._drawn:
            click.echo("\r" + " " * self._drawn + "\r", nl=False, err=True)
            self._drawn = 0

    def _event(self, event: Event) -> None:
        at = self._clock(event.time_s)
        if event.what == "heard":
            self.line(f"{at}  a click; whether it is the switch is not known yet")
        elif event.what == "kind":
            self.line(f"{at}  {KIND[event.kind]} ({event.note or 'provisional'})")
            self._ring("\a")
        elif event.what == "withdrawn" and event.kind != "unknown":
            self.line(f"{at}  withdrawn: {event.note} (was told as {event.kind})")

    def _new_run(self) -> None:
        state = self._session.state()
        if state.runs > self._runs and state.last_run_s is not None:
            self.line(f"          run {state.runs}: {state.last_run_s:.2f} s (provisional)")
        self._runs = state.runs

    def _settled(self) -> None:
        """Runs of which start and stop have been settled, each said once."""
        settled = self._session.engine.settled_s()
        for number, cycle in enumerate((c for c in self._session.state().cycles if c.complete), start=1):
            ends = (cycle.cut_in_s, cycle.cut_out_s)
            if cycle.cut_in_s is None or cycle.cut_in_s in self._settled_runs or not settled.issuperset(ends):
                continue
            self._settled_runs.add(cycle.cut_in_s)
            self.line(f"          run {number}: {cycle.run_s:.2f} s is settled by what followed")

    def _not_the_switch(self, times_s: Sequence[float]) -> None:
        """Clicks that were shown and turned out to be something else, in one line."""
        if times_s:
            when = ", ".join(self._clock(t) for t in times_s[:4]) + (" and others" if len(times_s) > 4 else "")
            self.line(f"          not the switch: the click{'s' if len(times_s) > 1 else ''} of {when}")

    def _note(self, note: Note) -> None:
        self.clear()
        head = f"{self._clock(self._session.engine.end_s)}  "
        for text in wrap(Messages().text(note.reason), head, " " * 10):
            click.echo(text, err=True)
        if note.caution is not None:
            for text in wrap(Messages().text(note.caution), "        ! ", " " * 10):
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
        told = {**os.environ, "CLICKTIMER_EVENT": note.code, "CLICKTIMER_TEXT": Messages().text(note.reason)}
        try:
            self._children.append(
                subprocess.Popen(
                    self._command, shell=True, env=told, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL
                )
            )
        except OSError as error:
            self.line(f"          the command could not be run: {error.strerror}")

    def _clock(self, time_s: float) -> str:
        """The time of day of a moment of the sound, as page and report tell it."""
        return self._session.wall_of(time_s).strftime("%H:%M:%S")


def live_line(state: State, until_s: float | None, prompt: str = "", *, width: int = MOST_WIDTH) -> str:
    """State, this run, runs so far, shortest, starts in the last hour, level, time left and room left, in one line.

    Where that is too wide, what matters least goes, as a whole: a figure that is cut off would be another figure.
    """
    if state.pump == "unknown" or state.since_s is None:
        pump = "pump ?" if not state.clicks else "pump ? (which click is which is not known)"
    else:
        pump = f"pump {state.pump.upper()} {stopwatch(state.since_s)}"
    runs = f"runs {state.runs}"
    if state.shortest_s is not None:
        runs += f" (shortest {state.shortest_s:.1f} s)"
    left = "" if until_s is None else f"{format_time(max(until_s - state.end_s, 0.0))} left"
    level = "no sound" if state.level_db is None else f"{state.level_db:.0f} dB"
    free_gb = state.free_bytes / 1e9
    room = f"{free_gb:.{0 if free_gb >= 5.0 else 1}f} GB free"
    parts = [prompt, pump, runs, f"{state.starts_last_hour} starts/h", level, left, room]
    goes_first = (6, 4, 3, 5, 2) if free_gb >= 1.0 else (4, 3, 5, 2, 6)
    for which in goes_first:
        text = " | ".join(part for part in parts if part)
        if len(text) <= width:
            return text
        parts[which] = ""
    return " | ".join(part for part in parts if part)[: max(width, 0)]


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
