"""Levels and detected runs -> does something else start and stop beside the pump?

A second pump, or another machine, adds its own sound for a while, whatever runs beside it. So the levels are cut at the
pump's own starts and stops, and within the runs, and within the rests, two states are looked for again: quieter and
louder, sharply apart, each for seconds. What is louder there is not the pump. Where it lies against the pump's runs
shows whether the two go together. Runs that sound quite unlike each other are reported too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from clicktimer.detection import level_statistics, pump_state
from clicktimer.detection.candidates import from_codes
from clicktimer.detection.model_params import SecondMachine as Params
from clicktimer.detection.onset_strength import F32
from clicktimer.detection.params import DetectionParams
from clicktimer.detection.pump_state import AT_ONCE, Levels, PumpEstimate

Run = tuple[float, float]


@dataclass(frozen=True, slots=True)
class SecondMachine:
    """Something that ran beside the pump.

    runs_s: when, cut at the pump's own starts and stops. with_pump, without: how many of those lie in its runs and in
    its rests. shared_s: starts of the pump's runs in which it ran. touched_s: starts of those that it ran up to, or on
    from. pump_runs: how many runs of the pump were detected. others_s: starts of detected runs that are not the pump's,
    by their sound. louder_s: ends of detected runs at which sound comes instead of going. least_together: parameter.
    """

    runs_s: tuple[Run, ...]
    with_pump: int
    without: int
    shared_s: tuple[float, ...]
    pump_runs: int
    least_together: int
    touched_s: tuple[float, ...] = ()
    others_s: tuple[float, ...] = ()
    louder_s: tuple[float, ...] = ()

    @property
    def joined(self) -> int:
        """How many of the pump's runs it ran in, up to or on from."""
        return len({*self.shared_s, *self.touched_s})

    @property
    def may_be_a_pump(self) -> bool:
        """Whether it ran with the pump again and again, in half of its runs, and not apart from it."""
        apart = self.without > 0 and 2 * len(self.touched_s) < self.pump_runs
        return self.joined >= self.least_together and 2 * self.joined >= self.pump_runs and not apart


def find_second_machine(
    levels: Levels | None, runs_s: Sequence[Run], by_clicks: Sequence[bool], params: DetectionParams
) -> SecondMachine | None:
    """Return what ran beside the pump, or None.

    Parameters
    ----------
    levels
        Levels of the recording.
    runs_s
        The pump's detected runs, in order, without overlap, seconds.
    by_clicks
        Whether each has both its clicks.
    params
        Parameters of the detector.
    """
    if levels is None or not runs_s or not len(levels.start_s):
        return None
    p = params.second_machine
    own, others = _two_kinds(levels, runs_s, by_clicks, p)
    on = _louder(_inner(levels, own, params), params)
    off = _louder(_inner(levels, _rests(levels, [*own, *others]), params), params)
    if on is not None and off is not None and _unlike_db(on.added_db, off.added_db, p) > p.alike_db:
        on, off = (on, None) if on.apart >= off.apart else (None, off)  # two different sounds: the plainer one counts
    edges = 2 * len(others) + sum(found.edges for found in (on, off) if found is not None)
    louder = [b for a, b in own if _comes_at(levels, b, p)]
    if len(louder) < p.least_louder or 2 * len(louder) < len(own):
        louder = []
    if edges < p.least_edges:
        if not louder:
            return None
        return SecondMachine((), 0, 0, (), len(own), p.least_together, louder_s=tuple(louder))
    with_pump = on.runs_s if on is not None else []
    without = off.runs_s if off is not None else []
    near_s = p.margin_s + p.inside_s
    return SecondMachine(
        runs_s=tuple(sorted([*with_pump, *without, *others])),
        with_pump=len(with_pump),
        without=len(without) + len(others),
        shared_s=tuple(a for a, b in own if any(begin < b and end > a for begin, end in with_pump)),
        pump_runs=len(own),
        least_together=p.least_together,
        touched_s=tuple(
            a for a, b in own if any(abs(end - a) <= near_s or abs(begin - b) <= near_s for begin, end in without)
        ),
        others_s=tuple(a for a, _ in others),
        louder_s=tuple(louder),
    )


