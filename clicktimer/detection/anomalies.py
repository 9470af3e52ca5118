"""Stage 4, beside the cycles: is this one pump on one switch at all? What speaks against it becomes a notice.

The codes are acted upon where run and verdict are made: under "variable-speed" no run time is told, under "two-pumps"
none is sure. "other-machine" changes nothing: the runs are those of what clicks.
"""

from __future__ import annotations

from collections.abc import Sequence

from clicktimer.detection.candidates import LevelSegment
from clicktimer.detection.params import DetectionParams
from clicktimer.detection.pump_state import gather
from clicktimer.detection.second_machine import SecondMachine, find_second_machine
from clicktimer.detection.spectral_lines import ToneSegment
from clicktimer.detection.speed_changes import SpeedChange, speed_changes
from clicktimer.records import Cycle, Notice
from clicktimer.reporting.messages import measurement
from clicktimer.units.format import format_time

MOST_TIMES = 3


def notices_of(
    levels: Sequence[LevelSegment],
    tones: Sequence[ToneSegment],
    cycles: Sequence[Cycle],
    *,
    clicks: bool,
    params: DetectionParams,
) -> list[Notice]:
    """Return what speaks against one pump on one switch. clicks: whether any clicks of a switch were detected."""
    if not clicks:
        changes = speed_changes(tones, params.speed_changes)
        if changes:
            return [_driven(changes)]
    runs = [c for c in cycles if c.cut_in_s is not None and c.cut_out_s is not None]
    if not runs:
        return []
    found = find_second_machine(
        gather(list(levels), params.pump_state),
        [(c.cut_in_s or 0.0, c.cut_out_s or 0.0) for c in runs],
        [c.complete for c in runs],
        params,
    )
    if found is None:
        return []
    return [_company(found, {c.cut_in_s for c in runs if c.complete})]


def _driven(changes: Sequence[SpeedChange]) -> Notice:
    plainest = max(changes, key=lambda c: (c.lines, -c.time_s))
    text = measurement.VARIABLE_SPEED.format(
        lines=plainest.lines,
        percent=round(100 * abs(plainest.ratio - 1)),
        from_hz=round(plainest.from_hz),
        to_hz=round(plainest.to_hz),
        at=format_time(plainest.time_s),
        times=measurement.how_often(len(changes)),
    )
    return Notice("variable-speed", text)


def _company(found: SecondMachine, complete: set[float | None]) -> Notice:
    shown = ", ".join(format_time(a) for a, _ in found.runs_s[:MOST_TIMES])
    if len(found.runs_s) > MOST_TIMES:
        shown += f" and {len(found.runs_s) - MOST_TIMES} more"
    if complete & set(found.others_s):
        at = ", ".join(format_time(t) for t in found.others_s[:MOST_TIMES])
        return Notice("two-pumps", measurement.RUNS_UNLIKE.format(at=at))
    if found.louder_s:
        at = ", ".join(format_time(t) for t in found.louder_s[:MOST_TIMES])
        return Notice("two-pumps", measurement.COMES_AT_STOPS.format(at=at))
    often = measurement.how_often(len(found.runs_s))
    if not found.may_be_a_pump:
        return Notice("other-machine", measurement.OTHER_MACHINE.format(times=often, at=shown))
    text = measurement.TWO_PUMPS.format(times=often, at=shown, shared=found.joined, runs=found.pump_runs)
    return Notice("two-pumps", text)
