"""Two measurements or days in (as JSON documents), their differences out, each with its interval.

A figure that one side cannot tell is not compared: starts made by the person who tests, a day's water of a few hours.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

from clicktimer.day.start_counts import by_chance
from clicktimer.day.starts import DAY_S, LEAST_FOR_A_DAY_S
from clicktimer.errors import InputError
from clicktimer.records import Reason
from clicktimer.units.conversions import gal_to_l

Finding = Literal["more", "less", "no change", "cannot tell"]


@dataclass(frozen=True, slots=True)
class Difference:
    """One figure before and after. low, high: 95 % interval of after less before; None where a side has none.

    before_low and so on: the 95 % interval of each side by itself, None where the side is not told.
    """

    name: str
    unit: str
    before: float | None
    after: float | None
    low: float | None
    high: float | None
    finding: Finding
    before_low: float | None = None
    before_high: float | None = None
    after_low: float | None = None
    after_high: float | None = None

    @property
    def code(self) -> str:
        """The name as the last part of a code of the message catalogue."""
        return self.name.replace(" ", "-")

    @property
    def finding_code(self) -> str:
        """The finding as the last part of a code of the message catalogue."""
        return self.finding.replace(" ", "-")


@dataclass(frozen=True, slots=True)
class Judgment:
    """What both results conclude: before, after are the codes of a band or of a finding on the tank."""

    name: Literal["verdict", "tank"]
    before: str
    after: str
    finding: Literal["changed", "no change", "cannot tell"]

    @property
    def finding_code(self) -> str:
        """The finding as the last part of a code of the message catalogue."""
        return self.finding.replace(" ", "-")


@dataclass(frozen=True, slots=True)
class NotCompared:
    """Figures (by name) that one side cannot tell, and why."""

    side: Literal["before", "after"]
    names: tuple[str, ...]
    reason: Reason

    @property
    def codes(self) -> tuple[str, ...]:
        """The names as the last part of codes of the message catalogue."""
        return tuple(name.replace(" ", "-") for name in self.names)


@dataclass(frozen=True, slots=True)
class Comparison:
    """All differences, and what the valve test says where it was one (None else).

    before_heard_s, after_heard_s: length of each, s, None not known. not_compared: why a side lacks a figure.
    judgments: what both conclude. repeatability: what limits the comparison of two run times, None without one.
    """

    before: str
    after: str
    differences: tuple[Difference, ...]
    valve: Reason | None
    before_heard_s: float | None = None
    after_heard_s: float | None = None
    not_compared: tuple[NotCompared, ...] = ()
    judgments: tuple[Judgment, ...] = ()
    repeatability: Reason | None = None


_Seen = tuple[float, float, float]

LEAST_S: Final = 0.9 * 86_400.0
"""A shorter log says nothing of a whole day's water, duty or worst hour, since the hours not heard may be unlike."""

REPEATABILITY_SHARE: Final = 0.07
"""How far one system's run time differs from itself: the speed of the draw before it warms or cools the tank's air.

Simulated: about 6 to 7 % (docs/formulas.md, heat of the air); two results nearer than this are one result.
"""
OF_THE_RUN: Final = frozenset(
    {"run with no water in use", "water between cut-out and cut-in", "most starts an hour by the run"}
)
"""Figures in proportion to a run time, or to 1 over it: none repeats better than the run itself."""


def compare(before: Mapping[str, Any], after: Mapping[str, Any], *, valve_test: bool = False) -> Comparison:
    """Compare two documents of ``measure --json`` or ``day --json``.

    Parameters
    ----------
    before, after : mapping
        The documents as they were read.
    valve_test : bool
        Whether BEFORE was recorded with the valve after the tank open, and AFTER with it shut.

    Returns
    -------
    Comparison
        Volumes in L, flows in L/min, times in seconds, shares in percent.

    Raises
    ------
    InputError
        If a document is neither.
    """
    for document in (before, after):
        if document.get("format") not in ("clicktimer-measurement", "clicktimer-day"):
            raise InputError("not a result of clicktimer: give files written by measure --json or day --json")
    rows = (
        ("run with no water in use", "s", _run),
        ("starts a day", "", _starts_a_day),
        ("starts in the worst hour", "", _worst_hour),
        ("share of the time that the pump ran", "%", _duty),
        ("water a day", "L", _water),
        ("seeping", "L/min", _leak),
    )
    differences = [_difference(name, unit, read(before), read(after)) for name, unit, read in rows]
    shared = (
        ("pump rate", "L/min", _pump_rate),
        ("water between cut-out and cut-in", "L", _drawn),
        ("the same by the label", "L", _by_label),
        ("most starts an hour by the run", "", _most_starts),
    )
    of_the_tank = [_difference(name, unit, read(before), read(after)) for name, unit, read in shared]
    shown = (
        *(d for d in differences if d.before is not None or d.after is not None),
        *(d for d in of_the_tank if d.before is not None and d.after is not None),
    )
    return Comparison(
        str(_in(before, "source", "name") or "before"),
        str(_in(after, "source", "name") or "after"),
        shown,
        _valve(before, after) if valve_test else None,
        _in(before, "source", "duration_s"),
        _in(after, "source", "duration_s"),
        (
            *_not_compared("before", before, [d.name for d in shown if d.before is None]),
            *_not_compared("after", after, [d.name for d in shown if d.after is None]),
        ),
        _judgments(before, after, shown),
        Reason("compare.repeatability", share=REPEATABILITY_SHARE)
        if any(d.name in OF_THE_RUN and d.low is not None for d in shown)
        else None,
    )


