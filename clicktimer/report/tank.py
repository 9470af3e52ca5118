"""The tank section: what was found of the tank there, which size reaches the mark, the table of sizes.

``tank_lines`` is the section as lines of at most 80 columns; ``render_tank`` adds the cautions and stands alone;
``tank_json`` is the same for programs, with units in its keys.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import asdict
from typing import Any, Final

from clicktimer.cautions import BEFORE_WORK, LICENSED, SURROUNDINGS, TANK
from clicktimer.formats import format_flow, format_height, format_pressure, format_switch, format_time, format_volume
from clicktimer.report.blocks import SPACE, Block, Rows, Words, lines_of
from clicktimer.report.day import day_json
from clicktimer.report.words import most_starts_text
from clicktimer.tank.day import day_starts
from clicktimer.tank.rows import TankRow
from clicktimer.tank.sentences import Finding, TankThere, straddles
from clicktimer.tank.sizing import TankSizing
from clicktimer.tank.system import system_settings
from clicktimer.units import kpa_to_psi, l_to_gal

FINDING_TITLE: dict[Finding, str] = {
    "healthy": "HEALTHY",
    "too-small-but-healthy": "HEALTHY, BUT TOO SMALL FOR THIS PUMP",
    "short-of-air-or-overcharged": "SHORT OF AIR, OR OVERCHARGED",
    "more-than-label": "MORE WATER THAN THE TANK CAN GIVE",
    "cannot-tell": "CANNOT TELL",
}
STRADDLES: Final = "TOO CLOSE TO CALL"
HAND_WORK = (BEFORE_WORK, TANK, LICENSED, SURROUNDINGS)


def finding_title(sizing: TankSizing, told: TankThere) -> str:
    """Return what was found of the tank there in a few words, in capitals."""
    if sizing.run is not None and straddles(told, sizing.run, sizing.system):
        return STRADDLES
    return FINDING_TITLE[told.finding]


def tank_lines(sizing: TankSizing) -> list[str]:
    """Return the tank section as plain lines of at most 80 columns, without heading and cautions."""
    return lines_of(tank_blocks(sizing))


def tank_blocks(sizing: TankSizing) -> list[Block]:
    """Return the tank section without heading and cautions."""
    lines: list[Block] = []
    if sizing.judgement is not None:
        told = sizing.judgement
        lines.append(Words(f"The tank there: {finding_title(sizing, told)}. {told.text}"))
        if told.settle:
            lines.append(Words(f"To settle it: {told.settle}"))
        if sizing.measured_most_starts_per_h is not None and sizing.run is not None and not sizing.run.one_sided:
            starts = most_starts_text(sizing.run)
            lines.append(Words(f"By the measured run, no steady use can cause more than {starts} starts an hour."))
        lines.append(SPACE)
    lines.append(Words(_choice_text(sizing)))
    lines += [SPACE, _table(sizing), SPACE]
    lines.append(Words(_basis_text(sizing)))
    for note in sizing.notes:
        lines.append(Words(note, "-"))
    for missing in sizing.missing:
        if missing.what == "the run with no water in use" and not sizing.system.tanks:
            continue  # without a tank there is nothing that the run could be held against
        lines.append(Words(f"Not known: {missing.what}. To get it: {missing.how}.", "-"))
    return lines


def render_tank(
    sizing: TankSizing,
    more: Sequence[tuple[str, list[str]]] = (),
    *,
    emphasis: Callable[[str], str] = str,
    cautioned: Collection[str] = (),
) -> str:
    """Return the whole report of a sizing, with cautions, as text that ends in a newline.

    more: further sections, each a heading and its lines (see tank_more). cautioned: cautions that they hold already.
    """
    lines = [emphasis("Tank"), *tank_lines(sizing)]
    for heading, section in more:
        lines += ["", emphasis(heading), *section]
    left = [caution for caution in HAND_WORK if caution not in cautioned]
    if left:
        lines += ["", emphasis("Cautions")]
    for caution in left:
        lines += lines_of([Words(caution, "!")])
    return "\n".join(lines) + "\n"


def _choice_text(sizing: TankSizing) -> str:
    units, target = sizing.units, format_time(sizing.target_s)
    pump = sizing.system.pump
    if pump is None or sizing.needed_l is None or sizing.needed_fast_l is None:
        return (
            "Without the pump rate no size can be chosen; the table says what each size gives between cut-out and "
            "cut-in."
        )
    text = (
        f"For a run of {target} at {format_flow(pump.l_per_min, units)} a tank of "
        f"{format_volume(sizing.needed_l, units)} "
        f"or more is needed ({format_volume(sizing.needed_fast_l, units)} if every refill is to last so long)"
    )
    if sizing.choice is None:
        return text + "; no single stock size reaches it. Several tanks add up."
    text += f". The smallest stock size that reaches it is {size_text(sizing.choice, sizing)}"
    if sizing.next_up is not None:
        text += f"; the next one up is {size_text(sizing.next_up, sizing)}"
    return text + ". Too large is harmless, too small wears the pump: when in doubt, take the larger."


def size_text(row: TankRow, sizing: TankSizing) -> str:
    """Return a size of tank with the run that it gives, from a fast refill to air settled: "33 gal (a run of ...)"."""
    return f"{format_volume(row.volume_l, sizing.units)} (a run of {_run_cell(row)})"


def _run_cell(row: TankRow) -> str:
    if row.run_s is None or row.run_fast_s is None:
        return "-"
    low, high = _seconds(row.run_fast_s), _seconds(row.run_s)
    return f"{high} s" if low == high else f"{low} to {high} s"


def _seconds(time_s: float) -> str:
    return f"{time_s:.1f}" if time_s < 10 else f"{time_s:.0f}"


def _starts_cell(row: TankRow) -> str:
    if row.most_starts_per_h is None or row.most_starts_fast_per_h is None:
        return "-"
    low, high = f"{row.most_starts_per_h:.0f}", f"{row.most_starts_fast_per_h:.0f}"
    return low if low == high else f"{low} to {high}"


def _table(sizing: TankSizing) -> Rows:
    """The sizes as a table; the one chosen and the one there are marked in words."""
    rows = [(row, _mark(row, sizing)) for row in sizing.stock]
    if sizing.there is not None:
        rows.append((sizing.there, "the tank there" if len(sizing.system.tanks) == 1 else "the tanks there"))
    cells = [
        (
            format_volume(row.volume_l, sizing.units),
            f"{_volume(row.drawdown_fast_l, sizing)} to {_volume(row.drawdown_l, sizing, unit=True)}",
            _run_cell(row),
            _starts_cell(row),
            mark,
        )
        for row, mark in rows
    ]
    # Without a pump rate there are no runs to show.
    shown = (0, 1, 2, 3, 4) if sizing.system.pump is not None else (0, 1, 4)
    header = ("tank", "gives", "runs, taps shut", "most starts/h", "")
    return Rows(
        [header[i] for i in shown],
        [[line[i] for i in shown] for line in cells],
        [">" if i < 4 else "<" for i in shown],
        gap=3,
    )


def _volume(volume_l: float, sizing: TankSizing, *, unit: bool = False) -> str:
    shown = l_to_gal(volume_l) if sizing.units == "us" else volume_l
    name = " gal" if sizing.units == "us" else " L"
    return f"{shown:.1f}{name if unit else ''}"


def _mark(row: TankRow, sizing: TankSizing) -> str:
    if row == sizing.choice:
        return f"reaches {format_time(sizing.target_s)}"
    return "next one up" if row == sizing.next_up else ""


def _basis_text(sizing: TankSizing) -> str:
    """Every value used, and whether somebody gave it."""
    system, units = sizing.system, sizing.units
    at_clicks = system.came_from("gauge_at_clicks") != "default"
    switch = format_switch(system.cut_in_kpag, system.cut_out_kpag, units)
    parts = [
        f"switch {switch}{' as read on the gauge' if at_clicks else ''}"
        f"{_origin(sizing, 'gauge_at_clicks' if at_clicks else 'switch')}",
        f"air charge {format_pressure(system.precharge_kpag, units)}{_origin(sizing, 'precharge')}",
    ]
    if system.pump is not None:
        how = system.pump.how if system.pump.how != "stated" else f"stated{_from_site(sizing, 'pump_rate')}"
        parts.append(f"pump rate {format_flow(system.pump.l_per_min, units)} ({how})")
    if system.settled_kpag is not None:
        settled = format_switch(*system.settled_kpag, units)
        parts.append(f"settled pressures {settled} for the tank there{_origin(sizing, 'gauge_settled')}")
    height = "sea level" if system.height_m == 0 else format_height(system.height_m, units)
    parts.append(f"height {height}{_origin(sizing, 'height')}")
    parts.append(f"marks {system.marks_s[0]:g}/{system.marks_s[1]:g} s{_origin(sizing, 'marks')}")
    return (
        "Reckoned with " + ", ".join(parts) + ". The larger figure of each range is Boyle's law (air settled), the "
        "smaller a refill too fast for the air to give off heat; a real one lies between."
        + (" Most starts: the worst steady use, half of the pump's rate." if system.pump is not None else "")
    )


def _origin(sizing: TankSizing, name: str) -> str:
    origin = sizing.system.came_from(name)
    if origin == "default":
        return " (not given; 2 psi below cut-in)" if name == "precharge" else " (not given; usual)"
    return f" ({'given' if origin == 'option' else origin})"


def _from_site(sizing: TankSizing, name: str) -> str:
    return ", site file" if sizing.system.came_from(name) == "site file" else ""


def tank_json(sizing: TankSizing) -> dict[str, Any]:
    """Return the sizing as plain data for JSON: volumes in gal and L, pressures in psi (gauge), times in s, null = "
    "unknown."""
    run = sizing.run
    day = day_starts(sizing)
    return {
        "inputs": system_settings(sizing.system),
        "units": sizing.units,
        "target_s": _r(sizing.target_s),
        "stock_precharge_psig": _r(kpa_to_psi(sizing.stock_charge_kpag)),
        "fraction": _r(sizing.fraction),
        "fraction_fast": _r(sizing.fraction_fast),
        **_volumes("needed", sizing.needed_l),
        **_volumes("needed_fast", sizing.needed_fast_l),
        "stock": [_row_json(row) for row in sizing.stock],
        "choice": None if sizing.choice is None else _row_json(sizing.choice),
        "next_up": None if sizing.next_up is None else _row_json(sizing.next_up),
        "there": None if sizing.there is None else _row_json(sizing.there),
        "run": None
        if run is None
        else {"seconds": run.seconds, "low_s": run.low_s, "high_s": run.high_s, "one_sided": run.one_sided},
        "measured_most_starts_per_h": _r(sizing.measured_most_starts_per_h),
        "judgement": None if sizing.judgement is None else _there_json(sizing.judgement),
        "notes": list(sizing.notes),
        "missing": [asdict(m) for m in sizing.missing],
        "starts": None if day is None else day_json(day),
        "pump_rate_measured": None if sizing.pump_measured is None else _measured_json(sizing),
        "advised": None
        if sizing.advised is None
        else {
            "run_s": sizing.advised.run_s,
            **_volumes("needed", sizing.advised.needed_l),
            "status": sizing.advised.status,
        },
    }


