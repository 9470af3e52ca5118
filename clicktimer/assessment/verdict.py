"""Stage 5, second half: r0 in, verdict out: the band it lies in, whether that is sure, and what would settle it.

"Sure" is asked for more than the interval alone: what the interval cannot hold (an unknown spread
between runs, the known bias of the steady-tap method) is allowed for, and a doubt of the run time
stands in the way of every sure verdict. The reasons and figures are in docs/verdict.md.
"""

from __future__ import annotations

import math
from typing import Final, Literal

from clicktimer.cycles.run_time import RUN_TO_RUN_SHARE, STEADY_READS_LONG, STEADY_READS_SHORT, allowed_interval_s
from clicktimer.errors import SettingsError
from clicktimer.records import RunTime, Verdict
from clicktimer.reporting.messages import measurement
from clicktimer.tank.motors import LARGE_MOTOR_HP, LARGE_MOTOR_RUN_S
from clicktimer.targets import BANDS, MARKS_S, SHORT_BANDS, Band, band_edges_s, band_of

RUNS_TO_SETTLE: Final = 6  # the first is left out; five give Student's t 2.78 where three give 4.30


def judge(run: RunTime | None, *, marks_s: tuple[float, float] = MARKS_S, motor_hp: float | None = None) -> Verdict:
    """Judge a run with no water in use against the marks, in seconds.

    A two-sided run time gets the band of its best estimate, sure when interval and allowance lie in it. A
    one-sided one is only ever an upper bound: below the first mark it is short for sure ("or worse"), between
    the marks it is "at most", and from the second mark on no band is told. None gives no band at all.
    motor_hp: rated power of the motor in hp; above 3/4 hp a sentence on the longer run that makers ask for is added.

    Raises SettingsError for marks out of order or out of range and for a motor power that is not above 0.
    """
    edges_s = band_edges_s(marks_s)
    if motor_hp is not None and not (math.isfinite(motor_hp) and motor_hp > 0):
        raise SettingsError(f"a motor of {motor_hp:g} hp is not possible: give the power on its plate, for example 0.5")
    if run is None:
        return Verdict(None, False, measurement.NOT_MEASURED, measurement.SETTLE_NOT_MEASURED)
    verdict = _judge_bound(run, marks_s, edges_s) if run.one_sided else _judge_two_sided(run, marks_s, edges_s)
    extra = [verdict.text]
    if run.doubt and run.doubt not in verdict.text:
        extra.append(run.doubt)
    if verdict.band is not None and BANDS.index(verdict.band) < BANDS.index("under-a-minute"):
        extra.append(measurement.CAUTION)
    if motor_hp is not None and motor_hp > LARGE_MOTOR_HP:
        extra.append(measurement.MOTOR_LARGE.format(relation=_motor_relation(run)))
    return Verdict(verdict.band, verdict.sure, " ".join(extra), verdict.settle)


def _judge_two_sided(run: RunTime, marks_s: tuple[float, float], edges_s: tuple[float, ...]) -> Verdict:
    band = band_of(run.seconds, marks_s)
    low_s, high_s = allowed_interval_s(run)
    lower, upper = band_of(low_s, marks_s), band_of(high_s, marks_s)
    # An interval without the spread between runs looks finer than the figure is.
    seconds = measurement.seconds_text(run.seconds, run.low_s, run.high_s, 1 if run.spread_s is None else 2)
    settle = measurement.SETTLE_MORE_STEADY if run.how == "steady tap" else measurement.SETTLE_MORE_SHUT
    settle = settle.format(count=RUNS_TO_SETTLE)
    if lower == upper:
        text = measurement.CLEAR.format(
            band=_headline(band_name(band, edges_s), run),
            seconds=seconds,
            basis=basis_of(run),
            meaning=_meaning(band, run),
        )
        return Verdict(band, not run.doubt, text, settle if run.doubt else "")
    text = measurement.TOO_CLOSE.format(
        lower=band_name(lower, edges_s), upper=band_name(upper, edges_s), seconds=seconds, basis=basis_of(run)
    )
    if band_of(run.low_s, marks_s) == band_of(run.high_s, marks_s):
        text = f"{text} {_allowance_sentence(run)}"
    return Verdict(band, False, text, settle)


