"""The chain from the candidates on: what was heard -> clicks, cycles, run, verdict, tank. Pure: no sound is read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.options import MeasureOptions
from clicktimer.assessment.values_used import values_used
from clicktimer.assessment.verdict import denied, judge
from clicktimer.cycles.corrections import HAND_SD_S, Label, correct
from clicktimer.cycles.pairing import pair_cycles, unknown_intervals
from clicktimer.cycles.run_time import doubted, no_use_run
from clicktimer.detection.anomalies import notices_of
from clicktimer.detection.candidate_finder import OnsetFinder
from clicktimer.detection.candidates import Candidates
from clicktimer.detection.detector import DetectionResult, find_clicks
from clicktimer.detection.spectral_lines import ToneSegment
from clicktimer.records import (
    Click,
    Correction,
    Gap,
    Notice,
    Reason,
    RunTime,
    SourceInfo,
    Verdict,
)

if TYPE_CHECKING:
    from clicktimer.tank.sizing import TankSizing

SETTLED_BY_HAND = ("no-clicks", "no-sure-clicks", "order-unknown", "variable-speed")
"""Notices that no longer hold when a person has said which clicks there are."""
BY_HAND = Reason("cycle.corrected-by-hand")
SETTLE_TWO_PUMPS = (Reason("verdict.settle.two-pumps"),)


class Listened:
    """What one pass over the sound leaves behind: candidates, the level track, gaps, and the tones of each second.

    Small beside the sound. Without tones nothing is said of a driven pump.
    """

    tones: Sequence[ToneSegment] = ()

    def __init__(
        self,
        candidates: Candidates,
        finder: OnsetFinder,
        gaps: tuple[Gap, ...],
        end_s: float,
        stopped: bool = False,
        tones: Sequence[ToneSegment] = (),
    ) -> None:
        self.candidates = candidates
        self.levels = finder.levels()
        self.gaps = gaps
        self.end_s = end_s
        self.stopped = stopped
        self.tones = tones


def conclude(heard: Listened, source: SourceInfo, options: MeasureOptions, notices: Sequence[Notice]) -> Measurement:
    """From what was heard to what is told: pure, and quick enough to be asked again at every click."""
    found = find_clicks(
        heard.candidates,
        heard.levels,
        duration_s=max(heard.end_s, 1.0),
        pump_at_start=options.pump_at_start,
        params=options.detection,
    )
    told = [*notices, *_warnings(found)]
    m = _measured(source, found.clicks, found.edges, heard.gaps, heard.end_s, options, told)
    more = notices_of(heard.levels, heard.tones, m.cycles, clicks=bool(found.clicks), params=options.detection)
    if not more:
        return m
    if any(n.code == "variable-speed" for n in more):  # its runs are not timed after all
        told = [n for n in told if n.code != "pump-sound-only"]
    return _measured(source, found.clicks, found.edges, heard.gaps, heard.end_s, options, [*told, *more])


def corrected(measured: Measurement, labels: Sequence[Label], options: MeasureOptions, *, name: str) -> Measurement:
    """Measure the same recording by a person's labels (cycles/corrections), with what was detected beside it.

    name: of the label file. options: those it was measured with. Raises InputError for a label after its end.
    """
    m = measured
    ours, deleted = correct(labels, (*m.clicks, *m.edges), m.gaps, end_s=m.source.duration_s, name=name)
    before = (m.cycles, m.run, m.verdict)
    if not deleted and all(c.change == "kept" for c in ours):
        return replace(m, correction=Correction(name, ours, deleted, (), *before))
    clicks = tuple(c.click for c in ours if c.click.how == "clicks")
    edges = tuple(c.click for c in ours if c.click.how == "pump sound")
    warnings = [w for w in m.warnings if not clicks or w.code not in SETTLED_BY_HAND]
    if not labels:
        warnings.append(Notice("no-labels", Reason("notice.no-labels", file=name)))
    if any(c.kind == "unknown" for c in clicks):
        warnings.append(Notice("order-unknown", Reason("notice.order-unknown")))
    new = _measured(m.source, clicks, edges, m.gaps, m.source.duration_s, options, warnings)
    cycles = tuple(c if c in m.cycles else replace(c, notes=(*c.notes, BY_HAND)) for c in new.cycles)
    figures = [f"cycle {i}" for i, (c, n) in enumerate(zip(cycles, new.cycles, strict=True), start=1) if c is not n]
    run, verdict = new.run, new.verdict
    if run is not None:
        run = replace(run, notes=(*run.notes, Reason("run.corrected-by-hand", sd_s=HAND_SD_S)))
        figures.append("run")
    if verdict.band is not None or m.verdict.band is not None:
        verdict = by_hand(verdict)
        figures.append("verdict")
    figures += [what for what in ("ambiguous", "tank") if getattr(new, what) is not None]
    return replace(
        new,
        clicks=m.clicks,
        edges=m.edges,
        cycles=cycles,
        run=run,
        verdict=verdict,
        correction=Correction(name, ours, deleted, tuple(figures), *before),
    )


def by_hand(verdict: Verdict) -> Verdict:
    """Return a verdict that says that it rests on clicks corrected by hand."""
    return replace(verdict, reasons=(*verdict.reasons, Reason("verdict.by-hand")))


def _measured(
    source: SourceInfo,
    clicks: tuple[Click, ...],
    edges: tuple[Click, ...],
    gaps: tuple[Gap, ...],
    end_s: float,
    options: MeasureOptions,
    warnings: Sequence[Notice],
) -> Measurement:
    """Return what follows from clicks and edges, whether the detector or a person found them."""
    clock_ppm = options.detection.timing.clock_ppm
    both = sorted((*clicks, *edges), key=lambda c: c.time_s)
    cycles = pair_cycles(both, gaps, start_s=0.0, end_s=end_s, pump_at_start=options.pump_at_start, clock_ppm=clock_ppm)
    # A click of which one cannot be sure breaks the turns: what follows it is read afresh.
    breaks = tuple(Gap(e.time_s, None, "a click may be missing") for e in edges)
    ambiguous = unknown_intervals(clicks, (*gaps, *breaks))
    run = no_use_run(cycles, taps=options.taps, clicks=clicks, ambiguous=ambiguous, clock_ppm=clock_ppm)
    codes = {w.code for w in warnings}
    if run is not None and run.count == 1:
        run = doubted(run, "run.only-one")
    if run is not None and "two-pumps" in codes:
        run = doubted(run, "run.two-pumps")
    motor_hp = None if options.system is None else options.system.motor_hp
    least_run_s = None if options.system is None else options.system.system.motor.least_run_s
    verdict = judge(run, marks_s=options.marks_s, motor_hp=motor_hp, least_run_s=least_run_s)
    if run is not None and "two-pumps" in codes:
        verdict = replace(verdict, settle=SETTLE_TWO_PUMPS)
    if "variable-speed" in codes:
        run = None
        why, settle = Reason("verdict.variable-speed"), Reason("verdict.settle.variable-speed")
        verdict = Verdict(None, False, (why,), (settle,))
    tank = None
    if options.system is not None:
        from clicktimer.tank.sizing import size_tank

        tank = size_tank(options.system.system, run, options.system.units, cycles)
        verdict = _unless_denied(verdict, tank)
    measured = Measurement(
        source,
        clicks,
        cycles,
        gaps,
        ambiguous,
        run,
        verdict,
        tank,
        tuple(warnings),
        values_used(options),
        edges=edges,
        marks_s=options.marks_s,
    )
    if options.system is None:
        return measured
    from clicktimer.assessment.causes.ranking import likely_causes

    return replace(measured, causes=likely_causes(measured, tank, options.system.found))


def _unless_denied(verdict: Verdict, tank: TankSizing | None) -> Verdict:
    finding = None if tank is None or tank.judgement is None else tank.judgement.finding
    return replace(verdict, sure=False) if denied(verdict, finding) else verdict


def rejudged(measured: Measurement, run: RunTime, options: MeasureOptions) -> Measurement:
    """Return the measurement with another run, and what follows from it: verdict, tank, causes."""
    system = options.system
    motor_hp = None if system is None else system.motor_hp
    least_run_s = None if system is None else system.system.motor.least_run_s
    verdict = judge(run, marks_s=options.marks_s, motor_hp=motor_hp, least_run_s=least_run_s)
    if any(w.code == "two-pumps" for w in measured.warnings):
        verdict = replace(verdict, settle=SETTLE_TWO_PUMPS)
    measured = replace(measured, run=run, verdict=verdict)
    if system is None:
        return measured
    from clicktimer.assessment.causes.ranking import likely_causes
    from clicktimer.tank.sizing import size_tank

    tank = size_tank(system.system, run, system.units, measured.cycles)
    measured = replace(measured, tank=tank, verdict=_unless_denied(verdict, tank))
    return replace(measured, causes=likely_causes(measured, tank, system.found))


def _warnings(found: DetectionResult) -> list[Notice]:
    warnings = [
        Notice("chatter", Reason("notice.chatter", count=c.chatter), c.time_s) for c in found.clicks if c.chatter > 1
    ]
    if not found.clicks and found.pump_heard:
        warnings.append(Notice("pump-sound-only", Reason("notice.pump-sound-only")))
    elif not found.clicks and found.gain > 0.0:
        warnings.append(Notice("no-sure-clicks", Reason("notice.no-sure-clicks")))
    elif not found.clicks:
        warnings.append(Notice("no-clicks", Reason("notice.no-clicks")))
    elif not found.order_known:
        warnings.append(Notice("order-unknown", Reason("notice.order-unknown")))
    if found.conflict:
        warnings.append(Notice("start-contradicted", Reason("notice.start-contradicted")))
    return warnings
