"""The well section: yield, standing water, supply, rules, household, storage, what is not known.

``well_lines`` is the section as lines of at most 80 columns; ``render_well`` adds the cautions and stands alone;
``render_rules`` lists the supply rules. The same for programs is in reporting/json/well.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from clicktimer.assessment.cautions import WELL_WORK, caution
from clicktimer.records import Reason
from clicktimer.reporting.blocks import SPACE, Block, Rows, Words, lines_of
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.messages.figures import hours
from clicktimer.units.format import format_time, format_volume
from clicktimer.well.assess import WellReport
from clicktimer.well.household import peak_figures
from clicktimer.well.rules import Rule, all_rules
from clicktimer.well.storage import Storage
from clicktimer.well.supply import Supply
from clicktimer.well.supply_check import Answer, HouseholdJudged, RuleJudged


def well_cautions(messages: Messages = Messages()) -> tuple[str, ...]:
    """Return the cautions that belong to work on a well, and that this is no certificate."""
    return tuple(messages.text(caution(name)) for name in (*WELL_WORK, "no-certificate-well"))


def well_lines(report: WellReport) -> list[str]:
    """Return the well section as plain lines of at most 80 columns, without heading and cautions."""
    return lines_of(well_blocks(report, Messages(units=report.units)))


def well_blocks(report: WellReport, messages: Messages = Messages()) -> list[Block]:
    """Return the well section without heading and cautions."""
    said = (*_yield(report), *_standing(report), *_drawn_down(report))
    lines: list[Block] = [Words(messages.texts(part)) for part in said]
    if report.supplies:
        lines += [SPACE, _supply_table(report, messages)]
        lines.append(Words(messages.texts(_supply_basis(report))))
    for judged in report.rules:
        lines += [SPACE, *_rule_lines(judged, messages)]
    if report.rules:
        lines.append(Words(messages.text("well.authority")))
    if report.households:
        lines += [SPACE, *_household_lines(report, messages)]
    if report.storage is not None:
        lines += [SPACE, *_storage_lines(report, report.storage, messages)]
    if report.notes or report.missing or not report.rules:
        lines.append(SPACE)
    for note in report.notes:
        lines.append(Words(messages.text(note), "-"))
    for missing in report.missing:
        lines.append(Words(messages.text("well-section.missing", what=missing), "-"))
    if not report.rules:
        lines.append(Words(messages.texts((Reason("well-section.no-rule"), Reason("well.authority"))), "-"))
    return lines


def render_well(report: WellReport, *, emphasis: Callable[[str], str] = str) -> str:
    """Return the whole report of a well, with cautions, as text that ends in a newline."""
    lines = [emphasis("Well"), *well_lines(report), "", emphasis("Cautions")]
    for text in well_cautions():
        lines += lines_of([Words(text, "!")])
    return "\n".join(lines) + "\n"


def render_rules() -> str:
    """Return the list of supply rules with source and status, as text that ends in a newline."""
    messages = Messages()
    head = messages.texts((Reason("well-section.rules-chosen"), Reason("well.authority")))
    lines: list[Block] = [Words(head, indent=0)]
    for rule in all_rules():
        lines += [SPACE, Words(rule.name, indent=0)]
        lines.append(Words(messages.text(_says(rule))))
        if rule.note:
            lines.append(Words(rule.note))
        lines.append(Words(messages.text(_source(rule))))
    return "\n".join(lines_of(lines)) + "\n"


def _says(rule: Rule) -> Reason:
    return Reason("well-section.rule-says", place=rule.place, says=rule.says)


def _source(rule: Rule) -> Reason:
    if rule.status == "ENTERED":
        return Reason("well-section.source-entered")
    return Reason("well-section.source", kind=rule.kind, source=rule.source, grade=rule.grade, status=rule.status)


def _yield(report: WellReport) -> list[tuple[Reason, ...]]:
    found, test = report.well.water_yield, report.test
    if test is not None:
        settle = (Reason("well-section.settle", settle=test.settle),) if test.settle else ()
        return [(*test.reasons, *settle)]
    if found is None:
        return [(Reason("well-section.yield-unknown"),)]
    how = found.how.replace(" ", "-")
    return [(Reason("well-section.yield", yield_l_per_min=found.l_per_min, how=how),)]


def _standing(report: WellReport) -> list[tuple[Reason, ...]]:
    well = report.well
    if report.standing_l is None or well.bore_m is None or well.pump_depth_m is None or well.static_level_m is None:
        return []
    reason = Reason(
        "well-section.standing",
        standing_l=report.standing_l,
        static_level_m=well.static_level_m,
        margin_m=well.margin_m,
        origin="given" if well.came_from("margin") != "default" else "usual",
        pump_depth_m=well.pump_depth_m,
        bore_m=well.bore_m,
    )
    return [(reason,)]


def _drawn_down(report: WellReport) -> list[tuple[Reason, ...]]:
    if report.drawn_down_s is None or report.system.pump is None:
        return []
    rate = report.system.pump.l_per_min
    soonest, latest = report.drawn_down_s
    if math.isinf(soonest):
        reason = Reason("well-section.not-drawn-down", draw_l_per_min=rate)
    elif report.standing_l == 0:
        reason = Reason("well-section.no-reserve", draw_l_per_min=rate)
    elif math.isinf(latest):
        reason = Reason("well-section.drawn-down-perhaps", draw_l_per_min=rate, soonest_s=soonest)
    elif format_time(soonest) == format_time(latest):
        reason = Reason("well-section.drawn-down-after", draw_l_per_min=rate, soonest_s=soonest)
    else:
        reason = Reason("well-section.drawn-down-between", draw_l_per_min=rate, soonest_s=soonest, latest_s=latest)
    return [(reason,)]


def _supply_table(report: WellReport, messages: Messages) -> Rows:
    rows = [(hours(s.time_s), _range(s.low_l, s.high_l, messages), _limit_text(s, messages)) for s in report.supplies]
    return Rows((messages.text("well-head.over"), messages.text("well-head.rested"), ""), rows, (">", ">", "<"))


def _range(low_l: float, high_l: float, messages: Messages) -> str:
    low, high = (messages.number(format_volume(volume_l, messages.units)) for volume_l in (low_l, high_l))
    return low if low == high else f"{low} to {high}"


def _limit_text(supply: Supply, messages: Messages) -> str:
    if supply.pump_limited:
        return messages.text("well-limit.pump")
    return "" if supply.standing_known else messages.text("well-limit.inflow")


def _supply_basis(report: WellReport) -> list[Reason]:
    parts = [Reason("well-counted.inflow")]
    if report.standing_l is not None:
        parts.insert(0, Reason("well-counted.standing"))
    if report.side.tank_l > 0:
        parts.append(Reason("well-counted.tank", tank_l=report.side.tank_l))
    basis = [Reason("well-section.counted", parts=tuple(parts))]
    if report.side.storage_l > 0:
        basis.append(Reason("well-section.counted-storage", storage_l=report.side.storage_l))
    if report.system.pump is None:
        basis.append(Reason("well-section.counted-no-pump-rate"))
    if report.standing_l is not None:
        basis.append(Reason("well-section.counted-once"))
    return basis


def _rule_lines(judged: RuleJudged, messages: Messages) -> list[Block]:
    rule = judged.rule
    entered = rule.status == "ENTERED"
    count = {"home": "well-count.homes", "person": "well-count.persons"}.get(rule.per, "well-count.none")
    title = messages.text(
        "well-section.rule",
        name=messages.text("well-section.need-entered") if entered else rule.name,
        count=Reason(count, count=judged.count),
        answer=judged.answer.replace(" ", "-"),
    )
    lines: list[Block] = [Words(title)]
    if not entered:
        lines.append(Words(messages.text(_says(rule)), indent=4))
    if not judged.demands:
        lines.append(Words(messages.text("well-section.asks-nothing"), indent=4))
    for demand in judged.demands:
        lines.append(Words(messages.text(demand.reason), "-", 4))
    if rule.note:
        lines.append(Words(rule.note, indent=4))
    if not entered:
        lines.append(Words(messages.text(_source(rule)), indent=4))
    return lines


def _household_lines(report: WellReport, messages: Messages) -> list[Block]:
    asked = report.asked
    who = [Reason("well-count.people", count=asked.people)] if asked.people is not None else []
    who += [Reason("well-count.bedrooms", count=asked.bedrooms)] if asked.bedrooms is not None else []
    lines: list[Block] = [Words(messages.text("well-section.household", who=tuple(who)))]
    rows = [_household_row(h, messages) for h in report.households]
    header = [messages.text(f"well-head.{name}") for name in ("by", "day-use", "two-hours", "daily")]
    lines.append(Rows(header, rows, ("<", ">", "<", "<")))
    figures = [h.need.figure for h in report.households if h.need.figure.status != "ENTERED"]
    sources = sorted(
        {messages.text("well-section.use-source", name=f.name, source=f.source, grade=f.grade) for f in figures}
    )
    if sources:
        lines.append(Words("; ".join(sources) + "."))
    lines.append(Words(messages.text(_peak(report))))
    if report.never_enough:
        lines.append(Words(messages.text("well-section.never-enough")))
    return lines


def _household_row(judged: HouseholdJudged, messages: Messages) -> tuple[str, str, str, str]:
    need = judged.need

    def cell(answer: Answer, short_l: float | None) -> str:
        if answer == "met":
            return messages.text("well-cell.enough")
        if answer == "not met":
            return messages.text("well-cell.short-by", short_l=short_l) if short_l else messages.text("well-cell.short")
        if short_l:
            return messages.text("well-cell.open-by", short_l=short_l)
        return messages.text("well-cell.cannot-tell")

    return (
        need.figure.name,
        _range(need.low_l, need.high_l, messages),
        cell(judged.peak, judged.short_peak_l),
        cell(judged.daily, judged.short_day_l),
    )


def _peak(report: WellReport) -> Reason:
    figures = tuple(
        Reason("well-section.peak-figure", peak_l_per_min=p.l_per_min, name=p.name, grade=p.grade)
        for p in peak_figures()
    )
    if report.system.pump is None:
        return Reason("well-section.peak-no-pump-rate", figures=figures)
    return Reason("well-section.peak", figures=figures, draw_l_per_min=report.system.pump.l_per_min)


def _storage_lines(report: WellReport, storage: Storage, messages: Messages) -> list[Block]:
    code = "well-section.short" if report.standing_l is not None else "well-section.short-standing-unknown"
    switch = (report.system.cut_in_kpag, report.system.cut_out_kpag)
    lines: list[Block] = [Words(messages.text(code, short_l=storage.short_l, switch_kpag=switch))]
    rows = [
        (str(t.count), *(messages.number(format_volume(v, messages.units)) for v in (t.volume_l, t.holds_l)))
        for t in storage.tanks
    ]
    header = [messages.text(f"well-head.{name}") for name in ("number", "tank", "holds")]
    lines.append(Rows(header, rows, (">", ">", ">")))
    last = [Reason("well-section.storage-tank", short_l=storage.short_l)]
    if storage.refill_s is not None:
        last.append(Reason("well-section.refill", refill_s=storage.refill_s))
    return [*lines, Words(messages.texts(last))]
