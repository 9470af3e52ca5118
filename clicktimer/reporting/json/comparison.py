"""A comparison of two results as JSON: the figures of both sides, what changed, and why a figure is not compared."""

from __future__ import annotations

from typing import Any, Final

from clicktimer.day.comparison import Comparison
from clicktimer.reporting.json.measurement import jsonable
from clicktimer.reporting.json.values import reasons_json
from clicktimer.reporting.messages.catalogue import Messages

FORMAT: Final = "clicktimer-comparison"
FORMAT_VERSION: Final = 1


def comparison_json(c: Comparison) -> dict[str, Any]:
    """Return a comparison as plain data; volumes in L, flows in L/min, times in seconds."""
    messages = Messages()
    reasons = [n.reason for n in c.not_compared] + [r for r in (c.repeatability, c.valve) if r is not None]
    document: dict[str, Any] = jsonable(
        {
            "format": FORMAT,
            "version": FORMAT_VERSION,
            "before": c.before,
            "after": c.after,
            "differences": c.differences,
            "valve": "" if c.valve is None else messages.text(c.valve),
            "judgments": c.judgments,
            "repeatability": "" if c.repeatability is None else messages.text(c.repeatability),
            "before_heard_s": c.before_heard_s,
            "after_heard_s": c.after_heard_s,
            "not_told": [{"side": n.side, "names": n.names, "why": messages.text(n.reason)} for n in c.not_compared],
        }
    )
    return {**document, "reasons": reasons_json(reasons)}
