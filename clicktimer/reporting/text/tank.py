"""The tank section: what was found of the installed tank, which size reaches the target, the table of sizes.

``tank_lines`` is the section as lines of at most 80 columns; ``render_tank`` adds the cautions and stands alone.
The same for programs is in reporting/json/tank.py.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence

from clicktimer.assessment.cautions import caution, hand_work
from clicktimer.cycles.run_time import allowances
from clicktimer.records import Reason
from clicktimer.reporting.blocks import SPACE, Block, Words, lines_of
from clicktimer.reporting.formatting import most_starts_text
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.text.tank_sizes import size_text, sizes_table
from clicktimer.tank.finding import TankFinding, straddles
from clicktimer.tank.options import STOCK_SIZES_GAL
from clicktimer.tank.sizing import TankSizing
from clicktimer.tank.stopwatch import BY_HAND
from clicktimer.tank.system import CHARGE_BELOW_CUT_IN_KPA

STOCK_GAL = ", ".join(f"{size:g}" for size in STOCK_SIZES_GAL)

DANGERS = ("tank.cut-out-over-plate",)
"""Notes that come before everything else."""


def finding_title(sizing: TankSizing, found: TankFinding, messages: Messages = Messages()) -> str:
    """Return what was found of the installed tank in a few words, in capitals."""
    return messages.text(f"tank-title.{_title(sizing, found)}")


def finding_text(sizing: TankSizing, found: TankFinding, messages: Messages = Messages()) -> str:
    """Return what was found of the installed tank, and why."""
    return messages.text("tank-section.finding", title=_title(sizing, found), reasons=found.reasons)


def _title(sizing: TankSizing, found: TankFinding) -> str:
    open_ = sizing.run is not None and straddles(found, sizing.run, sizing.system)
    return "too-close" if open_ else found.finding


def tank_lines(sizing: TankSizing) -> list[str]:
    """Return the tank section as plain lines of at most 80 columns, without heading and cautions."""
    return lines_of(tank_blocks(sizing, Messages(units=sizing.units)))


def tank_blocks(sizing: TankSizing, messages: Messages = Messages()) -> list[Block]:
    """Return the tank section without heading and cautions."""
    lines: list[Block] = [Words(messages.text(note), "!") for note in sizing.notes if note.code in DANGERS]
    if sizing.judgement is not None:
        found = sizing.judgement
        lines.append(Words(finding_text(sizing, found, messages)))
        if found.settle:
            lines.append(Words(messages.text("tank-section.settle", settle=found.settle)))
        if sizing.measured_most_starts_per_h is not None and sizing.run is not None and not sizing.run.one_sided:
            lines.append(Words(messages.text("tank-section.most-starts", starts=most_starts_text(sizing.run))))
        lines.append(SPACE)
    lines.append(Words(_choice_text(sizing, messages)))
    lines += [SPACE, sizes_table(sizing, messages), SPACE]
    lines.append(Words(_basis_text(sizing, messages)))
    if sizing.run is not None and sizing.run.how in BY_HAND:
        lines.append(Words(messages.texts((*sizing.run.notes, *allowances(sizing.run)))))
    for note in (note for note in sizing.notes if note.code not in DANGERS):
        lines.append(Words(messages.text(note), "-"))
    for missing in sizing.missing:
        if missing == "run" and not sizing.system.tanks:
            continue  # without a tank there is nothing that the run could be held against
        lines.append(Words(messages.text("tank-section.missing", what=missing), "-"))
    return lines


def render_tank(
    sizing: TankSizing,
    more: Sequence[tuple[str, list[str]]] = (),
    *,
    emphasis: Callable[[str], str] = str,
    cautioned: Collection[Reason] = (),
) -> str:
    """Return the whole report of a sizing, with cautions, as text that ends in a newline.

    more: further sections, each a heading and its lines (see tank_more). cautioned: cautions that they hold already.
    """
    lines = [emphasis("Tank"), *tank_lines(sizing)]
    for heading, section in more:
        lines += ["", emphasis(heading), *section]
    left = [one for one in map(caution, hand_work(sizing)) if one not in cautioned]
    if left:
        lines += ["", emphasis("Cautions")]
    for one in left:
        lines += lines_of([Words(Messages().text(one), "!")])
    return "\n".join(lines) + "\n"


def _choice_text(sizing: TankSizing, messages: Messages) -> str:
    pump = sizing.system.pump
    if pump is None or sizing.needed_l is None or sizing.needed_fast_l is None:
        return messages.text("tank-section.no-choice")
    if sizing.choice is None:
        choice = Reason("tank-section.none-reaches")
    elif sizing.next_up is None:
        choice = Reason("tank-section.one-reaches", size=size_text(sizing.choice, sizing, messages))
    else:
        choice = Reason(
            "tank-section.two-reach",
            size=size_text(sizing.choice, sizing, messages),
            next_size=size_text(sizing.next_up, sizing, messages),
        )
    more = [Reason("tank-section.when-in-doubt")]
    if sizing.may_reach is not None:
        more.insert(0, Reason("tank-section.may-reach", size=size_text(sizing.may_reach, sizing, messages)))
    needed = messages.text(
        "tank-section.needed",
        target_s=sizing.target_s,
        pump_l_per_min=pump.l_per_min,
        needed_l=sizing.needed_l,
        needed_fast_l=sizing.needed_fast_l,
        choice=choice,
    )
    return " ".join((needed, *map(messages.text, more)))


def _basis_text(sizing: TankSizing, messages: Messages) -> str:
    """Every value used, and whether somebody gave it."""
    system = sizing.system
    at_clicks = system.came_from("gauge_at_clicks") != "default"
    switch = (system.cut_in_kpag, system.cut_out_kpag)
    values = [
        Reason("tank-basis.switch-at-clicks", switch_kpag=switch, origin=_origin(sizing, "gauge_at_clicks"))
        if at_clicks
        else Reason("tank-basis.switch", switch_kpag=switch, origin=_origin(sizing, "switch")),
        Reason("tank-basis.charge", charge_kpag=system.precharge_kpag, origin=_origin(sizing, "precharge")),
    ]
    if system.pump is not None:
        from_site = system.pump.how == "stated" and system.came_from("pump_rate") == "site file"
        how = "stated-site" if from_site else system.pump.how.replace(" ", "-")
        values.append(Reason("tank-basis.pump-rate", pump_l_per_min=system.pump.l_per_min, how=how))
    if system.settled_kpag is not None:
        origin = _origin(sizing, "gauge_settled")
        values.append(Reason("tank-basis.settled", settled_kpag=system.settled_kpag, origin=origin))
    code = "tank-basis.sea-level" if system.height_m == 0 else "tank-basis.height"
    values.append(Reason(code, height_m=system.height_m, origin=_origin(sizing, "height")))
    low_s, high_s = system.marks_s
    values.append(Reason("tank-basis.marks", low_s=low_s, high_s=high_s, origin=_origin(sizing, "marks")))
    parts = [Reason("tank-section.basis", values=tuple(values))]
    if messages.units == "metric":
        parts.append(Reason("tank-section.basis-litres", sizes=STOCK_GAL))
    if system.pump is not None:
        parts.append(Reason("tank-section.basis-starts"))
    return messages.texts(parts)


def _origin(sizing: TankSizing, name: str) -> Reason:
    origin = sizing.system.came_from(name)
    if origin == "default":
        if name == "precharge":
            return Reason("tank-origin.usual-charge", below_kpa=CHARGE_BELOW_CUT_IN_KPA)
        return Reason("tank-origin.usual")
    return Reason(f"tank-origin.{'given' if origin == 'option' else origin.replace(' ', '-')}")
