"""What a decoded sequence looks like as a whole: figures that acceptance.py decides by."""

from __future__ import annotations

import math

import numpy as np

from clicktimer.detection import small_statistics
from clicktimer.detection.evidence import level_change_t
from clicktimer.detection.model_params import Acceptance
from clicktimer.detection.shortlist import DetectionContext
from clicktimer.detection.template_em import Solution


def change_t(context: DetectionContext, solution: Solution) -> float:
    """Return the t value of "the level rises at the first kind of click and falls at the second".

    Negative the other way; 0 with fewer than two clicks of a kind.
    """
    first, second = solution.members
    if len(first) < 2 or len(second) < 2:
        return 0.0
    sign = np.concatenate([np.ones(len(first)), -np.ones(len(second))])
    return level_change_t(context, np.concatenate([first, second]), sign)


def stands_apart(context: DetectionContext, solution: Solution) -> bool:
    """Return True if every click has a far higher switch score than anything else in the recording."""
    p, clicks = context.params.acceptance, solution.clicks
    if len(clicks) < p.apart_clicks:
        return False
    time_s = context.candidates.time_s
    away = np.min(np.abs(time_s[:, None] - time_s[clicks][None, :]), axis=1) > p.away_s
    others = context.switch_score[away]
    return bool(not len(others) or context.switch_score[clicks].min() > others.max() + p.apart_score)


def median_score(context: DetectionContext, solution: Solution) -> float:
    """Return the median switch score of the clicks."""
    return small_statistics.median(context.switch_score[solution.path.kind > 0])


def duller_kind_score(context: DetectionContext, solution: Solution) -> float:
    """Return the median switch score of that kind of click which has the lower one."""
    return min(small_statistics.median(context.switch_score[m]) for m in solution.members if len(m))


def kind_medians(solution: Solution) -> list[float]:
    """Return the median score of each kind of click that there is, nats."""
    kinds = zip(solution.members, solution.score, strict=True)
    return [small_statistics.median(score[members]) for members, score in kinds if len(members)]


def stands_out(solution: Solution) -> float:
    """Return the median score of that kind of click which stands out less, nats."""
    return min(kind_medians(solution), default=-np.inf)


def outshines(one: Solution, other: Solution, p: Acceptance) -> bool:
    """Return True if both kinds of click of one sequence stand out by their sound as those of the other do not.

    Crackle and rain explain much by sheer number, each drop a little.
    """
    least = stands_out(one)
    return least >= p.outshines and least >= stands_out(other) + p.outshines_by


def kinds_apart(solution: Solution, clicks: np.ndarray) -> float:
    """Return by how many nats these clicks resemble their own kind more than the other; of the kind that does less."""
    own = solution.path.kind[clicks]
    lead = np.where(own == 1, 1.0, -1.0) * (solution.score[0][clicks] - solution.score[1][clicks])
    return min(small_statistics.median(lead[own == kind]) for kind in (1, 2)) if {1, 2} <= set(own.tolist()) else 0.0


def alternation(solution: Solution) -> float:
    """Return how clearly the clicks fall into two alternating kinds: 0.5 = any could be either, 1 = certain.

    Crackle recurs too, but nothing in it alternates.
    """
    clicks = solution.clicks
    both = np.column_stack([solution.path.chance_in[clicks], solution.path.chance_out[clicks]])
    return float(np.mean(both.max(axis=1) / np.maximum(both.sum(axis=1), 1e-9)))


