"""The chain, live: how much the tap that stayed open for a moment lengthened the runs of a refill test.

The water drawn while the pump runs has to be pumped too. What is known of it is carried into the run and its verdict:
corrected where both flows were given, else as an interval that is open to the lower side.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

from clicktimer.assessment.conclusion import rejudged
from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.options import MeasureOptions
from clicktimer.cycles.run_time import no_use_run
from clicktimer.records import (
    Cycle,
    Reason,
)

REFILL_TEST: Final = "refill-test"
"""Mark in a listening folder: a refill test began."""
TAPS_SHUT: Final = "taps-shut"
"""Mark in a listening folder: when the last tap was shut, in seconds of the sound."""
SLOW_SHARE: Final = 0.5
"""A tap opened "a little" draws less than this share of the pump's rate (common practice, no source)."""
FLOWS_OFF: Final = 0.25
"""The correction is taken to be right to this share of itself: both flows are stated, not measured (no source)."""


def too_long_s(delay_s: float, tap_share: float) -> float:
    """By how much a run is too long, in seconds, when a tap drew this share of the pump's rate for so long.

    The water drawn, q x delay, has to be pumped as well: at the pump's rate Q that takes delay x q/Q. Assumes constant
    q and Q.

    >>> too_long_s(5.0, 0.4)
    2.0
    """
    return delay_s * tap_share


def shut_times_s(marks: Sequence[tuple[float, str, str]]) -> list[float] | None:
    """When the last tap was shut, as the person marked it, s; None where this was no refill test."""
    shut = [float(text) for _, what, text in marks if what == TAPS_SHUT]
    return shut if shut or any(what == REFILL_TEST for _, what, _ in marks) else None


def with_open_tap(measured: Measurement, shut_s: Sequence[float] | None, options: MeasureOptions) -> Measurement:
    """The measurement with what the open tap did to its run. shut_s: when the last tap was shut, in the sound's time;
    None where this was no refill test.

    Runs in which no tap was marked as shut are left out: nobody knows how long one stayed open. Without any that was
    marked nothing can be corrected: then the run is an upper bound only.
    """
    run = whole = measured.run
    if whole is None or shut_s is None or options.taps != "shut":
        return measured
    marked: dict[Cycle, float] = {}
    unmarked = 0
    for c in measured.cycles:
        if c.complete and c.cut_in_s is not None and c.cut_out_s is not None:
            inside = [at_s - c.cut_in_s for at_s in shut_s if c.cut_in_s <= at_s <= c.cut_out_s]
            unmarked += not inside
            if inside:
                marked[c] = max(inside)
    if unmarked and marked:
        run = no_use_run(list(marked), taps="shut", clicks=measured.clicks)
    if not marked or run is None:
        why = Reason("run.refill-marks-lost") if shut_s else Reason("run.refill-marks-none")
        bound = replace(whole, low_s=0.0, one_sided=True, notes=(*whole.notes, why))
        return rejudged(measured, bound, options)
    delays = sorted(marked.values())
    share, mean_s = _known_share(measured), sum(delays) / len(delays)
    reported = {"delay_s": mean_s, "count": len(delays)}
    if share is not None:
        off_s = too_long_s(mean_s, share)
        reason = Reason("run.refill-taken-off", **reported, share=share, off_s=off_s)
        low_s, high_s = run.low_s - (1.0 + FLOWS_OFF) * off_s, run.high_s - (1.0 - FLOWS_OFF) * off_s
        new = replace(run, seconds=max(run.seconds - off_s, 0.0), low_s=max(low_s, 0.0), high_s=max(high_s, 0.0))
    else:
        off_s = too_long_s(delays[-1], SLOW_SHARE)
        reason = Reason("run.refill-too-long", **reported, off_s=off_s)
        new = replace(run, low_s=max(run.low_s - off_s, 0.0))
    return rejudged(measured, replace(new, notes=(*run.notes, *_left_out(unmarked), reason)), options)


def _left_out(unmarked: int) -> tuple[Reason, ...]:
    if not unmarked:
        return ()
    one = Reason("run.refill-one-left-out")
    return (one if unmarked == 1 else Reason("run.refill-some-left-out", count=unmarked),)


def _known_share(measured: Measurement) -> float | None:
    """Flow of the tap over the pump's rate, where both were given."""
    system: Any = getattr(measured.tank, "system", None)
    if system is None or system.pump is None or system.observed.tap_l_per_min is None:
        return None
    return min(float(system.observed.tap_l_per_min) / float(system.pump.l_per_min), 1.0)
