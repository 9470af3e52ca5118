"""Cycles with clicks missed or false in, paths of the pump out, once r0 is known, each as often as it is likely.

A path says which of the clicks heard are the switch's and where one was missed. Between two true clicks lies a run or
a rest (or both, or more, where clicks were missed), and how likely its length is, the other runs and rests of the same
log tell: no run is shorter than r0. False clicks come at any time. All paths are weighed at once by going through the
clicks forwards, and some are drawn going back (the recursion of a hidden semi-Markov chain: Rabiner 1989, Proc. IEEE
77:257, section IV.D). How many clicks are wrong is learnt from the log itself.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from clicktimer.day.cycle_log import LEAST_CONFIDENCE, Floats
from clicktimer.day.duration_density import NEVER, Lengths, lengths_of, log_sum, log_sums
from clicktimer.day.params import DEFAULT_PARAMS, DayParams
from clicktimer.records import Cycle, Gap


@dataclass(slots=True)
class PumpPath:
    """One path. runs: (start, end, put in), seconds; put in: -1 its start, 1 its end, 2 both, 0 none.

    halves: (time, is a cut-in) of true clicks whose run goes over an end of the log or a gap.
    false, missed: clicks taken for false, clicks put in.
    """

    runs: list[tuple[float, float, int]] = field(default_factory=list)
    halves: list[tuple[float, bool]] = field(default_factory=list)
    false: int = 0
    missed: int = 0


class Clicks:
    """The clicks of a log with all that can lie between two of them. no_use_run_s: r0, seconds."""

    def __init__(
        self,
        cycles: Sequence[Cycle],
        no_use_run_s: float,
        gaps: Sequence[Gap] = (),
        *,
        params: DayParams = DEFAULT_PARAMS,
    ) -> None:
        self.params = params
        tuned = self.params.path_sampling
        events: list[tuple[float, bool, float]] = []
        for c in cycles:
            sure = math.sqrt(c.confidence) if c.run_s is not None else c.confidence
            events += [(t, i, sure) for t, i in ((c.cut_in_s, True), (c.cut_out_s, False)) if t is not None]
        events.sort()
        n = len(events)
        self.r0_s = no_use_run_s
        self.time_s: Floats = np.array([e[0] for e in events])
        self.is_in = np.array([e[1] for e in events], dtype=bool)
        sure_of = np.clip(np.array([e[2] for e in events]), 0.02, 0.98)
        self.doubt = np.log(np.maximum((1 - sure_of) / sure_of / tuned.usual_odds, 1.0)) + 2.0 * (
            sure_of <= LEAST_CONFIDENCE
        )
        self.before = np.array([i for j in range(n) for i in range(max(0, j - tuned.look_back), j)], dtype=int)
        self.after = np.array([j for j in range(n) for _ in range(max(0, j - tuned.look_back), j)], dtype=int)
        self.first = np.searchsorted(self.after, np.arange(n + 1)).tolist()
        self.gap_s = self.time_s[self.after] - self.time_s[self.before]
        a_in, b_in = self.is_in[self.before], self.is_in[self.after]
        side = np.searchsorted(np.array(sorted(g.from_s for g in gaps)), self.time_s, side="right")
        self.broken = side[self.before] != side[self.after]
        self.run, self.rest = a_in & ~b_in & ~self.broken, ~a_in & b_in & ~self.broken
        self.alike = (a_in == b_in) & ~self.broken
        self.next = self.after == self.before + 1
        self.missed_share = self.false_share = tuned.prior_share
        self.run_weight, self.rest_weight = np.ones(len(self.gap_s)), np.ones(len(self.gap_s))
        for _ in range(tuned.rounds):
            self._lengths()
            self._weigh(0.0)
            self._learn()
        self._lengths()

    def draw(self, count: int, rng: np.random.Generator) -> list[PumpPath]:
        """Draw paths, each as often as it is likely."""
        tuned = self.params.path_sampling
        paths: list[PumpPath] = []
        for turn, tilt in enumerate(tuned.tilts):
            self._weigh(tilt)
            paths += self._drawn(len(range(turn, count, len(tuned.tilts))), rng)
        return paths

    def _lengths(self) -> None:
        """Densities of runs and rests, from those that are held true now."""
        tuned = self.params.path_sampling
        n, log_r0 = len(self.time_s), math.log(self.r0_s)
        self.span_s = float(self.time_s[-1] - self.time_s[0]) if n > 1 else 1.0
        longest = math.log(max(self.span_s, 20.0))
        # Runs over 5 r0 are no example for others: two rests taken for runs would speak for each other.
        self.run_weight = np.where(self.gap_s > tuned.long_ratio * self.r0_s, 0.0, self.run_weight)
        run, rest = self.run & self.next, self.rest & self.next
        self.runs = lengths_of(
            self.gap_s[run],
            self.run_weight[run],
            tuned.run_blur,
            tuned.short_ratio * self.r0_s,
            (log_r0 - 0.1, max(longest, log_r0 + 2.0), tuned.run_fall),
            math.log(tuned.long_ratio * self.r0_s),
            params=self.params,
        )
        self.rests = lengths_of(
            self.gap_s[rest],
            self.rest_weight[rest],
            tuned.rest_blur,
            0.0,
            (0.0, longest, 0.0),
            params=self.params,
        )

    def _weigh(self, tilt: float) -> None:
        """Weigh all paths, going forwards. tilt: log of how much missed clicks are likelier than they were learnt."""
        n = len(self.time_s)
        share = min(self.missed_share * math.exp(tilt / 2), 0.5)
        missed, kept = math.log(share), math.log(1 - share)
        false = math.log(self.false_share * n / 2.0 / max(self.span_s, 1.0)) - tilt / 2 if n else 0.0
        self.drop = false + self.doubt
        self.direct, self.hidden = np.full(len(self.gap_s), NEVER), np.full(len(self.gap_s), NEVER)
        for kind, lengths, weight in (
            (self.run, self.runs, self.run_weight),
            (self.rest, self.rests, self.rest_weight),
        ):
            seen = kind & self.next
            self.direct[kind] = lengths.at(self.gap_s[kind])
            self.direct[seen] = lengths.without_own(self.gap_s[seen], weight[seen])
            # both clicks between missed: two runs and a rest, or two rests and a run
            self.hidden[kind] = 2 * missed + _two(self.runs, lengths, self.rests, self.gap_s[kind], params=self.params)
        one = self.gap_s[self.alike][:, None] - self.runs.points_s
        self.direct[self.alike] = missed + log_sums(np.log(self.runs.weights) + self.rests.at(one))
        self.direct[self.broken] = math.log(max(n, 2) / 2.0 / max(self.span_s, 1.0))
        self.between = np.concatenate([[0.0], np.cumsum(self.drop)])
        dropped = self.between[self.after] - self.between[self.before + 1]
        self.step = np.logaddexp(self.direct, self.hidden) + dropped + kept
        self.forward = np.full(n, NEVER)
        for j in range(n):
            self.forward[j] = log_sum(self._ways(j))
        self.last = self.forward + self.between[n] - self.between[1:]

    def _ways(self, j: int) -> Floats:
        """Log weights of all ways to click j: from each click before it, then as the first true click."""
        tuned = self.params.path_sampling
        p = slice(self.first[j], self.first[j + 1])
        begin = float(self.between[j]) if j < tuned.look_back else NEVER
        return np.append(self.forward[self.before[p]] + self.step[p], begin)

    def _learn(self) -> None:
        """Learn from all paths how many clicks are missed and false, and which runs and rests are true."""
        tuned = self.params.path_sampling
        n = len(self.time_s)
        if not n:
            return
        whole = log_sum(self.last)
        backward = self.between[n] - self.between[1:]
        chance = np.zeros(len(self.gap_s))
        for j in range(n - 1, -1, -1):
            p = slice(self.first[j], self.first[j + 1])
            on = self.step[p] + backward[j]
            own = self.before[p]
            chance[p] = np.exp(np.minimum(self.forward[own] + on - whole, 0.0))
            backward[own] = np.logaddexp(backward[own], on)
        true = float(np.exp(np.minimum(self.forward + backward - whole, 0.0)).sum())
        direct = chance * np.exp(self.direct - np.logaddexp(self.direct, self.hidden))
        missed = float(chance[self.alike].sum() + 2 * (chance - direct)[self.run | self.rest].sum())
        # The log tells well how many clicks are wrong, but hardly whether more are missed or more are false.
        wrong = (missed + n - true + 2 * tuned.prior_share * tuned.prior_clicks) / (2 * n + 2 * tuned.prior_clicks)
        part = (missed + tuned.prior_even) / (missed + n - true + 2 * tuned.prior_even)
        self.missed_share, self.false_share = min(2 * wrong * part, 0.5), min(2 * wrong * (1 - part), 0.5)
        self.run_weight = self.rest_weight = direct

    def _drawn(self, count: int, rng: np.random.Generator) -> list[PumpPath]:
        """Draw paths going back from the last click, all at the same time."""
        n = len(self.time_s)
        paths = [PumpPath() for _ in range(count)]
        if not n:
            return paths
        at: list[list[int]] = [[] for _ in range(n)]
        true = np.zeros(count, dtype=int)
        for who, j in enumerate(_picks(self.last, count, rng)):
            at[j].append(who)
            if self.is_in[j]:
                paths[who].halves.append((float(self.time_s[j]), True))
        for j in range(n - 1, -1, -1):
            if not at[j]:
                continue
            true[at[j]] += 1
            ways = self._ways(j)
            for who, way in zip(at[j], _picks(ways, len(at[j]), rng), strict=True):
                if way == len(ways) - 1:
                    if not self.is_in[j]:
                        paths[who].halves.append((float(self.time_s[j]), False))
                    continue
                pair = self.first[j] + way
                self._add(paths[who], pair, rng)
                at[int(self.before[pair])].append(who)
        for path, kept in zip(paths, true, strict=True):
            path.runs.sort()
            path.false = n - int(kept)
        return paths

    def _add(self, path: PumpPath, pair: int, rng: np.random.Generator) -> None:
        """Add to a path what lies between two true clicks."""
        from_s, to_s = float(self.time_s[self.before[pair]]), float(self.time_s[self.after[pair]])
        if self.broken[pair]:
            path.halves += [(from_s, True)] if self.is_in[self.before[pair]] else []
            path.halves += [] if self.is_in[self.after[pair]] else [(to_s, False)]
            return
        odds = self.hidden[pair] - np.logaddexp(self.direct[pair], self.hidden[pair])
        both = not self.alike[pair] and odds > -30.0 and bool(rng.random() < math.exp(odds))
        gap_s = to_s - from_s
        if self.run[pair] and not both:
            path.runs.append((from_s, to_s, 0))
        elif self.run[pair]:
            first_s, last_s = self._split(gap_s, rng, two=True)
            path.runs += [(from_s, from_s + first_s, 1), (to_s - last_s, to_s, -1)]
        elif self.alike[pair]:
            run_s, _ = self._split(gap_s, rng)
            is_in = self.is_in[self.before[pair]]
            path.runs.append((from_s, from_s + run_s, 1) if is_in else (to_s - run_s, to_s, -1))
        elif both:
            run_s, _ = self._split(gap_s, rng)
            at_s = from_s + float(rng.uniform()) * (gap_s - run_s)
            path.runs.append((at_s, at_s + run_s, 2))
        path.missed += 1 if self.alike[pair] else 2 * both

    def _split(self, gap_s: float, rng: np.random.Generator, *, two: bool = False) -> tuple[float, float]:
        """Draw how long the run in a gap was, or the two, by how likely that makes the rest."""
        own, weight = self.runs.points_s, np.log(self.runs.weights)
        if not two:
            (at,) = _picks(weight + self.rests.at(gap_s - own), 1, rng)
            return min(float(own[at]), 0.98 * gap_s), 0.0
        (at,) = _picks((weight[:, None] + weight + self.rests.at(gap_s - own[:, None] - own)).ravel(), 1, rng)
        first_s, last_s = float(own[at // len(own)]), float(own[at % len(own)])
        scale = min(1.0, 0.98 * gap_s / (first_s + last_s))
        return first_s * scale, last_s * scale


def _two(first: Lengths, second: Lengths, third: Lengths, gap_s: Floats, *, params: DayParams) -> Floats:
    """Log density of gaps that hold three lengths; sums of two that are near each other are taken together."""
    both_s = (first.points_s[:, None] + second.points_s).ravel()
    weight = (first.weights[:, None] * second.weights).ravel()
    order = np.argsort(both_s)
    parts = np.array_split(order, min(params.duration_density.most_points, len(order)))
    at_s = np.array([np.average(both_s[p], weights=weight[p]) for p in parts])
    share = np.log(np.array([weight[p].sum() for p in parts]))
    return log_sums(share + third.at(gap_s[:, None] - at_s))


def _picks(log_weights: Floats, count: int, rng: np.random.Generator) -> list[int]:
    weights = np.cumsum(np.exp(log_weights - log_weights.max()))
    found: npt.NDArray[np.int64] = np.searchsorted(weights, rng.random(count) * weights[-1], side="right")
    return [min(int(i), len(weights) - 1) for i in found]
