"""A day as JSON: the form of a measurement with seeping, starts, water, change and replay (docs/day.schema.json).

Times are seconds from the beginning; wall times are ISO 8601, null where the beginning is not known.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from clicktimer.assessment.measurement import Measurement
from clicktimer.day.analysis import DayReading
from clicktimer.day.estimate import Amount
from clicktimer.day.trend import Change
from clicktimer.day.wall_time import parse_zone, wall
from clicktimer.records import Reason
from clicktimer.reporting.json.measurement import jsonable, measurement_json
from clicktimer.reporting.json.values import reasons_json
from clicktimer.reporting.messages.catalogue import Messages

FORMAT = "clicktimer-day"
FORMAT_VERSION = 1


def reading_json(m: Measurement, day: DayReading, *, program_version: str) -> dict[str, Any]:
    """Return the document of a day as plain data. Flows in L/min, water in the unit that it names."""
    document = measurement_json(
        replace(m, run=day.run or _said(m), verdict=day.verdict), program_version=program_version
    )
    s, log, messages = day.leak, day.log, Messages()
    document |= {"format": FORMAT, "version": FORMAT_VERSION}
    more: dict[str, Any] = {
        "zone": log.zone,
        "run_withheld": messages.text(day.no_use.withheld) if day.run is None and day.no_use.withheld else None,
        "run_rests_on": {
            "how": day.no_use.how,
            "near": day.no_use.near,
            "steady": [
                {
                    "from_s": u.from_s,
                    "to_s": u.to_s,
                    "count": u.count,
                    **ends("no_use_run_s", u.no_use_run_interval),
                    **ends("duty", u.duty_interval),
                }
                for u in day.no_use.steady
            ],
        },
        "seeping": {
            "told": s.reported,
            "pattern": s.pattern,
            "flow_l_per_min": _part(day.leak_l_per_min, "value"),
            "low": _part(day.leak_l_per_min, "low"),
            "high": _part(day.leak_l_per_min, "high"),
            "share_of_pump_rate": s.duty,
            "limit_l_per_min": day.limit_l_per_min,
            "limit_share_of_pump_rate": s.limit_duty,
            "from": _wall(day, s.from_s),
            "to": _wall(day, s.to_s),
            "from_s": s.from_s,
            "to_s": s.to_s,
            "text": messages.text(s.reason),
        },
        "starts": _starts(day, messages),
        "water": _water(day, messages),
        "changes": [_change(c, messages) for c in day.changes],
        "replay": [
            {
                "name": r.name,
                "times": r.times,
                "starts": r.starts,
                "worst_hour": r.worst_hour,
                "run_s": r.run_s,
                **ends("no_use_run_s", r.no_use_run_s),
            }
            for r in day.replayed
        ],
        "replay_withheld": None if day.replay_withheld is None else messages.text(day.replay_withheld),
        "untrusted": None if day.untrusted is None else messages.text(day.untrusted),
        "left_out": day.excluded,
        "reasons": reasons_json(day_reasons(day)),
        "parameters": day.params.as_dict(),
    }
    document |= jsonable(more)
    return document


def ends(name: str, amount: Amount | None) -> dict[str, float | None]:
    """A figure and the ends of its 95 % interval, as three fields: run_s, run_low_s, run_high_s."""
    stem, unit = (name[:-2], "_s") if name.endswith("_s") else (name, "")
    values = (None, None, None) if amount is None else (amount.value, amount.low, amount.high)
    return dict(zip((name, f"{stem}_low{unit}", f"{stem}_high{unit}"), values, strict=True))


def _said(m: Measurement) -> Any:
    """Where the user said that taps were shut or one ran steadily, that run stands."""
    return m.run if m.run is not None and not m.run.one_sided else None


def _part(amount: Amount | None, name: str) -> float | None:
    return None if amount is None else float(getattr(amount, name))


def _wall(day: DayReading, time_s: float | None) -> str | None:
    if time_s is None or day.log.started_s is None:
        return None
    moment = wall(time_s, day.log.started_s, parse_zone(day.log.zone))
    return (moment if day.log.zone else moment.replace(tzinfo=None)).isoformat(timespec="seconds")


def _night(day: DayReading) -> dict[str, float | None]:
    """Water from midnight to five, a night, with its interval; null without a start."""
    ends = (None, None, None) if day.night is None else (day.night.value, day.night.low, day.night.high)
    return dict(zip(("night", "night_low", "night_high"), ends, strict=True))


def _starts(day: DayReading, messages: Messages) -> dict[str, Any]:
    s = day.starts
    return {
        "count": s.count,
        "in_all": s.counts.starts,
        "worst_hour": s.worst_hour,
        "worst_hour_low": s.counts.worst_hour.low,
        "worst_hour_high": s.counts.worst_hour.high,
        "worst_hour_from_s": s.worst_at_s,
        "worst_hour_from": _wall(day, s.worst_at_s),
        "per_day": None
        if s.per_day is None
        else {"value": s.per_day.value, "low": s.per_day.low, "high": s.per_day.high},
        "by_hour": s.by_hour,
        "by_hour_low": [a.low for a in s.counts.by_hour],
        "by_hour_high": [a.high for a in s.counts.by_hour],
        **ends("shortest_rest_s", s.lengths.shortest_rest_s),
        **ends("shortest_run_s", s.lengths.shortest_run_s),
        **ends("longest_run_s", s.lengths.longest_run_s),
        **ends("duty", s.counts.duty),
        "endless": s.endless,
        "chatter": s.chatter,
        "flows": [
            {
                "from_s": f.use.from_s,
                "to_s": f.use.to_s,
                "starts": f.use.count,
                **ends("share", f.share),
                **ends("per_h", f.per_h),
                **ends("flow_l_per_min", f.flow),
                **ends("share_of_pump_rate", f.use.duty_interval),
                "remedy": f.remedy,
                "text": messages.text(f.reason),
            }
            for f in s.flows
        ],
        "motor": [
            {
                "what": f.what,
                "answer": f.answer,
                "text": Messages().texts(f.reasons),
                "reasons": reasons_json(f.reasons),
            }
            for f in s.motor
        ],
    }


def _change(change: Change, messages: Messages) -> dict[str, Any]:
    return {
        "what": change.what,
        "share": change.share,
        "low": change.low,
        "high": change.high,
        "chance": change.chance,
        "count": change.count,
        "told": change.reported,
        "text": messages.text(change.reason),
    }


def _water(day: DayReading, messages: Messages) -> dict[str, Any] | None:
    w = day.water
    if w is None:
        return None
    return {
        "unit": w.unit,
        "between": w.between,
        "from_s": w.from_s,
        "to_s": w.to_s,
        "total": w.total,
        "by_hour": w.by_hour,
        "by_hour_low": w.by_hour_low,
        "by_hour_high": w.by_hour_high,
        **ends("tankful", w.tankful),
        "long_runs": w.long_runs,
        "doubtful": w.doubtful,
        "text": messages.texts(w.reasons),
        **_night(day),
    }


def day_reasons(day: DayReading) -> tuple[Reason, ...]:
    """Return every reason of a day: leak, what makes the pump cycle, water, change, and what is withheld."""
    found = [
        day.untrusted,
        day.no_use.withheld,
        *day.no_use.reasons,
        day.leak.reason,
        *(f.reason for f in day.starts.flows),
    ]
    found += [] if day.water is None else day.water.reasons
    found += [*(c.reason for c in day.changes), day.replay_withheld, *day.clock_reasons]
    return tuple(dict.fromkeys(reason for reason in found if reason is not None))
