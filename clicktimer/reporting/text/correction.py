"""A person's corrections as text and as JSON: what was changed, what rests on it, and what had been detected."""

from __future__ import annotations

from collections import Counter
from typing import Any

from clicktimer.records import CorrectedClick, Correction, Measurement
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
    count = Counter(click.change for click in c.clicks)
    if not c.figures and not c.deleted and count["kept"] == len(c.clicks):
        return [Words(f"{c.file} holds the clicks just as they were detected: nothing is corrected.")]
    said = [f"{count['kept']} kept", *(f"{count[k]} {k}" for k in ("moved", "renamed", "added") if count[k])]
    if count["by turns"]:
        said.append(f"{count['by turns']} whose kind follows by turns")
    if c.deleted:
        said.append(f"{len(c.deleted)} deleted")
    lines: list[Block] = [Words(f"By {c.file}: {', '.join(said)}. What was detected is kept beside it (--json FILE).")]
    started = started_time(measurement.source.started_at)
    changes = [(click.click.time_s, _change_text(click, messages)) for click in c.clicks if click.change != "kept"]
    changes += [(click.time_s, f"{click.kind} deleted") for click in c.deleted]
    for time_s, text in sorted(changes)[:MOST_LINES]:
        lines.append(Words(f"{clock_text(time_s, started)}: {text}", "-"))
    if len(changes) > MOST_LINES:
        lines.append(Words(f"{len(changes) - MOST_LINES} more changes are in the JSON.", "-"))
    lines.append(Words(f"Resting on corrected clicks: {_figures_text(c.figures)}."))
    lines.append(Words(f"As detected: {_before_text(c)}."))
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


def _change_text(one: CorrectedClick, messages: Messages) -> str:
    note = one.change if one.click.note is None else messages.text(one.click.note)
    return f"{one.click.kind if one.click.how == 'clicks' else 'pump sound'}, {note}"


def _figures_text(figures: tuple[str, ...]) -> str:
    cycles = [name.removeprefix("cycle ") for name in figures if name.startswith("cycle ")]
    named = {"run": "the run time", "verdict": "the verdict", "tank": "the tank", "ambiguous": "the two readings"}
    parts = [f"run{'s' if len(cycles) > 1 else ''} {', '.join(cycles)}"] if cycles else []
    parts += [named.get(name, name) for name in figures if not name.startswith("cycle ")]
    return ", ".join(parts) or "nothing that is told"


def _before_text(c: Correction) -> str:
    whole = sum(cycle.complete for cycle in c.detected_cycles)
    runs = f"{whole} whole run{'' if whole == 1 else 's'}"
    if c.detected_run is None:
        return f"{runs}, no run time"
    run = c.detected_run
    at_most = "at most " if run.one_sided else ""
    return f"{runs}, run time {at_most}{seconds_text(run.seconds, (run.high_s - run.low_s) / 2)}"
