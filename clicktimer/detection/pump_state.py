"""Is the pump running? The level of the sound read as two states, off and on.

A ``PumpEstimate`` says in which bands the pump may be heard, and when it runs. Estimates start from the changes of
level at the candidates; each is refined by itself (two states, weights by how far apart they are in each band) and
judged later by the clicks: the right one has clicks at its starts and stops.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from clicktimer.detection import level_statistics
from clicktimer.detection.candidates import U8, LevelSegment, from_codes
from clicktimer.detection.compiled import compiled
from clicktimer.detection.model_params import PumpState as Params
from clicktimer.detection.onset_strength import F32, F64
from clicktimer.detection.small_statistics import MAD_TO_SD

AT_ONCE = 20_000
"""Level steps whose levels are unpacked at once, to bound memory."""


@dataclass(frozen=True, slots=True)
class Levels:
    """All level segments end to end; of small numbers, since a day has 345,600 steps.

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
        """Return the levels of some steps, dB of full scale, (rows, bands)."""
        return from_codes(self.codes[rows])

    def change_db_at(self, rows: np.ndarray | slice) -> F32:
        """Return the change of level at some steps, dB, (rows, bands)."""
        return self.changes[rows] * np.float32(level_statistics.CHANGE_DB)

    def position(self, time_s: F64) -> np.ndarray:
        """Return the row in which each time lies (the nearest row of its segment)."""
        segment = np.clip(np.searchsorted(self.start_s, time_s, side="right") - 1, 0, len(self.start_s) - 1)
        row = np.floor((time_s - self.start_s[segment]) / self.step_s[segment]).astype(np.int64)
        length = self.first[segment + 1] - self.first[segment]
        return self.first[segment] + np.clip(row, 0, np.maximum(length - 1, 0))

    def time_of(self, row: int) -> float:
        """Return the time at which a row starts, in seconds."""
        segment = int(np.searchsorted(self.first, row, side="right") - 1)
        segment = min(segment, len(self.start_s) - 1)
        return float(self.start_s[segment] + (row - self.first[segment]) * self.step_s[segment])


def gather(segments: list[LevelSegment], params: Params) -> Levels | None:
    """Put the segments end to end; None if there is too little sound to speak of levels."""
    segments = [s for s in segments if len(s.codes)]
    if not segments:
        return None
    used = min(s.used for s in segments) + segments[0].codes.shape[1] - 8
    parts = [s.codes[:, :used] for s in segments]
    codes = parts[0] if len(parts) == 1 else np.concatenate(parts)
    first = np.concatenate([[0], np.cumsum([len(s.codes) for s in segments])])
    start_s, step_s = np.array([s.start_s for s in segments]), np.array([s.step_s for s in segments])
    return levels_of(codes, first, start_s, step_s, params)


def levels_of(
    codes: U8,
    first: np.ndarray,
    start_s: F64,
    step_s: F64,
    params: Params,
    changes: level_statistics.I16 | None = None,
) -> Levels:
    """Return the levels of segments that lie end to end; changes: if they are known already."""
    if changes is None:
        changes = np.zeros(codes.shape, np.int16)
        for a, b in pairwise(first):
            level_statistics.note_changes(codes[a:b], params.step_window, changes[a:b])
    spread = np.maximum(level_statistics.changes(changes)[1], np.float32(params.least_spread_db))
    return Levels(codes, first, start_s, step_s, changes, spread)


@dataclass(frozen=True, slots=True)
class PumpEstimate:
    """One estimate of when the pump runs.

    llr: (n,) log-likelihood ratio on : off of each level step, bounded. weights: (bands,). contrast_db: (bands,) on
    less off. apart: distance of the two states in standard deviations of one step. on: (n,) bool, by the level
    alone. edges: rows at which the state changes.
    """

    llr: F32
    weights: F32
    contrast_db: F32
    apart: float
    on: np.ndarray
    edges: np.ndarray


