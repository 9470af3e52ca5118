"""A log of cycles in, arrays of whole runs out: what every reading of a day begins with.

A **run** is cut-in to cut-out, a **rest** cut-out to the next cut-in. Only runs of which both ends were heard count.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from clicktimer.errors import SettingsError
from clicktimer.records import Cycle, Gap

Floats = npt.NDArray[np.float64]
LEAST_CONFIDENCE = 0.5
"""A run below it is more likely wrong than right and is not used."""


@dataclass(frozen=True, slots=True)
class DayLog:
    """A stretch of listening, as clicks. Times in seconds from its beginning.

    cycles: in order of time. gaps: where nothing was heard. duration_s: from the beginning to the end.
    started_s: the beginning as seconds since 1970 (UTC), None where it is not known. zone: IANA name of the wall time,
    None where not said (then ``started_s`` is the wall time itself, reckoned as if it were UTC).
    Raises SettingsError for a duration that is not above zero.
    """

    cycles: tuple[Cycle, ...]
    duration_s: float
    gaps: tuple[Gap, ...] = ()
    started_s: float | None = None
    zone: str | None = None

    def __post_init__(self) -> None:
        if not (math.isfinite(self.duration_s) and self.duration_s > 0):
            raise SettingsError("a log of no length tells nothing: give a recording that lasts")

    @property
    def heard_s(self) -> float:
        """Seconds heard: the duration without the gaps of known length."""
        lost = sum(max(0.0, g.to_s - g.from_s) for g in self.gaps if g.to_s is not None)
        return max(0.0, self.duration_s - lost)


@dataclass(frozen=True, slots=True)
class Runs:
    """Whole runs as arrays, in order of time, seconds; a rest that is not known is nan.

    half_s: half width of the interval of each run by its timing. missed: cycles of which only one click was heard,
    those cut by the log's two ends left out.
    """

    starts_s: Floats
    runs_s: Floats
    rests_s: Floats
    half_s: Floats
    missed: int

    @property
    def count(self) -> int:
        """How many whole runs there are."""
        return len(self.runs_s)

    @property
    def ends_s(self) -> Floats:
        """When each run ended."""
        return self.starts_s + self.runs_s


def whole_runs(cycles: Sequence[Cycle]) -> Runs:
    """Take the whole, trusted runs out of a log's cycles."""
    rows: list[tuple[float, float, float, float]] = []
    missed = 0
    for index, cycle in enumerate(cycles):
        trusted = cycle.confidence >= LEAST_CONFIDENCE
        if trusted and cycle.run_s is not None and cycle.cut_in_s is not None and cycle.run_s > 0:
            rest_s = math.nan if cycle.rest_s is None else cycle.rest_s
            low_s, high_s = cycle.run_low_s, cycle.run_high_s
            half_s = 0.0 if low_s is None or high_s is None else max(0.0, high_s - low_s) / 2
            rows.append((cycle.cut_in_s, cycle.run_s, rest_s, half_s))
        elif 0 < index < len(cycles) - 1:
            missed += 1
    table = np.array(rows, dtype=np.float64).reshape(-1, 4)
    return Runs(table[:, 0], table[:, 1], table[:, 2], table[:, 3], missed)


def all_starts_s(cycles: Sequence[Cycle]) -> Floats:
    """When the pump started, seconds: every cut-in that was heard, also of runs that are not whole."""
    return np.array([c.cut_in_s for c in cycles if c.cut_in_s is not None], dtype=np.float64)
