"""10 page: a listening folder, looked at again and again -> what the page shows, worded, as JSON can hold it.

What follows from the clicks (runs, verdict, strip) is worked out anew only when something new was said or the strip has
moved on; everything else is a few figures.
"""

from __future__ import annotations

import threading
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final

from clicktimer.assessment.conclusion import rejudged
from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.options import MeasureOptions
from clicktimer.cycles.pairing import unknown_intervals
from clicktimer.records import (
    Click,
    SourceInfo,
)
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.storage.reader import SessionNote
from clicktimer.storage.tail import Following
from clicktimer.streaming.finalize import with_noted
from clicktimer.streaming.noted import RESULT, SettledResult, noted_result
from clicktimer.streaming.refill_test import shut_times_s, with_open_tap
from clicktimer.streaming.state import Standing, State, state_of
from clicktimer.units.format import UnitSystem, format_time
from clicktimer.web.view_text import (
    MOST_RUNS,
    How,
    last_view,
    runs_view,
    spoken_view,
    strip_view,
    verdict_view,
    warnings_view,
)

LIVE: Final = ("listening", "silent")
SILENT_S: Final = 5.0
"""Nothing was written for so long although somebody listens: something is wrong."""
MOVES_ON_S: Final = 10.0
"""The strip is drawn anew so often."""
HEARD_S: Final = 10.0
LONG_S: Final = 72_000.0
"""From such a length on the day of the week stands beside the time."""


