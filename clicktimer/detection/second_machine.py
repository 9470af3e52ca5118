"""Stage 3, after the clicks: the level track and the runs told -> does something else start and stop beside the pump?

A second pump, or another machine, adds its own sound for a while, whatever runs beside it. So the level track is cut
at the pump's own starts and stops, and within the runs, and within the rests, two states are looked for again: quieter
and louder, sharply apart, each for seconds. What is louder there is not the pump that was told. Where it lies against
the pump's runs says whether the two go together. Runs that were told and sound quite unlike each other are told too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from clicktimer.detection import level_statistics, pump_state
from clicktimer.detection.candidates import from_codes
from clicktimer.detection.onset_strength import F32
from clicktimer.detection.pump_state import Levels, Track

Run = tuple[float, float]

LEAST_EDGES = 3
"""Starts and stops heard beside the pump's own, to be told at all (two starts and a stop, say)."""
LEAST_S = 5.0
"""A shorter sound is no machine's run."""
LEAST_APART = 2.5
"""Distance of the two states in standard deviations of a step of level."""
LEAST_BANDS = 5
"""Bands in which the louder state stands over the quieter one ..."""
LEAST_DB = 1.4
"""... by at least this."""
SHARP_SHARE = 0.6
"""Share of the difference that must come within a second ..."""
MOST_DULL = 0.2
"""... at all edges but this part of them (a word may fall on one)."""
ALIKE_DB = 4.0
"""Root mean square difference between two sounds of one machine, over the bands that tell."""
QUITE_UNLIKE_DB = 4.5
"""Two told runs whose sounds differ by more are not of one machine."""
LEAST_SHARE = 0.15
"""Runs that are unlike the others are told when they are two, and of many runs this part: in a day much else sounds."""
LEAST_TOGETHER = 3
"""Something that ran so often with the pump, in half of its runs, and never without it, may be a second pump."""
LOUDER_DB = 3.0
LEAST_LOUDER = 2
"""A pump that stops takes sound away. Where it comes instead by so much, at so many told stops and half of them,
something else starts there."""
_MARGIN_S = 1.0
_REST_S = 8.0
_SHORTEST_PART_S = 12.0
_AT_ONCE = 20_000


@dataclass(frozen=True, slots=True)
class Company:
    """Something that ran beside the pump.

    runs_s: when, cut at the pump's own starts and stops. with_pump, without: how many of those lie in its runs and in
    its rests. shared_s: starts of the pump's runs in which it ran. touched_s: starts of those that it ran up to, or on
    from. pump_runs: how many runs the pump was told to have. others_s: starts of told runs that are not the pump's, by
    their sound. louder_s: ends of told runs at which sound comes instead of going.
    """

    runs_s: tuple[Run, ...]
    with_pump: int
    without: int
    shared_s: tuple[float, ...]
    pump_runs: int
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
        return self.joined >= LEAST_TOGETHER and 2 * self.joined >= self.pump_runs and not apart


def beside(levels: Levels | None, runs_s: Sequence[Run], by_clicks: Sequence[bool] = ()) -> Company | None:
    """What ran beside the pump, or None.

    runs_s: the pump's runs as told, in order, without overlap; by_clicks: whether each has both its clicks.
    """
    if levels is None or not runs_s or not len(levels.start_s):
        return None
    clicked = list(by_clicks) or [True] * len(runs_s)
    own, others = _two_kinds(levels, runs_s, clicked)
    on = _louder(_inner(levels, own))
    off = _louder(_inner(levels, _rests(levels, [*own, *others])))
    if on is not None and off is not None and _unlike_db(on[1], off[1]) > ALIKE_DB:
        on, off = (on, None) if on[2] >= off[2] else (None, off)  # two sounds of their own: the plainer one is told
    edges = 2 * len(others) + sum(found[3] for found in (on, off) if found is not None)
    louder = [b for a, b in own if _comes_at(levels, b)]
    if len(louder) < LEAST_LOUDER or 2 * len(louder) < len(own):
        louder = []
    if edges < LEAST_EDGES:
        return Company((), 0, 0, (), len(own), louder_s=tuple(louder)) if louder else None
    with_pump = on[0] if on is not None else []
    without = off[0] if off is not None else []
    shared = tuple(a for a, b in own if any(begin < b and end > a for begin, end in with_pump))
    near_s = _MARGIN_S + 1.0
    touched = tuple(
        a for a, b in own if any(abs(end - a) <= near_s or abs(begin - b) <= near_s for begin, end in without)
    )
    return Company(
        tuple(sorted([*with_pump, *without, *others])),
        len(with_pump),
        len(without) + len(others),
        shared,
        len(own),
        touched,
        tuple(a for a, _ in others),
        tuple(louder),
    )