def _judgments(
    before: Mapping[str, Any], after: Mapping[str, Any], shown: tuple[Difference, ...]
) -> tuple[Judgment, ...]:
    """Verdict and finding on the tank, where both have one; a change rests on a figure that changed."""
    changed = {d.name for d in shown if d.finding in ("more", "less")}
    kinds: tuple[tuple[Literal["verdict", "tank"], tuple[str, ...], set[str]], ...] = (
        ("verdict", ("verdict", "band"), {"run with no water in use"}),
        ("tank", ("tank", "judgement", "finding"), {"water between cut-out and cut-in", "the same by the label"}),
    )
    found = []
    for name, path, rests_on in kinds:
        was, still = _in(before, *path), _in(after, *path)
        if isinstance(was, str) and isinstance(still, str):
            backed = bool(changed & rests_on)
            found.append(
                Judgment(name, was, still, "no change" if was == still else "changed" if backed else "cannot tell")
            )
    return tuple(found)


def _not_compared(side: Literal["before", "after"], d: Mapping[str, Any], names: list[str]) -> list[NotCompared]:
    """Why one side lacks these figures, those of the same reason together."""
    reasons: dict[Reason, list[str]] = {}
    for name in names:
        reasons.setdefault(_why(name, d), []).append(name)
    return [NotCompared(side, tuple(of_it), reason) for reason, of_it in reasons.items()]


def _why(name: str, d: Mapping[str, Any]) -> Reason:  # noqa: PLR0911
    if name == "run with no water in use":
        return Reason("compare.upper-bound-only" if _in(d, "run", "one_sided") else "compare.no-run")
    if d.get("format") != "clicktimer-day":
        return Reason("compare.not-a-day")
    if name == "seeping":
        known = _in(d, "seeping", "limit_share_of_pump_rate") is not None
        return Reason("compare.no-pump-rate" if known else "compare.no-limit")
    if not _own_use(d):
        return Reason("compare.starts-by-test")
    heard_s = float(_in(d, "source", "duration_s") or 0.0)
    if name == "starts a day" and heard_s < LEAST_FOR_A_DAY_S:
        return Reason("compare.under-an-hour", heard_s=heard_s)
    if name != "starts a day" and heard_s < LEAST_S:
        return Reason("compare.under-a-day", heard_s=heard_s, least_s=LEAST_S)
    if name == "water a day" and _in(d, "water") is not None:
        return Reason("compare.no-pump-rate")
    return Reason("compare.not-in-it")


def _in(document: Any, *path: str) -> Any:
    for name in path:
        document = document.get(name) if isinstance(document, Mapping) else None
    return document


def _seen(value: Any, low: Any, high: Any) -> _Seen | None:
    if isinstance(value, int | float) and math.isfinite(value):
        lower = low if isinstance(low, int | float) else value
        upper = high if isinstance(high, int | float) else value
        return float(value), float(lower), float(upper)
    return None


def _run(d: Mapping[str, Any]) -> _Seen | None:
    run = d.get("run")
    if not isinstance(run, Mapping) or run.get("one_sided"):
        return None
    return _seen(run.get("seconds"), run.get("low_s"), run.get("high_s"))


def _own_use(d: Mapping[str, Any]) -> bool:
    """Whether the starts are the household's own: under a test with the taps the person who tests makes them."""
    return _in(d, "program", "settings", "taps", "value") is None


def _whole_day(d: Mapping[str, Any]) -> bool:
    return _own_use(d) and float(_in(d, "source", "duration_s") or 0.0) >= LEAST_S


def _starts_a_day(d: Mapping[str, Any]) -> _Seen | None:
    # Older documents hold a figure for a few minutes too.
    if not _own_use(d) or float(_in(d, "source", "duration_s") or 0.0) < LEAST_FOR_A_DAY_S:
        return None
    seen = _in(d, "starts", "per_day")
    if not isinstance(seen, Mapping):
        return None
    # Counted in full or not, another day like it would have had more or fewer by chance.
    value = seen.get("value")
    if not isinstance(value, int | float):
        return None
    days = max(1.0, float(_in(d, "source", "duration_s")) / DAY_S)
    low, high = (end / days for end in by_chance(float(value) * days))
    return float(value), min(float(seen["low"]), low), max(float(seen["high"]), high)