@compiled
def _two_states(llr: F32, first: np.ndarray, cost: float, on: np.ndarray) -> None:
    """Write the most likely sequence of off and on to ``on``; each change of state costs ``cost``."""
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


def refine(levels: Levels, low: F32, high: F32, params: Params) -> PumpEstimate | None:
    """Return an estimate from a first guess at the levels of off and on; None if it does not hold together.

    Parameters
    ----------
    levels
        Levels of the recording.
    low, high
        (bands,) levels of off and of on, dB of full scale.
    params
        Section ``pump_state``.
    """
    spread = levels.spread_db
    on = np.zeros(len(levels), np.int8)
    llr = np.zeros(len(levels), np.float32)
    apart = 0.0
    for number in range(params.refine_rounds):
        y = _position(levels, low, high, spread, params)
        if number:
            (m0, s0), (m1, s1) = (_median_and_sd(y[on == v], params) for v in (0, 1))
        else:
            m0, m1, s0, s1 = 0.0, 1.0, params.first_sd, params.first_sd
        sd = max(s0, s1, params.least_sd)
        apart = (m1 - m0) / sd
        if apart <= 0:
            return None
        # Neighboring steps are alike (a pump wobbles, rain swells), so a step counts for a part of itself.
        raw = ((y - m0) ** 2 - (y - m1) ** 2) / (2.0 * sd * sd) / params.steps_per_sample
        llr = np.clip(raw, -params.most_step_llr, params.most_step_llr).astype(np.float32)
        _two_states(llr, levels.first, params.switch_cost, on)
        if on.sum() < params.least_steps or (1 - on).sum() < params.least_steps:
            return None
        low, sd_low = level_statistics.levels(levels.codes, on == 0)
        high, sd_high = level_statistics.levels(levels.codes, on == 1)
        spread = np.maximum(np.maximum(sd_low, sd_high) + np.float32(params.band_sd_added_db), params.least_band_sd_db)
    contrast = high - low
    weights = np.maximum(contrast, 0.0) / spread**2
    if float(contrast @ (np.abs(contrast) / spread**2)) < 0:  # a running pump adds sound
        return None
    change = np.flatnonzero(np.diff(on)) + 1
    edges = np.setdiff1d(change, levels.first)
    return PumpEstimate(llr, weights.astype(np.float32), contrast.astype(np.float32), apart, on.astype(bool), edges)


