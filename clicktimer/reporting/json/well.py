"""The well report as plain data for JSON, with units in its keys; null = unknown."""

from __future__ import annotations

import math
from typing import Any

from clicktimer.reporting.json.values import reasons_json, rounded, volume_json
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.units.conversions import L_PER_US_GAL, m_to_ft
from clicktimer.well.assess import WellReport
from clicktimer.well.household import DAY_S, PEAK_S
from clicktimer.well.storage import Storage
from clicktimer.well.supply_check import HouseholdJudged, RuleJudged


def well_json(report: WellReport) -> dict[str, Any]:
    """Return the report as plain data for JSON: volumes in gal and L, flows in gpm and L/min, lengths in ft and m.

    Times in seconds; null = unknown, and "never" is null with ``never_drawn_down`` true.
    """
    well, found = report.well, report.well.water_yield
    drawn = report.drawn_down_s
    messages = Messages(units=report.units)
    return {
        "units": report.units,
        "inputs": {
            **_length("bore", well.bore_m),
            **_length("well_depth", well.well_depth_m),
            **_length("pump_depth", well.pump_depth_m),
            **_length("static_level", well.static_level_m),
            **_length("margin", well.margin_m),
            "origin": dict(well.origin),
            **_flow("pump_rate", None if report.system.pump is None else report.system.pump.l_per_min),
            "homes": report.asked.homes,
            "people": report.asked.people,
            "bedrooms": report.asked.bedrooms,
            **volume_json("storage", report.asked.storage_l),
        },
        "yield": None
        if found is None
        else {
            "how": found.how,
            **_flow("value", found.l_per_min),
            **_flow("low", found.low_l_per_min),
            **_flow("high", found.high_l_per_min),
        },
        "yield_test": None if report.test is None else _test_json(report, messages),
        **volume_json("standing", report.standing_l),
        "supply": [
            {
                "over_s": s.time_s,
                **volume_json("low", s.low_l),
                **volume_json("high", s.high_l),
                **volume_json("of_it_tank", s.tank_l),
                "pump_limited": s.pump_limited,
                "standing_known": s.standing_known,
            }
            for s in report.supplies
        ],
        "drawn_down": None
        if drawn is None
        else {
            "soonest_s": _finite(drawn[0]),
            "latest_s": _finite(drawn[1]),
            "never_drawn_down": math.isinf(drawn[0]),
        },
        "rules": [_rule_json(r, messages) for r in report.rules],
        "household": [_household_json(h) for h in report.households],
        "never_enough": report.never_enough,
        "storage": None if report.storage is None else _storage_json(report.storage),
        "notes": [messages.text(note) for note in report.notes],
        "note_reasons": reasons_json(report.notes),
        "missing": [
            {
                "what": messages.text(f"well-missing.{name}", what=name),
                "how": messages.text(f"well-missing-how.{name}", what=name),
            }
            for name in report.missing
        ],
        "authority": messages.text("well.authority"),
    }


def _finite(value: float) -> float | None:
    return rounded(value) if math.isfinite(value) else None


def _flow(name: str, flow: float | None) -> dict[str, float | None]:
    return {f"{name}_gpm": None if flow is None else rounded(flow / L_PER_US_GAL), f"{name}_l_per_min": rounded(flow)}


def _length(name: str, length_m: float | None) -> dict[str, float | None]:
    return {f"{name}_ft": None if length_m is None else rounded(m_to_ft(length_m)), f"{name}_m": rounded(length_m)}


def _test_json(report: WellReport, messages: Messages) -> dict[str, Any]:
    test = report.test
    if test is None:
        return {}
    return {
        "text": messages.texts(test.reasons),
        "reasons": reasons_json(test.reasons),
        "settle": messages.texts(test.settle),
        "settle_reasons": reasons_json(test.settle),
        "readings": test.readings,
        "used": test.used,
        "used_s": test.used_s,
        "change": rounded(test.change),
        "told": test.water_yield is not None,
    }


def _rule_json(judged: RuleJudged, messages: Messages) -> dict[str, Any]:
    rule = judged.rule
    return {
        "name": rule.name,
        "place": rule.place,
        "kind": rule.kind,
        "says": rule.says,
        "source": rule.source,
        "grade": rule.grade,
        "status": rule.status,
        "per": rule.per,
        "count": judged.count,
        "answer": judged.answer,
        "demands": [
            {
                "asked": messages.text(d.asked),
                "answer": d.answer,
                "text": messages.text(d.reason),
                "reasons": reasons_json((d.reason,)),
                **volume_json("short", d.short_l),
            }
            for d in judged.demands
        ],
    }


def _household_json(judged: HouseholdJudged) -> dict[str, Any]:
    need = judged.need
    return {
        "by": need.figure.name,
        "source": need.figure.source,
        "grade": need.figure.grade,
        "status": need.figure.status,
        "per": need.figure.per,
        "count": need.count,
        **volume_json("day_low", need.low_l),
        **volume_json("day_high", need.high_l),
        "two_hours": judged.peak,
        "two_hours_s": PEAK_S,
        "day_after_day": judged.daily,
        "day_s": DAY_S,
        **volume_json("short_two_hours", judged.short_peak_l),
        **volume_json("short_day", judged.short_day_l),
    }


def _storage_json(storage: Storage) -> dict[str, Any]:
    return {
        **volume_json("short", storage.short_l),
        "refill_s": rounded(storage.refill_s),
        "pressure_tanks": [
            {**volume_json("volume", t.volume_l), **volume_json("holds", t.holds_l), "count": t.count}
            for t in storage.tanks
        ],
    }
