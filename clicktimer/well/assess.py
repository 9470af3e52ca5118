"""The whole of the well: from what is known to supply, rules, household, storage, and what is missing.

In: a Well, a System (for pump and pressure tanks), and what is asked. Out: a WellReport, which every report is written
from.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from clicktimer.records import Reason
from clicktimer.tank.options import tanks_row
from clicktimer.tank.system import System
from clicktimer.units.format import UnitSystem
from clicktimer.well.description import Well, unusual_values
from clicktimer.well.household import DAY_S, PEAK_S, household_needs
from clicktimer.well.rules import Rule
from clicktimer.well.storage import Storage, storage_for
from clicktimer.well.supply import Supply, drawn_down_full_s, drawn_down_growing_s, standing_water_l
from clicktimer.well.supply_check import HouseholdJudged, RuleJudged, SupplySide, judge_household, judge_rule
from clicktimer.well.yield_test import YieldTest

MissingValue = Literal["yield", "bore", "pump-depth", "static-level", "well-depth", "pump-rate", "users"]
"""What is not known and would let more be said; the catalogue says what it is and how to get it."""


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
    notes: tuple[Reason, ...]
    missing: tuple[MissingValue, ...]


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
    well : Well
        What is known (metres, L/min); its yield must already be that of the test where there was one.
    system : System
        Pump rate (L/min), switch (kPa gauge) and tanks (litres).
    asked : Asked, optional
        Times (seconds), rules, household.
    test : YieldTest, optional
        Kept for the report.
    units : {"us", "metric"}
        The units in which the reports are written; no figure depends on it.

    Returns
    -------
    WellReport
        Litres, litres per minute, seconds.

    Raises
    ------
    SettingsError
        For what cannot be, or a rule that lacks a count or a depth.
    """
    asked = Asked() if asked is None else asked
    stands = _standing(well)
    rates = None if well.water_yield is None else (well.water_yield.low_l_per_min, well.water_yield.high_l_per_min)
    draw = None if system.pump is None else system.pump.l_per_min
    tank_l = tanks_row(system).drawdown_l if system.tanks else 0.0
    side = SupplySide(rates, stands, draw, tank_l, asked.storage_l)
    times = sorted({PEAK_S, DAY_S, *asked.over_s})
    rules = tuple(
        judge_rule(rule, side, homes=asked.homes, bedrooms=asked.bedrooms, well_depth_m=well.well_depth_m)
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
        notes=_notes(well, system),
        missing=_missing(well, system, asked),
    )


def _standing(well: Well) -> float | None:
    if well.bore_m is None or well.pump_depth_m is None or well.static_level_m is None:
        return None
    # A flowing well's water above the ground is in no bore.
    return standing_water_l(well.bore_m, well.pump_depth_m, max(well.static_level_m, 0.0), well.margin_m)


def _short(rules: tuple[RuleJudged, ...]) -> float:
    """The largest shortfall of water by a rule that storage would cure, litres."""
    return max((d.short_l or 0.0 for r in rules for d in r.demands if d.demand.storage_l is None), default=0.0)


def _drawn_down(
    stands: float | None, rates: tuple[float, float] | None, draw: float | None
) -> tuple[float, float] | None:
    if stands is None or rates is None or draw is None:
        return None
    return drawn_down_growing_s(stands, rates[0], draw), drawn_down_full_s(stands, rates[1], draw)


def _notes(well: Well, system: System) -> tuple[Reason, ...]:
    pump = system.pump
    notes = list(unusual_values(well, None if pump is None else pump.l_per_min))
    found = well.water_yield
    if found is not None and not found.measured:
        notes.append(Reason("well.yield-summed" if found.how == "sum of fractures" else "well.yield-stated"))
    if pump is not None and pump.sd_l_per_min is None:
        notes.append(Reason("well.pump-rate-stated", pump_l_per_min=pump.l_per_min))
    return tuple(notes)


def _missing(well: Well, system: System, asked: Asked) -> tuple[MissingValue, ...]:
    wanted: tuple[tuple[bool, MissingValue], ...] = (
        (well.water_yield is None, "yield"),
        (well.bore_m is None, "bore"),
        (well.pump_depth_m is None, "pump-depth"),
        (well.static_level_m is None, "static-level"),
        (well.well_depth_m is None, "well-depth"),
        (system.pump is None, "pump-rate"),
        (asked.people is None and asked.bedrooms is None, "users"),
    )
    return tuple(name for lacks, name in wanted if lacks)
