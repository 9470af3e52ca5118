"""The analysis of a day: a cycle log and what is known of the system in, everything that the day says out. Pure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final
from zoneinfo import ZoneInfo

from clicktimer.assessment.verdict import judge
from clicktimer.day.consumption import Water, read_water
from clicktimer.day.cycle_log import DayLog, whole_runs
from clicktimer.day.estimate import Amount, KnownRate
from clicktimer.day.exclusions import Excluded, excluded_runs, untrusted_reason
from clicktimer.day.imputation import possible
from clicktimer.day.leak import Leak, find_leak, no_leak
from clicktimer.day.no_use_run import NoUseRun, abstained, no_use_run_of_day
from clicktimer.day.params import DEFAULT_PARAMS, DayParams
from clicktimer.day.starts import Starts, read_starts
from clicktimer.day.trend import Change, find_changes
from clicktimer.day.wall_time import parse_span, parse_zone, spans_s
from clicktimer.day.what_if import Replayed, replay, withheld
from clicktimer.errors import SettingsError
from clicktimer.records import Reason, RunTime, Verdict
from clicktimer.tank.drawdown import fraction
from clicktimer.tank.options import STOCK_SIZES_GAL
from clicktimer.tank.system import System, Tank
from clicktimer.targets import MARKS_S, Marks
from clicktimer.units.conversions import L_PER_US_GAL, W_PER_HP

SAME_SHARE: Final = 0.005  # a stock size so close to the tank there is that tank
NIGHT: Final = (0, 5 * 60)


@dataclass(frozen=True, slots=True)
class DayReading:
    """What a day says of the tank, the house and leaks.

    Attributes
    ----------
    log : DayLog
        The cycles that were read.
    no_use : NoUseRun
        The run with no water in use, from ordinary use.
    run : RunTime or None
        The same as a record for verdict and tank; None where it is withheld.
    verdict : Verdict
        The run against the marks.
    leak : Leak
        The slow leak as a share of the pump's rate.
    leak_l_per_min, limit_l_per_min : Amount or None, float or None
        The leak, and the most that may leak unseen, L/min; None without a pump rate.
    starts : Starts
        Starts, and what makes the pump cycle.
    water : Water or None
        Water used; None where it is withheld.
    night : Amount or None
        Water from midnight to five, a night, in the unit of ``water``; None without a start.
    changes : tuple of Change
        Change over time.
    replayed : tuple of Replayed
        The same day with other tanks.
    replay_withheld : Reason or None
        Why not, where other tanks were asked for.
    excluded : tuple of Excluded
        What of the log does not count as a run or is in doubt.
    untrusted : Reason or None
        Why nothing is computed from the clicks.
    log_facts : dict
        Facts for the table of causes.
    marks_s : tuple of float
        The minimum and the target of a run, seconds.
    params : DayParams
        The parameters that were used.
    clock_reasons : tuple of Reason
        Which of two equal times of the wall's clock was taken, where it is set back.
    """

    log: DayLog
    no_use: NoUseRun
    run: RunTime | None
    verdict: Verdict
    leak: Leak
    leak_l_per_min: Amount | None
    limit_l_per_min: float | None
    starts: Starts
    water: Water | None
    night: Amount | None
    changes: tuple[Change, ...]
    replayed: tuple[Replayed, ...]
    replay_withheld: Reason | None
    excluded: tuple[Excluded, ...]
    untrusted: Reason | None
    log_facts: dict[str, str]
    marks_s: Marks = MARKS_S
    params: DayParams = DEFAULT_PARAMS
    clock_reasons: tuple[Reason, ...] = ()

    @property
    def run_of_the_day(self) -> bool:
        """Whether the run was read from ordinary use, and not measured with the taps as the user said."""
        return self.run is not None and self.run.how == self.no_use.how

    @property
    def leak_makes_most_starts(self) -> bool:
        """Whether a leak was detected and more than half of the starts are its own."""
        return leak_makes_most_starts(self.leak, self.starts)


def leak_makes_most_starts(leak: Leak, starts: Starts) -> bool:
    """Return whether a leak was detected and more than half of the starts are its own."""
    return sum(f.share.value for f in starts.flows if leak.is_flow(f.use.duty)) > 0.5


def read_day(  # noqa: PLR0913
    log: DayLog,
    *,
    system: System | None = None,
    nobody: Sequence[str] = (),
    others: Sequence[tuple[str, float]] = (),
    bursts: int = 0,
    marks_s: Marks = MARKS_S,
    with_motor: bool = True,
    said: RunTime | None = None,
    params: DayParams = DEFAULT_PARAMS,
) -> DayReading:
    """Read a day's cycles.

    Parameters
    ----------
    log : DayLog
        The cycles of the day, in seconds from its beginning.
    system : System or None
        Tank, switch, pump and motor as far as they are known.
    nobody : sequence of str
        Stretches of the day with all taps closed, "01:00-05:00".
    others : sequence of (str, float)
        Other tanks: name, and drawdown over that of the tank that is there.
    bursts : int
        Clicks that were heard as a burst.
    marks_s : tuple of float
        The minimum and the target of a run, seconds.
    with_motor : bool
        Whether to compare with the limits of motor makers.
    said : RunTime or None
        The run with no water in use where the user said how the taps were; it is then what is compared with the
        motor's least run.
    params : DayParams
        The parameters of the reading.

    Raises
    ------
    SettingsError
        If ``nobody`` is given and the time of day is not known all through.
    """
    zone = parse_zone(log.zone)
    quiet_s = _quiet_spans_s(log, nobody, zone)
    untrusted = untrusted_reason(log, excluded_runs(log, ()), params=params)
    leak = no_leak(untrusted) if untrusted else find_leak(log, params=params)
    no_use = abstained(untrusted) if untrusted else no_use_run_of_day(log, leak=leak, nobody_s=quiet_s, params=params)
    rate = _known_rate(system)
    paths = () if no_use.seconds is None else possible(log.cycles, no_use.seconds, log.gaps, params=params)
    starts = read_starts(
        log,
        no_use,
        rate=rate,
        motor=None if system is None else system.motor,
        with_motor=with_motor,
        bursts=bursts,
        paths=paths,
        said=said,
        leak=leak,
        target_s=marks_s[1],
        params=params,
    )
    water = None if untrusted else read_water(log, no_use, rate=rate, paths=paths, params=params)
    changes = find_changes(log, no_use, params=params)
    # A run that changed from day to day has no one figure: what is judged is that of the last day.
    now = next((c.now for c in changes if c.now is not None), no_use)
    reading = DayReading(
        log,
        now,
        now.as_run_time(),
        _verdict(now, system, marks_s),
        leak,
        _leak_flow(leak, rate),
        None if rate is None or leak.limit_duty is None else leak.limit_duty * rate.l_per_min * (1 + rate.share),
        starts,
        water,
        _night(log, water, zone),
        changes,
        replay(log, no_use, leak, others, paths=paths, params=params) if others else (),
        withheld(log, no_use, params=params) if others else None,
        excluded_runs(log, paths),
        untrusted,
        _facts(log, leak, starts, changes, params=params),
        marks_s,
        params,
    )
    return replace(reading, verdict=leak_first(reading, reading.verdict))


def _quiet_spans_s(log: DayLog, nobody: Sequence[str], zone: ZoneInfo | None) -> tuple[tuple[float, float], ...]:
    """Return the stretches with all taps closed, seconds of the log."""
    if not nobody:
        return ()
    if log.started_s is None:
        raise SettingsError(
            "--nobody needs to know when the recording began: give --started, or measure without --nobody"
        )
    if any(gap.to_s is None for gap in log.gaps):
        raise SettingsError(
            "--nobody needs to know the time all through, and between the parts given it is not known: give each "
            "recording by itself"
        )
    return tuple(span for text in nobody for span in spans_s(parse_span(text), log.started_s, log.duration_s, zone))


def _known_rate(system: System | None) -> KnownRate | None:
    """Return what the pump gives, with its 95 % interval."""
    if system is None or system.pump is None:
        return None
    return KnownRate(system.pump.l_per_min, 1.96 * (system.pump.sd_l_per_min or 0.0) / system.pump.l_per_min)


def _verdict(no_use: NoUseRun, system: System | None, marks_s: Marks) -> Verdict:
    """Judge the run against the marks; where it is withheld, the verdict says why."""
    power_w = None if system is None else system.motor.power_w
    run = no_use.as_run_time()
    verdict = judge(run, marks_s=marks_s, motor_hp=None if power_w is None else power_w / W_PER_HP)
    if run is not None or no_use.withheld is None:
        return verdict
    return replace(verdict, reasons=(no_use.withheld,), settle=(no_use.withheld,))


def _leak_flow(leak: Leak, rate: KnownRate | None) -> Amount | None:
    """Return the flow of a leak that was detected, L/min."""
    if rate is None or not leak.reported or leak.duty is None:
        return None
    low, high = (leak.low or 0.0) * rate.l_per_min, (leak.high or 0.0) * rate.l_per_min
    return Amount(leak.duty * rate.l_per_min, low * (1 - rate.share), high * (1 + rate.share))


def leak_first(reading: DayReading, verdict: Verdict) -> Verdict:
    """A verdict, with the leak before it where that makes most of the starts: a larger tank would only hide it."""
    if not reading.leak_makes_most_starts or verdict.has("verdict.leak-first"):
        return verdict
    return replace(verdict, reasons=(Reason("verdict.leak-first"), *verdict.reasons))


def _night(log: DayLog, water: Water | None, zone: ZoneInfo | None) -> Amount | None:
    """Water from midnight to five, per night, in the unit of ``water``, from hours of the log spread evenly.

    Where in a rest the water left is not known, so that each end of a night may be off by one tankful.
    """
    if water is None or log.started_s is None:
        return None
    nights = spans_s(NIGHT, log.started_s, log.duration_s, zone)
    full = [n for n in nights if n[1] - n[0] > 4 * 3600]
    if not full:
        return None
    total = 0.0
    for from_s, to_s in full:
        for hour, amount in enumerate(water.by_hour):
            overlap_s = min(to_s, (hour + 1) * 3600.0) - max(from_s, hour * 3600.0)
            total += amount * max(0.0, overlap_s) / 3600.0
    value, count = total / len(full), len(full)
    known = water.between if water.between.value > 0 else water.total
    shares = (known.value - known.low, known.high - known.value)
    below, above = (value * s / max(known.value, 1e-9) for s in shares)
    ends = water.tankful.high * math.sqrt(2.0 / count)
    return Amount(value, max(0.0, value - math.hypot(below, ends)), value + math.hypot(above, ends))


def other_tanks(system: System | None) -> tuple[tuple[str, float], ...]:
    """Stock sizes as (name, times the drawdown that is there); empty where the tank that is there is not known.

    All with the switch and the charge that the system has. A stock size that is the tank there is told once, as that.
    """
    if system is None or not system.tanks:
        return ()
    here_l = sum(t.volume_l * _fraction(system, t) for t in system.tanks)
    if here_l <= 0:
        return ()
    bladder = fraction(system.precharge_kpag, system.cut_in_kpag, system.cut_out_kpag, system.atmosphere_kpaa)
    named = [("this tank", 1.0)]
    stock = [(f"{gal:g} gal", gal * L_PER_US_GAL * bladder / here_l) for gal in STOCK_SIZES_GAL]
    there_l = system.tanks[0].volume_l if len(system.tanks) == 1 else math.inf
    return tuple(
        named
        + [
            (name, times)
            for gal, (name, times) in zip(STOCK_SIZES_GAL, stock, strict=True)
            if abs(times - 1) > SAME_SHARE or abs(gal * L_PER_US_GAL / there_l - 1) > SAME_SHARE
        ]
    )


def times_of(system: System, other: System) -> float:
    """The drawdown of another tank, charge or switch over that of the tank that is there, by labels."""
    here_l = sum(t.volume_l * _fraction(system, t) for t in system.tanks)
    there_l = sum(t.volume_l * _fraction(other, t) for t in other.tanks)
    if here_l <= 0 or there_l <= 0:
        raise SettingsError("both tanks need a volume, a charge and a switch with which they give water")
    return there_l / here_l


def _fraction(system: System, tank: Tank) -> float:
    charge_kpag = 0.0 if tank.kind == "plain" else system.charge_of(tank)
    return fraction(charge_kpag, system.cut_in_kpag, system.cut_out_kpag, system.atmosphere_kpaa)


def _facts(
    log: DayLog, leak: Leak, starts: Starts, changes: tuple[Change, ...], *, params: DayParams
) -> dict[str, str]:
    """Return the facts of the day's log by the names of the table of causes; one that is not known is absent."""
    tuned = params.facts
    enough = whole_runs(log.cycles).count >= tuned.enough_runs
    facts = {**_leak_facts(log, leak, starts, enough=enough), **_change_facts(changes)}
    answers = {f.answer for f in starts.motor if f.what == "starts_per_day"}
    if answers == {"outside"} or answers == {"within"}:
        facts["starts-per-day"] = "over" if answers == {"outside"} else "within"
    if enough:
        # What seeps is a leak and no use, and only a flow near half of the pump's rate speaks against the use.
        uses = [f for f in starts.flows if not leak.is_flow(f.use.duty)]
        share = sum(f.share.value for f in uses if params.cycling.middle[0] <= f.use.duty <= params.cycling.middle[1])
        facts["steady-use"] = "most" if share > 0.5 else "some" if uses else "none"
    return facts


def _leak_facts(log: DayLog, leak: Leak, starts: Starts, *, enough: bool) -> dict[str, str]:
    if leak.reported:
        return {"seeping": "yes", "seeping-starts": "most" if leak_makes_most_starts(leak, starts) else "some"}
    if leak.pattern == "timed restarts":
        return {"rests-equal": "yes"}
    whole_day = log.duration_s > 0.9 * 86_400
    return {"seeping": "no"} if enough and whole_day and leak.pattern == "none" else {}


def _change_facts(changes: tuple[Change, ...]) -> dict[str, str]:
    facts = {}
    for change in changes:
        if change.chance is None or change.share is None:
            continue
        if change.what == "over days":
            facts["run-trend"] = "falling" if change.reported and change.share < 0 else "steady"
        if change.what == "back to back":
            facts["longer-in-a-row"] = "yes" if change.reported and change.share > 0 else "no"
    return facts
