"""One explanation of a recording, with what its clicks explain; and why one was rejected."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from clicktimer.detection.template_em import Solution


@dataclass(frozen=True, slots=True, eq=False)
class Hypothesis:
    """A sequence of clicks and what they explain.

    solution: the decoded sequence. log_odds: what its clicks explain, nats.
    """

    solution: Solution
    log_odds: float

    @property
    def count(self) -> int:
        """Number of clicks."""
        return len(self.solution.clicks)

    @property
    def each(self) -> float:
        """Log-odds for each click, nats."""
        return self.log_odds / self.count


@dataclass(frozen=True, slots=True)
class Rejection:
    """Why a hypothesis was rejected.

    code: which check failed. evidence: the figures by name at that time. final: the recording is not timed by the
    pump's sound alone either: what recurs may be the switch, or what sounds like a pump may be what recurs.
    """

    code: str
    evidence: Mapping[str, float] = field(default_factory=dict)
    final: bool = False
