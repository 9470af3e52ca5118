"""Stage 3, the choice: is an answer good enough to be told, and is there another that is as good?

Each rule here stands for a way in which a wrong answer once looked right: crackle that recurs, two switches, words
that begin and end with a sound, a click that was missed before the first that was heard.
"""

from __future__ import annotations

import math

import numpy as np

from clicktimer.detection import small_statistics
from clicktimer.detection.proposals import turn_of
from clicktimer.detection.shortlist import DetectionContext
from clicktimer.detection.template_em import AROUND_S, Solution, doubtful

LEAST_EACH = 2.0
"""Nats that each click must explain before the user's word on the first is taken for all."""
LEAST_CHANCE = 0.9
"""A click is told when its chance, by all paths together, is at least this."""
SURE_CHANCE = 0.97
DOUBTED = 0.75
"""A sequence with a click of less chance than this is not sure of its order; and none of less is ever told."""
_FEW_DOUBTED, _KINDS_APART = 0.15, 6.0
"""Such a share of the clicks may be in doubt where the kinds of the others are so many nats apart by their sound."""
_APART = 3.0
"""Snap score by which clicks stand apart from everything else."""
_RESEMBLES = -4.0
"""Score from which a sound before the first told click may have been one."""
_CLOCK_S = 3.0
_CLOCK_TICKS = 8
_PLAIN_TURN, _PLAINEST_TURN, _LEAST_TURN, _LEAST_TURN_OF_TWO = 6.0, 18.0, 3.0, 1.5
_HARDLY_APART, _NO_SNAP = 0.5, -1.2
"""On the develop half no kind of true click has a snap score below -1.0 where the level is so doubtful ..."""
_OWN_KIND = 2.0
"""Nats; on the develop half one kind of every true sequence stands out by 3.5 and more."""
LEAST_SNAP_ALONE = 0.4
"""... and, where no pump is heard at all, but one of 70 recordings has a kind below this."""
_LEAST_APART = 1.5
_MOST_DOUBTFUL = 0.5
_BY_CHANCE, _LEAST_SPREAD = 1.2, 0.05
"""Standard deviation of the logarithm of a time between events at random, and the least that is told apart."""
_LEAST_ORDER_NATS, _PLAIN_ORDER_NATS, _STANDS_OUT = 5.0, 12.0, 9.0
"""On the develop half true clicks without a pump stand out by 10.6 nats and more, what else recurs by 7.6 at most."""
_FEW_GAPS, _MOMENT_S, _MINUTES = 8, 3.0, 15.0
_LEAST_STEPS, _MOST_DENIED = 6, 0.3
"""The level's word counts for runs of so many of its steps, and against so large a share of them."""
_PURE, _PURER, _CORE_WORTH = 6.0, 4.0, 0.5
"""Nats by which the clicks of a core stand out, how much more than those of the whole, and its least share of worth."""


def stand_apart(field: DetectionContext, solution: Solution) -> bool:
    """Whether every told click is more of a snap, by far, than anything else that was heard."""
    picks = np.flatnonzero(solution.path.kind)
    if len(picks) < 4:
        return False
    away = np.min(np.abs(field.cand.time_s[:, None] - field.cand.time_s[picks][None, :]), axis=1) > 1.2
    others = field.snap[away]
    return bool(not len(others) or field.snap[picks].min() > others.max() + _APART)


def none_before(field: DetectionContext, solution: Solution) -> bool:
    """Whether the first told click can be the first there was, so that the user's word on the start settles all kinds.

    One missed click before it would turn every kind round: so nothing before it may resemble the clicks, it must be
    beyond doubt itself, and no other click may be in doubt or missing, or few of them where the others' kinds can be
    heard.
    """
    path = solution.path
    picks = np.flatnonzero(path.kind)
    chance = np.maximum(path.chance_in[picks], path.chance_out[picks])
    if chance[0] < LEAST_CHANCE:
        return False
    doubted = int(np.count_nonzero(chance < DOUBTED)) + len(path.silent_rows)
    if doubted > _FEW_DOUBTED * len(picks):
        return False
    if doubted and kinds_apart(solution, picks[chance >= DOUBTED]) < _KINDS_APART:
        return False
    before = field.cand.time_s < field.cand.time_s[picks[0]] - 1.2
    resembles = np.maximum(solution.score[0], solution.score[1]) > _RESEMBLES
    return not bool((before & resembles).any())


