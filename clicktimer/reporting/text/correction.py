"""A person's corrections as text and as JSON: what was changed, what rests on it, and what had been detected."""

from __future__ import annotations

from collections import Counter
from typing import Any

from clicktimer.assessment.measurement import Measurement
from clicktimer.records import (
    CorrectedClick,
    Correction,
    Reason,
)
from clicktimer.reporting.blocks import Block, Words
from clicktimer.reporting.formatting import clock_text, seconds_text, started_time
from clicktimer.reporting.json.records import cycle_json, run_json, verdict_json
from clicktimer.reporting.messages.catalogue import Messages

MOST_LINES = 20


def correction_blocks(measurement: Measurement, messages: Messages = Messages()) -> list[Block]:
    """Return what a person changed, what rests on it, and what was told before; nothing without a correction."""
    c = measurement.correction
    if c is None:
        return []
    text = messages.text
    count = Counter(click.change for click in c.clicks)
    if not c.figures and not c.deleted and count["kept"] == len(c.clicks):
        return [Words(text("correction.none", file=c.file))]
    counts = [("kept", count["kept"])]
    counts += [(name, count[name]) for name in ("moved", "renamed", "added", "by turns") if count[name]]
    if c.deleted:
        counts.append(("deleted", len(c.deleted)))
    changed = ", ".join(text(f"correction.{name.replace(' ', '-')}", count=n) for name, n in counts)
    lines: list[Block] = [Words(text("correction.by", file=c.file, changes=changed))]
    started = started_time(measurement.source.started_at)

    def when(time_s: float) -> str:
        return messages.number(clock_text(time_s, started))

    changes = [
        (one.click.time_s, _change_text(one, when(one.click.time_s), messages))
        for one in c.clicks
        if one.change != "kept"
    ]
    changes += [
        (click.time_s, text("correction.click-deleted", when=when(click.time_s), kind=click.kind))
        for click in c.deleted
    ]
    lines += [Words(change, "-") for _, change in sorted(changes)[:MOST_LINES]]
    if len(changes) > MOST_LINES:
        lines.append(Words(text("correction.more", count=len(changes) - MOST_LINES), "-"))
    lines.append(Words(_figures_text(c.figures, messages)))
    lines.append(Words(_before_text(c, messages)))
    return lines


def correction_json(c: Correction | None) -> dict[str, Any] | None:
    """Return a correction as the JSON document holds it, or None."""
    if c is None:
        return None
    return {
        "file": c.file,
        "clicks": [
            {
                "time_s": one.click.time_s,
                "kind": one.click.kind,
                "how": one.click.how,
                "timing_sd_s": one.click.timing_sd_s,
                "change": one.change,
                "was_s": one.was_s,
                "was_kind": one.was_kind,
            }
            for one in c.clicks
        ],
        "deleted": [{"time_s": one.time_s, "kind": one.kind, "how": one.how} for one in c.deleted],
        "figures": c.figures,
        "detected": {
            "cycles": [cycle_json(cycle) for cycle in c.detected_cycles],
            "run": run_json(c.detected_run),
            "verdict": verdict_json(c.detected_verdict),
        },
    }


def _change_text(one: CorrectedClick, when: str, messages: Messages) -> str:
    change = one.click.note or Reason(f"correction.change-{one.change.replace(' ', '-')}")
    code = "correction.changed" if one.click.how == "clicks" else "correction.changed-sound"
    return messages.text(code, when=when, kind=one.click.kind, change=messages.text(change))


def _figures_text(figures: tuple[str, ...], messages: Messages) -> str:
    cycles = [name.removeprefix("cycle ") for name in figures if name.startswith("cycle ")]
    parts = []
    if cycles:
        parts.append(messages.text("correction.rests-on-runs", count=len(cycles), numbers=", ".join(cycles)))
    parts += [messages.text(f"correction.rests-on-{name}") for name in figures if not name.startswith("cycle ")]
    if not parts:
        return messages.text("correction.rests-on-nothing")
    return messages.text("correction.rests-on", figures=", ".join(parts))


def _before_text(c: Correction, messages: Messages) -> str:
    whole, run = sum(cycle.complete for cycle in c.detected_cycles), c.detected_run
    if run is None:
        return messages.text("correction.detected-none", whole=whole)
    code = "correction.detected-at-most" if run.one_sided else "correction.detected"
    length = messages.number(seconds_text(run.seconds, (run.high_s - run.low_s) / 2))
    return messages.text(code, whole=whole, run=length)
