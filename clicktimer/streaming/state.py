"""The chain, live: the clicks as they are told now -> what the live line shows, and what must be said at once."""

from __future__ import annotations

import bisect
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from clicktimer.assessment.options import MeasureOptions
from clicktimer.assessment.verdict import judge
from clicktimer.cycles.pairing import pair_cycles, unknown_intervals
from clicktimer.cycles.run_time import no_use_run
from clicktimer.records import Click, Cycle, Gap, Reason, RunTime, Verdict
from clicktimer.storage.batch import Event

ENDLESS_RUNS: Final = 5.0
"""A run of more than so many times the shortest one does not look like ending (common practice, no source) ..."""
ENDLESS_LEAST_S: Final = 120.0
ENDLESS_UNKNOWN_S: Final = 1800.0
"""... and without any run to compare with, one of half an hour."""
AGAIN_S: Final = 900.0
"""A run that goes on is said again so often."""
SAME_S: Final = 0.030
"""Two times nearer than this are one click: a first look is good to about 10 ms."""
EARLIER_SD_S: Final = 0.001
"""Taken for the deviation of a click's time where an earlier program did not note it (a sharp click's: 0.3 to 1 ms)."""

Pump = Literal["on", "off", "unknown"]


@dataclass(frozen=True, slots=True)
class Note:
    """Something that must be said at once. urgent: somebody should act; caution: what belongs to it, or None."""

    code: str
    reason: Reason
    urgent: bool = False
    caution: Reason | None = None


@dataclass(frozen=True, slots=True)
class State:
    """What the live line shows; provisional. since_s: how long the pump has been so; None where unknown.

    runs: complete ones. run, verdict: the run with no water in use as far as it can be told now.
    """

    end_s: float
    pump: Pump
    since_s: float | None
    runs: int
    last_run_s: float | None
    shortest_s: float | None
    starts_last_hour: int
    clicks: int
    level_db: float | None
    free_bytes: int
    run: RunTime | None
    verdict: Verdict
    cycles: tuple[Cycle, ...] = ()


def state_of(
    clicks: Sequence[Click],
    gaps: Sequence[Gap],
    end_s: float,
    level_db: float | None,
    free_bytes: int,
    options: MeasureOptions,
) -> State:
    """The state after ``end_s`` seconds of sound, from the clicks told so far."""
    known = [c for c in clicks if c.kind != "unknown"]
    cycles = pair_cycles(known, gaps, start_s=0.0, end_s=end_s, pump_at_start=options.pump_at_start)
    ambiguous = unknown_intervals(clicks, gaps)
    run = no_use_run(cycles, taps=options.taps, clicks=clicks, ambiguous=ambiguous)
    motor_hp = None if options.system is None else options.system.motor_hp
    lengths = [c.run_s for c in cycles if c.complete and c.run_s is not None]
    last = clicks[-1] if clicks else None
    broken = last is not None and any(g.from_s >= last.time_s for g in gaps)
    pump: Pump = "unknown"
    if last is not None and not broken:
        pump = {"cut-in": "on", "cut-out": "off", "unknown": "unknown"}[last.kind]  # type: ignore[assignment]
    return State(
        end_s=end_s,
        pump=pump,
        since_s=None if pump == "unknown" or last is None else end_s - last.time_s,
        runs=len(lengths),
        last_run_s=lengths[-1] if lengths else None,
        shortest_s=min(lengths, default=None),
        starts_last_hour=sum(1 for c in known if c.kind == "cut-in" and c.time_s > end_s - 3600.0),
        clicks=len(clicks),
        level_db=level_db,
        free_bytes=free_bytes,
        run=run,
        verdict=judge(run, marks_s=options.marks_s, motor_hp=motor_hp),
        cycles=cycles,
    )


