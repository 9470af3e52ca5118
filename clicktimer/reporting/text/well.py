"""The well section: yield, standing water, supply, rules, household, storage, what is not known.

``well_lines`` is the section as lines of at most 80 columns; ``render_well`` adds the cautions and stands alone;
``render_rules`` lists the supply rules. The same for programs is in well_machine.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from clicktimer.reporting.blocks import SPACE, Block, Rows, Words, lines_of
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.messages.cautions import LICENSED, SURROUNDINGS
from clicktimer.units.format import format_flow, format_switch, format_time, format_volume
from clicktimer.well.assess import WellReport
from clicktimer.well.household import peak_figures
from clicktimer.well.parse import format_bore, format_depth
from clicktimer.well.rules import AUTHORITY, Rule, all_rules
from clicktimer.well.storage import Storage
from clicktimer.well.supply import Supply
from clicktimer.well.supply_check import Answer, HouseholdJudged, RuleJudged

WEAK_WELL = (
    "Weak well: stop a test if the flow falls, or air or silt comes; a pump that runs without water is ruined. A "
    "low-pressure cut-off may need resetting by hand."
)
OPEN_WELL = (
    "The well cap covers live wires and clean water: power off at the disconnect before it is lifted, nothing dropped "
    "in. Sounding the level is for licensed people; where the drinking water was opened to the air, disinfect as the "
    "local health authority advises."
)
NO_CERTIFICATE = "This is arithmetic on the figures given, not a certificate."
CAUTIONS = (WEAK_WELL, OPEN_WELL, SURROUNDINGS, LICENSED)
STATUS_TEXT = {
    "READ": "seen in the source",
    "READ-2nd": "seen where the source is quoted",
    "MEM": "RECALLED, NOT SEEN: look it up before relying on it",
    "ENTERED": "entered by you",
}
ANSWER_TITLE: dict[Answer, str] = {
    "met": "MET",
    "not met": "NOT MET",
    "too close to call": "TOO CLOSE TO CALL",
    "met only with standing water": "MET ONLY IF STANDING WATER COUNTS",
    "cannot tell": "CANNOT TELL",
}


def well_lines(report: WellReport) -> list[str]:
    """Return the well section as plain lines of at most 80 columns, without heading and cautions."""
    return lines_of(well_blocks(report))


def well_blocks(report: WellReport, messages: Messages = Messages()) -> list[Block]:  # noqa: C901
    """Return the well section without heading and cautions."""
    lines: list[Block] = []
    for paragraph in (_yield_text(report), _standing_text(report), _drawn_down_text(report)):
        if paragraph:
            lines.append(Words(paragraph))
    if report.supplies:
        lines += [SPACE, _supply_table(report)]
        lines.append(Words(_supply_basis(report)))
    for judged in report.rules:
        lines += [SPACE, *_rule_lines(judged)]
    if report.rules:
        lines.append(Words(AUTHORITY))
    if report.households:
        lines += [SPACE, *_household_lines(report)]
    if report.storage is not None:
        lines += [SPACE, *_storage_lines(report, report.storage)]
    if report.notes or report.missing or not report.rules:
        lines.append(SPACE)
    for note in report.notes:
        lines.append(Words(note, "-"))
    for missing in report.missing:
        lines.append(Words(f"Not known: {missing.what}. To get it: {missing.how}.", "-"))
    if not report.rules:
        lines.append(
            Words(f"No supply rule was applied: choose one by --rule or enter one by --need. {AUTHORITY}", "-")
        )
    return lines


def render_well(report: WellReport, *, emphasis: Callable[[str], str] = str) -> str:
    """Return the whole report of a well, with cautions, as text that ends in a newline."""
    lines = [emphasis("Well"), *well_lines(report), "", emphasis("Cautions")]
    for caution in (*CAUTIONS, NO_CERTIFICATE):
        lines += lines_of([Words(caution, "!")])
    return "\n".join(lines) + "\n"


def render_rules() -> str:
    """Return the list of supply rules with source and status, as text that ends in a newline."""
    lines: list[Block] = [Words(f"None of these is applied unless you choose it by --rule NAME. {AUTHORITY}", indent=0)]
    for rule in all_rules():
        lines += [SPACE, Words(rule.name, indent=0)]
        lines.append(Words(f"{rule.place}: {rule.says}."))
        if rule.note:
            lines.append(Words(rule.note))
        lines.append(Words(_source_text(rule)))
    return "\n".join(lines_of(lines)) + "\n"


def _source_text(rule: Rule) -> str:
    if rule.status == "ENTERED":
        return "Entered by you."
    kind = "Rule" if rule.kind == "rule" else "Guide"
    return f"{kind}. Source: {rule.source} (grade {rule.grade}; {rule.status}: {STATUS_TEXT[rule.status]})."


def _range(low_l: float, high_l: float, report: WellReport) -> str:
    low, high = format_volume(low_l, report.units), format_volume(high_l, report.units)
    return low if low == high else f"{low} to {high}"


def _yield_text(report: WellReport) -> str:
    found, units = report.well.water_yield, report.units
    if report.test is not None:
        return report.test.text + (f" To settle it: {report.test.settle}" if report.test.settle else "")
    if found is None:
        return "The yield is not known: no supply can be told."
    return f"Yield: {format_flow(found.l_per_min, units)} ({found.how})."


def _standing_text(report: WellReport) -> str:
    well, units = report.well, report.units
    if report.standing_l is None or well.bore_m is None or well.pump_depth_m is None or well.static_level_m is None:
        return ""
    origin = "given" if well.came_from("margin") != "default" else "not given; as in a published exercise"
    return (
        f"Standing water: {format_volume(report.standing_l, units)}, from {format_depth(well.static_level_m, units)} "
        f"(water at rest) down to {format_depth(well.margin_m, units)} ({origin}) above the pump at "
        f"{format_depth(well.pump_depth_m, units)}, in a bore of {format_bore(well.bore_m, units)}."
    )


def _drawn_down_text(report: WellReport) -> str:
    if report.drawn_down_s is None or report.system.pump is None:
        return ""
    rate = format_flow(report.system.pump.l_per_min, report.units)
    soonest, latest = report.drawn_down_s
    if math.isinf(soonest):
        return f"At {rate} the pump draws no more than the well yields: it does not draw the well down to the margin."
    if report.standing_l == 0:
        return f"At {rate} the pump draws more than the well yields, and no water stands in reserve."
    start = f"At {rate} the pump draws more than the well yields. Running all the time from a rested well, it"
    if math.isinf(latest):
        return (
            start.replace("draws more", "may draw more") + f" has drawn the standing water after "
            f"{format_time(soonest)} at the soonest, and perhaps never."
        )
    when = format_time(soonest)
    if when != format_time(latest):
        when = f"between {when} (inflow that grows as the level falls) and {format_time(latest)} (full inflow at once)"
    else:
        when = f"after {when}"
    return f"{start} has drawn the standing water {when}."


def _hours(time_s: float) -> str:
    return f"{time_s / 3600:.0f} h" if time_s % 3600 == 0 else format_time(time_s)


def _supply_table(report: WellReport) -> Rows:
    rows = [(_hours(s.time_s), _range(s.low_l, s.high_l, report), _limit_text(s)) for s in report.supplies]
    return Rows(("over", "from a rested well", ""), rows, (">", ">", "<"))


def _limit_text(supply: Supply) -> str:
    if supply.pump_limited:
        return "as much as the pump brings up"
    return "" if supply.standing_known else "inflow alone: the standing water is not known"


def _supply_basis(report: WellReport) -> str:
    parts = ["what flows in"]
    if report.standing_l is not None:
        parts.insert(0, "standing water")
    if report.side.tank_l > 0:
        parts.append(f"{format_volume(report.side.tank_l, report.units)} from a full pressure tank")
    text = f"Counted: {', '.join(parts)}."
    if report.side.storage_l > 0:
        text += f" The storage tank ({format_volume(report.side.storage_l, report.units)}) comes on top."
    if report.system.pump is None:
        text += " The pump rate is not known: the pump is taken to keep up."
    if report.standing_l is not None:
        text += " Standing water is there once; afterwards it must flow in again."
    return text


def _rule_lines(judged: RuleJudged) -> list[Block]:
    rule = judged.rule
    count = ""
    if rule.per == "home":
        count = f", for {judged.count} home{'s' if judged.count > 1 else ''}"
    elif rule.per == "person":
        count = f", for {judged.count} persons (bedrooms + 1)"
    title = (
        f"{'The need you entered' if rule.status == 'ENTERED' else rule.name}{count}: {ANSWER_TITLE[judged.answer]}."
    )
    lines: list[Block] = [Words(title)]
    if rule.status != "ENTERED":
        lines.append(Words(f"{rule.place}: {rule.says}.", indent=4))
    if not judged.demands:
        lines.append(Words("It asks for nothing that could be reckoned.", indent=4))
    for demand in judged.demands:
        lines.append(Words(demand.text, "-", 4))
    if rule.note:
        lines.append(Words(rule.note, indent=4))
    if rule.status != "ENTERED":
        lines.append(Words(_source_text(rule), indent=4))
    return lines


def _household_lines(report: WellReport) -> list[Block]:
    asked = report.asked
    who = [f"{asked.people} people"] if asked.people is not None else []
    who += [f"{asked.bedrooms} bedrooms"] if asked.bedrooms is not None else []
    lines: list[Block] = [
        Words(
            f"The household ({', '.join(who)}). A day's use is planned for within two hours (Penn State Extension); "
            "day after day only the inflow counts. Open: by the use, or by what is not known, enough or not."
        )
    ]
    rows = [_household_row(h, report) for h in report.households]
    lines.append(Rows(("by", "uses in a day", "within two hours", "day after day"), rows, ("<", ">", "<", "<")))
    sources = sorted(
        {
            f"{h.need.figure.name}: {h.need.figure.source}, grade {h.need.figure.grade}"
            for h in report.households
            if h.need.figure.status != "ENTERED"
        }
    )
    if sources:
        lines.append(Words("; ".join(sources) + "."))
    lines.append(Words(_peak_text(report)))
    if report.never_enough:
        lines.append(
            Words(
                "By at least one figure the inflow of a whole day is less than the household uses: no tank cures that. "
                "Less use, a deeper or a second well, or water brought in would."
            )
        )
    return lines


def _household_row(judged: HouseholdJudged, report: WellReport) -> tuple[str, str, str, str]:
    need = judged.need

    def cell(answer: Answer, short_l: float | None) -> str:
        if answer == "met":
            return "enough"
        lacks = "" if not short_l else f", up to {format_volume(short_l, report.units)}"
        if answer == "not met":
            return f"short{lacks}"
        return f"open{lacks} short" if lacks else "cannot tell"

    return (
        need.figure.name,
        _range(need.low_l, need.high_l, report),
        cell(judged.peak, judged.short_peak_l),
        cell(judged.daily, judged.short_day_l),
    )


def _peak_text(report: WellReport) -> str:
    figures = " and ".join(
        f"{format_flow(p.l_per_min, report.units)} ({p.name}; grade {p.grade})" for p in peak_figures()
    )
    text = f"The most drawn at one time is put at {figures}"
    if report.system.pump is None:
        return text + "; the pump rate is not known."
    return text + f"; the pump gives {format_flow(report.system.pump.l_per_min, report.units)}."


def _storage_lines(report: WellReport, storage: Storage) -> list[Block]:
    units = report.units
    unknown = "" if report.standing_l is not None else ", no standing water counted, since it is not known"
    switch = format_switch(report.system.cut_in_kpag, report.system.cut_out_kpag, units)
    lines: list[Block] = [
        Words(
            f"At worst {format_volume(storage.short_l, units)} are short within the time asked{unknown}. Held in "
            f"pressure tanks (switch {switch}, usual charge), that takes:"
        )
    ]
    rows = [(str(t.count), format_volume(t.volume_l, units), format_volume(t.holds_l, units)) for t in storage.tanks]
    lines.append(Rows(("number", "tank", "each holds"), rows, (">", ">", ">")))
    text = (
        f"or one storage tank with {format_volume(storage.short_l, units)} of usable room and a booster pump, with a "
        "pressure tank of its own, sized for that pump. Pressure tanks are a dear way to store water: for a weak well "
        "the storage tank is the usual remedy (common practice, no source)."
    )
    if storage.refill_s is not None:
        text += f" The well needs {format_time(storage.refill_s)} to fill it again with nothing else drawn."
    return [*lines, Words(text)]
