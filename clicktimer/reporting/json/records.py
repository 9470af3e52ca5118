"""The records of a measurement as JSON: what they hold, their sentences, and the reasons that these are made of."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields
from typing import Any

from clicktimer.records import Click, Cycle, Notice, Reason, RunTime, Verdict
from clicktimer.reporting.messages.catalogue import Messages


def reason_json(reason: Reason) -> dict[str, Any]:
    """Return a reason as its code and its figures, in SI units; a figure may be a reason itself."""
    return {"code": reason.code, "figures": {name: _figure(figure) for name, figure in reason.figures}}


def reasons_json(reasons: Iterable[Reason]) -> list[dict[str, Any]]:
    """Return several reasons, in the order in which they are read."""
    return [reason_json(reason) for reason in reasons]


def _figure(figure: Any) -> Any:
    if isinstance(figure, Reason):
        return reason_json(figure)
    return [_figure(one) for one in figure] if isinstance(figure, tuple) else figure


def click_json(click: Click, messages: Messages = Messages()) -> dict[str, Any]:
    """Return a click with what a person did to it, in words."""
    return {**_plain(click), "note": "" if click.note is None else messages.text(click.note)}


def cycle_json(cycle: Cycle, messages: Messages = Messages()) -> dict[str, Any]:
    """Return a cycle with its notes as one text."""
    return {**_plain(cycle, "notes"), "note": messages.note(cycle.notes)}


def run_json(run: RunTime | None, messages: Messages = Messages()) -> dict[str, Any] | None:
    """Return a run time with what it rests on and what makes it uncertain, in words and as codes."""
    if run is None:
        return None
    return {
        **_plain(run, "notes", "doubts"),
        "text": messages.texts(run.notes),
        "doubt": messages.texts(run.doubts),
        "reasons": reasons_json(run.notes),
        "doubts": reasons_json(run.doubts),
    }


def verdict_json(verdict: Verdict, messages: Messages = Messages()) -> dict[str, Any]:
    """Return a verdict with its sentences and their codes."""
    return {
        "band": verdict.band,
        "sure": verdict.sure,
        "text": messages.texts(verdict.reasons),
        "settle": messages.texts(verdict.settle),
        "reasons": reasons_json(verdict.reasons),
        "settle_reasons": reasons_json(verdict.settle),
    }


def notice_json(notice: Notice, messages: Messages = Messages()) -> dict[str, Any]:
    """Return a notice with its sentence."""
    return {"code": notice.code, "text": messages.text(notice.reason), "time_s": notice.time_s}


def _plain(record: Any, *without: str) -> dict[str, Any]:
    return {f.name: getattr(record, f.name) for f in fields(record) if f.name not in without}
