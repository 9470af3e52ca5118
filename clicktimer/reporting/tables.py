"""The cycles as CSV, one row a cycle, for a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from datetime import timedelta

from clicktimer.assessment.measurement import Measurement
from clicktimer.records import Cycle
from clicktimer.reporting.formatting import plain, started_time
from clicktimer.reporting.json.measurement import bare_name
from clicktimer.reporting.messages.catalogue import Messages

HEADER = (
    "recording",
    "cycle",
    "cut_in_at",
    "cut_in_s",
    "cut_out_s",
    "run_s",
    "run_low_s",
    "run_high_s",
    "rest_s",
    "complete",
    "how",
    "confidence",
    "note",
)


def cycles_csv(measurements: Iterable[Measurement]) -> str:
    """Return the cycles of one or more measurements as CSV with a header.

    Names ending in ``_s`` are seconds, times from the first decoded sample; ``cut_in_at`` is the wall-clock
    time where the start of the recording is known. Unknown is an empty cell. Lines end in CR LF (RFC 4180).
    """
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(HEADER)
    for m in measurements:
        started = started_time(m.source.started_at)
        for number, c in enumerate(m.cycles, start=1):
            at = ""
            if started is not None and c.cut_in_s is not None:
                at = (started + timedelta(seconds=round(c.cut_in_s, 3))).isoformat(sep=" ", timespec="milliseconds")
            writer.writerow([safe_cell(bare_name(m.source.name)), number, at, *_cells(c)])
    return out.getvalue()


def _cells(c: Cycle) -> list[str]:
    times = (c.cut_in_s, c.cut_out_s, c.run_s, c.run_low_s, c.run_high_s, c.rest_s)
    numbers = ["" if t is None else f"{t:.6f}" for t in times]
    return [*numbers, "yes" if c.complete else "no", c.how, f"{c.confidence:.3f}", safe_cell(Messages().note(c.notes))]


def safe_cell(text: str) -> str:
    """Return text that a spreadsheet will not take for a formula: = + - @ at its start get an apostrophe before."""
    text = plain(text)
    return "'" + text if text.lstrip().startswith(("=", "+", "-", "@")) else text
