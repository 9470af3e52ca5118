"""The most likely sequence of cut-ins and cut-outs, given the candidates and the level of the pump.

Two states, off and on. A candidate may change off to on (as a cut-in) or on to off (as a cut-out) for its own score;
a change without a click costs a fixed penalty; between changes every level step is evidence for off or on. All scores
are natural logarithms of likelihood ratios against "this candidate is just another noise", so they add up.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from clicktimer.detection.compiled import compiled
from clicktimer.detection.onset_strength import F32, F64, I64

I8 = np.ndarray

NEVER = -1e9
"""Log-odds of what cannot be, and the time of what never happened."""


class Evidence(NamedTuple):
    """What the decoder is given.

    level_llr: (rows,) log-likelihood ratio on : off of each level step, zeros where no pump is detected. first:
    (segments + 1,) row at which each segment without a gap begins, and the number of rows. row: (n,) row of each
    candidate, ascending. time_s: (n,). score_in, score_out: (n,) log-odds of being a cut-in, a cut-out.
    """

    level_llr: F32
    first: I64
    row: I64
    time_s: F64
    score_in: F64
    score_out: F64

    def without_candidates(self) -> Evidence:
        """Return the same levels with no candidate."""
        none = np.zeros(0)
        return Evidence(self.level_llr, self.first, np.zeros(0, np.int64), none, none, none)


class Prior(NamedTuple):
    """What is assumed beforehand, natural logarithms.

    silent: score of a change without a click. start_off, start_on: score of beginning in that state. gap_cost: cost of
    a change of state inside a gap. least_s: shortest run or rest between two clicks; least_rows: the same in level
    steps.
    """

    silent: float
    start_off: float
    start_on: float
    gap_cost: float
    least_s: float
    least_rows: int


@dataclass(frozen=True, slots=True)
class Path:
    """A decoded sequence.

    kind: (n,) 0 not a click, 1 cut-in, 2 cut-out. silent_rows, silent_kinds: changes without a click. score: of the
    whole path. without_clicks: score of the best path without any click. on: (rows,) state of each level step.
    chance_in, chance_out: (n,) posterior probability of being a cut-in, a cut-out.
    """

    kind: np.ndarray
    silent_rows: np.ndarray
    silent_kinds: np.ndarray
    score: float
    without_clicks: float
    on: np.ndarray
    chance_in: F64
    chance_out: F64

    @property
    def gain(self) -> float:
        """What the clicks add to the score."""
        return self.score - self.without_clicks


@compiled
def _viterbi(evidence: Evidence, prior: Prior) -> tuple[float, I8, I8, I8]:  # noqa: C901, PLR0912, PLR0915
    """Return the score of the best path, kind of each candidate, kind of each silent change, and state by row.

    The last click and the row in which a state was entered belong to the path that survives in that state.
    """
    level_llr, first, row, time_s, score_in, score_out = evidence
    silent, start_off, start_on, gap_cost, least_s, least_rows = prior
    rows = level_llr.shape[0]
    n = row.shape[0]
    by_click = np.zeros((n, 2), dtype=np.int8)
    by_silence = np.zeros((rows, 2), dtype=np.int8)
    by_gap = np.zeros((rows, 2), dtype=np.int8)
    s0, s1 = start_off, start_on
    last0, last1 = NEVER, NEVER
    since0, since1 = -least_rows, -least_rows
    i = 0
    segment = 0
    for k in range(rows):
        if k == first[segment + 1] and segment + 2 < first.shape[0]:
            # After a gap the pump may be in either state.
            segment += 1
            t0, t1 = s0, s1
            if s1 - gap_cost > s0:
                t0, last0, since0 = s1 - gap_cost, NEVER, -least_rows
                by_gap[k, 0] = 1
            if s0 - gap_cost > s1:
                t1, last1, since1 = s0 - gap_cost, NEVER, -least_rows
                by_gap[k, 1] = 1
            s0, s1 = t0, t1
        while i < n and row[i] == k:
            t = time_s[i]
            n0, n1, l0, l1, e0, e1 = s0, s1, last0, last1, since0, since1
            if t - last0 >= least_s and k - since0 >= least_rows - 1 and s0 + score_in[i] > s1:
                n1, l1, e1 = s0 + score_in[i], t, k
                by_click[i, 1] = 1
            if t - last1 >= least_s and k - since1 >= least_rows - 1 and s1 + score_out[i] > s0:
                n0, l0, e0 = s1 + score_out[i], t, k
                by_click[i, 0] = 1
            s0, s1, last0, last1, since0, since1 = n0, n1, l0, l1, e0, e1
            i += 1
        n0, n1 = s0, s1
        # A change without a click must not take back the click just before it, nor make room for the next.
        if k - since1 >= least_rows and s1 + silent > s0:
            n0 = s1 + silent
            by_silence[k, 0] = 1
        if k - since0 >= least_rows and s0 + silent > s1:
            n1 = s0 + silent
            by_silence[k, 1] = 1
        if by_silence[k, 0]:
            last0, since0 = NEVER, k
        if by_silence[k, 1]:
            last1, since1 = NEVER, k
        s0 = n0 - 0.5 * level_llr[k]
        s1 = n1 + 0.5 * level_llr[k]
    kind = np.zeros(n, dtype=np.int8)
    silent_kind = np.zeros(rows, dtype=np.int8)
    on = np.zeros(rows, dtype=np.int8)
    state = 1 if s1 > s0 else 0
    i = n - 1
    for k in range(rows - 1, -1, -1):
        on[k] = state
        if by_silence[k, state]:
            silent_kind[k] = 1 if state == 1 else 2
            state = 1 - state
        while i >= 0 and row[i] == k:
            if by_click[i, state]:
                kind[i] = 1 if state == 1 else 2
                state = 1 - state
            i -= 1
        if by_gap[k, state]:
            state = 1 - state
    return max(s0, s1), kind, silent_kind, on


@compiled
def _log_add(a: float, b: float) -> float:
    if a < b:
        a, b = b, a
    if b < -1e8:
        return a
    return float(a + np.log1p(np.exp(b - a)))


@compiled
def _posteriors(evidence: Evidence, prior: Prior) -> tuple[F64, F64]:
    """Return for each candidate the probability of being a cut-in, and a cut-out, over all paths.

    Forward and backward sums. The least length of a run is left out: it would need a longer memory.
    """
    level_llr, first, row, _, score_in, score_out = evidence
    silent, start_off, start_on, gap_cost, _, _ = prior
    rows = level_llr.shape[0]
    n = row.shape[0]
    f0 = np.zeros(n)
    f1 = np.zeros(n)
    s0, s1 = start_off, start_on
    i = 0
    segment = 0
    for k in range(rows):
        if k == first[segment + 1] and segment + 2 < first.shape[0]:
            segment += 1
            s0, s1 = _log_add(s0, s1 - gap_cost), _log_add(s1, s0 - gap_cost)
        while i < n and row[i] == k:
            f0[i], f1[i] = s0, s1
            s0, s1 = _log_add(s0, s1 + score_out[i]), _log_add(s1, s0 + score_in[i])
            i += 1
        s0, s1 = _log_add(s0, s1 + silent), _log_add(s1, s0 + silent)
        s0 -= 0.5 * level_llr[k]
        s1 += 0.5 * level_llr[k]
    total = _log_add(s0, s1)
    chance_in, chance_out = np.zeros(n), np.zeros(n)
    b0, b1 = 0.0, 0.0
    i = n - 1
    for k in range(rows - 1, -1, -1):
        b0 -= 0.5 * level_llr[k]
        b1 += 0.5 * level_llr[k]
        b0, b1 = _log_add(b0, b1 + silent), _log_add(b1, b0 + silent)
        while i >= 0 and row[i] == k:
            chance_in[i] = np.exp(min(f0[i] + score_in[i] + b1 - total, 0.0))
            chance_out[i] = np.exp(min(f1[i] + score_out[i] + b0 - total, 0.0))
            b0, b1 = _log_add(b0, b1 + score_in[i]), _log_add(b1, b0 + score_out[i])
            i -= 1
        if segment > 0 and k == first[segment]:
            segment -= 1
            b0, b1 = _log_add(b0, b1 - gap_cost), _log_add(b1, b0 - gap_cost)
    return chance_in, chance_out


def decode(evidence: Evidence, prior: Prior, *, posteriors: bool = True) -> Path:
    """Return the most likely path.

    posteriors: work out the probabilities of the candidates too, else they are zero.
    """
    score, kind, silent_kind, on = _viterbi(evidence, prior)
    without_clicks = _viterbi(evidence.without_candidates(), prior)[0]
    n = len(evidence.row)
    chance_in, chance_out = _posteriors(evidence, prior) if posteriors else (np.zeros(n), np.zeros(n))
    rows = np.flatnonzero(silent_kind)
    return Path(
        kind, rows, silent_kind[rows], float(score), float(without_clicks), on.astype(bool), chance_in, chance_out
    )
