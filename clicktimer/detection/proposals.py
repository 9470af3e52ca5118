"""Which hypotheses are tried: with each estimate of the pump, with pairs of recurring sounds, and with both.

Each is decoded and learned (template_em.py); ``propose`` returns them, the best first.
"""

from __future__ import annotations

import numpy as np

from clicktimer.detection import pump_state
from clicktimer.detection.acceptance import outshines_its_whole, plainly_heard, solution_rejection
from clicktimer.detection.evidence import level_change_t
from clicktimer.detection.hypothesis import Hypothesis
from clicktimer.detection.pump_state import PumpEstimate
from clicktimer.detection.recurring_sounds import core_of, seed_of, seeds_of
from clicktimer.detection.sequence_evidence import change_t
from clicktimer.detection.shortlist import DetectionContext
from clicktimer.detection.template_em import UNKNOWN_START, Seed, Solution, Start, learn, log_odds
from clicktimer.settings import PumpState


def propose(context: DetectionContext, pumps: list[PumpEstimate], pump_at_start: PumpState | None) -> list[Hypothesis]:
    """Return all hypotheses that are worth comparing, the one that explains most first.

    Where a pump is heard, the user's word on the start is not used: if it is wrong, it must not override the level.
    """
    p = context.params.proposals
    start = _start(context, pump_at_start)
    seeds = seeds_of(context)
    pumps = [*pumps, *_further_pumps(context, pumps, seeds)]
    found = [learn(context, pump, None, UNKNOWN_START) for pump in pumps]
    pairs = _pairs(context, seeds, start)
    found += pairs
    recurring = [s for s in pairs if s is not None]
    found += [_with_pump(context, s) for s in recurring]
    found += _combined(context, pumps, recurring)
    hypotheses = _weighed(context, found)
    with_pump = [h for h in hypotheses if h.solution.pump is not None]
    alone = [h for h in hypotheses if h.solution.pump is None]
    for whole in (*with_pump[: p.relearned], *alone[: p.relearned]):
        core = _weighed(context, [_relearned(context, whole.solution, start)])
        if core and outshines_its_whole(core[0], whole, context.params.acceptance):
            hypotheses.remove(whole)
        hypotheses += core
        if core and whole.solution.pump is None:
            hypotheses += _weighed(context, [_with_pump(context, core[0].solution)])
    hypotheses.sort(key=lambda h: -h.log_odds)
    if any(plainly_heard(context, h) for h in hypotheses):
        # The pump is plainly heard to start and stop with some of the sounds: what alternates without it, however
        # often, is not its switch.
        hypotheses = [h for h in hypotheses if h.solution.pump is not None]
    return hypotheses


def _start(context: DetectionContext, pump_at_start: PumpState | None) -> Start:
    cost = context.params.viterbi.start_cost
    return {"off": (0.0, -cost), "on": (-cost, 0.0), None: UNKNOWN_START}[pump_at_start]


def _weighed(context: DetectionContext, found: list[Solution | None]) -> list[Hypothesis]:
    """Return those that pass the checks of a solution by itself, the one that explains most first."""
    likely = [s for s in found if s is not None and solution_rejection(context, s) is None]
    return sorted((Hypothesis(s, log_odds(context, s)) for s in likely), key=lambda h: -h.log_odds)


def _further_pumps(context: DetectionContext, known: list[PumpEstimate], seeds: list[Seed]) -> list[PumpEstimate]:
    """Return estimates of the pump from the recurring sounds, those that differ from all before."""
    further: list[PumpEstimate] = []
    for seed in seeds:
        pump = _pump_of(context, seed)
        if pump is not None and pump_state.is_new(pump, [*known, *further], context.params.pump_state):
            further.append(pump)
    return further[: context.params.proposals.more_pumps]


