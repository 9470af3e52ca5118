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
from clicktimer.records import Cycle, Notice, Reason

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
        changes = speed_changes(tones, params)
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
    return [_second_machine(found, {c.cut_in_s for c in runs if c.complete})]


def _driven(changes: Sequence[SpeedChange]) -> Notice:
    plainest = max(changes, key=lambda c: (c.lines, -c.time_s))
    reason = Reason(
        "notice.variable-speed",
        lines=plainest.lines,
        share=abs(plainest.ratio - 1),
        from_hz=plainest.from_hz,
        to_hz=plainest.to_hz,
        at_s=plainest.time_s,
        count=len(changes),
    )
    return Notice("variable-speed", reason)


def _second_machine(found: SecondMachine, complete: set[float | None]) -> Notice:
    if complete & set(found.others_s):
        return Notice("two-pumps", Reason("notice.runs-unlike", at_s=tuple(found.others_s[:MOST_TIMES])))
    if found.louder_s:
        return Notice("two-pumps", Reason("notice.comes-at-stops", at_s=tuple(found.louder_s[:MOST_TIMES])))
    count, at_s = len(found.runs_s), tuple(at_s for at_s, _ in found.runs_s)
    if not found.may_be_a_pump:
        return Notice("other-machine", Reason("notice.other-machine", count=count, at_s=at_s))
    shared = Reason("notice.two-pumps", count=count, at_s=at_s, shared=found.joined, runs=found.pump_runs)
    return Notice("two-pumps", shared)