def _comes_at(levels: Levels, time_s: float) -> bool:
    """Whether sound comes, to stay for seconds, at a time where the pump was told to stop."""
    before = _rows(levels, time_s - 3.5, time_s - 0.5)
    after = _rows(levels, time_s + 0.75, time_s + 3.75)
    if len(before) < 8 or len(after) < 8:
        return False
    change = np.median(levels.db_at(after), axis=0) - np.median(levels.db_at(before), axis=0)
    return bool((change >= LOUDER_DB).sum() >= LEAST_BANDS and (change <= -LOUDER_DB).sum() == 0)


def _two_kinds(levels: Levels, runs_s: Sequence[Run], clicked: Sequence[bool]) -> tuple[list[Run], list[Run]]:
    """The pump's runs, and those that sound quite unlike them. The pump is what has most runs with both clicks."""
    sounds = [_sound_of(levels, runs_s, k) for k in range(len(runs_s))]
    groups: list[list[int]] = []
    for k, sound in enumerate(sounds):
        if sound is None:
            continue
        for group in groups:
            first = sounds[group[0]]
            if first is not None and _unlike_db(first, sound) <= QUITE_UNLIKE_DB:
                group.append(k)
                break
        else:
            groups.append([k])
    if len(groups) < 2:
        return list(runs_s), []
    groups.sort(key=lambda g: (-sum(clicked[k] for k in g), -len(g), g[0]))
    # One that stands alone may be the pump with a tap or a voice beside it.
    least = max(2, round(LEAST_SHARE * len(runs_s)))
    others = [k for g in groups[1:] if len(g) >= least for k in g]
    return [r for k, r in enumerate(runs_s) if k not in others], [r for k, r in enumerate(runs_s) if k in others]


def _sound_of(levels: Levels, runs_s: Sequence[Run], number: int) -> F32 | None:
    """What a told run adds to the room around it, dB by band; NaN in bands that do not tell, None where few do."""
    begin, end = runs_s[number]
    earlier = runs_s[number - 1][1] if number else -np.inf
    later = runs_s[number + 1][0] if number + 1 < len(runs_s) else np.inf
    inside = _rows(levels, begin + 1.0, end - 1.0)
    before = _rows(levels, max(begin - _REST_S, earlier + 1.0), begin - 0.75)
    after = _rows(levels, end + 0.75, min(end + _REST_S, later - 1.0))
    outside = np.concatenate([before, after])
    if len(inside) < 12 or len(outside) < 12:
        return None
    high, low = np.median(levels.db_at(inside), axis=0), np.median(levels.db_at(outside), axis=0)
    tells = high - low >= 3.0
    if tells.sum() < LEAST_BANDS:
        return None
    added = 10.0 * np.log10(np.maximum(10.0 ** (high / 10.0) - 10.0 ** (low / 10.0), 1e-13))
    return np.where(tells, added, np.nan).astype(np.float32)


def _rows(levels: Levels, from_s: float, to_s: float) -> np.ndarray:
    """Rows whose step lies within these times."""
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


