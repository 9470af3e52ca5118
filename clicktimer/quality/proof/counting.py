"""Proof, last part: how many of the copies were caught, as a rate with its interval."""

from __future__ import annotations

import math
from collections.abc import Sequence

from clicktimer.assessment.proof_result import Count

NORMAL_95 = 1.959963984540054


def wilson(caught: float, put: float) -> tuple[float, float]:
    """The 95 % score interval of a share (E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209-212)."""
    z2 = NORMAL_95**2
    share = caught / put
    middle = (share + z2 / (2.0 * put)) / (1.0 + z2 / put)
    half = NORMAL_95 * math.sqrt(share * (1.0 - share) / put + z2 / (4.0 * put * put)) / (1.0 + z2 / put)
    # The ends are exactly 0 and 1 where none or all were caught; rounding must not move them.
    return (0.0 if caught <= 0 else max(0.0, middle - half)), (1.0 if caught >= put else min(1.0, middle + half))


def count_of(passes: Sequence[tuple[int, int]]) -> Count:
    """Sum up passes of (put, caught).

    Copies of one pass share what the detector made of the whole; where passes differ by more than chance, the number of
    copies is divided by how much more (Pearson's chi-square over its degrees of freedom) before the interval is taken.
    """
    passes = [(put, caught) for put, caught in passes if put]
    put, caught = sum(p for p, _ in passes), sum(c for _, c in passes)
    if not put:
        return Count(0, 0, None, None, None)
    rate, spread = caught / put, 1.0
    if len(passes) > 1 and 0 < caught < put:
        chi2 = sum(p * (c / p - rate) ** 2 for p, c in passes) / (rate * (1.0 - rate))
        spread = max(1.0, chi2 / (len(passes) - 1))
    low, high = wilson(caught / spread, put / spread)
    return Count(put, caught, rate, low, high)
