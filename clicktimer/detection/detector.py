"""Candidates and levels -> clicks of the switch, each with its kind and how sure that is.

Little is known beforehand: a switch clicks alike each time, cut-in and cut-out alternate, and the pump sounds between
them. So: guess where the pump is heard (several guesses, one of them "nowhere"); under each guess decode the best
sequence; learn from it what the two clicks sound like and how loud they are; weigh every candidate anew against all
noises that the sequence leaves unexplained; repeat (proposals.py). The hypothesis whose clicks explain most wins, if it
wins clearly (acceptance.py), and is reported (assemble.py).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from clicktimer.detection import pump_state
from clicktimer.detection.acceptance import Comparison, choose, contradicts_start
from clicktimer.detection.assemble import assemble, edges_by_sound
from clicktimer.detection.candidates import Candidates, LevelSegment
from clicktimer.detection.hypothesis import Rejection
from clicktimer.detection.params import DetectionParams, default_params
from clicktimer.detection.proposals import propose
from clicktimer.detection.sequence_evidence import starts_with_the_first_click
from clicktimer.detection.shortlist import DetectionContext, shortlist
from clicktimer.records import Click
from clicktimer.settings import PumpState


@dataclass(frozen=True, slots=True)
class DetectionResult:
    """Result of click detection.

    clicks: of the switch. edges: starts and stops of the pump that its sound shows without a click. pump_heard: the
    level separates the kinds. order_known: the kinds are known (by the pump or the user's word). gain: what the clicks
    explain, nats. margin: lead over the next different hypothesis, nats. pump: estimate of the pump, or None.
    conflict: what is heard contradicts the user's word on the start. rejection: why no clicks are reported, or None.
    """

    clicks: tuple[Click, ...]
    edges: tuple[Click, ...]
    pump_heard: bool
    order_known: bool
    gain: float
    margin: float
    pump: pump_state.PumpEstimate | None
    conflict: bool = False
    rejection: Rejection | None = None


def find_clicks(
    candidates: Candidates,
    segments: list[LevelSegment],
    *,
    duration_s: float,
    pump_at_start: PumpState | None = None,
    params: DetectionParams | None = None,
) -> DetectionResult:
    """Return the clicks among the candidates of a recording.

    If sound was lost or parts were joined, a stretch without any click is searched once more by itself: the phone may
    have been moved, and the switch sounds different there.

    Parameters
    ----------
    candidates
        Candidates of the whole recording.
    segments
        Levels, one segment for each stretch without a gap.
    duration_s
        Length of the recording, seconds.
    pump_at_start
        What the user says of the start, or None.
    params
        Parameters of the detector; those of params.toml if None.
    """
    params = params or default_params()
    found = _find(candidates, segments, duration_s, pump_at_start, params)
    for segment in segments if len(segments) > 1 and found.clicks else ():
        end_s = segment.start_s + segment.step_s * len(segment.codes)
        inside = (candidates.time_s >= segment.start_s) & (candidates.time_s <= end_s)
        if not inside.any() or any(segment.start_s <= c.time_s <= end_s for c in found.clicks):
            continue
        part = _find(candidates.take(inside), [segment], max(end_s - segment.start_s, 1.0), None, params)
        if part.clicks:
            edges = [e for e in found.edges if not segment.start_s <= e.time_s <= end_s]
            found = replace(
                found,
                clicks=tuple(sorted((*found.clicks, *part.clicks), key=lambda c: c.time_s)),
                edges=tuple(sorted((*edges, *part.edges), key=lambda e: e.time_s)),
            )
    return found


def _find(
    candidates: Candidates,
    segments: list[LevelSegment],
    duration_s: float,
    pump_at_start: PumpState | None,
    params: DetectionParams,
) -> DetectionResult:
    levels = pump_state.gather(segments, params.pump_state)
    if levels is None or not len(candidates):
        return _nothing(0.0, Rejection("no-candidates"))
    context = shortlist(candidates, levels, duration_s, params)
    pumps = pump_state.estimates(levels, context.row, params.pump_state)
    hypotheses = propose(context, pumps, pump_at_start)
    chosen = choose(context, hypotheses, lambda: _by_sound(levels, pumps, params, None) is not None)
    if isinstance(chosen, Comparison):
        return _reported(context, chosen, pump_at_start)
    if chosen.final:
        return _nothing(chosen.evidence["log_odds"], chosen)
    by_sound = _by_sound(levels, pumps, params, chosen)
    return by_sound or _nothing(hypotheses[0].log_odds if hypotheses else 0.0, chosen)


def _reported(context: DetectionContext, chosen: Comparison, pump_at_start: PumpState | None) -> DetectionResult:
    """Return the accepted hypothesis as clicks and edges."""
    p, best = context.params.acceptance, chosen.best
    solution = best.solution
    heard = solution.pump is not None or abs(chosen.change_t) >= p.sure_change_t
    order_known = heard or (
        pump_at_start is not None
        and best.log_odds >= p.least_each * best.count
        and starts_with_the_first_click(context, solution)
    )
    conflict = pump_at_start is not None and contradicts_start(solution, chosen.change_t, pump_at_start == "on", p)
    clicks, edges = assemble(context, solution, order_known=order_known, reverse=heard and chosen.change_t < 0)
    return DetectionResult(clicks, edges, heard, order_known, best.log_odds, chosen.margin, solution.pump, conflict)


def _nothing(gain: float, why: Rejection) -> DetectionResult:
    return DetectionResult((), (), False, False, gain, 0.0, None, rejection=why)


def _by_sound(
    levels: pump_state.Levels,
    pumps: list[pump_state.PumpEstimate],
    params: DetectionParams,
    why: Rejection | None,
) -> DetectionResult | None:
    """Return starts and stops of the pump by its sound alone, the plainest estimate first; None if there are none."""
    for pump in sorted(pumps, key=lambda p: -p.apart):
        changes = pump_state.runs_by_sound(levels, pump, params.pump_state)
        if changes:
            edges = edges_by_sound(changes, params.assemble)
            return DetectionResult((), edges, True, True, 0.0, 0.0, pump, rejection=why)
    return None
