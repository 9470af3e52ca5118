"""Holds what was told against what is true. In: a truth and a Measurement; out: a Score that adds up over recordings.

* A click counts as found when one is told within 20 ms (``mir_eval.onset``); its offset is kept apart.
* A cycle is right when both its ends lie within 20 ms of one true cycle; any other complete cycle told is invented,
  a wrong order of the two kinds included. Runs told by the pump's sound alone are counted apart: right when both
  ends lie within 2 s and the true run in the told interval, invented when no true cycle is near. A recording whose
  clicks cannot be heard has no cycles to be found by clicks.
* A recording counts in full when its pump can be heard or the state at its start was given. Otherwise both readings
  (``ambiguous``) are right, a right order is right, and a wrong order is invented all the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from itertools import pairwise

import numpy as np

from clicktimer.assessment.measurement import Measurement
from tests.benchmarks.compose import Truth

WINDOW_S = 0.02
LIMIT_S = 28_000.0  # mir_eval refuses times above 30,000 s
BINS = (0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 0.99, 1.0001)
MARKS_S = (5.0, 20.0, 30.0, 60.0, 180.0)
BANDS = ("very-short", "short", "short-of-30", "under-a-minute", "a-minute-or-more", "over-three-minutes")


@dataclass
class Score:
    """Counts and lists of one recording, or of many added up. Times in seconds."""

    recordings: int = 0
    hours: float = 0.0
    true_clicks: int = 0
    told_clicks: int = 0
    found_clicks: int = 0
    right_kinds: int = 0
    open_kinds: int = 0
    true_chatter: int = 0
    found_chatter: int = 0
    true_cycles: int = 0
    right_cycles: int = 0
    missed_cycles: int = 0
    invented_cycles: int = 0
    wrong_order: int = 0
    sound_runs_true: int = 0
    sound_runs_right: int = 0
    sound_runs_outside: int = 0
    sound_runs_invented: int = 0
    ambiguous: int = 0
    ambiguous_right: int = 0
    verdict_right: int = 0
    verdict_wrong: int = 0
    verdict_abstained: int = 0
    verdict_wrong_settled: int = 0
    clear_cases: int = 0
    clear_sure: int = 0
    run_in_interval: int = 0
    run_outside_interval: int = 0
    quiet_recordings: int = 0
    quiet_false_clicks: int = 0
    seconds: float = 0.0
    offsets_s: list[float] = field(default_factory=list)
    offsets_in_s: list[float] = field(default_factory=list)
    offsets_out_s: list[float] = field(default_factory=list)
    run_errors_s: list[float] = field(default_factory=list)
    click_confidence: list[tuple[float, bool]] = field(default_factory=list)
    cycle_confidence: list[tuple[float, bool]] = field(default_factory=list)

    def __add__(self, other: Score) -> Score:
        return Score(**{f.name: getattr(self, f.name) + getattr(other, f.name) for f in fields(self)})

    def click_f1(self) -> float:
        """F1 of the clicks; not a number without any."""
        return f1(self.found_clicks, self.true_clicks, self.told_clicks)

    def cycle_f1(self) -> float:
        """F1 of the cycles, by clicks alone."""
        return f1(self.right_cycles, self.true_cycles, self.right_cycles + self.invented_cycles)


def f1(hits: int, true: int, told: int) -> float:
    """Harmonic mean of precision and recall, 2 hits / (true + told); not a number when both are none."""
    return 2 * hits / (true + told) if true + told else float("nan")


def match(true_s: Sequence[float], told_s: Sequence[float], window_s: float = WINDOW_S) -> list[tuple[int, int]]:
    """Pairs of places (true, told) no further apart than the window: the most pairs possible, by mir_eval."""
    import mir_eval

    pairs: list[tuple[int, int]] = []
    if not len(true_s) or not len(told_s):
        return pairs
    true, told = np.asarray(true_s, float), np.asarray(told_s, float)
    cut = 0.0
    while cut <= max(true.max(), told.max()):
        # Long recordings go piece by piece below mir_eval's limit; a pair is kept by the piece of its true time.
        mine = np.flatnonzero((true >= cut) & (true < cut + LIMIT_S))
        near = np.flatnonzero((told >= cut - 1) & (told < cut + LIMIT_S + 1))
        if len(mine) and len(near):
            a, b = true[mine] - cut + 1, told[near] - cut + 1
            mir_eval.onset.validate(np.sort(a), np.sort(b))
            pairs += [(int(mine[i]), int(near[j])) for i, j in mir_eval.util.match_events(a, b, window_s)]
        cut += LIMIT_S
    return pairs


def band_of(seconds: float) -> str:
    """The band of a run with no water in use, by the usual marks."""
    return BANDS[int(np.searchsorted(MARKS_S, seconds, side="right"))]


def clear_of_marks(seconds: float) -> bool:
    """True when a run is more than 8 % away from every mark: an interval of a few per cent can be clear of them."""
    return all(abs(seconds / mark - 1) > 0.08 for mark in MARKS_S)


def _score_clicks(score: Score, truth: Truth, told: Measurement) -> None:
    true_s, told_s = [c.time_s for c in truth.clicks], [c.time_s for c in told.clicks]
    pairs = match(true_s, told_s)
    score.true_clicks, score.told_clicks, score.found_clicks = len(true_s), len(told_s), len(pairs)
    right = {}
    for i, j in pairs:
        true, click = truth.clicks[i], told.clicks[j]
        score.right_kinds += click.kind == true.kind
        score.open_kinds += click.kind == "unknown"
        right[j] = click.kind in (true.kind, "unknown")
        offset = click.time_s - true.time_s
        score.offsets_s.append(offset)
        (score.offsets_in_s if true.kind == "cut-in" else score.offsets_out_s).append(offset)
        if true.chatter > 1:
            score.found_chatter += click.chatter > 1
    score.true_chatter = sum(c.chatter > 1 for c in truth.clicks)
    score.click_confidence = [(c.confidence, right.get(j, False)) for j, c in enumerate(told.clicks)]
    if not truth.clicks:
        score.quiet_recordings, score.quiet_false_clicks = 1, len(told.clicks)


def _score_cycles(score: Score, truth: Truth, told: Measurement) -> None:
    true = truth.timeline.cycles()
    left = set(range(len(true)))
    backwards = [(a, b) for a, b in zip(truth.timeline.cut_outs_s, truth.timeline.cut_ins_s, strict=False)]
    rests = backwards + list(zip(truth.timeline.cut_outs_s, truth.timeline.cut_ins_s[1:], strict=False))
    heard = bool(truth.clicks)
    score.true_cycles, score.sound_runs_true = (len(true), 0) if heard else (0, len(true))
    for cycle in told.cycles:
        if not cycle.complete or cycle.cut_in_s is None or cycle.cut_out_s is None or cycle.run_s is None:
            continue
        ends = (cycle.cut_in_s, cycle.cut_out_s)
        if cycle.how == "pump sound":
            near = [k for k, t in enumerate(true) if max(abs(t[0] - ends[0]), abs(t[1] - ends[1])) <= 2.0]
            if not near:
                score.sound_runs_invented += 1
            elif (cycle.run_low_s or 0) <= true[near[0]][1] - true[near[0]][0] <= (cycle.run_high_s or np.inf):
                score.sound_runs_right += 1
            else:
                score.sound_runs_outside += 1
            continue
        hit = [k for k in left if max(abs(true[k][0] - ends[0]), abs(true[k][1] - ends[1])) <= WINDOW_S]
        score.cycle_confidence.append((cycle.confidence, bool(hit)))
        if hit:
            left.discard(hit[0])
            score.right_cycles += 1
            true_run_s = true[hit[0]][1] - true[hit[0]][0]
            score.run_errors_s.append(cycle.run_s - true_run_s)
            inside = cycle.run_low_s is None or cycle.run_high_s is None
            inside = inside or bool(cycle.run_low_s <= true_run_s <= cycle.run_high_s)  # type: ignore[operator]
            score.run_in_interval += inside
            score.run_outside_interval += not inside
        else:
            score.invented_cycles += 1
            score.wrong_order += any(max(abs(a - ends[0]), abs(b - ends[1])) <= WINDOW_S for a, b in rests)
    score.missed_cycles = len(left) if heard else 0
    if told.ambiguous is not None:
        score.ambiguous = 1
        runs = [b - a for a, b in true]
        readings = (told.ambiguous.first_s, told.ambiguous.second_s)
        score.ambiguous_right = int(
            any(len(r) and all(min(abs(x - y) for y in runs) <= 2 * WINDOW_S for x in r) for r in readings if runs)
        )


def _score_verdict(score: Score, truth: Truth, told: Measurement, counts: bool) -> None:
    """Sure and right, sure and wrong, or not sure. A one-sided verdict is right when r0 is no longer than its band.

    Held against the run that a perfect ear would have had; against the run from settled air it is counted apart.
    """
    r0_s, verdict = truth.timeline.heard_r0_s(), told.verdict
    if verdict.sure and verdict.band is not None:
        one_sided = told.run is not None and told.run.one_sided
        told_place, true_place = BANDS.index(verdict.band), BANDS.index(band_of(r0_s))
        right = true_place <= told_place if one_sided else true_place == told_place
        score.verdict_right += right
        score.verdict_wrong += not right
        settled_place = BANDS.index(band_of(truth.timeline.r0_s))
        score.verdict_wrong_settled = int(settled_place > told_place if one_sided else settled_place != told_place)
    else:
        score.verdict_abstained = 1
    levels = {kind: [c.own_band_db for c in truth.clicks if c.kind == kind] for kind in ("cut-in", "cut-out")}
    heard = all(len(v) and float(np.median(v)) >= 15 for v in levels.values())
    said = truth.timeline.taps != "none"
    if counts and said and len(truth.timeline.cycles()) >= 3 and heard and clear_of_marks(r0_s):
        score.clear_cases, score.clear_sure = 1, int(verdict.sure)


def score_one(truth: Truth, told: Measurement, hint_given: bool) -> Score:
    """The score of one recording."""
    score = Score(recordings=1, hours=truth.timeline.duration_s / 3600)
    _score_clicks(score, truth, told)
    _score_cycles(score, truth, told)
    _score_verdict(score, truth, told, truth.pump_audible or hint_given)
    return score


def calibration(rows: Sequence[tuple[float, bool]]) -> list[tuple[str, int, float, float]]:
    """By bin of confidence: its name, how many, mean confidence, share that was right."""
    out = []
    for low, high in pairwise(BINS):
        inside = [(c, ok) for c, ok in rows if low <= c < high]
        if inside:
            found = float(np.mean([ok for _, ok in inside]))
            out.append((f"{low:.2f}-{min(high, 1):.2f}", len(inside), float(np.mean([c for c, _ in inside])), found))
    return out
