"""The whole of the well: from what is known to supply, rules, household, storage, and what is missing.

In: a Well, a System (for pump and pressure tanks), and what is asked. Out: a WellReport, which every report is written
from.
"""

from __future__ import annotations

from dataclasses import dataclass

from clicktimer.tank.options import tanks_row
from clicktimer.tank.system import System
from clicktimer.units.format import UnitSystem, format_flow
from clicktimer.well.description import Well, doubts
from clicktimer.well.household import DAY_S, PEAK_S, household_needs
from clicktimer.well.rules import Rule
from clicktimer.well.storage import Storage, storage_for
from clicktimer.well.supply import Supply, drawn_down_full_s, drawn_down_growing_s, standing_water_l
from clicktimer.well.supply_check import HouseholdJudged, RuleJudged, SupplySide, judge_household, judge_rule
from clicktimer.well.yield_test import YieldTest


@dataclass(frozen=True, slots=True)
class Asked:
    """What the user wants to know. over_s: times for the supply, seconds; two hours and a day are always there.

    rules: chosen or entered. homes, people, bedrooms: counts. per_person_l: litres a day, None for published figures.
    storage_l: a storage tank that is there, litres.
    """

    over_s: tuple[float, ...] = ()
    rules: tuple[Rule, ...] = ()
    homes: int = 1
    people: int | None = None
    bedrooms: int | None = None
    per_person_l: float | None = None
    storage_l: float = 0.0


@dataclass(frozen=True, slots=True)
class WellReport:
    """All that can be said of the well. Litres, litres per minute, seconds.

    standing_l: usable water in the bore, None unknown. supplies: over each time asked. drawn_down_s: (soonest, latest)
    until the pump has drawn the standing water, infinite where it may never; None unknown. rules, households: judged.
    storage: for the largest shortfall that storage can cure, None where none. never_enough: by at least one figure the
    inflow of a whole day is less than the household uses, which no storage cures. test: the yield test, if there was
    one.
    """

    well: Well
    system: System
    asked: Asked
    units: UnitSystem
    side: SupplySide
    test: YieldTest | None
    standing_l: float | None
    supplies: tuple[Supply, ...]
    drawn_down_s: tuple[float, float] | None
    rules: tuple[RuleJudged, ...]
    households: tuple[HouseholdJudged, ...]
    storage: Storage | None
    never_enough: bool
    notes: tuple[str, ...]
    missing: tuple[Missing, ...]


@dataclass(frozen=True, slots=True)
class Missing:
    """One measurement that would let more be said: what it is and how to get it, in plain words."""

    what: str
    how: str


PUMP_RATE_HOW = (
    "just after the pump stops, with nothing else in use, catch the water of one tap until the pump starts, shut "
    "the tap "
    "and time the run: pump rate = water caught / run. Leave the first try out. Or read the pump's papers "
    "(--pump-rate)"
)
YIELD_HOW = (
    "read it in the driller's log or the state's well record (--yield, or --fracture for each), or have a yield test "
    "run and note times with volumes or levels (--yield-test)"
)
BORE_HOW = "the inside diameter of the casing or the hole, from the driller's log (--bore)"
PUMP_DEPTH_HOW = "from the pump installer's papers or the driller's log (--pump-depth)"
STATIC_HOW = (
    "from the driller's log, or sounded by a licensed person after the well has rested some hours (--static-level)"
)
HOUSE_HOW = "count who lives there, or the bedrooms (--people, --bedrooms)"
WELL_DEPTH_HOW = "from the driller's log; then the pump's depth can be checked against it (--well-depth)"