def _comes_at(levels: Levels, time_s: float, p: Params) -> bool:
    """Return True if sound comes, to stay for seconds, at a time where the pump should stop."""
    before = _rows(levels, time_s - p.stop_far_s, time_s - p.stop_near_s)
    after = _rows(levels, time_s + p.after_near_s, time_s + p.after_far_s)
    if min(len(before), len(after)) < p.least_stop_steps:
        return False
    change = np.median(levels.db_at(after), axis=0) - np.median(levels.db_at(before), axis=0)
    return bool((change >= p.louder_db).sum() >= p.least_bands and (change <= -p.louder_db).sum() == 0)


def _two_kinds(
    levels: Levels, runs_s: Sequence[Run], by_clicks: Sequence[bool], p: Params
) -> tuple[list[Run], list[Run]]:
    """Return the pump's runs, and those that sound quite unlike them. The pump has most runs with both clicks."""
    sounds = [_sound_of(levels, runs_s, k, p) for k in range(len(runs_s))]
    groups: list[list[int]] = []
    for k, sound in enumerate(sounds):
        if sound is None:
            continue
        for group in groups:
            first = sounds[group[0]]
            if first is not None and _unlike_db(first, sound, p) <= p.unlike_db:
                group.append(k)
                break
        else:
            groups.append([k])
    if len(groups) < 2:
        return list(runs_s), []
    groups.sort(key=lambda g: (-sum(by_clicks[k] for k in g), -len(g), g[0]))
    # One that stands alone may be the pump with a tap or a voice beside it.
    least = max(2, round(p.least_share * len(runs_s)))
    others = [k for g in groups[1:] if len(g) >= least for k in g]
    return [r for k, r in enumerate(runs_s) if k not in others], [r for k, r in enumerate(runs_s) if k in others]


def _sound_of(levels: Levels, runs_s: Sequence[Run], number: int, p: Params) -> F32 | None:
    """Return what a run adds to the room around it, (bands,) dB; NaN in bands that do not tell, None if few do."""
    begin, end = runs_s[number]
    earlier = runs_s[number - 1][1] if number else -np.inf
    later = runs_s[number + 1][0] if number + 1 < len(runs_s) else np.inf
    inside = _rows(levels, begin + p.inside_s, end - p.inside_s)
    before = _rows(levels, max(begin - p.rest_s, earlier + p.inside_s), begin - p.after_near_s)
    after = _rows(levels, end + p.after_near_s, min(end + p.rest_s, later - p.inside_s))
    outside = np.concatenate([before, after])
    if min(len(inside), len(outside)) < p.least_sound_steps:
        return None
    high, low = np.median(levels.db_at(inside), axis=0), np.median(levels.db_at(outside), axis=0)
    decisive = high - low >= p.decisive_db
    if decisive.sum() < p.least_bands:
        return None
    added = 10.0 * np.log10(np.maximum(10.0 ** (high / 10.0) - 10.0 ** (low / 10.0), 1e-13))
    return np.where(decisive, added, np.nan).astype(np.float32)


def _rows(levels: Levels, from_s: float, to_s: float) -> np.ndarray:
    """Return the rows whose step lies within these times."""
    found = []
    for g in range(len(levels.start_s)):
        start, step = float(levels.start_s[g]), float(levels.step_s[g])
        count = int(levels.first[g + 1] - levels.first[g])
        a, b = max(int(np.ceil((from_s - start) / step)), 0), min(int((to_s - start) / step), count)
        if b > a:
            found.append(np.arange(a, b) + int(levels.first[g]))
    return np.concatenate(found) if found else np.zeros(0, np.int64)


def _rests(levels: Levels, runs_s: Sequence[Run]) -> list[Run]:
    runs_s = sorted(runs_s)
    last = len(levels.start_s) - 1
    end_s = float(levels.start_s[last] + (levels.first[last + 1] - levels.first[last]) * levels.step_s[last])
    bounds = [float(levels.start_s[0]), *(t for run in runs_s for t in run), end_s]
    return list(zip(bounds[0::2], bounds[1::2], strict=True))


