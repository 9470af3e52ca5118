"""The result of a proof by added clicks: the record that a measurement carries (made by quality/proof)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from clicktimer.reason import Reason

FAINTER_DB = 6.0


@dataclass(frozen=True, slots=True)
class Count:
    """caught of put; rate with its 95 % interval, all None where nothing was put."""

    put: int
    caught: int
    rate: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Proof:
    """How many copies were caught.

    what: "clicks" (laid in as whole runs, the whole detector asked) or "sharp sounds" (finger snaps: only whether they
    are noticed). usual: as loud as heard; fainter: by fainter_db. cut_in, cut_out: the usual ones by kind.
    told_before, told_again: clicks told of the recording as it is, and how many of these were told again in each pass,
    on average as a share. others: clicks told in all passes that were neither copies nor told before; hours: sound
    heard for it. passes: times it was heard anew; silent: of these, how often nothing at all was told (these count in
    none of the rates). without_click: starts and stops that the pump's
    sound told in the recording as it is and no click did; of_all: share of all clicks that were told, estimated from
    these and the rate, whichever says less. missed_runs: expected number of runs (low, high) of which neither click
    was told, or None. part_s: the part (from, to; s) of a long recording in which copies were counted, None: the
    whole. why: why nothing could be proved, or None.
    """

    what: Literal["clicks", "sharp sounds"]
    usual: Count
    fainter: Count
    cut_in: Count
    cut_out: Count
    fainter_db: float = FAINTER_DB
    told_before: int = 0
    told_again: float | None = None
    others: int = 0
    hours: float = 0.0
    passes: int = 0
    silent: int = 0
    without_click: int = 0
    of_all: float | None = None
    missed_runs: tuple[float, float] | None = None
    why: Reason | None = None
    part_s: tuple[float, float] | None = None
