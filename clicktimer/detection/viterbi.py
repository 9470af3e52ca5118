"""The most likely sequence of cut-ins and cut-outs through the candidates and the level of the pump.

Two states, off and on. A candidate may turn off to on (as a cut-in) or on to off (as a cut-out) for its own score;
a change without a click is possible at a price; between changes every level step speaks for off or on. All scores
are natural logarithms of likelihood ratios against "this candidate is just another noise", so that they add up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from clicktimer.detection.compiled import compiled
from clicktimer.detection.onset_strength import F32, F64, I64


@dataclass(frozen=True, slots=True)
class Path:
    """A decoded sequence.

    kind: (n,) 0 not a click, 1 cut-in, 2 cut-out. silent_rows, silent_kinds: changes without a click.
    score: of the whole path. alone: of the best path without any click. on: (rows,) state of each level step.
    chance_in, chance_out: (n,) posterior of being a cut-in, a cut-out.
    """

    kind: np.ndarray
    silent_rows: np.ndarray
    silent_kinds: np.ndarray
    score: float
    alone: float
    on: np.ndarray
    chance_in: F64
    chance_out: F64

    @property
    def gain(self) -> float:
        """What the clicks add to the explanation."""
        return self.score - self.alone


@compiled
def _viterbi(
    llr: F32,
    first: I64,
    row: I64,
    time_s: F64,
    score_in: F64,
    score_out: F64,
    silent: float,
    least_s: float,
    least_rows: int,
    start_off: float,
    start_on: float,
    over_gap: float,
    kind: np.ndarray,
    silent_kind: np.ndarray,
    on: np.ndarray,
) -> float:
    rows = llr.shape[0]
    n = row.shape[0]
    took = np.zeros((n, 2), dtype=np.int8)
    hushed = np.zeros((rows, 2), dtype=np.int8)
    joined = np.zeros((rows, 2), dtype=np.int8)
    s0, s1 = start_off, start_on
    last0, last1 = -1e9, -1e9
    since0, since1 = -least_rows, -least_rows  # row in which a state was entered
    i = 0
    segment = 0
    for k in range(rows):
        if k == first[segment + 1] and segment + 2 < first.shape[0]:
            # After a gap the pump may be in either state.
            segment += 1
            t0, t1 = s0, s1
            if s1 - over_gap > s0:
                t0, last0, since0 = s1 - over_gap, -1e9, -least_rows
                joined[k, 0] = 1
            if s0 - over_gap > s1:
                t1, last1, since1 = s0 - over_gap, -1e9, -least_rows
                joined[k, 1] = 1
            s0, s1 = t0, t1
        while i < n and row[i] == k:
            t = time_s[i]
            n0, n1, l0, l1, e0, e1 = s0, s1, last0, last1, since0, since1
            if t - last0 >= least_s and k - since0 >= least_rows - 1 and s0 + score_in[i] > s1:
                n1, l1, e1 = s0 + score_in[i], t, k
                took[i, 1] = 1
            if t - last1 >= least_s and k - since1 >= least_rows - 1 and s1 + score_out[i] > s0:
                n0, l0, e0 = s1 + score_out[i], t, k
                took[i, 0] = 1
            s0, s1, last0, last1, since0, since1 = n0, n1, l0, l1, e0, e1
            i += 1
        n0, n1 = s0, s1
        # A change without a click is no way to take back the click just before it, or to make room for the next.
        if k - since1 >= least_rows and s1 + silent > s0:
            n0 = s1 + silent
            hushed[k, 0] = 1
        if k - since0 >= least_rows and s0 + silent > s1:
            n1 = s0 + silent
            hushed[k, 1] = 1
        if hushed[k, 0]:
            last0, since0 = -1e9, k
        if hushed[k, 1]:
            last1, since1 = -1e9, k
        s0 = n0 - 0.5 * llr[k]
        s1 = n1 + 0.5 * llr[k]
    best = max(s0, s1)
    state = 1 if s1 > s0 else 0
    i = n - 1
    for k in range(rows - 1, -1, -1):
        on[k] = state
        if hushed[k, state]:
            silent_kind[k] = 1 if state == 1 else 2
            state = 1 - state
        while i >= 0 and row[i] == k:
            if took[i, state]:
                kind[i] = 1 if state == 1 else 2
                state = 1 - state
            i -= 1
        if joined[k, state]:
            state = 1 - state
    return best


@compiled
def _log_add(a: float, b: float) -> float:
    if a < b:
        a, b = b, a
    if b < -1e8:
        return a
    return float(a + np.log1p(np.exp(b - a)))


@compiled
def _posteriors(
    llr: F32,
    first: I64,
    row: I64,
    score_in: F64,
    score_out: F64,
    silent: float,
    start_off: float,
    start_on: float,
    over_gap: float,
    chance_in: F64,
    chance_out: F64,
) -> None:
    """Forward and backward sums over all paths. The least length of a run is left out: it would need a longer
    memory.
    """
    rows = llr.shape[0]
    n = row.shape[0]
    f0 = np.zeros(n)
    f1 = np.zeros(n)
    s0, s1 = start_off, start_on
    i = 0
    segment = 0
    for k in range(rows):
        if k == first[segment + 1] and segment + 2 < first.shape[0]:
            segment += 1
            s0, s1 = _log_add(s0, s1 - over_gap), _log_add(s1, s0 - over_gap)
        while i < n and row[i] == k:
            f0[i], f1[i] = s0, s1
            s0, s1 = _log_add(s0, s1 + score_out[i]), _log_add(s1, s0 + score_in[i])
            i += 1
        s0, s1 = _log_add(s0, s1 + silent), _log_add(s1, s0 + silent)
        s0 -= 0.5 * llr[k]
        s1 += 0.5 * llr[k]
    total = _log_add(s0, s1)
    b0, b1 = 0.0, 0.0
    i = n - 1
    for k in range(rows - 1, -1, -1):
        b0 -= 0.5 * llr[k]
        b1 += 0.5 * llr[k]
        b0, b1 = _log_add(b0, b1 + silent), _log_add(b1, b0 + silent)
        while i >= 0 and row[i] == k:
            chance_in[i] = np.exp(min(f0[i] + score_in[i] + b1 - total, 0.0))
            chance_out[i] = np.exp(min(f1[i] + score_out[i] + b0 - total, 0.0))
            b0, b1 = _log_add(b0, b1 + score_in[i]), _log_add(b1, b0 + score_out[i])
            i -= 1
        if segment > 0 and k == first[segment]:
            segment -= 1
            b0, b1 = _log_add(b0, b1 - over_gap), _log_add(b1, b0 - over_gap)


def decode(
    llr: F32,
    first: I64,
    row: I64,
    time_s: F64,
    score_in: F64,
    score_out: F64,
    *,
    silent: float,
    least_s: float = 1.5,
    step_s: float = 0.25,
    start: tuple[float, float] = (0.0, 0.0),
    over_gap: float = 1.0,
    posteriors: bool = True,
) -> Path:
    """The best path. llr: (rows,) per level step of step_s, zeros where no pump is heard; row: (n,) row of each
    candidate, in order. least_s: shortest run or rest that begins with a click.
    """
    n = len(row)
    least = (least_s, round(least_s / step_s))
    kind = np.zeros(n, np.int8)
    silent_kind = np.zeros(len(llr), np.int8)
    on = np.zeros(len(llr), np.int8)
    args = (llr, first.astype(np.int64), row.astype(np.int64))
    score = _viterbi(
        *args, time_s, score_in, score_out, silent, *least, start[0], start[1], over_gap, kind, silent_kind, on
    )
    none = np.zeros(0, np.int64)
    nothing = np.zeros(0)
    unused = np.zeros(len(llr), np.int8)
    alone = _viterbi(
        llr,
        args[1],
        none,
        nothing,
        nothing,
        nothing,
        silent,
        *least,
        start[0],
        start[1],
        over_gap,
        none.astype(np.int8),
        unused,
        unused.copy(),
    )
    chance_in, chance_out = np.zeros(n), np.zeros(n)
    if posteriors:
        _posteriors(*args, score_in, score_out, silent, start[0], start[1], over_gap, chance_in, chance_out)
    rows = np.flatnonzero(silent_kind)
    return Path(kind, rows, silent_kind[rows], float(score), float(alone), on.astype(bool), chance_in, chance_out)