def _inner(levels: Levels, parts_s: Sequence[Run], params: DetectionParams) -> Levels | None:
    """Return the levels of these parts alone, each a segment without its margins; None if that is too little."""
    p = params.second_machine
    rows: list[tuple[int, int, float, float]] = []
    for a_s, b_s in parts_s:
        for g in range(len(levels.start_s)):
            start, step = float(levels.start_s[g]), float(levels.step_s[g])
            count = int(levels.first[g + 1] - levels.first[g])
            a = max(int(np.ceil((a_s + p.margin_s - start) / step)), 0)
            b = min(int((b_s - p.margin_s - start) / step), count)
            if (b - a) * step >= p.shortest_part_s:
                rows.append((int(levels.first[g]) + a, int(levels.first[g]) + b, start + a * step, step))
    if sum(b - a for a, b, _, _ in rows) < p.least_steps:
        return None
    codes = np.concatenate([levels.codes[a:b] for a, b, _, _ in rows])
    changes = np.concatenate([levels.changes[a:b] for a, b, _, _ in rows])
    first = np.concatenate([[0], np.cumsum([b - a for a, b, _, _ in rows])])
    start_s, step_s = np.array([t for _, _, t, _ in rows]), np.array([s for _, _, _, s in rows])
    return pump_state.levels_of(codes, first, start_s, step_s, params.pump_state, changes)


@dataclass(frozen=True, slots=True)
class _Louder:
    """Louder stretches: their times, what they add (bands,) dB, distance of the two states, count of sharp edges."""

    runs_s: list[Run]
    added_db: F32
    apart: float
    edges: int


def _louder(levels: Levels | None, params: DetectionParams) -> _Louder | None:
    """Return louder stretches within these parts; None if the parts hold one state."""
    if levels is None:
        return None
    p = params.second_machine
    size = np.zeros(len(levels), np.float32)
    for at in range(0, len(size), AT_ONCE):
        some = slice(at, at + AT_ONCE)
        size[some] = np.maximum(np.abs(levels.change_db_at(some)) - p.least_db, 0.0).sum(axis=1)
    rows = np.argsort(-size, kind="stable")[: p.most_changes]
    best: _Louder | None = None
    for machine in pump_state.estimates(levels, rows[size[rows] > 0.0], params.pump_state):
        found = _sharp_runs(levels, machine, p)
        if found is not None and (best is None or found.edges > best.edges):
            best = found
    return best


def _sharp_runs(levels: Levels, machine: PumpEstimate, p: Params) -> _Louder | None:
    """Return the louder stretches by one estimate; None if they do not begin and end sharply, or too quickly."""
    decisive = machine.contrast_db >= p.least_db
    if machine.apart < p.least_apart or decisive.sum() < p.least_bands or np.any(machine.contrast_db < -p.least_db):
        return None
    y = from_codes(levels.codes[:, decisive]).mean(axis=1)
    height = float(machine.contrast_db[decisive].mean())
    runs: list[Run] = []
    edges = dull = 0
    for g, (a, b) in enumerate(pairwise(levels.first.tolist())):
        step_s = float(levels.step_s[g])
        bounds = [a, *(e for e in machine.edges.tolist() if a < e < b), b]
        for k, (begin, end) in enumerate(pairwise(bounds)):
            whole = 0 < k < len(bounds) - 2
            if whole and (end - begin) * step_s < p.least_s:
                return None  # comes and goes too quickly for a machine
            if begin > a:
                before, after = (
                    y[max(begin - p.sharp_steps, a) : max(begin - 1, a + 1)],
                    y[begin + 1 : begin + p.sharp_steps],
                )
                if abs(float(np.median(after) - np.median(before))) < p.sharp_share * height:
                    dull += 1
                edges += 1
            if machine.on[begin] and (end - begin) * step_s >= p.least_s:
                runs.append((levels.time_of(begin), levels.time_of(end - 1) + step_s))
    if edges < 2 or dull > p.most_dull * edges:
        return None
    low, high = (
        level_statistics.levels(levels.codes, ~machine.on)[0],
        level_statistics.levels(levels.codes, machine.on)[0],
    )
    added = 10.0 * np.log10(np.maximum(10.0 ** (high / 10.0) - 10.0 ** (low / 10.0), 1e-13))
    return _Louder(runs, np.where(decisive, added, np.nan).astype(np.float32), machine.apart, edges - dull)


def _unlike_db(a: F32, b: F32, p: Params) -> float:
    """Return how far two added sounds differ, dB; infinite if too few bands tell of both."""
    both = ~np.isnan(a) & ~np.isnan(b)
    if both.sum() < p.least_common:
        return float("inf")
    return float(np.sqrt(np.mean((a[both] - b[both]) ** 2)))
