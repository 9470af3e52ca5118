"""The result of a proof, and the seeded dice that it is thrown with."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Literal

import numpy as np

from clicktimer.assessment.proof_result import Count, Proof
from clicktimer.records import Block, Reason

Again = Callable[[], Iterable[Block]]
"""The blocks of the recording, from its beginning, each time it is called."""


def nothing_proved(what: Literal["clicks", "sharp sounds"], why: Reason) -> Proof:
    """A proof that could not be had."""
    none = Count(0, 0, None, None, None)
    return Proof(what, none, none, none, none, why=why)


def dice(sha256: str | None, *more: int) -> np.random.Generator:
    """A generator that depends on the recording alone."""
    seed = int((sha256 or "0").split()[0][:16], 16)
    return np.random.default_rng([seed & 0xFFFFFFFF, seed >> 32, *more])
