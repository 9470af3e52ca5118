"""Stage 4: clicks and gaps in, cycles out (a run from cut-in to cut-out and the rest after it).

A run is told only where a cut-in is followed by a cut-out with nothing between them: no missing
sound, no click of unknown kind. Everything else is a half-known run with a note that says why. No
cycle holds times from both sides of a gap.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Literal

from clicktimer.errors import SettingsError
from clicktimer.records import Click, Cycle, Gap, Intervals, Reason

NORMAL_95 = 1.96  # two-sided 95 % of a normal distribution
RECORDER_CLOCK_PPM = 100.0  # assumed limit of a phone's or sound card's clock; no recording tells its own

_GAP_STARTS, _CLICK, _GAP_ENDS = 0, 1, 2  # at one time a gap's start comes first and its end last: touching is inside


def pair_cycles(
    clicks: Sequence[Click],
    gaps: Sequence[Gap] = (),
    *,
    start_s: float,
    end_s: float,
    pump_at_start: Literal["on", "off"] | None = None,
    clock_ppm: float = RECORDER_CLOCK_PPM,
) -> tuple[Cycle, ...]:
    """Pair clicks (chatter already merged) to cycles, in order of time.

    ``start_s`` and ``end_s`` bound the recording, in seconds. ``clock_ppm`` is the recorder's possible
    clock error in parts per million. A run's 95 % interval is 1.96 times the timing deviations of its
    two clicks in quadrature, plus the clock, added in full because it does not average out.

    A cycle is ``complete`` exactly when both clicks were heard with nothing between. A run of which the pump's sound
    told an end has ``cut_in_s``, ``cut_out_s`` and ``run_s`` too, but is not complete. ``rest_s`` is known only where
    the next event is a cut-in.

    Raises SettingsError when the recording ends before it starts or the clock error is negative.
    """
    if not end_s >= start_s:
        raise SettingsError(f"the recording ends at {end_s} s, before its start at {start_s} s: check both times")
    if not 0 <= clock_ppm < 1e6:
        raise SettingsError(f"a clock error of {clock_ppm} ppm is not possible: give 0 or more, usually 100")
    pairing = _Pairing(start_s, end_s, pump_at_start, clock_ppm)
    for time_s, event in _events(clicks, gaps):
        if event is None:
            pairing.break_at(
                Reason("cycle.gap-after-cut-in", at_s=time_s), Reason("cycle.gap-before-cut-out", at_s=time_s)
            )
        elif event.kind == "unknown":
            pairing.break_at(
                Reason("cycle.unknown-after-cut-in", at_s=time_s), Reason("cycle.unknown-before-cut-out", at_s=time_s)
            )
        elif event.kind == "cut-in":
            pairing.cut_in(event)
        else:
            pairing.cut_out(event)
    return pairing.finish()


def unknown_intervals(
    clicks: Sequence[Click], gaps: Sequence[Gap] = (), *, least_confidence: float = 0.5
) -> Intervals | None:
    """Times between clicks of which no kind is known, read both ways; None where that says nothing.

    It needs two or more clicks, all of unknown kind and each at least ``least_confidence`` sure to be the
    switch (one doubtful click would shift every reading after it). Order is lost over a gap, so only
    the longest unbroken stretch is used. Intervals 1, 3, 5... are ``first_s``, 2, 4, 6... ``second_s``; in seconds.
    """
    if any(click.kind != "unknown" or click.confidence < least_confidence for click in clicks):
        return None
    stretches: list[list[float]] = [[]]
    for time_s, event in _events(clicks, gaps):
        if event is not None:
            stretches[-1].append(time_s)
        elif stretches[-1]:
            stretches.append([])
    times_s = max(stretches, key=len)
    if len(times_s) < 2:
        return None
    lengths_s = [later - earlier for earlier, later in pairwise(times_s)]
    first_s, second_s = tuple(lengths_s[0::2]), tuple(lengths_s[1::2])
    reasons = [Reason("cycle.either-reading-one", first_s=first_s)]
    if second_s:
        reasons = [Reason("cycle.either-reading", first_s=first_s, second_s=second_s)]
    if sum(len(stretch) > 0 for stretch in stretches) > 1:
        reasons.append(Reason("cycle.longest-stretch-only"))
    return Intervals(first_s, second_s, tuple(times_s[0:-1:2]), tuple(times_s[1:-1:2]), tuple(reasons))


def _events(clicks: Sequence[Click], gaps: Sequence[Gap]) -> list[tuple[float, Click | None]]:
    """Clicks in order of time, and None wherever sound is missing; a click in or at the edge of a gap stands alone."""
    marked: list[tuple[float, int, Click | None]] = [(click.time_s, _CLICK, click) for click in clicks]
    for gap in gaps:
        # A gap of unknown length is one instant of the recording's own time.
        to_s = gap.from_s if gap.to_s is None else max(gap.from_s, gap.to_s)
        marked += [(gap.from_s, _GAP_STARTS, None), (to_s, _GAP_ENDS, None)]
    events: list[tuple[float, Click | None]] = []
    open_gaps = 0
    for time_s, order, click in sorted(marked, key=lambda event: event[:2]):
        if click is None:
            open_gaps += 1 if order == _GAP_STARTS else -1
            events.append((time_s, None))
        else:
            events += [(time_s, None), (time_s, click), (time_s, None)] if open_gaps else [(time_s, click)]
    return events


class _Pairing:
    """The state while walking through the events: a cut-in or a cut-out that waits for its other end."""

    def __init__(
        self, start_s: float, end_s: float, pump_at_start: Literal["on", "off"] | None, clock_ppm: float
    ) -> None:
        self.cycles: list[Cycle] = []
        self.start_s, self.end_s, self.pump_at_start, self.clock_ppm = start_s, end_s, pump_at_start, clock_ppm
        self.open: Click | None = None
        self.resting = False  # the last event was a cut-out: the last cycle waits for its rest
        self.at_start = True  # nothing has happened yet
        self.cut_out_note: Reason | None = None  # why a cut-out without a cut-in would stand alone just here
        self.cut_in_notes: tuple[Reason, ...] = ()

    def break_at(self, after_cut_in: Reason, before_cut_out: Reason) -> None:
        if self.open is not None:
            self._half(self.open, after_cut_in)
        self.cut_out_note = before_cut_out
        self.open, self.resting, self.at_start = None, False, False

    def cut_in(self, click: Click) -> None:
        if self.open is not None:
            self._half(self.open, Reason("cycle.cut-out-missed", at_s=click.time_s))
        elif self.resting:
            cut_out_s = self.cycles[-1].cut_out_s
            if cut_out_s is not None and click.time_s > cut_out_s:
                self.cycles[-1] = replace(self.cycles[-1], rest_s=click.time_s - cut_out_s)
        contradicted = self.at_start and self.pump_at_start == "on"
        self.cut_in_notes = (Reason("cycle.said-to-be-on"),) if contradicted else ()
        self.open, self.resting, self.at_start, self.cut_out_note = click, False, False, None

    def cut_out(self, click: Click) -> None:
        if self.open is None:
            self._half(click, self._lone_cut_out_note(click))
        elif click.time_s <= self.open.time_s:
            self._half(self.open, Reason("cycle.no-time-between"))
            self._half(click, Reason("cycle.no-time-between"))
        else:
            self.cycles.append(_complete(self.open, click, self.clock_ppm, self.cut_in_notes))
        self.open, self.resting, self.at_start, self.cut_out_note = None, True, False, None

    def finish(self) -> tuple[Cycle, ...]:
        if self.open is not None:
            self._half(self.open, Reason("cycle.ended-inside", seconds_s=max(0.0, self.end_s - self.open.time_s)))
        return tuple(self.cycles)

    def _lone_cut_out_note(self, click: Click) -> Reason:
        if not self.at_start:
            return self.cut_out_note or Reason("cycle.cut-in-missed")
        if self.pump_at_start == "on":
            return Reason("cycle.began-inside", seconds_s=max(0.0, click.time_s - self.start_s))
        if self.pump_at_start == "off":
            return Reason("cycle.cut-in-missed-off")
        return Reason("cycle.began-or-missed")

    def _half(self, click: Click, note: Reason) -> None:
        is_cut_in = click.kind == "cut-in"
        self.cycles.append(
            Cycle(
                cut_in_s=click.time_s if is_cut_in else None,
                cut_out_s=None if is_cut_in else click.time_s,
                run_s=None,
                run_low_s=None,
                run_high_s=None,
                rest_s=None,
                complete=False,
                confidence=click.confidence,
                notes=(*(self.cut_in_notes if is_cut_in else ()), note),
            )
        )


def _complete(cut_in: Click, cut_out: Click, clock_ppm: float, notes: tuple[Reason, ...]) -> Cycle:
    run_s = cut_out.time_s - cut_in.time_s
    half_s = NORMAL_95 * math.hypot(cut_in.timing_sd_s, cut_out.timing_sd_s) + clock_ppm * 1e-6 * run_s
    by_sound = "pump sound" in (cut_in.how, cut_out.how)
    return Cycle(
        cut_in_s=cut_in.time_s,
        cut_out_s=cut_out.time_s,
        run_s=run_s,
        run_low_s=max(0.0, run_s - half_s),
        run_high_s=run_s + half_s,
        rest_s=None,
        complete=not by_sound,
        how="pump sound" if by_sound else "clicks",
        confidence=cut_in.confidence * cut_out.confidence,
        notes=(*notes, Reason("cycle.by-pump-sound")) if by_sound else notes,
    )