class Alarms:
    """What must be said at once: a run that does not end, and short cycling. Each is said once, a run again in time."""

    def __init__(self, options: MeasureOptions, longest_run_s: float | None = None, *, from_s: float = 0.0) -> None:
        self._options, self._longest_s, self._from_s = options, longest_run_s, from_s
        self._told_run: tuple[float, float] | None = None
        self._told_short = -1e9
        self._looked_s = -1e9
        self._reported: tuple[tuple[Click, ...], int] = ((), 0)
        self._state: State | None = None

    def due(self, end_s: float) -> bool:
        """Whether it is time to look: once a second."""
        return end_s - self._looked_s >= 1.0

    def look(self, clicks: Sequence[Click], gaps: Sequence[Gap], end_s: float) -> list[Note]:
        """What there is to say now, by the clicks told so far."""
        if not self.due(end_s):
            return []
        self._looked_s = end_s
        reported = (tuple(clicks), len(gaps))
        if self._state is None or reported != self._reported:  # only when new: a day has thousands of clicks
            self._reported, self._state = reported, state_of(clicks, gaps, end_s, None, 0, self._options)
        state = self._state
        if state.since_s is not None:
            state = replace(state, end_s=end_s, since_s=state.since_s + end_s - state.end_s)
        return [*self._endless(state), *self._short(state)]

    def _endless(self, state: State) -> list[Note]:
        if state.pump != "on" or state.since_s is None:
            return []
        limit_s = self._longest_s or (
            max(ENDLESS_RUNS * state.shortest_s, ENDLESS_LEAST_S) if state.shortest_s else ENDLESS_UNKNOWN_S
        )
        began_s = state.end_s - state.since_s
        if state.since_s < limit_s:
            return []
        if (
            self._told_run is not None
            and abs(self._told_run[0] - began_s) < 1.0
            and state.end_s - self._told_run[1] < AGAIN_S
        ):
            return []
        self._told_run = (began_s, state.end_s)
        reason = Reason("notice.endless-run", since_s=state.since_s)
        return [Note("endless-run", reason, True, Reason("caution.running-on"))]

    def _short(self, state: State) -> list[Note]:
        mark_s = self._options.marks_s[0]
        short = [
            c
            for c in state.cycles
            if c.complete and c.run_s is not None and c.run_s < mark_s
            if c.confidence >= 0.8 and (c.cut_out_s or 0.0) > self._from_s
        ]
        if len(short) < 2 or (short[-1].cut_out_s or 0.0) - self._told_short < 3600.0:
            return []
        self._told_short = short[-1].cut_out_s or 0.0
        reason = Reason("notice.short-cycling", count=len(short), minimum_s=mark_s, last_s=short[-1].run_s or 0.0)
        return [Note("short-cycling", reason, True, Reason("caution.switch"))]


class Standing:
    """The clicks that stand after the events so far: told or settled, and not withdrawn; in order of time."""

    def __init__(self) -> None:
        self.clicks: list[Click] = []
        self.settled_s: set[float] = set()

    def add(self, event: Event) -> None:
        """Take the next event."""
        if event.what == "heard":
            return
        at = bisect.bisect_left(self.clicks, event.time_s - SAME_S, key=_time_s)
        same = at < len(self.clicks) and self.clicks[at].time_s <= event.time_s + SAME_S
        if same:
            before = self.clicks.pop(at)
            self.settled_s.discard(before.time_s)
        if event.what != "withdrawn":
            sd_s = EARLIER_SD_S if event.timing_sd_s is None else event.timing_sd_s
            click = Click(event.time_s, event.kind, event.confidence or 0.0, sd_s, level_db=event.level_db)
            bisect.insort(self.clicks, click, key=_time_s)
            if event.what == "settled":
                self.settled_s.add(event.time_s)


def _time_s(click: Click) -> float:
    return click.time_s


def told_clicks(events: Sequence[Event]) -> tuple[Click, ...]:
    """The clicks that stand after a sequence of events: told or settled, and not withdrawn."""
    standing = Standing()
    for event in events:
        standing.add(event)
    return tuple(standing.clicks)