def _measured_json(sizing: TankSizing) -> dict[str, Any]:
    told, stated = sizing.pump_measured, sizing.system.stated_pump
    if told is None:
        return {}
    return {
        "how": told.rate.how,
        "gpm": _r(l_to_gal(told.rate.l_per_min)),
        "sd_gpm": None if told.rate.sd_l_per_min is None else _r(l_to_gal(told.rate.sd_l_per_min)),
        "each_gpm": [_r(l_to_gal(rate)) for rate in told.each_l_per_min],
        "left_out": told.left_out,
        "falling": told.falling,
        "stated_gpm": None if stated is None else _r(l_to_gal(stated.l_per_min)),
    }


def _r(value: float | None) -> float | None:
    # Six decimals: the same bytes on every machine, whatever its last bit of a power.
    return None if value is None else round(value, 6)


def _volumes(name: str, volume_l: float | None) -> dict[str, float | None]:
    return {f"{name}_gal": None if volume_l is None else _r(l_to_gal(volume_l)), f"{name}_l": _r(volume_l)}


def _row_json(row: TankRow) -> dict[str, Any]:
    return {
        **_volumes("volume", row.volume_l),
        **_volumes("drawdown", row.drawdown_l),
        **_volumes("drawdown_fast", row.drawdown_fast_l),
        "run_s": _r(row.run_s),
        "run_fast_s": _r(row.run_fast_s),
        "most_starts_per_h": _r(row.most_starts_per_h),
        "most_starts_fast_per_h": _r(row.most_starts_fast_per_h),
        **_volumes("held_at_cut_in", row.held_l),
    }