def kinds_apart(solution: Solution, picks: np.ndarray) -> float:
    """By how many nats the clicks resemble their own kind more than the other: of the kind that does so less, in the
    middle.
    """
    own = solution.path.kind[picks]
    lead = np.where(own == 1, 1.0, -1.0) * (solution.score[0][picks] - solution.score[1][picks])
    return min(small_statistics.median(lead[own == kind]) for kind in (1, 2)) if {1, 2} <= set(own.tolist()) else 0.0


def as_good(solution: Solution, worth: float, each: float) -> bool:
    """Whether another sequence stands nearly as well, click for click."""
    count = int(np.count_nonzero(solution.path.kind))
    return count >= 4 and worth > 0.6 * each * count


def plain(field: DetectionContext, solution: Solution, worth: float) -> bool:
    """Whether a level that is well apart comes and goes with nearly every click, and hardly ever without one."""
    count, path = int(np.count_nonzero(solution.path.kind)), solution.path
    return (
        solution.track is not None
        and count >= 4
        and doubtful(solution.track) < _MOST_DOUBTFUL
        and len(path.silent_rows) <= 0.3 * count
        and worth >= LEAST_EACH * count
        and turn_of(field, solution) >= (_PLAIN_TURN if worth >= 2.0 * LEAST_EACH * count else _PLAINEST_TURN)
    )


def dull(field: DetectionContext, solution: Solution) -> bool:
    """Whether a level that is hardly apart comes and goes with sounds of which one kind is no snap at all.

    A bark, a phrase or a plate that is put down begins with a snap, perhaps, and it ends; and its level lies between.
    """
    if solution.track is None or doubtful(solution.track) < _HARDLY_APART:
        return False
    return duller_kind(field, solution) < _NO_SNAP


def of_no_kind(solution: Solution) -> bool:
    """Whether neither kind of click sounds like itself more than like everything else: a level found something."""
    if np.count_nonzero(solution.path.kind) < 4:
        return False
    kinds = [score[members] for score, members in zip(solution.score, solution.members, strict=True)]
    return max(small_statistics.median(own) for own in kinds if len(own)) < _OWN_KIND


def duller_kind(field: DetectionContext, solution: Solution) -> float:
    """The snap score, in the middle, of that kind of click which is less of a snap."""
    return min(small_statistics.median(field.snap[m]) for m in solution.members if len(m))


def pump_unheard(field: DetectionContext, solution: Solution) -> bool:
    """Whether an answer leans on a level that is hardly apart, or that does not come and go with its own clicks."""
    if solution.track is None:
        return False
    if solution.track.apart < _LEAST_APART:
        return True
    fewest = min(len(m) for m in solution.members)
    return fewest >= 2 and turn_of(field, solution) < (_LEAST_TURN if fewest >= 3 else _LEAST_TURN_OF_TWO)


def level_denies(field: DetectionContext, solution: Solution) -> bool:
    """Whether the level says of many runs of an answer that no pump ran in them, though it is heard plainly elsewhere.

    Somebody walks about beside a pump: the first and the last of a handful of steps look like a run of seconds.
    """
    path, track = solution.path, solution.track
    if track is None:
        return False
    picks = field.row[path.kind > 0]
    changes = np.unique(np.concatenate([picks, path.silent_rows, field.levels.first, [len(field.levels)]]))
    total = np.concatenate([[0.0], np.cumsum(track.llr, dtype=np.float64)])
    inside = total[np.maximum(changes[1:] - 1, changes[:-1] + 1)] - total[changes[:-1] + 1]
    on = path.on[np.minimum(changes[:-1] + 1, len(path.on) - 1)]
    runs = on & (np.diff(changes) >= _LEAST_STEPS) & (np.isin(changes[:-1], picks) | np.isin(changes[1:], picks))
    return int(np.count_nonzero(runs & (inside < 0.0))) > _MOST_DENIED * max(int(np.count_nonzero(runs)), 1)


def shared(field: DetectionContext, mine: np.ndarray, its: np.ndarray) -> float:
    """Share of these clicks that another answer has too, or has something beside: an echo, a bounce, a relay."""
    if not len(mine) or not len(its):
        return 0.0
    apart = np.abs(field.cand.time_s[mine][:, None] - field.cand.time_s[its][None, :]).min(axis=1)
    return float(np.mean(apart < AROUND_S))