def _inner(levels: Levels, parts_s: Sequence[Run]) -> Levels | None:
    """The level track of these parts alone, each a segment, its margins left out; None where that is too little."""
    rows: list[tuple[int, int, float, float]] = []
    for a_s, b_s in parts_s:
        for g in range(len(levels.start_s)):
            start, step = float(levels.start_s[g]), float(levels.step_s[g])
            count = int(levels.first[g + 1] - levels.first[g])
            a = max(int(np.ceil((a_s + _MARGIN_S - start) / step)), 0)
            b = min(int((b_s - _MARGIN_S - start) / step), count)
            if (b - a) * step >= _SHORTEST_PART_S:
                rows.append((int(levels.first[g]) + a, int(levels.first[g]) + b, start + a * step, step))
    if sum(b - a for a, b, _, _ in rows) < 120:
        return None
    codes = np.concatenate([levels.codes[a:b] for a, b, _, _ in rows])
    changes = np.concatenate([levels.changes[a:b] for a, b, _, _ in rows])
    first = np.concatenate([[0], np.cumsum([b - a for a, b, _, _ in rows])])
    start_s, step_s = np.array([t for _, _, t, _ in rows]), np.array([s for _, _, _, s in rows])
    return pump_state.levels_of(codes, first, start_s, step_s, changes)


Found = tuple[list[Run], F32, float, int]


def _louder(levels: Levels | None) -> Found | None:
    """Louder stretches within these parts: their times, what they add by band (dB, NaN where it cannot be told), how
    far apart the states are, and how many sharp edges were heard. None where the parts hold one state.
    """
    if levels is None:
        return None
    size = np.zeros(len(levels), np.float32)
    for at in range(0, len(size), _AT_ONCE):
        some = slice(at, at + _AT_ONCE)
        size[some] = np.maximum(np.abs(levels.change_db_at(some)) - LEAST_DB, 0.0).sum(axis=1)
    rows = np.argsort(-size, kind="stable")[:60]
    best: Found | None = None
    for track in pump_state.guesses(levels, rows[size[rows] > 0.0]):
        found = _told(levels, track)
        if found is not None and (best is None or found[3] > best[3]):
            best = found
    return best


def _told(levels: Levels, track: Track) -> Found | None:
    tells = track.contrast_db >= LEAST_DB
    if track.apart < LEAST_APART or tells.sum() < LEAST_BANDS or np.any(track.contrast_db < -LEAST_DB):
        return None
    y = from_codes(levels.codes[:, tells]).mean(axis=1)
    height = float(track.contrast_db[tells].mean())
    runs: list[Run] = []
    edges = dull = 0
    for g, (a, b) in enumerate(pairwise(levels.first.tolist())):
        step_s = float(levels.step_s[g])
        bounds = [a, *(e for e in track.edges.tolist() if a < e < b), b]
        for k, (p, q) in enumerate(pairwise(bounds)):
            whole = 0 < k < len(bounds) - 2
            if whole and (q - p) * step_s < LEAST_S:
                return None  # comes and goes too quickly for a machine
            if p > a:
                before, after = y[max(p - 5, a) : max(p - 1, a + 1)], y[p + 1 : p + 5]
                if abs(float(np.median(after) - np.median(before))) < SHARP_SHARE * height:
                    dull += 1
                edges += 1
            if track.on[p] and (q - p) * step_s >= LEAST_S:
                runs.append((levels.time_of(p), levels.time_of(q - 1) + step_s))
    if edges < 2 or dull > MOST_DULL * edges:
        return None
    low, high = level_statistics.levels(levels.codes, ~track.on)[0], level_statistics.levels(levels.codes, track.on)[0]
    added = 10.0 * np.log10(np.maximum(10.0 ** (high / 10.0) - 10.0 ** (low / 10.0), 1e-13))
    return runs, np.where(tells, added, np.nan).astype(np.float32), track.apart, edges - dull


def _unlike_db(a: F32, b: F32) -> float:
    """How far two added sounds differ, dB; infinite where too few bands tell of both."""
    both = ~np.isnan(a) & ~np.isnan(b)
    if both.sum() < 4:
        return float("inf")
    return float(np.sqrt(np.mean((a[both] - b[both]) ** 2)))