def _judge_bound(run: RunTime, marks_s: tuple[float, float], edges_s: tuple[float, ...]) -> Verdict:
    seconds = measurement.at_most_text(run.seconds, run.high_s)
    if run.high_s >= marks_s[1]:
        text = measurement.AT_MOST_GOOD.format(seconds=seconds, basis=basis_of(run))
        return Verdict(None, False, text, measurement.SETTLE_NO_USE)
    band = band_of(run.high_s, marks_s)
    name = band_name(band, edges_s)
    if run.high_s >= marks_s[0]:
        text = measurement.AT_MOST_MIDDLE.format(seconds=seconds, basis=basis_of(run), band=name)
        return Verdict(band, False, text, measurement.SETTLE_NO_USE)
    # The shortest of several runs is shorter than the usual one, so "short" too is told with room to spare.
    upper = band_of(allowed_interval_s(run)[1], marks_s)
    if upper == band:
        text = measurement.AT_MOST_SHORT.format(
            band=_headline(name, run), seconds=seconds, basis=basis_of(run), meaning=_meaning(band, run)
        )
        return Verdict(band, not run.doubt, text, measurement.SETTLE_NO_USE if run.doubt else "")
    text = measurement.AT_MOST_CLOSE.format(
        lower=name, upper=band_name(upper, edges_s), seconds=seconds, basis=basis_of(run)
    )
    return Verdict(band, False, f"{text} {_allowance_sentence(run)}", measurement.SETTLE_NO_USE)


def denied(verdict: Verdict, finding: str | None) -> bool:
    """Whether what the tank told (``judgement.finding``) speaks against a run that is not short.

    More water came than it can give, and what was drawn meanwhile makes a run longer, not shorter.
    """
    return finding == "more-than-label" and verdict.band is not None and verdict.band not in SHORT_BANDS


def allowance_of(run: RunTime) -> str:
    """Say what of ``allowed_interval_s`` the interval of the run time lacks, and why; empty where it lacks nothing."""
    return _allowance_sentence(run) if allowed_interval_s(run) != (run.low_s, run.high_s) else ""


def same_side(run: RunTime, marks_s: tuple[float, float] = MARKS_S) -> Literal["short", "good"] | None:
    """Return what all that the run may be has in common: below the first mark, at or past the second, or neither.

    Marks in s. Between two such bands the band may be open, and yet it is sure what the run means for the pump. A run
    in doubt has no side, and an upper bound is never good.
    """
    low_s, high_s = allowed_interval_s(run)
    if run.doubt:
        return None
    if high_s < marks_s[0]:
        return "short"
    return "good" if low_s >= marks_s[1] and not run.one_sided else None


def _allowance_sentence(run: RunTime) -> str:
    if run.how == "steady tap":
        return measurement.ALLOW_STEADY.format(low=f"{100 * STEADY_READS_SHORT:g}", high=f"{100 * STEADY_READS_LONG:g}")
    return measurement.ALLOW_SPREAD.format(percent=f"{100 * RUN_TO_RUN_SHARE:g}")


def _motor_relation(run: RunTime) -> str:
    low_s, high_s = allowed_interval_s(run)
    if run.doubt:
        return measurement.MOTOR_OPEN
    if high_s < LARGE_MOTOR_RUN_S:
        return measurement.MOTOR_NOT_MET
    return measurement.MOTOR_OPEN if run.one_sided or low_s < LARGE_MOTOR_RUN_S else measurement.MOTOR_MET


def basis_of(run: RunTime) -> str:
    """Return what a run time rests on, in a few words."""
    template = measurement.BASIS.get((run.how, min(run.count, 2)), measurement.BASIS_OTHER)
    return template.format(count=run.count, how=run.how)


def band_name(band: Band, edges_s: tuple[float, ...]) -> str:
    """Return a band in words with its edges, in seconds."""
    return measurement.BAND_NAMES[band].format(**{f"edge{i}": f"{edge_s:g}" for i, edge_s in enumerate(edges_s, 1)})


def _meaning(band: Band, run: RunTime) -> str:
    """What the band means; where the figure is in doubt the doubt stands in its place."""
    return run.doubt or measurement.MEANINGS[band]


def _headline(name: str, run: RunTime) -> str:
    return measurement.HEADLINE_NOT_SURE.format(band=name) if run.doubt else name[:1].upper() + name[1:]