def _worst_hour(d: Mapping[str, Any]) -> _Seen | None:
    value = _in(d, "starts", "worst_hour")
    if not isinstance(value, int | float) or not _whole_day(d):
        return None
    low, high = by_chance(float(value))
    told_low, told_high = (_in(d, "starts", f"worst_hour_{end}") for end in ("low", "high"))
    return _seen(value, min(low, told_low or low), max(high, told_high or high))


def _duty(d: Mapping[str, Any]) -> _Seen | None:
    value, starts = _in(d, "starts", "duty"), _in(d, "starts", "count")
    if not isinstance(value, int | float) or not isinstance(starts, int | float) or not _whole_day(d):
        return None
    half = 2.0 * value / math.sqrt(max(starts, 1.0))
    return 100.0 * value, 100.0 * max(0.0, value - half), 100.0 * (value + half)


def _water(d: Mapping[str, Any]) -> _Seen | None:
    if _in(d, "water", "unit") != "L" or not _whole_day(d):
        return None
    total, duration_s = _in(d, "water", "total"), _in(d, "source", "duration_s")
    if not isinstance(total, Mapping) or not duration_s:
        return None
    days = float(duration_s) / 86_400.0
    return _seen(total["value"] / days, total["low"] / days, total["high"] / days)


def _leak(d: Mapping[str, Any]) -> _Seen | None:
    if _in(d, "seeping", "told"):
        return _seen(*(_in(d, "seeping", n) for n in ("flow_l_per_min", "low", "high")))
    limit = _in(d, "seeping", "limit_l_per_min")
    return (0.0, 0.0, float(limit)) if isinstance(limit, int | float) else None


def _pump_rate(d: Mapping[str, Any]) -> _Seen | None:
    gpm = _in(d, "tank", "inputs", "pump_rate", "gpm")
    if not isinstance(gpm, int | float):
        return None
    sd_gpm = _in(d, "tank", "pump_rate_measured", "sd_gpm")
    half_gpm = 1.96 * float(sd_gpm) if isinstance(sd_gpm, int | float) else 0.0
    return gal_to_l(float(gpm)), gal_to_l(max(0.0, gpm - half_gpm)), gal_to_l(gpm + half_gpm)


def _drawn(d: Mapping[str, Any]) -> _Seen | None:
    if _run(d) is None:
        return None  # an upper bound of the run is one of the water, too
    return _seen(*(_in(d, "tank", "judgement", f"drawn{end}_l") for end in ("", "_low", "_high")))


def _by_label(d: Mapping[str, Any]) -> _Seen | None:
    label_l = _in(d, "tank", "judgement", "label_l")
    return _seen(label_l, _in(d, "tank", "judgement", "label_fast_l"), label_l)


def _most_starts(d: Mapping[str, Any]) -> _Seen | None:
    run = _run(d)
    starts = _in(d, "tank", "measured_most_starts_per_h")
    if run is None or min(run) <= 0 or not isinstance(starts, int | float):
        return None
    return float(starts), starts * run[0] / run[2], starts * run[0] / run[1]


def _difference(name: str, unit: str, before: _Seen | None, after: _Seen | None) -> Difference:
    was, still = before or (None, None, None), after or (None, None, None)
    own = (*was[1:], *still[1:])
    if before is None or after is None:
        return Difference(name, unit, was[0], still[0], None, None, "cannot tell", *own)
    gap = after[0] - before[0]
    low = gap - math.hypot(after[0] - after[1], before[2] - before[0])
    high = gap + math.hypot(after[2] - after[0], before[0] - before[1])
    if name in OF_THE_RUN:
        floor = REPEATABILITY_SHARE * min(before[0], after[0])
        low, high = min(low, gap - floor), max(high, gap + floor)
    finding: Finding = "more" if low > 0 else "less" if high < 0 else "no change"
    if finding == "no change" and name == "seeping" and (before[0] > 0) != (after[0] > 0):
        finding = "cannot tell"  # told on one side, and the limit of the other is not low enough to say that it stopped
    return Difference(name, unit, before[0], after[0], low, high, finding, *own)


def _valve(before: Mapping[str, Any], after: Mapping[str, Any]) -> Reason:
    """What stopping the leak by the valve after the tank says; a limit may only speak where it is low enough."""
    was, still = _leak(before), _leak(after)
    if not _in(before, "seeping", "told"):
        return Reason("compare.valve-no-leak-before")
    if _in(after, "seeping", "told"):
        return Reason("compare.valve-well-side")
    if was is not None and still is not None and still[2] < 0.5 * was[1]:
        return Reason("compare.valve-house-side")
    return Reason("compare.valve-too-short")
