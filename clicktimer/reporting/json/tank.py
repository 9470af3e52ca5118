"""A sizing in, plain data for JSON out, with units in its keys."""

from __future__ import annotations

from typing import Any

from clicktimer.reporting.json.values import reasons_json, rounded, volume_json
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.text.day import day_json
from clicktimer.tank.finding import TankFinding
from clicktimer.tank.options import TankRow
from clicktimer.tank.sizing import TankSizing
from clicktimer.tank.starts_per_day import day_starts
from clicktimer.tank.system import system_settings
from clicktimer.units.conversions import kpa_to_psi, l_to_gal


def tank_json(sizing: TankSizing) -> dict[str, Any]:
    """Return the sizing as plain data: volumes in gal and L, pressures in psi (gauge), times in s, null = unknown."""
    run = sizing.run
    day = day_starts(sizing)
    messages = Messages(units=sizing.units)
    return {
        "inputs": system_settings(sizing.system),
        "units": sizing.units,
        "target_s": rounded(sizing.target_s),
        "stock_precharge_psig": rounded(kpa_to_psi(sizing.stock_charge_kpag)),
        "fraction": rounded(sizing.fraction),
        "fraction_fast": rounded(sizing.fraction_fast),
        **volume_json("needed", sizing.needed_l),
        **volume_json("needed_fast", sizing.needed_fast_l),
        "stock": [_row_json(row) for row in sizing.stock],
        "choice": None if sizing.choice is None else _row_json(sizing.choice),
        "next_up": None if sizing.next_up is None else _row_json(sizing.next_up),
        "may_reach": None if sizing.may_reach is None else _row_json(sizing.may_reach),
        "there": None if sizing.installed is None else _row_json(sizing.installed),
        "put_right": None if sizing.right is None else _row_json(sizing.right),
        "run": None
        if run is None
        else {"seconds": run.seconds, "low_s": run.low_s, "high_s": run.high_s, "one_sided": run.one_sided},
        "measured_most_starts_per_h": rounded(sizing.measured_most_starts_per_h),
        "judgement": None if sizing.judgement is None else _finding_json(sizing.judgement, messages),
        "notes": [messages.text(note) for note in sizing.notes],
        "note_reasons": reasons_json(sizing.notes),
        "missing": [
            {"what": messages.text(f"tank-missing.{name}"), "how": messages.text(f"tank-missing-how.{name}")}
            for name in sizing.missing
        ],
        "starts": None if day is None else day_json(day, messages),
        "pump_rate_measured": None if sizing.pump_measured is None else _measured_json(sizing),
        "advised": None
        if sizing.advised is None
        else {
            "run_s": sizing.advised.run_s,
            **volume_json("needed", sizing.advised.needed_l),
            "status": sizing.advised.status,
        },
    }


def _measured_json(sizing: TankSizing) -> dict[str, Any]:
    found, stated = sizing.pump_measured, sizing.system.stated_pump
    if found is None:
        return {}
    return {
        "how": found.rate.how,
        "gpm": rounded(l_to_gal(found.rate.l_per_min)),
        "sd_gpm": None if found.rate.sd_l_per_min is None else rounded(l_to_gal(found.rate.sd_l_per_min)),
        "each_gpm": [rounded(l_to_gal(rate)) for rate in found.each_l_per_min],
        "left_out": found.left_out,
        "falling": found.falling,
        "stated_gpm": None if stated is None else rounded(l_to_gal(stated.l_per_min)),
    }


def _row_json(row: TankRow) -> dict[str, Any]:
    return {
        **volume_json("volume", row.volume_l),
        **volume_json("drawdown", row.drawdown_l),
        **volume_json("drawdown_fast", row.drawdown_fast_l),
        "run_s": rounded(row.run_s),
        "run_fast_s": rounded(row.run_fast_s),
        "most_starts_per_h": rounded(row.most_starts_per_h),
        "most_starts_fast_per_h": rounded(row.most_starts_fast_per_h),
        **volume_json("held_at_cut_in", row.held_l),
    }


def _finding_json(found: TankFinding, messages: Messages) -> dict[str, Any]:
    def pressures(pair: tuple[float, float] | None) -> dict[str, float | None] | None:
        return None if pair is None else {"settled": rounded(kpa_to_psi(pair[0])), "fast": rounded(kpa_to_psi(pair[1]))}

    def span(pair: tuple[float, float] | None) -> list[float | None] | None:
        return None if pair is None else [rounded(l_to_gal(pair[0])), rounded(l_to_gal(pair[1]))]

    return {
        "finding": found.finding,
        "text": messages.texts(found.reasons),
        "reasons": reasons_json(found.reasons),
        "settle": messages.texts(found.settle),
        "settle_reasons": reasons_json(found.settle),
        **volume_json("drawn", found.drawn_l),
        **volume_json("drawn_low", found.drawn_low_l),
        **volume_json("drawn_high", found.drawn_high_l),
        **volume_json("label", found.label_l),
        **volume_json("label_fast", found.label_fast_l),
        "gauge_sd_fraction": rounded(found.gauge_sd),
        "ratio": rounded(found.ratio),
        "undercharged_psig": pressures(found.undercharged_kpag),
        "overcharged_psig": pressures(found.overcharged_kpag),
        "implied_pump_rate_gpm": span(found.implied_pump_l_per_min),
        "implied_volume_gal": span(found.implied_volume_l),
        "healthy_pump_rate_gpm": None
        if found.healthy_pump_l_per_min is None
        else rounded(l_to_gal(found.healthy_pump_l_per_min)),
    }
