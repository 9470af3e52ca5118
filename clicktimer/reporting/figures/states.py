"""10 pictures: a measurement in, what kind of run each of its cycles is, which is what a picture shows by its fill."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Final, Literal

from clicktimer.cycles.run_time import TRUSTED_CONFIDENCE
from clicktimer.records import Measurement

State = Literal["whole", "doubtful", "pump sound", "open"]
STATES: Final[tuple[State, ...]] = ("whole", "doubtful", "pump sound", "open")
STATE_WORDS: Final[dict[State, str]] = {
    "whole": "both clicks heard",
    "doubtful": "doubtful clicks",
    "pump sound": "timed by the pump's sound",
    "open": "only one end heard",
}


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


def counted(kinds: Sequence[State], by_hand: int) -> str:
    """How many runs of each kind there are, in words: "3 runs: 2 both clicks heard, 1 only one end heard"."""
    if not kinds:
        return "no run"
    count = Counter(kinds)
    parts = [f"{count[s]} {STATE_WORDS[s]}" for s in STATES if count[s]]
    if by_hand:
        parts.append(f"{by_hand} corrected by hand")
    return f"{len(kinds)} run{'' if len(kinds) == 1 else 's'}: {', '.join(parts)}"
