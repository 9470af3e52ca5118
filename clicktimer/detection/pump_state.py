"""Is the pump running? The level track read as two states, off and on.

A track is a guess at which bands the pump is heard in. Guesses come from the steps of level at the candidates; each
is refined by itself (two states, weights by how far apart they are in each band) and judged later by the clicks:
the right one is that whose edges have clicks on them.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from clicktimer.detection import level_statistics
from clicktimer.detection.candidates import U8, LevelSegment, from_codes
from clicktimer.detection.compiled import compiled
from clicktimer.detection.onset_strength import F32, F64

STEP_WINDOW = 6
"""Level steps (of 0.25 s) on each side of a candidate from which its change of level is taken."""
_AT_ONCE = 20_000
_SAME = 0.97
"""Two tracks that agree on so much of the time are one."""


@dataclass(frozen=True, slots=True)
class Levels:
    """All level segments end to end; of small numbers, since a day has 345 600 steps.

    codes: (n, bands) half decibels (see to_codes). first: (segments + 1,) where each begins. start_s, step_s: per
    segment. changes: (n, bands) change of level at each step, quarters of a decibel. spread_db: (bands,) robust
    standard deviation of a change of level at any moment.
    """

    codes: U8
    first: np.ndarray
    start_s: F64
    step_s: F64
    changes: level_statistics.I16
    spread_db: F32

    def __len__(self) -> int:
        return len(self.codes)

    @property
    def db(self) -> F32:
        """All levels, dB of full scale, (n, bands): made anew each time."""
        return from_codes(self.codes)

    def db_at(self, rows: np.ndarray | slice) -> F32:
        """The levels of some steps."""
        return from_codes(self.codes[rows])

    def change_db_at(self, rows: np.ndarray | slice) -> F32:
        """The change of level at some steps, dB, (rows, bands)."""
        return self.changes[rows] * np.float32(level_statistics.CHANGE_DB)

    def position(self, time_s: F64) -> np.ndarray:
        """Row in which each time lies (the nearest row of its segment)."""
        segment = np.clip(np.searchsorted(self.start_s, time_s, side="right") - 1, 0, len(self.start_s) - 1)
        row = np.floor((time_s - self.start_s[segment]) / self.step_s[segment]).astype(np.int64)
        length = self.first[segment + 1] - self.first[segment]
        return self.first[segment] + np.clip(row, 0, np.maximum(length - 1, 0))

    def time_of(self, row: int) -> float:
        """Start of a row."""
        segment = int(np.searchsorted(self.first, row, side="right") - 1)
        segment = min(segment, len(self.start_s) - 1)
        return float(self.start_s[segment] + (row - self.first[segment]) * self.step_s[segment])


def gather(segments: list[LevelSegment]) -> Levels | None:
    """Put the segments end to end; None where there is too little sound to speak of levels."""
    segments = [s for s in segments if len(s.codes)]
    if not segments:
        return None
    used = min(s.used for s in segments) + segments[0].codes.shape[1] - 8
    parts = [s.codes[:, :used] for s in segments]
    codes = parts[0] if len(parts) == 1 else np.concatenate(parts)
    first = np.concatenate([[0], np.cumsum([len(s.codes) for s in segments])])
    return levels_of(codes, first, np.array([s.start_s for s in segments]), np.array([s.step_s for s in segments]))


def levels_of(
    codes: U8, first: np.ndarray, start_s: F64, step_s: F64, changes: level_statistics.I16 | None = None
) -> Levels:
    """The levels of segments end to end; changes where they are known already."""
    if changes is None:
        changes = np.zeros(codes.shape, np.int16)
        for a, b in pairwise(first):
            level_statistics.note_changes(codes[a:b], STEP_WINDOW, changes[a:b])
    spread = np.maximum(level_statistics.changes(changes)[1], np.float32(0.4))
    return Levels(codes, first, start_s, step_s, changes, spread)


@dataclass(frozen=True, slots=True)
class Track:
    """One guess at the pump.

    llr: (n,) log-likelihood ratio on : off of each level step, bounded. weights: (bands,). contrast_db: (bands,) on
    less off. apart: distance of the two states in standard deviations of one step. on: (n,) bool, by the level
    alone.
    """

    llr: F32
    weights: F32
    contrast_db: F32
    apart: float
    on: np.ndarray
    edges: np.ndarray


@compiled
def _two_states(llr: F32, first: np.ndarray, cost: float, on: np.ndarray) -> None:
    """Most likely sequence of off and on, each change priced; written to ``on``."""
    for g in range(first.shape[0] - 1):
        a, b = first[g], first[g + 1]
        back = np.zeros((b - a, 2), dtype=np.int8)
        s0, s1 = 0.0, 0.0
        for k in range(a, b):
            to0, to1 = s0, s1
            if s1 - cost > s0:
                to0 = s1 - cost
                back[k - a, 0] = 1
            if s0 - cost > s1:
                to1 = s0 - cost
                back[k - a, 1] = 1
            s0 = to0 - 0.5 * llr[k]
            s1 = to1 + 0.5 * llr[k]
        state = 1 if s1 > s0 else 0
        for k in range(b - 1, a - 1, -1):
            on[k] = state
            if back[k - a, state]:
                state = 1 - state


def refine(levels: Levels, low: F32, high: F32, *, rounds: int = 4) -> Track | None:
    """A track from a first guess at the levels (dB by band) of off and on; None where it does not hold together."""
    spread = levels.spread_db
    on = np.zeros(len(levels), np.int8)
    llr = np.zeros(len(levels), np.float32)
    apart = 0.0
    for turn in range(rounds):
        y = _position(levels, low, high, spread)
        if turn:
            (m0, s0), (m1, s1) = (_middle(y[on == v]) for v in (0, 1))
        else:
            m0, m1, s0, s1 = 0.0, 1.0, 0.25, 0.25
        sd = max(s0, s1, 0.02)
        apart = (m1 - m0) / sd
        if apart <= 0:
            return None
        # Neighbouring steps are alike (a pump wobbles, rain swells): a step counts for a third of itself, and never
        # much.
        raw = ((y - m0) ** 2 - (y - m1) ** 2) / (2.0 * sd * sd) / 3.0
        llr = np.clip(raw, -1.2, 1.2).astype(np.float32)
        _two_states(llr, levels.first, 5.0, on)
        if on.sum() < 4 or (1 - on).sum() < 4:
            return None
        low, sd_low = level_statistics.levels(levels.codes, on == 0)
        high, sd_high = level_statistics.levels(levels.codes, on == 1)
        spread = np.maximum(np.maximum(sd_low, sd_high) + np.float32(0.5), 0.7)
    contrast = high - low
    weights = np.maximum(contrast, 0.0) / spread**2
    if float(contrast @ (np.abs(contrast) / spread**2)) < 0:  # whatever runs adds sound
        return None
    change = np.flatnonzero(np.diff(on)) + 1
    edges = np.setdiff1d(change, levels.first)
    return Track(llr, weights.astype(np.float32), contrast.astype(np.float32), apart, on.astype(bool), edges)


def _position(levels: Levels, low: F32, high: F32, spread: F32) -> F32:
    """Where each step lies between off (0) and on (1), by the bands in which the two differ.

    Other sounds only ever add. So where enough bands tell, the lower half of them decides: a voice fills some bands
    for some of the time, a running pump all of its own all the time.
    """
    contrast = high - low
    telling = np.flatnonzero((contrast > 2.5) & (contrast > 1.2 * spread))
    weights = contrast / spread**2
    scale = max(float(contrast @ weights), 1e-9)
    out = np.empty(len(levels), np.float32)
    for a in range(0, len(levels), _AT_ONCE):
        some = levels.db_at(slice(a, a + _AT_ONCE))
        if len(telling) >= 4:
            place = np.sort(np.clip((some[:, telling] - low[telling]) / contrast[telling], -1.0, 2.0), axis=1)
            out[a : a + _AT_ONCE] = place[:, : (len(telling) + 1) // 2].mean(axis=1)
        else:
            out[a : a + _AT_ONCE] = np.sum((some - low) * weights, axis=1) / scale
    return out


def _middle(values: F32) -> tuple[float, float]:
    middle = float(np.median(values))
    return middle, 1.4826 * float(np.median(np.abs(values - middle))) + 0.02


def is_new(track: Track, known: list[Track]) -> bool:
    """Whether a track is not much like any of these."""
    return not any(np.mean(track.on == other.on) > _SAME for other in known)


def guesses(levels: Levels, rows: np.ndarray, most: int = 6) -> list[Track]:
    """Tracks worth trying, from the changes of level at the given rows (where candidates are), the plainest first."""
    rows = np.unique(rows)
    z = np.clip(levels.change_db_at(rows) / levels.spread_db, -8.0, 8.0)
    if not len(z):
        return []
    size = np.sqrt(np.mean(np.sort(z**2, axis=1)[:, -6:], axis=1))
    order = np.argsort(-size, kind="stable")[:40]
    tracks: list[Track] = []
    tried: list[np.ndarray] = []
    for i in order:
        if size[i] < 2.5 or len(tracks) >= most:
            break
        direction = z[i] * np.sign(z[i].sum() or 1.0)
        direction /= np.linalg.norm(direction)
        if any(float(direction @ t) > 0.9 for t in tried):
            continue
        tried.append(direction)
        a, b = _around(levels, int(rows[i]))
        low, high = (a, b) if (b - a).sum() > 0 else (b, a)
        track = refine(levels, low, high)
        if track is None or track.apart < 1.2:
            continue
        if is_new(track, tracks):
            tracks.append(track)
    return tracks


def _around(levels: Levels, row: int) -> tuple[F32, F32]:
    w = STEP_WINDOW
    segment = int(np.searchsorted(levels.first, row, side="right") - 1)
    a, b = int(levels.first[segment]), int(levels.first[segment + 1])
    before = np.median(levels.db_at(slice(max(row - w, a), max(row, a + 1))), axis=0)
    after = np.median(levels.db_at(slice(min(row + 1, b - 1), min(row + 1 + w, b))), axis=0)
    return before, after


def levels_around(levels: Levels, ins: np.ndarray, outs: np.ndarray) -> tuple[F32, F32]:
    """Typical levels with the pump off and on, from the rows of some cut-ins and cut-outs: two arrays (bands,), dB."""
    pairs_in = [_around(levels, int(r)) for r in ins]
    pairs_out = [_around(levels, int(r)) for r in outs]
    off = [p[0] for p in pairs_in] + [p[1] for p in pairs_out]
    on = [p[1] for p in pairs_in] + [p[0] for p in pairs_out]
    return np.median(np.array(off), axis=0), np.median(np.array(on), axis=0)


def runs_by_sound(
    levels: Levels, track: Track, *, least_s: float = 5.0, least_runs: int = 3
) -> list[tuple[float, bool]]:
    """Starts (True) and stops of the pump by its sound alone, (time_s, is a start); empty where that cannot be told.

    Asked for are several runs much alike, each begun and ended within half a second and standing far out of the room:
    rain and traffic come and go slowly, appliances seldom three times.
    """
    if track.apart < 6.0 or int(np.count_nonzero(track.contrast_db > 5.0)) < 4:
        return []
    bands = np.flatnonzero(track.contrast_db > 5.0)
    y = from_codes(levels.codes[:, bands]).mean(axis=1)
    height = float(track.contrast_db[bands].mean())
    found: list[tuple[float, bool]] = []
    whole = 0
    for a, b in pairwise(levels.first):
        edges = [e for e in track.edges.tolist() if a < e < b]
        step_s = float(levels.step_s[int(np.searchsorted(levels.first, a, side="right") - 1)])
        bounds = [int(a), *edges, int(b)]
        if any((q - p) * step_s < least_s for p, q in pairwise(bounds[1:-1])):
            return []
        for e in edges:
            sharp = abs(
                float(np.median(y[min(e + 1, b - 1) : e + 4]) - np.median(y[max(e - 4, a) : max(e - 1, a + 1)]))
            )
            if sharp < 0.6 * height:
                return []
            found.append((levels.time_of(e), bool(track.on[e])))
        whole += sum(1 for p, q in pairwise(edges) if track.on[p] and not track.on[min(q, b - 1)])
    return found if whole >= least_runs else []