def half_differs(field: DetectionContext, one: Solution, best: Solution) -> bool:
    """Whether one kind of click is about the same in two answers and the other kind is not."""
    if outshines(best, one):
        return False
    share = [max(shared(field, mine, its) for its in one.members) for mine in best.members]
    return min(share) < 0.3 and max(share) > 0.7 and min(len(m) for m in one.members) > 0


def snap_of(field: DetectionContext, solution: Solution) -> float:
    """Median snap score of an answer's clicks."""
    return small_statistics.median(field.snap[solution.path.kind > 0])


def two_kinds(solution: Solution) -> float:
    """How clearly the clicks fall into two kinds that take turns: 0.5 = any could be either, 1 = no doubt.

    Crackle recurs too, but nothing in it takes turns.
    """
    picks = np.flatnonzero(solution.path.kind)
    both = np.column_stack([solution.path.chance_in[picks], solution.path.chance_out[picks]])
    return float(np.mean(both.max(axis=1) / np.maximum(both.sum(axis=1), 1e-9)))


def like_clockwork(field: DetectionContext, solution: Solution) -> bool:
    """Whether the clicks come every second or two, run and rest alike to a few hundredths: a clock, not water."""
    gaps = np.diff(field.cand.time_s[solution.path.kind > 0])
    if len(gaps) < _CLOCK_TICKS:
        return False
    usual = small_statistics.median(gaps)
    return usual < _CLOCK_S and float(np.mean(np.abs(gaps - usual) < 0.03 * usual)) > 0.8


def order_of_its_own(field: DetectionContext, solution: Solution) -> float:
    """How far from chance the order of the clicks is, in nats: that two kinds take turns, and that runs, or rests, are
    alike.

    Any sounds may recur; of so many of each kind thrown at random, few orders have them take turns, and the times
    between such throws spread as those of an exponential do.
    """
    time_s = field.cand.time_s[solution.path.kind > 0]
    n = len(time_s)
    if n < 2:
        return 0.0
    nats = math.log(math.comb(n, n // 2) / 2.0)
    for gaps in (np.diff(time_s)[::2], np.diff(time_s)[1::2]):
        if len(gaps) >= 2:
            spread = float(np.std(np.log(gaps), ddof=1))
            nats += (len(gaps) - 1) * max(math.log(_BY_CHANCE / max(spread, _LEAST_SPREAD)), 0.0)
    return nats


def bare_order(field: DetectionContext, solution: Solution) -> bool:
    """Whether clicks that no pump vouches for come in an order of chance, or nearly so and hardly stand out."""
    nats = order_of_its_own(field, solution)
    return nats < _LEAST_ORDER_NATS or (nats < _PLAIN_ORDER_NATS and _least_median(solution) < _STANDS_OUT)


def two_steps(field: DetectionContext, solution: Solution) -> bool:
    """Whether the clicks are few pairs within moments, minutes apart: the same two steps of somebody who walks by.

    A pump that runs for a moment has a tank without air: it starts again at once while water runs.
    """
    gaps = np.diff(field.cand.time_s[solution.path.kind > 0])
    if not 2 <= len(gaps) < _FEW_GAPS:
        return False
    pairs = [small_statistics.median(gaps[at::2]) for at in (0, 1)]
    return min(pairs) < _MOMENT_S and max(pairs) > _MINUTES * min(pairs)


def purer(core: tuple[float, Solution], whole: tuple[float, Solution]) -> bool:
    """Whether what was learnt from the core of an answer, each with its worth, is to be believed instead of the whole.

    The clicks of the whole may explain more: each bark at which the level rises explains something. But where those of
    the core stand out by their sound as the whole's do not, the rest were never the switch.
    """
    return outshines(core[1], whole[1]) and core[0] > _CORE_WORTH * whole[0]


def outshines(one: Solution, other: Solution) -> bool:
    """Whether the clicks of one answer, of both kinds, stand out by their sound as those of the other do not.

    Crackle and rain explain much by sheer number, each drop a little.
    """
    stands = _least_median(one)
    return stands >= _PURE and stands >= _least_median(other) + _PURER


def _least_median(solution: Solution) -> float:
    """Median score of the clicks of that kind which stands out less."""
    kinds = zip(solution.members, solution.score, strict=True)
    return min((small_statistics.median(score[members]) for members, score in kinds if len(members)), default=-np.inf)