def assess_well(
    well: Well,
    system: System,
    asked: Asked | None = None,
    *,
    test: YieldTest | None = None,
    units: UnitSystem = "us",
) -> WellReport:
    """Say all that can be said of a well.

    Parameters
    ----------
    well : what is known; its yield must already be that of the test where there was one.
    system : pump rate, switch and tanks. asked : times, rules, household. test : kept for the report.
    units : how the sentences write numbers.

    Raises
    ------
    SettingsError : what cannot be, or a rule that lacks a count or a depth.
    """
    asked = Asked() if asked is None else asked
    stands = _standing(well)
    rates = None if well.water_yield is None else (well.water_yield.low_l_per_min, well.water_yield.high_l_per_min)
    draw = None if system.pump is None else system.pump.l_per_min
    tank_l = tanks_row(system).drawdown_l if system.tanks else 0.0
    side = SupplySide(rates, stands, draw, tank_l, asked.storage_l)
    times = sorted({PEAK_S, DAY_S, *asked.over_s})
    rules = tuple(
        judge_rule(rule, side, homes=asked.homes, bedrooms=asked.bedrooms, well_depth_m=well.well_depth_m, units=units)
        for rule in asked.rules
    )
    needs = household_needs(asked.people, asked.bedrooms, asked.per_person_l)
    houses = tuple(judge_household(need, side) for need in needs)
    short = max([_short(rules), *(h.short_peak_l or 0.0 for h in houses)])
    return WellReport(
        well=well,
        system=system,
        asked=asked,
        units=units,
        side=side,
        test=test,
        standing_l=stands,
        supplies=tuple(s for s in (side.over(t) for t in times) if s is not None),
        drawn_down_s=_drawn_down(stands, rates, draw),
        rules=rules,
        households=houses,
        storage=storage_for(short, system, None if rates is None else rates[0]) if short > 0 else None,
        never_enough=any(h.daily == "not met" for h in houses),
        notes=_notes(well, system, units),
        missing=_missing(well, system, asked),
    )


def _standing(well: Well) -> float | None:
    if well.bore_m is None or well.pump_depth_m is None or well.static_level_m is None:
        return None
    return standing_water_l(well.bore_m, well.pump_depth_m, well.static_level_m, well.margin_m)


def _short(rules: tuple[RuleJudged, ...]) -> float:
    """The largest shortfall of water by a rule that storage would cure, litres."""
    return max((d.short_l or 0.0 for r in rules for d in r.demands if d.demand.storage_l is None), default=0.0)


def _drawn_down(
    stands: float | None, rates: tuple[float, float] | None, draw: float | None
) -> tuple[float, float] | None:
    if stands is None or rates is None or draw is None:
        return None
    return drawn_down_growing_s(stands, rates[0], draw), drawn_down_full_s(stands, rates[1], draw)


def _notes(well: Well, system: System, units: UnitSystem) -> tuple[str, ...]:
    pump = system.pump
    notes = list(doubts(well, None if pump is None else pump.l_per_min, units))
    found = well.water_yield
    if found is not None and not found.measured:
        how = "the sum of the fractures' yields" if found.how == "sum of fractures" else "stated"
        notes.append(
            f"The yield is {how}, not measured: how far off it is cannot be told. Yields fall over years and in dry "
            "seasons (common practice, no source)."
        )
    if pump is not None and pump.sd_l_per_min is None:
        notes.append(f"The pump rate ({format_flow(pump.l_per_min, units)}) is stated; deeper water makes it less.")
    return tuple(notes)


def _missing(well: Well, system: System, asked: Asked) -> tuple[Missing, ...]:
    wanted = (
        (well.water_yield is None, "the yield", YIELD_HOW),
        (well.bore_m is None, "the bore", BORE_HOW),
        (well.pump_depth_m is None, "the depth of the pump", PUMP_DEPTH_HOW),
        (well.static_level_m is None, "the static level", STATIC_HOW),
        (well.well_depth_m is None, "the depth of the well", WELL_DEPTH_HOW),
        (system.pump is None, "the pump rate", PUMP_RATE_HOW),
        (asked.people is None and asked.bedrooms is None, "who uses the water", HOUSE_HOW),
    )
    return tuple(Missing(what, how) for lacks, what, how in wanted if lacks)
