"""Proof, second part: told clicks and gaps -> stretches in which the pump is known to run or to rest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from clicktimer.records import Click, Gap


@dataclass(frozen=True, slots=True)
class Stretch:
    """Sound without an operation of the switch, from_s to to_s, with the pump on or off throughout."""

    from_s: float
    to_s: float
    on: bool

    @property
    def length_s(self) -> float:
        """Its length in seconds."""
        return self.to_s - self.from_s


def kinds_by_turns(operations: Sequence[Click]) -> list[bool]:
    """Whether each operation starts the pump; where nothing tells, every other one, so that the two sorts stay
    apart.
    """
    if any(op.kind != "unknown" for op in operations):
        return [op.kind == "cut-in" for op in operations]
    return [i % 2 == 0 for i in range(len(operations))]


def known_stretches(operations: Sequence[Click], gaps: Sequence[Gap], end_s: float) -> list[Stretch]:
    """Stretches whose state follows from the operations (clicks and edges, in order of time) at their ends.

    Left out: between two operations of the same kind (one was missed), and next to one of unknown kind among known
    ones.
    """
    starts = kinds_by_turns(operations)
    known = any(op.kind != "unknown" for op in operations)
    # (time, state before, state after); None: not known.
    marks: list[tuple[float, float, bool | None, bool | None]] = [(0.0, 0.0, None, None), (end_s, end_s, None, None)]
    for op, on in zip(operations, starts, strict=True):
        tells = op.kind != "unknown" or not known
        marks.append((op.time_s, op.time_s, not on if tells else None, on if tells else None))
    marks += [(gap.from_s, max(gap.from_s, gap.to_s or gap.from_s), None, None) for gap in gaps]
    marks.sort(key=lambda m: m[0])
    out = []
    for (_, begins_s, _, after), (ends_s, _, before, _) in pairwise(marks):
        states = {state for state in (after, before) if state is not None}
        if len(states) == 1 and ends_s > begins_s:
            out.append(Stretch(begins_s, ends_s, states.pop()))
    return out
