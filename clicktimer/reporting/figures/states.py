"""10 pictures: a measurement in, what kind of run each of its cycles is, which is what a picture shows by its fill."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Final, Literal

from clicktimer.assessment.measurement import Measurement
from clicktimer.cycles.run_time import TRUSTED_CONFIDENCE
from clicktimer.reporting.messages.catalogue import Messages

State = Literal["whole", "doubtful", "pump sound", "open"]
STATES: Final[tuple[State, ...]] = ("whole", "doubtful", "pump sound", "open")


def states(m: Measurement) -> tuple[State, ...]:
    """The state of each cycle: "open" has no length; "doubtful" is trusted less than a figure may rest on."""
    return tuple(
        "open"
        if c.run_s is None or c.cut_in_s is None
        else "pump sound"
        if c.how == "pump sound" or not c.complete
        else "doubtful"
        if c.confidence < TRUSTED_CONFIDENCE
        else "whole"
        for c in m.cycles
    )


def corrected(m: Measurement) -> frozenset[int]:
    """Index of each cycle that rests on a click corrected by hand."""
    if m.correction is None:
        return frozenset()
    named = set(m.correction.figures)
    return frozenset(i for i in range(len(m.cycles)) if f"cycle {i + 1}" in named)


def count_text(kinds: Sequence[State], by_hand: int, messages: Messages) -> str:
    """How many runs of each kind there are, in words: "3 runs: 2 both clicks heard, 1 only one end heard"."""
    if not kinds:
        return messages.text("figure.count.none")
    count = Counter(kinds)
    parts = [messages.text(f"figure.count.{s.replace(' ', '-')}", count=count[s]) for s in STATES if count[s]]
    if by_hand:
        parts.append(messages.text("figure.count.by-hand", count=by_hand))
    return messages.text("figure.count.runs", count=len(kinds), parts=", ".join(parts))
