"""A log and its paths in, what does not count as a run out, each with its time and the reason.

A picture that hid these would look surer than the figures are.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from clicktimer.day.cycle_log import LEAST_CONFIDENCE, DayLog
from clicktimer.day.imputation import Repaired, at_gap
from clicktimer.day.params import DEFAULT_PARAMS, DayParams
from clicktimer.records import Reason

Why = Literal["cut off", "one click alone", "not sure enough", "clicks in doubt", "by the pump's sound"]
NEAR_S: Final = 0.001


@dataclass(frozen=True, slots=True)
class Excluded:
    """at_s: when it began, or the one click of it, seconds of the log. run_s: its length by the clicks, None unknown.

    why: "cut off" by an end of the log or a gap; "clicks in doubt": one of its two may be false, or one between them
    was missed; "by the pump's sound": one end of it was told by that alone, so that it counts, timed less finely.
    """

    at_s: float
    run_s: float | None
    why: Why

    @property
    def code(self) -> str:
        """The reason as the last part of a code of the message catalogue."""
        return self.why.replace(" ", "-").replace("'", "-")


WHOLE: Final = (Reason("day.whole-runs.none"), Reason("day.whole-runs.one"))


def untrusted_reason(log: DayLog, found: Sequence[Excluded], *, params: DayParams = DEFAULT_PARAMS) -> Reason | None:
    """Return why nothing is computed from a log, or None: more clicks stand alone in it than runs have both."""
    tuned = params.exclusions
    alone = sum(r.why == "one click alone" for r in found)
    runs_s = [c.run_s for c in log.cycles if c.run_s is not None and c.complete and c.confidence >= LEAST_CONFIDENCE]
    whole = len(runs_s)
    if alone >= tuned.least_alone and whole > 1:
        longest_s = tuned.false_ratio * float(np.median(runs_s))
        whole = sum(run_s <= longest_s for run_s in runs_s)
    if alone < tuned.least_alone or alone <= whole:
        return None
    runs = Reason("day.whole-runs.some", count=whole) if whole > 1 else WHOLE[whole]
    return Reason("day.untrusted", alone=alone, whole=runs)


def excluded_runs(log: DayLog, paths: Sequence[Repaired]) -> tuple[Excluded, ...]:
    """Tell what of a log is left out. A run is in doubt where fewer than half of the paths hold it."""
    held = Counter(
        (round(float(a) / NEAR_S), round(float(b) / NEAR_S))
        for s in paths
        for a, b in zip(s.starts_s, s.ends_s, strict=True)
    )
    found = []
    last = len(log.cycles) - 1
    for index, cycle in enumerate(log.cycles):
        at_s = cycle.cut_in_s if cycle.cut_in_s is not None else cycle.cut_out_s
        if at_s is None:
            continue
        if cycle.run_s is None:
            ends = (index == 0 and cycle.cut_in_s is None) or (index == last and cycle.cut_out_s is None)
            cut = ends or at_gap(log.cycles, index, log.gaps)
            found.append(Excluded(at_s, None, "cut off" if cut else "one click alone"))
        elif cycle.confidence < LEAST_CONFIDENCE:
            found.append(Excluded(at_s, cycle.run_s, "not sure enough"))
        elif paths and held[(round(at_s / NEAR_S), round((cycle.cut_out_s or 0.0) / NEAR_S))] < 0.5 * len(paths):
            found.append(Excluded(at_s, cycle.run_s, "clicks in doubt"))
        elif cycle.how == "pump sound":
            found.append(Excluded(at_s, cycle.run_s, "by the pump's sound"))
    return tuple(found)
