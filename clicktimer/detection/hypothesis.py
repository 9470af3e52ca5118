"""One explanation of a recording, with its evidence by name; and why one was rejected."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from clicktimer.detection.template_em import Solution


@dataclass(frozen=True, slots=True, eq=False)
class Hypothesis:
    """A sequence of clicks, what its clicks explain, and the evidence for and against it.

    solution: the decoded sequence. log_odds: what its clicks explain, nats. evidence: figures by name, as acceptance
    looks at them (see acceptance.evidence_of); empty until it is the best of all.
    """

    solution: Solution
    log_odds: float
    evidence: Mapping[str, float] = field(default_factory=dict)

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

    code: which check failed. evidence: the figures by name at that time. final: no pump is timed by its sound alone
    either, since something recurs that may be a switch.
    """

    code: str
    evidence: Mapping[str, float] = field(default_factory=dict)
    final: bool = False
