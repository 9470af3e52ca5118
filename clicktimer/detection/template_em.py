"""Learn what the two clicks sound like: decode the most likely sequence, learn its clicks, decode again.

An expectation-maximization with hard assignments. The candidates are weighed by three things: how much each sounds
like a snap-action switch at all (switch_score.py), how much it resembles the clicks that the sequence has so far,
each against how often the *other* sounds of this recording do (evidence.py), and whether the pump's level changes with
it (pump_state.py, viterbi.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from clicktimer.detection import pump_state, small_statistics, viterbi
from clicktimer.detection.evidence import score_evidence, template_evidence
from clicktimer.detection.model_params import TemplateEm
from clicktimer.detection.onset_strength import F64
from clicktimer.detection.shortlist import DetectionContext

Start = tuple[float, float]
"""Log-odds of beginning with the pump off, and on."""

UNKNOWN_START: Start = (0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Seed:
    """A sound that recurs. members: indices of candidates. evidence: (n,) how much each resembles it, nats."""

    members: np.ndarray
    evidence: F64


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """A decoded sequence with what was learned of its two kinds of click.

    path: the sequence. pump: where the pump is heard, or None. evidence: (n,) of the templates, for either kind.
    score: (n,) log-odds of each candidate as either kind. members: indices of the clicks of either kind.
    """

    path: viterbi.Path
    pump: pump_state.PumpEstimate | None
    evidence: tuple[F64, F64]
    score: tuple[F64, F64]
    members: tuple[np.ndarray, np.ndarray]

    @property
    def clicks(self) -> np.ndarray:
        """Indices of all clicks, ascending."""
        return np.flatnonzero(self.path.kind)


def learn(
    context: DetectionContext,
    pump: pump_state.PumpEstimate | None,
    seeds: tuple[Seed, Seed] | None,
    start: Start,
    rounds: int | None = None,
) -> Solution | None:
    """Return the sequence after some rounds of decoding and learning; None if it has no click.

    Parameters
    ----------
    context
        The short-listed candidates.
    pump
        Where the pump is heard; None: nowhere.
    seeds
        What cut-in and cut-out may sound like to begin with; None: like any switch.
    start
        Log-odds of beginning with the pump off, and on.
    rounds
        By default as params.toml says. With one round the posterior probabilities are left out.
    """
    p = context.params.viterbi
    rounds = context.params.template_em.rounds if rounds is None else rounds
    n = len(context.candidates)
    level_llr = pump.llr if pump is not None else np.zeros(len(context.levels), np.float32)
    prior = _prior(context, start)
    ramp = _ramp(level_llr, context.row, p.ramp_steps)
    members: tuple[np.ndarray, np.ndarray] = (np.zeros(0, np.int64), np.zeros(0, np.int64))
    evidence = (np.zeros(n), np.zeros(n))
    if seeds is not None:
        members, evidence = (seeds[0].members, seeds[1].members), (seeds[0].evidence, seeds[1].evidence)
    best: Solution | None = None
    done = 0
    while done < rounds:
        clicks = np.unique(np.concatenate(members))
        by_score = [score_evidence(context, m, clicks) for m in members]
        score_in, score_out = (
            np.clip(np.log(p.hazard_per_s) + by_score[k] + evidence[k], p.least_score, p.most_score) for k in (0, 1)
        )
        path = viterbi.decode(
            viterbi.Evidence(
                level_llr,
                context.levels.first.astype(np.int64),
                context.row.astype(np.int64),
                context.candidates.time_s,
                score_in + ramp[0],
                score_out + ramp[1],
            ),
            prior,
            posteriors=done == rounds - 1 and rounds > 1,
        )
        before, members = members, (np.flatnonzero(path.kind == 1), np.flatnonzero(path.kind == 2))
        if not len(members[0]) and not len(members[1]):
            return None
        best = Solution(path, pump, evidence, (score_in, score_out), members)
        done += 1
        if 1 < done < rounds and all(np.array_equal(a, b) for a, b in zip(before, members, strict=True)):
            done = rounds - 1  # the last round works out the probabilities; nothing more is to be learned
        elif done < rounds:
            others = all_but(context, np.concatenate(members))
            evidence = (
                template_evidence(context, members[0], others),
                template_evidence(context, members[1], others),
            )
    return best


def all_but(context: DetectionContext, members: np.ndarray) -> np.ndarray:
    """Return which candidates are not among these, (n,) bool."""
    others = np.ones(len(context.candidates), bool)
    others[members] = False
    return others


def _prior(context: DetectionContext, start: Start) -> viterbi.Prior:
    p, step_s = context.params.viterbi, float(context.levels.step_s[0])
    silent = float(np.log(p.hazard_per_s * context.levels.step_s[0] * p.miss))
    return viterbi.Prior(silent, start[0], start[1], p.gap_cost, p.least_run_s, round(p.least_run_s / step_s))


def _ramp(level_llr: np.ndarray, row: np.ndarray, steps: int) -> tuple[np.ndarray, np.ndarray]:
    """Return what to add to the scores as cut-in and as cut-out, (n,) each.

    The click comes first, then the pump's sound changes: what the level says just after a click does not count against
    it.
    """
    ahead = [level_llr[np.minimum(row + k, len(level_llr) - 1)] for k in range(steps)]
    as_cut_in = np.asarray(sum(np.maximum(-a, 0.0) for a in ahead))
    return as_cut_in, np.asarray(sum(np.maximum(a, 0.0) for a in ahead))


def log_odds(context: DetectionContext, solution: Solution) -> float:
    """Return what the clicks of a sequence explain, nats, comparable between hypotheses.

    Each click counts by its score. Dull kinds of click, and sounds that resemble the clicks and are none of them,
    count against the sequence, and so do changes of the pump's level without a click. A pump whose level changes with
    most clicks counts for it.
    """
    p = context.params.template_em
    path, clicks = solution.path, solution.clicks
    score = np.where(path.kind == 1, solution.score[0], solution.score[1])[clicks]
    total = float(np.minimum(score, p.most_click).sum())
    if solution.pump is not None:
        below = max(p.dull_score - small_statistics.median(context.switch_score[clicks]), 0.0)
        total -= p.dull_cost * level_doubt(solution.pump, p) * len(clicks) * below
    kind_cost = p.kind_cost_alone if solution.pump is None else p.kind_cost
    for kind in (1, 2):
        members = np.flatnonzero(path.kind == kind)
        if len(members):
            below = max(p.kind_score - small_statistics.median(context.switch_score[members]), 0.0)
            total -= kind_cost * np.sqrt(len(members)) * below
    total -= p.left_out * _left_out(context, solution)
    if solution.pump is None:
        return total - p.silent_cost * len(path.silent_rows)
    total += _coincidence(context, clicks)
    total += _sustained(context, solution)
    lone = lone_changes(context, path.silent_rows)
    # A level that comes and goes mostly without a click is not that of the pump.
    many = max(len(path.silent_rows) - p.silent_share * len(clicks), 0.0)
    many *= 1.0 + p.silent_doubt * level_doubt(solution.pump, p)
    total -= p.silent_cost * float(lone.sum())
    return total - p.silent_cost_burst * float((~lone).sum()) - p.silent_excess * many


def level_doubt(pump: pump_state.PumpEstimate, p: TemplateEm) -> float:
    """Return 0 if the pump is heard plainly, up to 1 if its level is hardly apart: words have such a level too."""
    return min(max((p.plain_apart - pump.apart) / p.doubt_range, 0.0), 1.0)


def _left_out(context: DetectionContext, solution: Solution) -> float:
    """Return the score of the sounds that resemble the clicks and yet are none of them, nats.

    The two clicks of a switch alternate, so every sound like them is in the sequence. Of recurring crackle half is
    left over.
    """
    p = context.params.template_em
    time_s = context.candidates.time_s
    clicks_s = time_s[solution.path.kind > 0]
    at = np.searchsorted(clicks_s, time_s, side="right")
    since = time_s - np.where(at > 0, clicks_s[np.maximum(at - 1, 0)], -np.inf)
    until = np.where(at < len(clicks_s), clicks_s[np.minimum(at, len(clicks_s) - 1)], np.inf) - time_s
    away = (since > p.around_s) & (until > p.approach_s)
    score = np.maximum(solution.score[0], solution.score[1])[away]
    return float(np.clip(score, 0.0, p.most_click).sum())


def _coincidence(context: DetectionContext, clicks: np.ndarray) -> float:
    """Return how unlikely it is that such good clicks stand at the changes of level by chance, nats.

    By chance: another sound of the recording falls there, or the noise that begins there begins with one.
    """
    p = context.params.template_em
    rivals = np.sort(context.switch_score[all_but(context, clicks)])
    above = len(rivals) - np.searchsorted(rivals, context.switch_score[clicks] - p.rival_margin) + p.rival_count
    share = 2.0 * p.edge_s / context.duration_s + p.rival_share / (context.score_counts.sum() + 1.0)
    return float(np.clip(-np.log(above * share), 0.0, p.most_coincidence).sum())


def lone_changes(context: DetectionContext, rows: np.ndarray) -> np.ndarray:
    """Return which changes without a click are not one of a short burst: (len(rows),) bool."""
    near = np.diff(rows) * float(context.levels.step_s[0]) < context.params.template_em.burst_s
    burst = np.concatenate([near, [False]]) | np.concatenate([[False], near])
    return np.asarray(~burst[: len(rows)])


def _sustained(context: DetectionContext, solution: Solution) -> float:
    """Return a bonus for each click between a long quiet and a long sound, nats.

    Barks and words end within seconds, a pump goes on.
    """
    p = context.params.template_em
    path, pump = solution.path, solution.pump
    if pump is None or pump.apart < p.sustained_apart:
        return 0.0
    row = context.row[solution.clicks]
    changes = np.unique(np.concatenate([row, path.silent_rows, context.levels.first]))
    at = np.searchsorted(changes, row)
    before = row - changes[np.maximum(at - 1, 0)]
    after = changes[np.minimum(at + 1, len(changes) - 1)] - row
    steps = p.sustained_s / float(context.levels.step_s[0])
    each = p.sustained_bonus_plain if pump.apart > p.sustained_plain else p.sustained_bonus
    return float(np.sum((before >= steps) & (after >= steps))) * each
