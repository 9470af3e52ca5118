"""Cycles with clicks missed or false in, paths of the pump out that may be true.

Without any half-heard run, short run or very long run there is one path: the cycles as they are. Otherwise several are
drawn (path_sampling.py), and what they differ in is what the log leaves open.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from clicktimer.day.cycle_log import Floats, whole_runs
from clicktimer.day.params import DEFAULT_PARAMS, DayParams
from clicktimer.day.path_sampling import Clicks, PumpPath
from clicktimer.records import Cycle, Gap, Reason

SEED: Final = 7


@dataclass(frozen=True, slots=True)
class Repaired:
    """cycles: by one path; a run of which one end was put in is not complete. false, missed: clicks.

    starts_s, ends_s: of its whole runs, seconds.
    """

    cycles: tuple[Cycle, ...]
    false: int
    missed: int
    starts_s: Floats
    ends_s: Floats

    @property
    def ran_s(self) -> float:
        """Seconds that the pump ran in all."""
        return float((self.ends_s - self.starts_s).sum())


def possible(
    cycles: Sequence[Cycle], no_use_run_s: float, gaps: Sequence[Gap] = (), *, params: DayParams = DEFAULT_PARAMS
) -> tuple[Repaired, ...]:
    """Sample what the pump may have done, given clicks that may be false or missed.

    Parameters
    ----------
    cycles : sequence of Cycle
        The cycles of the log.
    no_use_run_s : float
        The run with no water in use, seconds.
    gaps : sequence of Gap
        Where nothing was recorded.
    params : DayParams
        Sections ``imputation``, ``path_sampling`` and ``duration_density`` are used.

    Returns
    -------
    tuple of Repaired
        Each path as often as it is likely; a single one where no click is in doubt.
    """
    tuned = params.imputation
    runs_s = np.array([c.run_s for c in cycles if c.run_s is not None], dtype=float)
    if not len(runs_s):
        return (as_heard(cycles),)
    cut = {i for i, c in enumerate(cycles) if c.run_s is None and at_gap(cycles, i, gaps)}
    whole = all(c.run_s is not None for i, c in enumerate(cycles[1:-1], 1) if i not in cut)
    if (
        whole
        and runs_s.min() >= params.path_sampling.short_ratio * no_use_run_s
        and runs_s.max() <= params.path_sampling.long_ratio * no_use_run_s
    ):
        return (as_heard(cycles),)
    clicks = Clicks(cycles, no_use_run_s, gaps, params=params)
    count = min(
        tuned.most_paths,
        max(tuned.least_paths, tuned.clicks_all // len(clicks.time_s)),
    )
    drawn = clicks.draw(count, np.random.default_rng(SEED))
    return tuple(_as_cycles(s, gaps) for s in drawn if s.runs) or (as_heard(cycles),)


def nearest(paths: Sequence[Repaired], ran_s: float) -> Repaired:
    """The path whose pump ran nearest to this time in all, seconds."""
    return min(paths, key=lambda s: abs(s.ran_s - ran_s))


def at_gap(cycles: Sequence[Cycle], index: int, gaps: Sequence[Gap]) -> bool:
    """Whether a half-heard run is one that a gap cut: the gap lies between it and the click before or after."""
    here = cycles[index]
    is_in = here.cut_in_s is not None
    at_s = here.cut_in_s if here.cut_in_s is not None else here.cut_out_s
    beside = index + 1 if is_in else index - 1
    if not 0 <= beside < len(cycles):
        return False
    other = cycles[beside]
    ends = (
        (other.cut_in_s if other.cut_in_s is not None else other.cut_out_s)
        if is_in
        else (other.cut_out_s if other.cut_out_s is not None else other.cut_in_s)
    )
    if at_s is None or ends is None:
        return False
    return any(min(at_s, ends) <= g.from_s <= max(at_s, ends) for g in gaps)


def as_heard(cycles: Sequence[Cycle]) -> Repaired:
    """The path in which every click is true and none was missed."""
    runs = whole_runs(cycles)
    return Repaired(tuple(cycles), 0, 0, runs.starts_s, runs.ends_s)


def _as_cycles(path: PumpPath, gaps: Sequence[Gap]) -> Repaired:
    """A path as cycles; a rest is known where no gap and no half-heard run lies in it."""
    parts: list[tuple[float, float | None, float | None, int]] = [(s, s, e, put) for s, e, put in path.runs]
    parts += [(t, t, None, 0) if is_in else (t, None, t, 0) for t, is_in in path.halves]
    parts.sort(key=lambda p: p[0])
    cycles = []
    for index, (_, start_s, end_s, put) in enumerate(parts):
        after = parts[index + 1] if index + 1 < len(parts) else None
        rest_s = None
        if end_s is not None and after is not None and after[1] is not None:
            broken = any(end_s <= g.from_s <= after[1] for g in gaps)
            rest_s = None if broken else max(0.0, after[1] - end_s)
        run_s = None if start_s is None or end_s is None else end_s - start_s
        heard = run_s is not None and put == 0
        cycles.append(
            Cycle(
                start_s,
                end_s,
                run_s,
                run_s if heard else None,
                run_s if heard else None,
                rest_s,
                heard,
                confidence=0.9,
                notes=() if put == 0 else (Reason("cycle.end-put-in"),),
            )
        )
    table = np.array([r[:2] for r in path.runs], dtype=float).reshape(-1, 2)
    return Repaired(tuple(cycles), path.false, path.missed, table[:, 0], table[:, 1])
