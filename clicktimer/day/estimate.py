"""Values in, a figure with its 95 % interval out: what every figure of a day is told as."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

TRIED: Final = 160  # values looked at


@dataclass(frozen=True, slots=True)
class Amount:
    """A figure with its 95 % interval, in the unit that its own name tells; all three the same where it was counted."""

    value: float
    low: float
    high: float

    @property
    def figure(self) -> tuple[float, float, float]:
        """Value, low and high, as a figure of a reason."""
        return self.value, self.low, self.high

    def times(self, factor: float) -> Amount:
        """The same in another unit."""
        return Amount(factor * self.value, factor * self.low, factor * self.high)


@dataclass(frozen=True, slots=True)
class KnownRate:
    """What the pump gives, mean over a refill.

    Attributes
    ----------
    l_per_min : float
        Litres a minute.
    share : float
        Half width of its 95 % interval over it; 0 where nobody measured its spread.
    """

    l_per_min: float
    share: float = 0.0

    def flow(self, duty: Amount) -> Amount:
        """Return a flow in L/min from its share of the pump's rate, the errors of both independent."""
        below, above = (math.hypot(abs(end / duty.value - 1), self.share) for end in (duty.low, duty.high))
        return Amount(duty.value, max(0.0, duty.value * (1 - below)), duty.value * (1 + above)).times(self.l_per_min)


def spread_of(values: Sequence[float], wider: float) -> tuple[float, float, float]:
    """The middle of what the paths tell, and how far 95 % of them reach below and above it, in their unit."""
    low, middle, high = (float(q) for q in np.quantile(values, [0.025, 0.5, 0.975]))
    return middle, wider * (middle - low), wider * (high - middle)


def drawn(values: Sequence[float], wider: float) -> Amount:
    """The same as an amount that is not below zero."""
    middle, below, above = spread_of(values, wider)
    return Amount(middle, max(0.0, middle - below), middle + above)


def likeliest(values: Sequence[float], within: float, blur: float) -> float:
    """The value of which the truth lies within this share with the greatest chance, by what the paths tell.

    Not their middle: where a click in doubt makes a run more or less, the middle may lie between two heaps and be right
    for neither. blur: how far, in the log, a story that has all its clicks right may still be off. Of values that are
    not all above zero it is the middle.
    """
    from scipy.special import ndtr  # slow to import, and not needed to show help

    found = np.asarray(values, dtype=np.float64)
    low, high = (float(q) for q in np.quantile(found, [0.01, 0.99]))
    if low <= 0 or high <= low:
        return float(np.median(found))
    tried = np.linspace(low, high, TRIED)
    away = np.log(tried[:, None] / found)
    chance = (ndtr((away + within) / blur) - ndtr((away - within) / blur)).mean(axis=1)
    return float(tried[int(np.argmax(chance))])


def mean_half(deviation: float, count: int) -> float:
    """Half width, 95 %, of a mean of ``count`` values with this standard deviation among them, in their unit.

    By Student's t; of one value alone it is not known, and infinite.
    """
    from scipy.special import stdtrit  # slow to import, and not needed to show help

    return float(stdtrit(count - 1, 0.975)) * deviation / math.sqrt(count) if count > 1 else math.inf