def _there_json(told: TankThere) -> dict[str, Any]:
    def pressures(pair: tuple[float, float] | None) -> dict[str, float | None] | None:
        return None if pair is None else {"settled": _r(kpa_to_psi(pair[0])), "fast": _r(kpa_to_psi(pair[1]))}

    def span(pair: tuple[float, float] | None) -> list[float | None] | None:
        return None if pair is None else [_r(l_to_gal(pair[0])), _r(l_to_gal(pair[1]))]

    return {
        "finding": told.finding,
        "text": told.text,
        "settle": told.settle,
        **_volumes("drawn", told.drawn_l),
        **_volumes("drawn_low", told.drawn_low_l),
        **_volumes("drawn_high", told.drawn_high_l),
        **_volumes("label", told.label_l),
        **_volumes("label_fast", told.label_fast_l),
        "gauge_sd_fraction": _r(told.gauge_sd),
        "ratio": _r(told.ratio),
        "undercharged_psig": pressures(told.undercharged_kpag),
        "overcharged_psig": pressures(told.overcharged_kpag),
        "implied_pump_rate_gpm": span(told.implied_pump_l_per_min),
        "implied_volume_gal": span(told.implied_volume_l),
        "healthy_pump_rate_gpm": None
        if told.healthy_pump_l_per_min is None
        else _r(l_to_gal(told.healthy_pump_l_per_min)),
    }
