"""Which hypothesis is accepted, or why none is.

Each check stands for a way in which a wrong sequence once looked right: crackle that recurs, two switches, words that
begin and end with a sound, a person who walks by. A check is a code with a condition; the first that fails rejects.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from clicktimer.detection import sequence_evidence as evidence
from clicktimer.detection.hypothesis import Hypothesis, Rejection
from clicktimer.detection.model_params import Acceptance
from clicktimer.detection.precursors import moved_to_precursors
from clicktimer.detection.shortlist import DetectionContext
from clicktimer.detection.template_em import Solution, level_doubt

# -- a sequence by itself ----------------------------------------------------------------------------------------------


def solution_rejection(context: DetectionContext, solution: Solution) -> Rejection | None:
    """Return why a sequence is not considered at all, or None: whether its pump is real."""
    p, pump = context.params.acceptance, solution.pump
    if pump is None:
        return None
    if pump.apart < p.pump_apart:
        return Rejection("pump-not-heard", {"pump_apart": pump.apart})
    fewest = min(len(m) for m in solution.members)
    if fewest >= 2:
        t = evidence.change_t(context, solution)
        if t < (p.pump_change_t if fewest >= 3 else p.pump_change_t_two):
            return Rejection("pump-not-at-clicks", {"change_t": t})
    if evidence.level_contradicts(context, solution):
        return Rejection("level-contradicts")
    # A bark, a phrase or a plate that is put down begins with a snap, perhaps, and it ends; and its level lies between.
    doubt = level_doubt(pump, context.params.template_em)
    if doubt >= p.faint_doubt and evidence.duller_kind_score(context, solution) < p.faint_score:
        return Rejection("dull-with-faint-pump", {"level_doubt": doubt})
    return None


def evidence_rejection(context: DetectionContext, hypothesis: Hypothesis) -> Rejection | None:
    """Return why a hypothesis has too little evidence to be accepted even without a rival, or None."""
    p, solution = context.params.acceptance, hypothesis.solution
    figures = {"log_odds": hypothesis.log_odds, "clicks": float(hypothesis.count)}
    apart = solution.pump is None and evidence.stands_apart(context, solution)
    if solution.pump is not None:
        least, more = p.least_log_odds, level_doubt(solution.pump, context.params.template_em)
    elif apart:
        least, more = p.least_log_odds_apart, 0.0
    else:
        least, more = p.least_log_odds_alone, p.each_alone
    if hypothesis.log_odds < least:
        return Rejection("too-little-evidence", figures)
    if solution.pump is None and not apart:
        order, stands_out = evidence.order_log_odds(context, solution), evidence.stands_out(solution)
        if order < p.least_order or (order < p.plain_order and stands_out < p.stands_out):
            return Rejection("order-by-chance", figures | {"order": order, "stands_out": stands_out})
    if hypothesis.log_odds < p.least_each * hypothesis.count * (1.0 + more):
        return Rejection("too-little-evidence-each", figures)
    return None


def plainly_heard(context: DetectionContext, hypothesis: Hypothesis) -> bool:
    """Return True if a level that is well apart changes with nearly every click, and hardly ever without one."""
    p, solution = context.params.acceptance, hypothesis.solution
    if solution.pump is None or hypothesis.count < p.plain_clicks:
        return False
    least = p.least_each * hypothesis.count
    return (
        level_doubt(solution.pump, context.params.template_em) < p.plain_doubt
        and len(solution.path.silent_rows) <= p.plain_silent_share * hypothesis.count
        and hypothesis.log_odds >= least
        and evidence.change_t(context, solution)
        >= (p.plain_change_t if hypothesis.log_odds >= 2.0 * least else p.plain_change_t_weak)
    )


def outshines_its_whole(core: Hypothesis, whole: Hypothesis, p: Acceptance) -> bool:
    """Return True if what was learned from the core of a hypothesis replaces the whole.

    The clicks of the whole may explain more: each bark at which the level rises explains something. But if those of
    the core stand out by their sound as the whole's do not, the rest were never the switch.
    """
    return evidence.outshines(core.solution, whole.solution, p) and core.log_odds > p.core_share * whole.log_odds


# -- the best against the others ---------------------------------------------------------------------------------------


class Comparison:
    """The best hypothesis, its clicks moved to the switch, beside all others.

    others: all other hypotheses. pump_elsewhere: asks whether a pump can be timed by its sound alone.
    """

    def __init__(
        self,
        context: DetectionContext,
        best: Hypothesis,
        others: Sequence[Hypothesis],
        pump_elsewhere: Callable[[], bool],
    ) -> None:
        self.context, self.best, self.others, self.pump_elsewhere = context, best, others, pump_elsewhere
        self.params = context.params.acceptance

    @cached_property
    def change_t(self) -> float:
        """The t value of the change of level at the clicks; 0 where a pump is heard, which needs none."""
        return 0.0 if self.best.solution.pump is not None else evidence.change_t(self.context, self.best.solution)

    @cached_property
    def rivals(self) -> list[Hypothesis]:
        """Other hypotheses that could be the switch, with other clicks."""
        p, context, best = self.params, self.context, self.best.solution
        score = evidence.median_score(context, best)
        return [
            h
            for h in self.others
            if evidence.shared(context, best.clicks, h.solution.clicks) < p.different_share
            and not evidence.outshines(best, h.solution, p)  # long crackle is no rival
            and evidence.median_score(context, h.solution) > score - p.duller  # words are no rival of a clear click
            and (
                h.solution.pump is not None  # what would never be accepted by itself is no rival either
                or evidence.duller_kind_score(context, h.solution) >= p.least_kind_score
            )
        ]

    @property
    def margin(self) -> float:
        """Lead over the best rival, nats."""
        return self.best.log_odds - (max(self.rivals[0].log_odds, 0.0) if self.rivals else 0.0)

    @cached_property
    def figures(self) -> dict[str, float]:
        """The evidence of the best hypothesis by name."""
        context, solution = self.context, self.best.solution
        return {
            "clicks": float(self.best.count),
            "log_odds": self.best.log_odds,
            "margin": self.margin,
            "change_t": self.change_t,
            "median_score": evidence.median_score(context, solution),
            "duller_kind_score": evidence.duller_kind_score(context, solution),
            "stands_out": evidence.stands_out(solution),
            "alternation": evidence.alternation(solution),
            "order": evidence.order_log_odds(context, solution),
            "pump_apart": 0.0 if solution.pump is None else solution.pump.apart,
            "without_click": float(len(solution.path.silent_rows)),
        }


@dataclass(frozen=True, slots=True)
class Check:
    """One reason for rejection. fails: True if it applies. final: see Rejection."""

    code: str
    fails: Callable[[Comparison], bool]
    final: bool


def _differs_in_one_kind(c: Comparison) -> bool:
    """Of another sequence nearly as good, one kind of click is the same and the other is not: which is it?"""
    if abs(c.change_t) >= c.params.sure_change_t:
        return False
    near = [h.solution for h in c.others if h.log_odds > c.params.near_share * c.best.log_odds]
    return any(evidence.shares_one_kind(c.context, s, c.best.solution) for s in near)


def _has_an_equal(c: Comparison) -> bool:
    """Two switches, or a switch and a latch: another sequence explains nearly as much, click for click."""
    p = c.params
    return any(h.count >= p.rival_clicks and h.log_odds > p.rival_share * c.best.each * h.count for h in c.rivals)


def _does_not_alternate(c: Comparison) -> bool:
    if evidence.alternation(c.best.solution) >= c.params.least_alternation:
        return False
    return not evidence.stands_apart(c.context, c.best.solution)


def _pump_runs_elsewhere(c: Comparison) -> bool:
    """A pump is plainly heard, and these sounds have nothing to do with it."""
    return abs(c.change_t) < c.params.no_change_t and c.pump_elsewhere()


def _is_dull(c: Comparison) -> bool:
    """A word or a chirp that comes again and again."""
    return evidence.duller_kind_score(c.context, c.best.solution) < c.params.least_kind_score


def _is_a_clock(c: Comparison) -> bool:
    return abs(c.change_t) < c.params.sure_change_t and evidence.is_a_clock(c.context, c.best.solution)


def _leads_by_little(c: Comparison) -> bool:
    return c.margin < c.params.least_lead * c.best.log_odds


WITHOUT_PUMP = (
    Check("one-kind-differs", _differs_in_one_kind, final=True),
    Check("rival-as-good", _has_an_equal, final=True),
    Check("no-alternation", _does_not_alternate, final=False),
    Check("pump-elsewhere", _pump_runs_elsewhere, final=False),
    Check("not-like-a-switch", _is_dull, final=True),
    Check("steps", lambda c: evidence.are_steps(c.context, c.best.solution), final=True),
    Check("clock", _is_a_clock, final=True),
)
ALWAYS = (Check("rival-close", _leads_by_little, final=False),)


def choose(
    context: DetectionContext,
    hypotheses: Sequence[Hypothesis],
    pump_elsewhere: Callable[[], bool],
) -> Comparison | Rejection:
    """Return the best hypothesis beside the others if it is accepted, or else why not.

    Parameters
    ----------
    context
        The short-listed candidates.
    hypotheses
        All hypotheses, the one that explains most first.
    pump_elsewhere
        Asks whether a pump can be timed by its sound alone.
    """
    p = context.params.acceptance
    if not hypotheses:
        return Rejection("no-hypothesis")  # nothing recurs, or no sequence passed the checks by itself
    place = next((k for k, h in enumerate(hypotheses) if evidence_rejection(context, h) is None), None)
    if place is None:
        return evidence_rejection(context, hypotheses[0]) or Rejection("too-little-evidence")
    best = hypotheses[place]
    if not all(evidence.outshines(best.solution, h.solution, p) for h in hypotheses[:place]):
        return Rejection("another-explains-more", {"log_odds": best.log_odds})
    if best.count >= p.own_kind_clicks and max(evidence.kind_medians(best.solution)) < p.own_kind:
        return Rejection("sounds-like-the-rest", {"log_odds": best.log_odds})
    best = replace(best, solution=moved_to_precursors(context, best.solution))
    others = [h for k, h in enumerate(hypotheses) if k != place]
    comparison = Comparison(context, best, others, pump_elsewhere)
    checks = (*WITHOUT_PUMP, *ALWAYS) if best.solution.pump is None else ALWAYS
    for check in checks:
        if check.fails(comparison):
            return Rejection(check.code, comparison.figures, check.final)
    return comparison


def contradicts_start(solution: Solution, change_t: float, on_at_start: bool, p: Acceptance) -> bool:
    """Return True if what is heard contradicts the user's word on the pump at the start of the recording."""
    pump = solution.pump
    if pump is None:
        return change_t <= -p.sure_change_t
    plain = abs(float(pump.llr[: p.conflict_steps].mean())) > p.conflict_llr
    return bool(solution.path.on[0] != on_at_start) and plain
