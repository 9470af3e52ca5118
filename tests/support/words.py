"""Reasons and their sentences, for the tests: words as a reason, and a record's reasons as what the terminal says."""

from __future__ import annotations

from collections.abc import Iterable

from clicktimer.records import Reason
from clicktimer.reporting.messages.catalogue import Messages


def in_words(text: str) -> Reason:
    """A reason that says just this."""
    return Reason("notice.as-written", words=text)


def reasons_of(text: str) -> tuple[Reason, ...]:
    """The reasons that say just this; none for ""."""
    return (in_words(text),) if text else ()


def said(reasons: Reason | Iterable[Reason] | None) -> str:
    """What the terminal says of a reason or several; "" without one."""
    if reasons is None:
        return ""
    return Messages().texts((reasons,) if isinstance(reasons, Reason) else reasons)
