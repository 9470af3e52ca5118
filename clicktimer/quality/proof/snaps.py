"""Proof of sharp sounds: copies of finger snaps added to the recording as it is, counted where they are noticed.

For a place where no pump has run yet. A snap has no order and no pump's sound, so only the first half of the detector
can be asked: is the copy a candidate, and does its shape speak for a snap?
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from clicktimer.assessment.proof_result import FAINTER_DB, Count, Proof
from clicktimer.audio.cutting import cut_spans
from clicktimer.detection import switch_score
from clicktimer.detection.candidate_finder import OnsetFinder
from clicktimer.detection.candidates import Candidates
from clicktimer.detection.params import default_params
from clicktimer.quality.proof.copies import LEAD_S, TAIL_S, bare, varied
from clicktimer.quality.proof.counting import count_of
from clicktimer.quality.proof.result import (
    Again,
    dice,
    nothing_proved,
)
from clicktimer.quality.proof.runs import CATCH_S, COPIES
from clicktimer.records import Block, Reason, Samples

SPACING_S = 0.8
LEAST_SCORE = 0.0
"""Snap score (clicktimer.detection.switch_score) from which a shape speaks for a snap rather than against it."""


@dataclass(frozen=True, slots=True)
class Added:
    """A copy to be added with its onset at time_s."""

    time_s: float
    samples: Samples


def prove_snaps(again: Again, times_s: Sequence[float], duration_s: float, sha256: str | None) -> Proof:
    """Add copies of the sharp sounds at times_s at random places and count how many are noticed. See docs/proof.md."""
    if not len(times_s):
        return nothing_proved("sharp sounds", Reason("proof.no-sharp-sound"))
    params, rng = default_params(), dice(sha256, 2)
    cuts = [cut for cut in cut_spans(again(), [(t - LEAD_S, t + TAIL_S) for t in times_s]) if cut is not None]
    if not cuts:
        return nothing_proved("sharp sounds", Reason("proof.sharp-not-whole"))
    rate_hz = cuts[0].rate_hz
    sounds = [bare(cut.samples, rate_hz) for cut in cuts if cut.rate_hz == rate_hz]
    counts = []
    for level_db in (0.0, -FAINTER_DB):
        places = _places(times_s, duration_s, rng)
        added = [
            Added(t, varied(sounds[int(rng.integers(len(sounds)))], rate_hz, rng, level_db=level_db)) for t in places
        ]
        finder = OnsetFinder(params)
        parts = [finder.feed(block) for block in with_added(again(), added, rate_hz)]
        heard = Candidates.join([*parts, finder.flush()])
        times = (
            heard.time_s[switch_score.switch_scores(heard, params.switch_score) > LEAST_SCORE]
            if len(heard)
            else np.zeros(0)
        )
        caught = sum(bool(np.any(np.abs(times - t) <= CATCH_S)) for t in places)
        counts.append(count_of([(len(places), caught)]))
    none = Count(0, 0, None, None, None)
    return Proof(
        "sharp sounds",
        counts[0],
        counts[1],
        none,
        none,
        told_before=len(times_s),
        hours=2 * duration_s / 3600.0,
        passes=2,
    )


def _places(times_s: Sequence[float], duration_s: float, rng: np.random.Generator) -> list[float]:
    """So many random places as there is room for, clear of the sounds themselves and of each other."""
    places: list[float] = []
    taken = list(times_s)
    for _ in range(40 * COPIES):
        at = float(rng.uniform(0.5, max(duration_s - 0.5, 0.6)))
        if len(places) == COPIES:
            break
        if all(abs(at - other) >= SPACING_S for other in taken):
            places.append(at)
            taken.append(at)
    return sorted(places)


def with_added(blocks: Iterable[Block], added: Sequence[Added], rate_hz: int) -> Iterator[Block]:
    """The blocks with copies added (added: in order of time); a copy at another rate than rate_hz is left out."""
    lead = round(LEAD_S * rate_hz)
    for block in blocks:
        x = block.samples
        if block.rate_hz == rate_hz:
            x = x.copy()
            for one in added:
                begin = round((one.time_s - block.start_s) * rate_hz) - lead
                a, b = max(begin, 0), min(begin + len(one.samples), len(x))
                if a < b:
                    x[a:b] += one.samples[a - begin : b - begin]
        yield replace(block, samples=x)