def _position(levels: Levels, low: F32, high: F32, spread: F32, params: Params) -> F32:
    """Return where each step lies between off (0) and on (1), by the bands in which the two differ.

    Other sounds only ever add. So if enough bands tell off from on, the lower half of them decides: a voice fills some
    bands for some of the time, a running pump all of its own bands all the time.
    """
    contrast = high - low
    decisive = np.flatnonzero((contrast > params.decisive_db) & (contrast > params.decisive_sd * spread))
    weights = contrast / spread**2
    scale = max(float(contrast @ weights), 1e-9)
    out = np.empty(len(levels), np.float32)
    for a in range(0, len(levels), AT_ONCE):
        some = levels.db_at(slice(a, a + AT_ONCE))
        if len(decisive) >= params.least_decisive:
            place = (some[:, decisive] - low[decisive]) / contrast[decisive]
            place = np.sort(np.clip(place, params.position_low, params.position_high), axis=1)
            out[a : a + AT_ONCE] = place[:, : (len(decisive) + 1) // 2].mean(axis=1)
        else:
            out[a : a + AT_ONCE] = np.sum((some - low) * weights, axis=1) / scale
    return out


def _median_and_sd(values: F32, params: Params) -> tuple[float, float]:
    middle = float(np.median(values))
    return middle, MAD_TO_SD * float(np.median(np.abs(values - middle))) + params.least_sd


def is_new(pump: PumpEstimate, known: list[PumpEstimate], params: Params) -> bool:
    """Return True if an estimate differs from all of these."""
    return not any(np.mean(pump.on == other.on) > params.same_share for other in known)


def estimates(levels: Levels, rows: np.ndarray, params: Params) -> list[PumpEstimate]:
    """Return estimates worth trying, from the changes of level at the given rows, the largest change first."""
    rows = np.unique(rows)
    z = np.clip(levels.change_db_at(rows) / levels.spread_db, -params.change_cap, params.change_cap)
    if not len(z):
        return []
    size = np.sqrt(np.mean(np.sort(z**2, axis=1)[:, -params.change_bands :], axis=1))
    order = np.argsort(-size, kind="stable")[: params.most_changes]
    found: list[PumpEstimate] = []
    tried: list[np.ndarray] = []
    for i in order:
        if size[i] < params.least_change or len(found) >= params.most_estimates:
            break
        direction = z[i] * np.sign(z[i].sum() or 1.0)
        direction /= np.linalg.norm(direction)
        if any(float(direction @ t) > params.same_direction for t in tried):
            continue
        tried.append(direction)
        a, b = _around(levels, int(rows[i]), params.step_window)
        low, high = (a, b) if (b - a).sum() > 0 else (b, a)
        pump = refine(levels, low, high, params)
        if pump is None or pump.apart < params.least_apart:
            continue
        if is_new(pump, found, params):
            found.append(pump)
    return found


def _around(levels: Levels, row: int, window: int) -> tuple[F32, F32]:
    """Return the median levels before and after a row, (bands,) each, dB."""
    segment = int(np.searchsorted(levels.first, row, side="right") - 1)
    a, b = int(levels.first[segment]), int(levels.first[segment + 1])
    before = np.median(levels.db_at(slice(max(row - window, a), max(row, a + 1))), axis=0)
    after = np.median(levels.db_at(slice(min(row + 1, b - 1), min(row + 1 + window, b))), axis=0)
    return before, after


def levels_around(levels: Levels, ins: np.ndarray, outs: np.ndarray, params: Params) -> tuple[F32, F32]:
    """Return typical levels with the pump off and on, from the rows of some cut-ins and cut-outs: (bands,) each, dB."""
    pairs_in = [_around(levels, int(r), params.step_window) for r in ins]
    pairs_out = [_around(levels, int(r), params.step_window) for r in outs]
    off = [p[0] for p in pairs_in] + [p[1] for p in pairs_out]
    on = [p[1] for p in pairs_in] + [p[0] for p in pairs_out]
    return np.median(np.array(off), axis=0), np.median(np.array(on), axis=0)


def runs_by_sound(levels: Levels, pump: PumpEstimate, params: Params) -> list[tuple[float, bool]]:
    """Return starts (True) and stops of the pump by its sound alone, (time_s, is a start); empty if that is unsure.

    Several runs are needed, each begun and ended within half a second and standing far out of the room: rain and
    traffic come and go slowly, appliances seldom three times.
    """
    bands = np.flatnonzero(pump.contrast_db > params.sound_band_db)
    if pump.apart < params.sound_apart or len(bands) < params.sound_bands:
        return []
    y = from_codes(levels.codes[:, bands]).mean(axis=1)
    height = float(pump.contrast_db[bands].mean())
    found: list[tuple[float, bool]] = []
    whole, w = 0, params.sound_sharp_steps
    for a, b in pairwise(levels.first):
        edges = [e for e in pump.edges.tolist() if a < e < b]
        step_s = float(levels.step_s[int(np.searchsorted(levels.first, a, side="right") - 1)])
        bounds = [int(a), *edges, int(b)]
        if any((q - p) * step_s < params.sound_least_run_s for p, q in pairwise(bounds[1:-1])):
            return []
        for e in edges:
            before, after = y[max(e - w, a) : max(e - 1, a + 1)], y[min(e + 1, b - 1) : e + w]
            if abs(float(np.median(after) - np.median(before))) < params.sound_sharp_share * height:
                return []
            found.append((levels.time_of(e), bool(pump.on[e])))
        whole += sum(1 for p, q in pairwise(edges) if pump.on[p] and not pump.on[min(q, b - 1)])
    return found if whole >= params.sound_least_runs else []
