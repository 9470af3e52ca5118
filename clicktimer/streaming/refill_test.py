"""The chain, live: how much the tap that stayed open for a moment lengthened the runs of a refill test.

The water drawn while the pump runs has to be pumped too. What is known of it is carried into the run and its verdict:
corrected where both flows were given, else as an interval that is open to the lower side.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

from clicktimer.conclusion import rejudged
from clicktimer.cycles.run_time import no_use_run
from clicktimer.records import Cycle, Measurement
from clicktimer.settings import MeasureOptions
from clicktimer.units.format import format_time

REFILL_TEST: Final = "refill-test"
"""Mark in a listening folder: a refill test began."""
TAPS_SHUT: Final = "taps-shut"
"""Mark in a listening folder: when the last tap was shut, in seconds of the sound."""
SLOW_SHARE: Final = 0.5
"""A tap opened "a little" draws less than this share of the pump's rate (common practice, no source)."""
FLOWS_OFF: Final = 0.25
"""The correction is taken to be right to this share of itself: both flows are stated, not measured (no source)."""
LOST_MARKS: Final = (
    "When the taps were shut fits none of the runs that were told, so how much the water drawn till then lengthened "
    "them is not known: the run is an upper bound."
)
NO_MARKS: Final = (
    "When the taps were shut was not marked, so how much the water drawn till then lengthened the runs is not known: "
    "the run is an upper bound."
)


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
        text = LOST_MARKS if shut_s else NO_MARKS
        text = f"{whole.text} {text}".strip()
        return rejudged(measured, replace(whole, low_s=0.0, one_sided=True, text=text), options)
    delays = sorted(marked.values())
    share, mean_s = _known_share(measured), sum(delays) / len(delays)
    shut_text = f"The last tap was shut {format_time(mean_s)} after the pump started ({len(delays)} refills marked)"
    if unmarked:
        shut_text = f"{_left_out(unmarked)} {shut_text}"
    if share is not None:
        off_s = too_long_s(mean_s, share)
        text = (
            f"{shut_text}, and drew {100 * share:.0f} % of the pump's rate till then: the runs were too long by "
            f"{off_s:.1f} s, which is taken off."
        )
        low_s, high_s = run.low_s - (1.0 + FLOWS_OFF) * off_s, run.high_s - (1.0 - FLOWS_OFF) * off_s
        new = replace(run, seconds=max(run.seconds - off_s, 0.0), low_s=max(low_s, 0.0), high_s=max(high_s, 0.0))
    else:
        off_s = too_long_s(delays[-1], SLOW_SHARE)
        text = (
            f"{shut_text}: the water drawn till then had to be pumped too. The runs are too long by 0 to {off_s:.1f} s "
            "(for a tap that draws less than half of the pump's rate), and the interval reaches down by so much. With "
            "--tap-flow and --pump-rate it is corrected."
        )
        new = replace(run, low_s=max(run.low_s - off_s, 0.0))
    return rejudged(measured, replace(new, text=f"{run.text} {text}".strip()), options)


def _left_out(unmarked: int) -> str:
    if unmarked == 1:
        return "One run is left out, because it was not marked when the taps were shut."
    return f"{unmarked} runs are left out, because it was not marked when the taps were shut."


def _known_share(measured: Measurement) -> float | None:
    """Flow of the tap over the pump's rate, where both were given."""
    system: Any = getattr(measured.tank, "system", None)
    if system is None or system.pump is None or system.observed.tap_l_per_min is None:
        return None
    return min(float(system.observed.tap_l_per_min) / float(system.pump.l_per_min), 1.0)
