"""How often a pump's motor may start and how long it should run, by power and phase, each with source and status.

The limits are data (motor_limits.csv). Nothing here is a law: the maker's own figure, where it is known, wins over all
of them. What was seen is handed in as an interval, so that a count from part of a day is not judged as if it were sure.
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Final, Literal

from clicktimer.errors import SettingsError
from clicktimer.records import Figure, Reason
from clicktimer.units.conversions import W_PER_HP

Phase = Literal["single", "three"]
What = Literal["starts_per_day", "starts_per_h", "least_run_s"]
Answer = Literal["within", "outside", "too close to call", "cannot tell"]
PHASES: tuple[Phase, ...] = ("single", "three")

LARGE_MOTOR_HP: Final = 0.75
"""Common practice, no source: above it many makers ask for runs of two minutes."""
LARGE_MOTOR_RUN_S: Final = 120.0
RATING_SLACK = 0.02
"""Ratings are nominal: 0.75 kW is 1.006 hp and is sold as 1 hp; 5.5 kW is 7.376 hp and is sold as 7.5 hp."""
MAKER = "the motor's maker, entered by you"


@dataclass(frozen=True, slots=True)
class MotorLimit:
    """One published limit.

    what: "starts_per_day" or "starts_per_h" (at most) or "least_run_s" (at least). from_hp, to_hp: powers it is for;
    to_hp None: no upper end; above: from_hp itself is not in it. phase: None = either. status: "READ" = seen in the
    source, "READ-2nd" = seen where it is quoted, "ENTERED" = by the user.
    """

    name: str
    what: What
    value: float
    from_hp: float
    to_hp: float | None
    phase: Phase | None
    applies_to: str
    source: str
    grade: str
    status: str
    note: str = ""
    above: bool = False

    @property
    def power(self) -> Reason:
        """The powers it is for, hp."""
        if self.to_hp is None:
            if self.from_hp == 0:
                return Reason("motor-power.all")
            return Reason("motor-power.above" if self.above else "motor-power.from", from_hp=self.from_hp)
        if self.from_hp == 0:
            return Reason("motor-power.to", to_hp=self.to_hp)
        return Reason("motor-power.between", from_hp=self.from_hp, to_hp=self.to_hp)


@dataclass(frozen=True, slots=True)
class Seen:
    """A figure that was seen, with its interval; low = value = high where it was counted in full."""

    value: float
    low: float
    high: float

    def __post_init__(self) -> None:
        if not (0 <= self.low <= self.value <= self.high) or math.isnan(self.value):
            raise SettingsError("a count of starts or a run must lie inside its interval and not be below zero")


@dataclass(frozen=True, slots=True)
class MotorFinding:
    """The limits of one source held against what was seen.

    answer: "outside" is more starts, or a shorter run, than the limit. limits: those that may apply (several where
    power or phase is not known or falls between two rows; none where the table ends below this motor). seen: what they
    were held against. could: True where ``seen`` is what steady use could cause, not what was counted.
    """

    what: What
    answer: Answer
    limits: tuple[MotorLimit, ...]
    seen: Seen
    could: bool
    reasons: tuple[Reason, ...]


@cache
def all_limits() -> tuple[MotorLimit, ...]:
    """Return every limit of the table, in its order."""
    text = resources.files("clicktimer.tank").joinpath("motor_limits.csv").read_text(encoding="utf-8")
    return tuple(_limit(row) for row in csv.DictReader(text.splitlines()))


def _limit(row: dict[str, str]) -> MotorLimit:
    kinds: dict[str, What] = {w: w for w in ("starts_per_day", "starts_per_h", "least_run_s")}
    phases: dict[str, Phase | None] = {"single": "single", "three": "three", "any": None}
    return MotorLimit(
        name=row["name"],
        what=kinds[row["what"]],
        value=float(row["value"]),
        from_hp=float(row["from_hp"]),
        to_hp=float(row["to_hp"]) if row["to_hp"] else None,
        phase=phases[row["phase"]],
        applies_to=row["applies_to"],
        source=row["source"],
        grade=row["grade"],
        status=row["status"],
        note=row["note"],
        above=row["above"] == "yes",
    )


def limits_for(what: What, power_w: float | None, phase: Phase | None) -> tuple[MotorLimit, ...]:
    """Return the limits that may apply to a motor, strictest first.

    power_w: rated power in watts, None unknown. phase: None unknown. More than one is returned where that is open: the
    power or the phase is not known, or the power lies between two rows (6 hp: both neighbours). Raises SettingsError
    for a power that cannot be.

    Limits of different sources all apply; those of one source are alternatives.

    >>> [limit.value for limit in limits_for("starts_per_day", 0.75 * 745.7, "single")]
    [300.0]
    """
    if power_w is not None and not (math.isfinite(power_w) and power_w > 0):
        raise SettingsError('a motor\'s power must be more than zero: give it such as "3/4 hp" or "0.55 kW"')
    rows = [r for r in all_limits() if r.what == what and (phase is None or r.phase in (None, phase))]
    if power_w is not None:
        kept: list[MotorLimit] = []
        for table in {(r.source, r.phase) for r in rows}:
            kept += _by_power([r for r in rows if (r.source, r.phase) == table], power_w / W_PER_HP)
        rows = kept
    return tuple(sorted(rows, key=lambda r: (-r.value if what == "least_run_s" else r.value, r.name)))


def _by_power(rows: list[MotorLimit], power_hp: float) -> list[MotorLimit]:
    """The rows for a power; both neighbours where it lies between two; none where the table does not reach it."""
    # A rating may be a little more or less than its name.
    least_hp, most_hp = power_hp * (1.0 - RATING_SLACK), power_hp * (1.0 + RATING_SLACK)
    inside = [
        r
        for r in rows
        if (least_hp > r.from_hp if r.above else most_hp >= r.from_hp) and (r.to_hp is None or least_hp <= r.to_hp)
    ]
    if inside:
        return inside
    below = [r for r in rows if r.to_hp is not None and r.to_hp < power_hp]
    over = [r for r in rows if r.from_hp > power_hp]
    if not (below and over):
        return []
    return [max(below, key=lambda r: r.to_hp or 0.0), min(over, key=lambda r: r.from_hp)]


def judge_motor(  # noqa: PLR0913
    power_w: float | None = None,
    phase: Phase | None = None,
    *,
    starts_per_day: Seen | None = None,
    starts_per_h: Seen | None = None,
    least_run_s: Seen | None = None,
    could_start_per_h: Seen | None = None,
    maker_starts_per_day: float | None = None,
    maker_starts_per_h: float | None = None,
    maker_least_run_s: float | None = None,
) -> tuple[MotorFinding, ...]:
    """Hold what was seen against the limits for starts and runs.

    Parameters
    ----------
    power_w, phase : of the motor, None unknown. starts_per_day : counted or scaled to a day. starts_per_h : in the
    busiest hour. least_run_s : the run with no water in use, or the shortest run. could_start_per_h : the most that a
    steady use could cause, 900 / r0. maker_* : the maker's own figures, which take the place of the table's.

    Returns
    -------
    a finding for each figure handed in and each source that limits it, in the order above. One-sided figures are
    handed in as an interval (a run known to be at most 20 s: Seen(20, 0, 20)).

    Raises
    ------
    SettingsError : a power or a maker's figure that cannot be.
    """
    asked: list[tuple[What, Seen | None, bool, float | None]] = [
        ("starts_per_day", starts_per_day, False, maker_starts_per_day),
        ("starts_per_h", starts_per_h, False, maker_starts_per_h),
        ("starts_per_h", could_start_per_h, True, maker_starts_per_h),
        ("least_run_s", least_run_s, False, maker_least_run_s),
    ]
    found = []
    for what, seen, could, maker in asked:
        if seen is None:
            continue
        if maker is not None:
            found.append(_finding(what, seen, could, (_makers(what, maker),), power_w, phase))
            continue
        limits = limits_for(what, power_w, phase)
        for source in dict.fromkeys(r.source for r in all_limits() if r.what == what):
            own = tuple(limit for limit in limits if limit.source == source)
            # An advice for large motors says nothing of a small one; a table that ends below this motor must be told.
            if own or not all(r.above for r in all_limits() if r.source == source and r.what == what):
                found.append(_finding(what, seen, could, own, power_w, phase))
    return tuple(found)


def _makers(what: What, value: float) -> MotorLimit:
    if not (math.isfinite(value) and value > 0):
        raise SettingsError("a limit of the motor's maker must be more than zero")
    return MotorLimit("maker", what, value, 0.0, None, None, "this motor", MAKER, "-", "ENTERED")


def _one(limit: MotorLimit, seen: Seen) -> Answer:
    if limit.what == "least_run_s":
        return "within" if seen.low >= limit.value else "outside" if seen.high < limit.value else "too close to call"
    return "within" if seen.high <= limit.value else "outside" if seen.low > limit.value else "too close to call"


def _finding(
    what: What,
    seen: Seen,
    could: bool,
    limits: tuple[MotorLimit, ...],
    power_w: float | None,
    phase: Phase | None,
) -> MotorFinding:
    answers = {_one(limit, seen) for limit in limits}
    answer: Answer = answers.pop() if len(answers) == 1 else "cannot tell"
    if power_w is None and answer != "within" and any(limit.above for limit in limits) and len(limits) == 1:
        answer = "cannot tell"  # an advice for large motors, and nobody said how large this one is
    return MotorFinding(what, answer, limits, seen, could, _reasons(what, answer, limits, seen, could, power_w, phase))


def _reasons(
    what: What,
    answer: Answer,
    limits: tuple[MotorLimit, ...],
    seen: Seen,
    could: bool,
    power_w: float | None,
    phase: Phase | None,
) -> tuple[Reason, ...]:
    subject = _subject(what, seen, could)
    if not limits:
        if power_w is None:
            return (Reason("motor.no-row", subject=subject),)
        return (Reason("motor.no-row-for-power", subject=subject, power_w=power_w),)
    found = Reason(
        "motor.run" if what == "least_run_s" else "motor.starts",
        subject=subject,
        answer=answer.replace(" ", "-"),
        limit=_limit_reason(limits),
    )
    return (found, *_open(limits, power_w, phase)) if answer == "cannot tell" else (found,)


def _subject(what: What, seen: Seen, could: bool) -> Reason:
    """Return what was held against a limit."""
    if could:
        return Reason("motor-seen.could", starts=seen.high)
    if what == "least_run_s":
        if seen.low < seen.high:  # written as the run is written everywhere else
            return Reason("motor-seen.run-between", run=(seen.value, seen.low, seen.high, 1))
        return Reason("motor-seen.run", run_s=seen.value)
    per = _per(what)
    if seen.low == 0 < seen.high:
        return Reason("motor-seen.at-most", starts=math.ceil(seen.high - 1e-9), per=per)
    if seen.low == seen.high:
        return Reason("motor-seen.starts", starts=seen.value, per=per)
    return Reason("motor-seen.starts-between", low=seen.low, high=seen.high, per=per)


def _per(what: What) -> str:
    return "day" if what == "starts_per_day" else "hour"


def _limit_reason(limits: tuple[MotorLimit, ...]) -> Reason:
    """Return the limits of one source, as a range where several may apply."""
    first = limits[0]
    low, high = min(r.value for r in limits), max(r.value for r in limits)
    value = Reason("motor-limit.one", value=low) if low == high else Reason("motor-limit.range", low=low, high=high)
    code = "motor-bound.run" if first.what == "least_run_s" else "motor-bound.starts"
    bound = (
        Reason(code, value=value) if first.what == "least_run_s" else Reason(code, value=value, per=_per(first.what))
    )
    if first.status == "ENTERED":
        return Reason("motor-limit.entered", bound=bound, source=first.source)
    figures: dict[str, Figure] = {
        "bound": bound,
        "which": _which(limits),
        "source": first.source,
        "grade": first.grade,
        "status": first.status,
    }
    if first.note and len(limits) == 1:
        return Reason("motor-limit.published-note", note=first.note, **figures)
    return Reason("motor-limit.published", **figures)


def _which(limits: tuple[MotorLimit, ...]) -> Reason:
    if len(limits) > 1:
        several = len({r.phase for r in limits}) > 1
        return Reason("motor-which.power-and-phase" if several else "motor-which.power")
    power, phase = limits[0].power, limits[0].phase
    return power if phase is None else Reason("motor-which.phase", power=power, phase=phase)


def _open(limits: tuple[MotorLimit, ...], power_w: float | None, phase: Phase | None) -> tuple[Reason, ...]:
    """Return what would tell which limit applies."""
    phases = phase is None and len({limit.phase for limit in limits}) > 1
    if power_w is None:
        return (Reason("motor.settle-power-and-phase" if phases else "motor.settle-power"),)
    if phases:
        return (Reason("motor.settle-phase"),)
    return (Reason("motor.between-rows", power_w=power_w),)
