"""The chain, live: when it is decided again, within the share of the processor that deciding may take."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from clicktimer.streaming.state import SAME_S

LOOKS_S: Final = (1.9, 6.5, 25.0)
"""So long after a sudden sound it is decided again: the pump's level needs 1.5 s to be seen, its run-down longer."""
ROUTINE_S: Final = 30.0
"""Without any sudden sound it is decided again so often: a start or stop may be heard by the pump alone."""
BUDGET_SHARE: Final = 0.01
"""Share of the time that deciding may take in the long run ..."""
BUDGET_BURST_S: Final = 3.0
"""... how much may be saved up for a lively stretch ..."""
BUDGET_DEBT_S: Final = 6.0
"""... and how far the first decision after a sudden sound may overdraw it, at the cost of the later ones."""


class Pace:
    """Knows what was heard when, and when it was decided last."""

    def __init__(self) -> None:
        self._due: list[float] = []
        self._due_first: list[tuple[float, float]] = []
        self._decided_s = 0.0
        self._budget_s, self._budget_at_s = BUDGET_BURST_S, 0.0

    def heard(self, time_s: float) -> None:
        """A sudden sound, of which nothing is known yet."""
        self._due_first.append((time_s + LOOKS_S[0], time_s))
        self._due += [time_s + after_s for after_s in LOOKS_S[1:]]

    def late(self, time_s: float) -> None:
        """A sound that only the last look need confirm."""
        self._due.append(time_s + LOOKS_S[2])

    def spare(self, time_s: float) -> None:
        """Of this sound it is known what it is: the late look, and the next one for another reason, will do."""
        self._due_first = [d for d in self._due_first if abs(d[1] - time_s) > SAME_S]
        self._due = [t for t in self._due if abs(t - time_s - LOOKS_S[1]) > SAME_S]

    def due(self, end_s: float, worth: Callable[[list[float]], bool]) -> bool:
        """Whether it is time to decide again. worth: whether one of these sounds deserves a decision of its own."""
        self._budget_s = min(self._budget_s + BUDGET_SHARE * (end_s - self._budget_at_s), BUDGET_BURST_S)
        self._budget_at_s = end_s
        now = [time_s for at_s, time_s in self._due_first if at_s <= end_s]
        self._due_first = [d for d in self._due_first if d[0] > end_s]
        if now and self._budget_s > -BUDGET_DEBT_S and worth(now):
            return True
        self._due += now  # it waits for the next decision that there is time for
        wanted = any(t <= end_s for t in self._due) or end_s - self._decided_s >= ROUTINE_S
        return wanted and self._budget_s > 0.0

    def deciding(self, end_s: float) -> None:
        """It is decided now."""
        self._due = [t for t in self._due if t > end_s]
        self._decided_s = end_s

    def spent(self, seconds: float) -> None:
        """The decision took so much of the processor."""
        self._budget_s -= seconds
