"""A sizing in, plain data for JSON out, with units in its keys."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from clicktimer.reporting.json.values import rounded, volume_json
from clicktimer.reporting.text.day import day_json
from clicktimer.tank.finding import TankThere
from clicktimer.tank.options import TankRow
from clicktimer.tank.sizing import TankSizing
from clicktimer.tank.starts_per_day import day_starts
from clicktimer.tank.system import system_settings
from clicktimer.units.conversions import kpa_to_psi, l_to_gal


def tank_json(sizing: TankSizing) -> dict[str, Any]:
    """Return the sizing as plain data: volumes in gal and L, pressures in psi (gauge), times in s, null = unknown."""
    run = sizing.run
    day = day_starts(sizing)
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
        "there": None if sizing.there is None else _row_json(sizing.there),
        "run": None
        if run is None
        else {"seconds": run.seconds, "low_s": run.low_s, "high_s": run.high_s, "one_sided": run.one_sided},
        "measured_most_starts_per_h": rounded(sizing.measured_most_starts_per_h),
        "judgement": None if sizing.judgement is None else _there_json(sizing.judgement),
        "notes": list(sizing.notes),
        "missing": [asdict(m) for m in sizing.missing],
        "starts": None if day is None else day_json(day),
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
    told, stated = sizing.pump_measured, sizing.system.stated_pump
    if told is None:
        return {}
    return {
        "how": told.rate.how,
        "gpm": rounded(l_to_gal(told.rate.l_per_min)),
        "sd_gpm": None if told.rate.sd_l_per_min is None else rounded(l_to_gal(told.rate.sd_l_per_min)),
        "each_gpm": [rounded(l_to_gal(rate)) for rate in told.each_l_per_min],
        "left_out": told.left_out,
        "falling": told.falling,
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


def _there_json(told: TankThere) -> dict[str, Any]:
    def pressures(pair: tuple[float, float] | None) -> dict[str, float | None] | None:
        return None if pair is None else {"settled": rounded(kpa_to_psi(pair[0])), "fast": rounded(kpa_to_psi(pair[1]))}

    def span(pair: tuple[float, float] | None) -> list[float | None] | None:
        return None if pair is None else [rounded(l_to_gal(pair[0])), rounded(l_to_gal(pair[1]))]

    return {
        "finding": told.finding,
        "text": told.text,
        "settle": told.settle,
        **volume_json("drawn", told.drawn_l),
        **volume_json("drawn_low", told.drawn_low_l),
        **volume_json("drawn_high", told.drawn_high_l),
        **volume_json("label", told.label_l),
        **volume_json("label_fast", told.label_fast_l),
        "gauge_sd_fraction": rounded(told.gauge_sd),
        "ratio": rounded(told.ratio),
        "undercharged_psig": pressures(told.undercharged_kpag),
        "overcharged_psig": pressures(told.overcharged_kpag),
        "implied_pump_rate_gpm": span(told.implied_pump_l_per_min),
        "implied_volume_gal": span(told.implied_volume_l),
        "healthy_pump_rate_gpm": None
        if told.healthy_pump_l_per_min is None
        else rounded(l_to_gal(told.healthy_pump_l_per_min)),
    }
