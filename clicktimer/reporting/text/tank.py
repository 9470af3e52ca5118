"""The tank section: what was found of the tank there, which size reaches the mark, the table of sizes.

``tank_lines`` is the section as lines of at most 80 columns; ``render_tank`` adds the cautions and stands alone.
The same for programs is in tank_json.py.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from typing import Final

from clicktimer.assessment.verdict import allowance_of
from clicktimer.reporting.blocks import SPACE, Block, Words, lines_of
from clicktimer.reporting.formatting import most_starts_text
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.messages.cautions import BEFORE_WORK, LICENSED, SURROUNDINGS, TANK
from clicktimer.reporting.text.tank_sizes import size_text, sizes_table
from clicktimer.tank.finding import Finding, TankThere, straddles
from clicktimer.tank.options import STOCK_SIZES_GAL
from clicktimer.tank.sizing import TankSizing
from clicktimer.units.conversions import psi_to_kpa
from clicktimer.units.format import (
    format_flow,
    format_height,
    format_pressure,
    format_switch,
    format_time,
    format_volume,
)

FINDING_TITLE: dict[Finding, str] = {
    "healthy": "HEALTHY",
    "too-small-but-healthy": "HEALTHY, BUT TOO SMALL FOR THIS PUMP",
    "short-of-air-or-overcharged": "SHORT OF AIR, OR OVERCHARGED",
    "more-than-label": "MORE WATER THAN THE TANK CAN GIVE",
    "cannot-tell": "CANNOT TELL",
}
STRADDLES: Final = "TOO CLOSE TO CALL"
STOCK_GAL = ", ".join(f"{size:g}" for size in STOCK_SIZES_GAL)
BY_HAND = ("timed by hand", "steady tap, by hand")
HAND_WORK = (BEFORE_WORK, TANK, LICENSED, SURROUNDINGS)


def finding_title(sizing: TankSizing, told: TankThere, messages: Messages = Messages()) -> str:
    """Return what was found of the tank there in a few words, in capitals."""
    if sizing.run is not None and straddles(told, sizing.run, sizing.system):
        return STRADDLES
    return FINDING_TITLE[told.finding]


def tank_lines(sizing: TankSizing) -> list[str]:
    """Return the tank section as plain lines of at most 80 columns, without heading and cautions."""
    return lines_of(tank_blocks(sizing))


def tank_blocks(sizing: TankSizing, messages: Messages = Messages()) -> list[Block]:
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
    lines += [SPACE, sizes_table(sizing), SPACE]
    lines.append(Words(_basis_text(sizing)))
    if sizing.run is not None and sizing.run.how in BY_HAND:
        lines.append(Words(f"{sizing.run.text} {allowance_of(sizing.run)}".strip()))
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
        + ("" if units == "us" else f" The stock sizes are those sold in US gallons ({STOCK_GAL}), in litres.")
        + (" Most starts: the worst steady use, half of the pump's rate." if system.pump is not None else "")
    )


def _origin(sizing: TankSizing, name: str) -> str:
    origin = sizing.system.came_from(name)
    if origin == "default":
        below = format_pressure(psi_to_kpa(2.0), sizing.units)
        return f" (not given; {below} below cut-in)" if name == "precharge" else " (not given; usual)"
    return f" ({'given' if origin == 'option' else origin})"


def _from_site(sizing: TankSizing, name: str) -> str:
    return ", site file" if sizing.system.came_from(name) == "site file" else ""
