"""The pump's rate, measured: water caught and the refill timed, or a steady tap whose flow is known.

Each gives a PumpRate with its standard deviation, which is carried to the end, and the reasons it rests on.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from clicktimer.cycles.pairing import NORMAL_95
from clicktimer.errors import SettingsError
from clicktimer.records import Reason
from clicktimer.tank.system import PumpRate

# Reading a bucket's mark, and shutting the tap a second late (1-2 % of a refill): common practice, no source.
CAUGHT_RELATIVE_SD = 0.02
SHUT_LATE_RELATIVE_SD = 0.015
# A rate that falls by this much from the first kept refill to the last, by its straight line, is reported; no source.
FALLING_FRACTION = 0.05


@dataclass(frozen=True, slots=True)
class PumpRateMeasured:
    """A measured pump rate. rate: with its sd. each_l_per_min: every refill or cycle that counts, in order.

    left_out: how many at the start were not counted. falling: the rate fell from refill to refill.
    reasons: what it rests on.
    """

    rate: PumpRate
    each_l_per_min: tuple[float, ...]
    left_out: int
    falling: bool
    reasons: tuple[Reason, ...]


def rate_from_refill_l_per_min(caught_l: float, refill_s: float) -> float:
    """Give the pump rate from the water caught between the pump's stop and its next start, and the refill after it.

    Q = 60 D / r0

    Parameters
    ----------
    caught_l : water caught with the pump off and nothing else in use, litres.
    refill_s : run after shutting the tap, seconds.

    Returns
    -------
    litres per minute, mean over the refill.

    Assumes that the tap is shut as the pump starts; a second late costs 1-2 %. The first draw after a long rest reads
    7 to 15 % high (simulated), as the air has settled: leave it out.

    Source: "How to calculate well output", the draw down and time the refill method: 15 gal, 75 s, 12 gpm (grade C).

    >>> round(rate_from_refill_l_per_min(15.0, 75.0), 9)
    12.0
    """
    if not (0 < caught_l < math.inf and 0 < refill_s < math.inf):
        raise SettingsError("the water caught and the refill time must both be above zero")
    return 60.0 * caught_l / refill_s


def rate_from_steady_l_per_min(use_l_per_min: float, run_s: float, rest_s: float) -> float:
    """Give the pump rate from a steady tap of known flow and one cycle under it, litres per minute.

    Q = q (1 + rest/run);   the tank's drawdown is D = q rest / 60

    use_l_per_min: the tap's flow, litres per minute, by bucket and watch. run_s, rest_s: one cycle, seconds.
    Assumes one steady use over the whole cycle. Source: from run = D/(Q - q), rest = D/q (MIL-HDBK-1005/9A 2.5.3.6,
    grade A).

    >>> rate_from_steady_l_per_min(10.0, 60.0, 120.0)
    30.0
    """
    if not all(0 < value < math.inf for value in (use_l_per_min, run_s, rest_s)):
        raise SettingsError("the tap's flow, the run and the rest must all be above zero")
    return use_l_per_min * (1.0 + rest_s / run_s)


def draw_and_refill(
    repeats: Sequence[tuple[float, float]], *, caught_relative_sd: float = CAUGHT_RELATIVE_SD
) -> PumpRateMeasured:
    """Give the pump rate from one or more (litres caught, refill in seconds), the first left out where there are more.

    ``caught_relative_sd``: standard deviation of the water caught as a part of it; the same bucket errs alike each
    time, so it does not shrink with repeats. Raises SettingsError for none, or for one that cannot be.
    """
    if not repeats:
        raise SettingsError("no refill was given: catch the water between the pump's stop and its next start")
    left_out = 1 if len(repeats) > 1 else 0
    each = tuple(rate_from_refill_l_per_min(caught, refill) for caught, refill in repeats[left_out:])
    return _measured(each, left_out, "draw-and-refill", caught_relative_sd)


def steady_tap(
    use_l_per_min: float,
    cycles: Sequence[tuple[float, float]],
    *,
    use_relative_sd: float = CAUGHT_RELATIVE_SD,
) -> PumpRateMeasured:
    """Give the pump rate from a steady tap (L/min) and one or more cycles under it, (run, rest) in seconds each.

    ``use_relative_sd``: standard deviation of the tap's flow as a part of it. Raises SettingsError for none.
    """
    if not cycles:
        raise SettingsError("no whole cycle was given: let one tap run steadily until the pump has run and rested")
    each = tuple(rate_from_steady_l_per_min(use_l_per_min, run, rest) for run, rest in cycles)
    return _measured(each, 0, "steady tap", use_relative_sd)


def _measured(
    each: tuple[float, ...], left_out: int, how: Literal["draw-and-refill", "steady tap"], relative_sd: float
) -> PumpRateMeasured:
    mean = statistics.fmean(each)
    if how == "draw-and-refill":
        relative_sd = math.hypot(relative_sd, SHUT_LATE_RELATIVE_SD)
    spread = 0.0
    if len(each) > 1:
        from scipy.special import stdtrit  # slow to import, and not needed to show help

        # The rate is handed on as mean and deviation: the normal deviation with the 95% interval of Student's t.
        widened = float(stdtrit(len(each) - 1, 0.975)) / NORMAL_95
        spread = widened * statistics.stdev(each) / math.sqrt(len(each))
    sd = math.hypot(mean * relative_sd, spread)
    falling = _falls(each)
    code = "tank.rate-from-refills" if how == "draw-and-refill" else "tank.rate-from-cycles"
    reasons = [
        Reason(code, rate_l_per_min=mean, half_l_per_min=NORMAL_95 * sd, count=len(each), left_out=left_out),
    ]
    if len(each) == 1:
        reasons.append(Reason("tank.rate-from-one"))
    if falling:
        reasons.append(Reason("tank.rate-fell", first_l_per_min=each[0], last_l_per_min=each[-1]))
    return PumpRateMeasured(PumpRate(mean, sd, how), each, left_out, falling, tuple(reasons))


def _falls(each: tuple[float, ...]) -> bool:
    if len(each) < 3:
        return False
    middle = (len(each) - 1) / 2
    slope = sum((i - middle) * rate for i, rate in enumerate(each)) / sum((i - middle) ** 2 for i in range(len(each)))
    downs = sum(later < earlier for earlier, later in pairwise(each))
    return -slope * (len(each) - 1) > FALLING_FRACTION * statistics.fmean(each) and downs >= 0.6 * (len(each) - 1)