def order_log_odds(context: DetectionContext, solution: Solution) -> float:
    """Return how far from chance the order of the clicks is, nats: two kinds alternate, and runs or rests are alike.

    Any sounds may recur. If as many of each kind fall at random, few orders alternate, and the times between them
    spread as those of an exponential distribution do.
    """
    p = context.params.acceptance
    time_s = context.candidates.time_s[solution.path.kind > 0]
    n = len(time_s)
    if n < 2:
        return 0.0
    nats = math.log(math.comb(n, n // 2) / 2.0)
    for gaps in (np.diff(time_s)[::2], np.diff(time_s)[1::2]):
        if len(gaps) >= 2:
            spread = float(np.std(np.log(gaps), ddof=1))
            nats += (len(gaps) - 1) * max(math.log(p.chance_spread / max(spread, p.least_time_spread)), 0.0)
    return nats


def is_a_clock(context: DetectionContext, solution: Solution) -> bool:
    """Return True if the clicks come every second or two, runs and rests alike to a few hundredths."""
    p = context.params.acceptance
    gaps = np.diff(context.candidates.time_s[solution.path.kind > 0])
    if len(gaps) < p.clock_clicks:
        return False
    usual = small_statistics.median(gaps)
    alike = float(np.mean(np.abs(gaps - usual) < p.clock_spread * usual))
    return usual < p.clock_s and alike > p.clock_share


def are_steps(context: DetectionContext, solution: Solution) -> bool:
    """Return True if the clicks are a few close pairs, minutes apart: the same two steps of a person who walks by.

    A pump that runs for a moment has a tank without air: it starts again at once while water runs.
    """
    p = context.params.acceptance
    gaps = np.diff(context.candidates.time_s[solution.path.kind > 0])
    if not 2 <= len(gaps) < p.steps_gaps:
        return False
    pairs = [small_statistics.median(gaps[at::2]) for at in (0, 1)]
    return min(pairs) < p.steps_moment_s and max(pairs) > p.steps_ratio * min(pairs)


def starts_with_the_first_click(context: DetectionContext, solution: Solution) -> bool:
    """Return True if no click can have been missed before the first, so that the known start settles all kinds.

    One missed click before it would reverse every kind. So nothing before it may resemble the clicks, it must be
    beyond doubt itself, and no other click may be in doubt or missing, or only a few if the kinds of the others differ
    clearly by their sound.
    """
    p, path, clicks = context.params.acceptance, solution.path, solution.clicks
    chance = np.maximum(path.chance_in[clicks], path.chance_out[clicks])
    if chance[0] < p.least_chance:
        return False
    doubted = int(np.count_nonzero(chance < p.doubted_chance)) + len(path.silent_rows)
    if doubted > p.doubted_share * len(clicks):
        return False
    if doubted and kinds_apart(solution, clicks[chance >= p.doubted_chance]) < p.doubted_kinds_apart:
        return False
    before = context.candidates.time_s < context.candidates.time_s[clicks[0]] - p.away_s
    resembles = np.maximum(solution.score[0], solution.score[1]) > p.resembles
    return not bool((before & resembles).any())


def level_contradicts(context: DetectionContext, solution: Solution) -> bool:
    """Return True if the level says of many runs that no pump ran in them, though it is plain elsewhere.

    Someone walks about beside a pump: the first and last of a few steps look like a run of seconds.
    """
    p, path, pump = context.params.acceptance, solution.path, solution.pump
    if pump is None:
        return False
    levels, rows = context.levels, context.row[path.kind > 0]
    changes = np.unique(np.concatenate([rows, path.silent_rows, levels.first, [len(levels)]]))
    total = np.concatenate([[0.0], np.cumsum(pump.llr, dtype=np.float64)])
    inside = total[np.maximum(changes[1:] - 1, changes[:-1] + 1)] - total[changes[:-1] + 1]
    on = path.on[np.minimum(changes[:-1] + 1, len(path.on) - 1)]
    long = np.diff(changes) >= p.denied_steps
    runs = on & long & (np.isin(changes[:-1], rows) | np.isin(changes[1:], rows))
    denied = int(np.count_nonzero(runs & (inside < 0.0)))
    return denied > p.denied_share * max(int(np.count_nonzero(runs)), 1)


def shared(context: DetectionContext, mine: np.ndarray, its: np.ndarray) -> float:
    """Return the share of these clicks that another sequence has too, or has something beside: an echo, a relay."""
    if not len(mine) or not len(its):
        return 0.0
    time_s = context.candidates.time_s
    apart = np.abs(time_s[mine][:, None] - time_s[its][None, :]).min(axis=1)
    return float(np.mean(apart < context.params.template_em.around_s))


def shares_one_kind(context: DetectionContext, one: Solution, best: Solution) -> bool:
    """Return True if one kind of click is about the same in two sequences and the other kind is not."""
    p = context.params.acceptance
    if outshines(best, one, p):
        return False
    share = [max(shared(context, mine, its) for its in one.members) for mine in best.members]
    every = min(len(m) for m in one.members) > 0
    return min(share) < p.different_share and max(share) > p.same_kind_share and every
