"""Stage 5, second half: r0 in, verdict out: the band it lies in, whether that is sure, and what would settle it.

"Sure" is asked for more than the interval alone: what the interval cannot hold (an unknown spread
between runs, the known bias of the steady-tap method) is allowed for, and a doubt of the run time
stands in the way of every sure verdict. The reasons and figures are in docs/verdict.md.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final, Literal

from clicktimer.cycles.run_time import allowance, allowed_interval_s
from clicktimer.errors import SettingsError
from clicktimer.records import Reason, RunTime, Verdict
from clicktimer.tank.motors import LARGE_MOTOR_HP, LARGE_MOTOR_RUN_S
from clicktimer.targets import BANDS, GOOD_BANDS, MARKS_S, SHORT_BANDS, Band, Marks, band_edges_s, band_of

RUNS_TO_SETTLE: Final = 6  # the first is left out; five give Student's t 2.78 where three give 4.30
SETTLE_NO_USE: Final = (Reason("verdict.settle.no-use"),)
BASES: Final = {
    "taps shut": "taps-shut",
    "steady tap": "steady-tap",
    "shortest run": "shortest-run",
    "edge of the runs": "edge-of-the-runs",
    "edge and steady uses": "edge-and-steady-uses",
    "steady uses": "steady-uses",
    "nobody home": "nobody-home",
}
ONE_ALONE: Final = ("taps shut", "steady tap", "shortest run")
"""Estimators that may rest on a single run or cycle, which is said in other words."""

IN_DOUBT: Final = {
    "verdict.clear": "verdict.clear-in-doubt",
    "verdict.at-most-short": "verdict.at-most-short-in-doubt",
}

Side = Literal["short", "good"]


MOTOR_NOT_MET: Final = "verdict.motor-not-met"


def judge(
    run: RunTime | None,
    *,
    marks_s: Marks = MARKS_S,
    motor_hp: float | None = None,
    least_run_s: float | None = None,
) -> Verdict:
    """Judge a run with no water in use against the marks, in seconds.

    A two-sided run time gets the band of its best estimate, sure when interval and allowance lie in it. A
    one-sided one is only ever an upper bound: below the first mark it is short for sure ("or worse"), between
    the marks it is "at most", and from the second mark on no band is told. None gives no band at all.
    motor_hp: rated power of the motor in hp; above 3/4 hp the longer run that makers ask for is added.
    least_run_s: the motor maker's own least run, s, which takes its place.

    Raises SettingsError for marks out of order or out of range and for a motor power that is not above 0.
    """
    band_edges_s(marks_s)  # refuses marks that cannot be
    if motor_hp is not None and not (math.isfinite(motor_hp) and motor_hp > 0):
        raise SettingsError(f"a motor of {motor_hp:g} hp is not possible: give the power on its plate, for example 0.5")
    if run is None:
        not_measured = (Reason("verdict.settle.not-measured"),)
        return Verdict(None, False, (Reason("verdict.not-measured"),), not_measured)
    verdict = _judge_bound(run, marks_s) if run.one_sided else _judge_two_sided(run, marks_s)
    more = list(run.doubts)
    if verdict.band is not None and BANDS.index(verdict.band) < BANDS.index("under-a-minute"):
        more.append(Reason("verdict.caution"))
    large = motor_hp is not None and motor_hp > LARGE_MOTOR_HP
    if least_run_s is None and large:
        relation = _motor_relation(run, LARGE_MOTOR_RUN_S)
        more.append(Reason("verdict.large-motor", asked_s=LARGE_MOTOR_RUN_S, relation=relation))
    reasons = _for_motor(verdict, run, least_run_s or (LARGE_MOTOR_RUN_S if large else None))
    return replace(verdict, reasons=(*reasons, *more))


def _judge_two_sided(run: RunTime, marks_s: Marks) -> Verdict:
    band = band_of(run.seconds, marks_s)
    low_s, high_s = allowed_interval_s(run)
    lower, upper = band_of(low_s, marks_s), band_of(high_s, marks_s)
    way = "verdict.settle.more-steady" if run.how == "steady tap" else "verdict.settle.more-shut"
    settle = (Reason(way, count=RUNS_TO_SETTLE),)
    basis, length = basis_of(run), length_of(run)
    if lower == upper or common_side(lower, upper) is not None:
        reasons = _clear("verdict.clear", run.doubted, lower, upper, marks_s, run=length, basis=basis)
        sure = lower == upper and not run.doubted
        return Verdict(band, sure, reasons, () if sure else settle)
    between = {"lower": band_reason(lower, marks_s), "upper": band_reason(upper, marks_s)}
    close = [Reason("verdict.too-close", **between, run=length, basis=basis)]
    if band_of(run.low_s, marks_s) == band_of(run.high_s, marks_s):
        close.append(allowance(run))
    return Verdict(band, False, tuple(close), settle)


def _judge_bound(run: RunTime, marks_s: Marks) -> Verdict:
    basis, at_most_s = basis_of(run), (run.seconds, run.high_s)
    if run.high_s >= marks_s[1]:
        return Verdict(None, False, (Reason("verdict.at-most-good", run_s=at_most_s, basis=basis),), SETTLE_NO_USE)
    band = band_of(run.high_s, marks_s)
    if run.high_s >= marks_s[0]:
        name = band_reason(band, marks_s)
        at_best = Reason("verdict.at-most-middle", run_s=at_most_s, basis=basis, band=name)
        return Verdict(band, False, (at_best,), SETTLE_NO_USE)
    # The shortest of several runs is shorter than the usual one, so "short" too is told with room to spare.
    upper = band_of(allowed_interval_s(run)[1], marks_s)
    if upper == band or common_side(band, upper) is not None:
        reasons = _clear("verdict.at-most-short", run.doubted, band, upper, marks_s, run_s=at_most_s, basis=basis)
        sure = upper == band and not run.doubted
        return Verdict(band, sure, reasons, () if sure else SETTLE_NO_USE)
    between = {"lower": band_reason(band, marks_s), "upper": band_reason(upper, marks_s)}
    close = Reason("verdict.at-most-close", **between, run_s=at_most_s, basis=basis)
    return Verdict(band, False, (close, allowance(run)), SETTLE_NO_USE)


def _clear(
    code: str, doubted: bool, lower: Band, upper: Band, marks_s: Marks, **figures: Reason | tuple[float, float]
) -> tuple[Reason, ...]:
    """Give the band, or what the bands have in common, and what it means; a doubt stands in the place of that."""
    name = bands_reason(lower, upper, marks_s)
    if doubted:
        return (Reason(IN_DOUBT[code], band=name, **figures),)
    # Of several short bands only the last one's meaning holds for all; of the good ones, the first one's.
    band: Band = lower if lower == upper else "short-of-30" if upper in SHORT_BANDS else "a-minute-or-more"
    return Reason(code, band=name, **figures), Reason("verdict.meaning", band=band)


def denied(verdict: Verdict, finding: str | None) -> bool:
    """Whether what the tank told (``judgement.finding``) speaks against a run that is not short.

    More water came than it can give, and what was drawn meanwhile makes a run longer, not shorter.
    """
    return finding == "more-than-label" and verdict.band is not None and verdict.band not in SHORT_BANDS


def common_side(lower: Band, upper: Band) -> Side | None:
    """Return what all bands from ``lower`` to ``upper`` mean for the pump: short cycling, a good run, or neither."""
    if upper in SHORT_BANDS:
        return "short"
    return "good" if lower in GOOD_BANDS else None


def same_side(run: RunTime, marks_s: Marks = MARKS_S) -> Side | None:
    """Return what all that the run may be has in common: below the first mark, at or past the second, or neither.

    Marks in s. Between two such bands the band may be open, and yet it is sure what the run means for the pump. A run
    in doubt has no side, and an upper bound is never good.
    """
    if run.doubted:
        return None
    low_s, high_s = allowed_interval_s(run)
    side = common_side(band_of(low_s, marks_s), band_of(high_s, marks_s))
    return None if side == "good" and run.one_sided else side


def _for_motor(verdict: Verdict, run: RunTime, asked_s: float | None) -> tuple[Reason, ...]:
    """Return the verdict's reasons; a band that is mild by the trade's marks is not where the motor asks for more."""
    mild = verdict.band is not None and verdict.band not in SHORT_BANDS
    if asked_s is None or not mild or _motor_relation(run, asked_s) != "not-met":
        return verdict.reasons
    kept = [reason for reason in verdict.reasons if reason.code != "verdict.meaning"]
    return (*kept, Reason(MOTOR_NOT_MET, asked_s=asked_s))


def below_motor_limit(verdict: Verdict) -> bool:
    """Return whether a run that is not short by the marks is below what the motor asks for."""
    return any(reason.code == MOTOR_NOT_MET for reason in verdict.reasons)


def _motor_relation(run: RunTime, asked_s: float) -> str:
    low_s, high_s = allowed_interval_s(run)
    if run.doubted:
        return "open"
    if high_s < asked_s:
        return "not-met"
    return "open" if run.one_sided or low_s < asked_s else "met"


def length_of(run: RunTime) -> Reason:
    """Return a run time with its interval; without the spread between runs that looks finer than the figure is."""
    code = "run.length-of-few" if run.spread_s is None else "run.length"
    return Reason(code, run_s=(run.seconds, run.low_s, run.high_s))


def basis_of(run: RunTime) -> Reason:
    """Return what a run time rests on, in a few words."""
    name = BASES.get(run.how)
    if run.count == 1 and run.how not in ONE_ALONE:
        name = None
    elif run.count == 1:
        name = f"{name}-one"
    if name is None:
        return Reason("run.basis.other", how=run.how, count=run.count)
    return Reason(f"run.basis.{name}", count=run.count)


def band_reason(band: Band, marks_s: Marks) -> Reason:
    """Return a band with its edges, in seconds."""
    names = ("very_short_s", "short_s", "minimum_s", "target_s", "long_s")
    return Reason(f"verdict.band.{band}", **dict(zip(names, band_edges_s(marks_s), strict=True)))


def bands_reason(lower: Band, upper: Band, marks_s: Marks) -> Reason:
    """Return one band, or several that mean the same as one with the edges of all, in seconds."""
    if lower == upper:
        return band_reason(lower, marks_s)
    edges_s = (0.0, *band_edges_s(marks_s), math.inf)
    from_s, to_s = edges_s[BANDS.index(lower)], edges_s[BANDS.index(upper) + 1]
    if common_side(lower, upper) == "good":
        return Reason("verdict.bands.good", from_s=from_s)
    if from_s == 0.0:
        return Reason("verdict.bands.under", to_s=to_s)
    return Reason("verdict.bands.short", from_s=from_s, to_s=to_s)