def _pump_of(context: DetectionContext, seed: Seed) -> PumpEstimate | None:
    """Return the pump if the level changes one way at most members of a recurring sound: it is one of its two clicks.

    The other click may be heard less often, or not at all. The changes at these candidates need not be the largest of
    all, which is where a pump is looked for otherwise: a door or a kettle makes larger ones.
    """
    p = context.params.proposals
    members = seed.members[: p.most_asked]
    if len(members) < p.least_asked:
        return None
    t = level_change_t(context, members, np.ones(len(members)))
    if abs(t) < p.least_change_t:
        return None
    rows, none = context.row[members], np.zeros(0, np.int64)
    return _pump_between(context, *((rows, none) if t > 0 else (none, rows)))


def _pump_between(context: DetectionContext, in_rows: np.ndarray, out_rows: np.ndarray) -> PumpEstimate | None:
    """Return the pump by the levels around some cut-ins and cut-outs."""
    params = context.params.pump_state
    low, high = pump_state.levels_around(context.levels, in_rows, out_rows, params)
    return pump_state.refine(context.levels, low, high, params)


def _pairs(context: DetectionContext, seeds: list[Seed], start: Start) -> list[Solution | None]:
    """Return hypotheses without the pump's sound, from pairs of sounds that recur."""
    p = context.params.proposals
    tries: list[tuple[float, Seed, Seed, set[int]]] = []
    for a, one in enumerate(seeds):
        for other in seeds[0 if start[0] != start[1] else a :]:
            first = learn(context, None, (one, other), start, rounds=1)
            if first is not None:
                tries.append((log_odds(context, first), one, other, set(first.clicks.tolist())))
    tries.sort(key=lambda t: -t[0])
    kept: list[tuple[float, Seed, Seed, set[int]]] = []
    for this in tries:  # the best, and those that are quite different: a rival must have had its chance
        same = sum(len(this[3] & k[3]) > p.same_share * min(len(this[3]), len(k[3])) for k in kept)
        if same < p.most_same and len(kept) < p.most_pairs:
            kept.append(this)
    return [learn(context, None, (one, other), start) for _, one, other, _ in kept]


def _with_pump(context: DetectionContext, solution: Solution) -> Solution | None:
    """Return the same sounds with a pump, if the level rises at one kind of click and falls at the other."""
    t = change_t(context, solution)
    if abs(t) < context.params.proposals.pair_change_t:
        return None
    ins, outs = solution.members if t > 0 else solution.members[::-1]
    pump = _pump_between(context, context.row[ins], context.row[outs])
    if pump is None:
        return None
    evidence = solution.evidence if t > 0 else solution.evidence[::-1]
    return learn(context, pump, (Seed(ins, evidence[0]), Seed(outs, evidence[1])), UNKNOWN_START)


def _combined(context: DetectionContext, pumps: list[PumpEstimate], recurring: list[Solution]) -> list[Solution | None]:
    """Return the plainest pumps with the best recurring pairs, either way round.

    Each may be wrong where the other is right.
    """
    p = context.params.proposals
    best = sorted(recurring, key=lambda s: -log_odds(context, s))[: p.combined]
    found = []
    for pump in sorted(pumps, key=lambda pump: -pump.apart)[: p.combined]:
        for solution in best:
            one, other = (Seed(m, e) for m, e in zip(solution.members, solution.evidence, strict=True))
            found.append(learn(context, pump, (one, other), UNKNOWN_START))
            found.append(learn(context, pump, (other, one), UNKNOWN_START))
    return found


def _relearned(context: DetectionContext, solution: Solution, start: Start) -> Solution | None:
    """Return the same learned anew from the clicks of each kind whose waveforms agree; None if all or too few do.

    Learning goes from likeness to sequence and back, and gets stuck: a word that was once taken for a click speaks for
    other words.
    """
    cores = [core_of(context, members) for members in solution.members]
    if all(len(core) == len(members) for core, members in zip(cores, solution.members, strict=True)):
        return None
    if min(len(core) for core in cores) < 2:
        return None
    first, second = (seed_of(context, core) for core in cores)
    return learn(context, solution.pump, (first, second), start if solution.pump is None else UNKNOWN_START)