class Shown:
    """What is shown of one folder. units: how to write volumes, None as the folder says."""

    def __init__(self, path: Path, units: UnitSystem | None = None) -> None:
        self._following = Following(path)
        self._standing = Standing()
        self._units = units
        self._messages = Messages("page", units or "us")
        self._key: tuple[Any, ...] = ()
        self._slow: dict[str, Any] = {}
        self._version = 0
        self._state: State | None = None
        self._one_at_a_time = threading.Lock()
        self._noted: Any = None
        self._settled: SettledResult | None = None

    def close(self) -> None:
        """Let go of the folder."""
        with self._one_at_a_time:
            self._following.close()

    def now(self, have: int = -1) -> dict[str, Any]:
        """What is to be shown now; what follows from the clicks is left out where the page has that version of it.

        Raises StoreError where the folder can no longer be read.
        """
        with self._one_at_a_time:
            for event in self._following.look():
                self._standing.add(event)
            return self._now(have)

    def _now(self, have: int) -> dict[str, Any]:
        f = self._following
        name = f.path.resolve().name
        if not f.there or not f.sessions:
            waiting = self._messages.text("page.status.waiting")
            return {"version": -1, "name": name, "status": "waiting", "status_text": waiting}
        session, status = f.sessions[-1], self._status()
        now_s = session.end_s
        if status == "listening":
            now_s += min(max(self._since_written_s(session), 0.0), SILENT_S)
        key = (len(f.events), len(f.gaps), len(f.log), len(f.sessions), status, int(now_s / MOVES_ON_S), len(f.marks))
        if key != self._key:
            self._key, self._version = key, self._version + 1
            self._slow = self._worked_out(status)
        fast = {
            "version": self._version,
            "name": name,
            "status": status,
            "status_text": self._status_text(status, session),
            "clock": self._clock(now_s),
            "ticking": status == "listening",
            **self._watch(status, now_s),
            "facts": self._facts(status, session, now_s),
            "level": self._level(status),
            "heard": self._heard(status, now_s),
        }
        return fast if have == self._version else {**fast, **self._slow}

    # -- the listening itself --------------------------------------------------------------------------------------

    def _status(self) -> str:
        f = self._following
        session = f.sessions[-1]
        if session.ended is None and f.in_use:
            gone = f.log[-1][2] in ("gone", "silent") if f.log else False
            return "silent" if gone or self._since_written_s(session) > SILENT_S else "listening"
        if session.ended is None:
            return "cut-off"
        if f.in_use and not self._result():
            return "deciding"
        return "recording" if "recording" in f.about else "ended"

    def _since_written_s(self, session: SessionNote) -> float:
        return (datetime.now(session.end.tzinfo) - session.end).total_seconds()

    def _status_text(self, status: str, session: SessionNote) -> str:
        f = self._following
        ended = f"page.ended.{(session.ended or '').replace(' ', '-')}"
        why = self._messages.text(ended) if self._messages.has(ended) else session.ended or ""
        if status == "silent":
            why = self._messages.text("page.silent.hangs")
        if status == "silent" and f.log and f.log[-1][2] in ("gone", "silent"):
            why = f.log[-1][3]
        return self._messages.text(
            f"page.status.{status}",
            began=self._clock(f.sessions[0].start_s, dated=True),
            ended=self._clock(session.end_s, dated=True),
            length_s=session.end_s,
            silent_s=max(self._since_written_s(session), 0.0),
            why=why,
        )

    def _clock(self, time_s: float, *, dated: bool = False) -> str:
        """The time of day of a moment of the sound; of a recording without one the time from its beginning."""
        f = self._following
        began = None
        recording = f.about.get("recording")
        if recording is None:
            session = next((s for s in reversed(f.sessions) if s.start_s <= time_s + 1e-6), f.sessions[0])
            began = session.began - timedelta(seconds=session.start_s)
        elif recording.get("started_at"):
            began = datetime.fromisoformat(recording["started_at"])
        if began is None:
            minutes, rest = divmod(max(time_s, 0.0), 60.0)
            hours, minutes = divmod(int(minutes), 60)
            return f"{hours}:{minutes:02d}:{rest:04.1f}" if hours else f"{minutes}:{rest:04.1f}"
        moment = began + timedelta(seconds=time_s)
        if dated:
            return f"{self._messages.text(f'page.day.{moment.weekday()}')} {moment:%Y-%m-%d %H:%M:%S}"
        if f.sessions[-1].end_s > LONG_S:
            return f"{self._messages.text(f'page.day.{moment.weekday()}')} {moment:%H:%M:%S}"
        return f"{moment:%H:%M:%S}"

    def _result(self) -> SettledResult | None:
        """The settled result, where the last session has one."""
        about, session = self._following.about, self._following.sessions[-1]
        if about.get(RESULT) != self._noted:
            self._noted = about.get(RESULT)
            self._settled = noted_result(about, str(self._following.path))
        noted = self._settled
        return noted if noted and session.ended and abs(noted.end_s - session.end_s) < 0.5 else None

    # -- what changes all the time ---------------------------------------------------------------------------------

    def _watch(self, status: str, now_s: float) -> dict[str, Any]:
        """The pump's state and for how long, by the clicks told."""
        state = self._state
        if state is None:
            return {}
        last = self._standing.clicks[-1] if self._standing.clicks else None
        now = {"listening": f"page.pump.{state.pump}", "silent": f"page.pump-silent.{state.pump}"}
        code = now.get(status, f"page.pump-ended.{state.pump}")
        why = ""
        if state.pump == "unknown":
            why = self._messages.text("page.click.unknown-kinds" if state.clicks else "page.click.none")
        known = last is not None and state.pump != "unknown"
        settled = last is not None and (last.time_s in self._standing.settled_s or self._result() is not None)
        return {
            "pump": state.pump,
            "pump_text": self._messages.text(code),
            "pump_why": why,
            "since_s": round(now_s - last.time_s, 2) if known and last is not None and status == "listening" else None,
            "since": self._clock(last.time_s) if known and last is not None else "",
            "pump_standing": self._messages.text("page.settled" if settled else "page.provisional") if known else "",
        }

    def _facts(self, status: str, session: SessionNote, now_s: float) -> list[tuple[str, str]]:
        f, state, text = self._following, self._state, self._messages.text
        facts = []
        if state is not None:
            shortest = text("page.fact.shortest-none")
            if state.shortest_s is not None:
                shortest = self._messages.number(f"{state.shortest_s:.2f} s")
            starts = sum(1 for c in self._standing.clicks if c.kind == "cut-in" and c.time_s > now_s - 3600.0)
            facts += [(text("page.fact.runs"), str(state.runs)), (text("page.fact.shortest"), shortest)]
            facts.append((text("page.fact.starts-last-hour" if now_s > 3600.0 else "page.fact.starts"), str(starts)))
        facts.append((text("page.fact.heard"), self._messages.number(format_time(now_s))))
        if status in LIVE:
            planned_s = f.about.get("planned_end_s")
            left = text("page.fact.no-end")
            if planned_s is not None:
                left = self._messages.number(format_time(max(planned_s - now_s, 0.0)))
            facts.append((text("page.fact.time-left"), left))
            free = f"{f.free_bytes / 1e9:.{0 if f.free_bytes > 5e9 else 1}f} GB"
            facts.append((text("page.fact.disk"), self._messages.number(free)))
        return facts

    def _level(self, status: str) -> dict[str, Any]:
        levels = self._following.levels_db
        if status != "listening" or not levels:
            return {"text": self._messages.text("page.level-none") if status == "silent" else "", "db": None}
        quiet = min(sorted(levels)[len(levels) // 10], levels[-1])  # nothing is quieter than the quietest
        text = self._messages.text("page.level", now_db=levels[-1], quiet_db=quiet)
        return {"text": text, "db": round(levels[-1], 1)}

    def _heard(self, status: str, now_s: float) -> str:
        """A click that has just been heard and is not told yet."""
        if status != "listening":
            return ""
        gone = {round(e.time_s, 3) for e in self._following.events[-40:] if e.what != "heard"}
        for event in reversed(self._following.events[-40:]):
            if event.at_s < now_s - HEARD_S:
                break
            if event.what == "heard" and not any(abs(t - event.time_s) < 0.05 for t in gone):
                return self._messages.text("page.click.heard", when=self._clock(event.time_s))
        return ""

    # -- what follows from the clicks ------------------------------------------------------------------------------

    def _options(self) -> MeasureOptions:
        options = with_noted(MeasureOptions(), self._following.about, self._following.path)
        if options.system is not None and self._units is not None:
            options = replace(options, system=replace(options.system, units=self._units))
        return options

    def _worked_out(self, status: str) -> dict[str, Any]:
        f, options = self._following, self._options()
        end_s = f.sessions[-1].end_s
        clicks = tuple(self._standing.clicks)
        state = self._state = state_of(clicks, f.gaps, end_s, None, f.free_bytes, options)
        result = self._result()
        measured = self._measured(state, clicks, options, result)
        settled_s = None if result is not None else set(self._standing.settled_s)
        live = status in LIVE
        how: How = "ended" if result else "live" if live or status == "deciding" else "older"
        how = "cut-off" if status == "cut-off" else how
        refills = shut_times_s(f.marks) is not None
        verdict = verdict_view(measured, how, options.marks_s, str(f.path), self._messages, refills=refills)
        runs = runs_view(measured.cycles, settled_s, self._clock, self._messages, running=live and state.pump == "on")
        more = len(runs) - MOST_RUNS
        notices = [*f.notices, *measured.warnings]
        return {
            "verdict": verdict,
            "last": last_view(measured.cycles, settled_s, self._clock, options, self._messages),
            "runs": runs[:MOST_RUNS],
            "more_runs": self._messages.text("page.run.more", count=more) if more > 0 else "",
            "warnings": warnings_view(state, live, f.log, notices, f.gaps, self._clock, self._messages),
            "strip": strip_view(measured.cycles, f.gaps, settled_s, end_s, state, self._clock, self._messages),
            "spoken": spoken_view(runs, verdict["title"] if result else "", self._messages),
        }

    def _measured(
        self, state: State, clicks: tuple[Click, ...], options: MeasureOptions, result: SettledResult | None
    ) -> Measurement:
        f = self._following
        source = SourceInfo(f.path.name, state.end_s, f.sessions[-1].rate_hz, 1, None)
        if result is not None:
            measured = result.measurement(source, clicks, f.gaps)
            if options.system is None or measured.run is None:
                return measured
            return replace(rejudged(measured, measured.run, options), verdict=measured.verdict)
        ambiguous = unknown_intervals(clicks, f.gaps)
        measured = Measurement(source, clicks, state.cycles, tuple(f.gaps), ambiguous, state.run, state.verdict)
        if state.run is None:
            return measured
        return with_open_tap(rejudged(measured, state.run, options), shut_times_s(f.marks), options)
