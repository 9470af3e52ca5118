"""The site file, declared: every field in the order in which it is asked and written, with unit, question and example.

All else is made from it: validation, questions, the page of documentation. A key is the name of the option that it
stands for, without the dashes in front. To add one, add a field here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any, ClassVar

from clicktimer.assessment.causes.observations import AIR_VALVE, check_observation
from clicktimer.site.kinds import Counted, Listed, SiteField, Written, declared, zero_ok
from clicktimer.site.parse import parse_caught, read_choice
from clicktimer.site.tanks import TANK, Tanks
from clicktimer.tank.parse import parse_tank
from clicktimer.units.parse import (
    parse_flow_l_per_min,
    parse_height_m,
    parse_marks_s,
    parse_power_w,
    parse_pressure_kpa,
    parse_switch_kpa,
    parse_time_s,
    parse_units,
    parse_volume_l,
)
from clicktimer.well.parse import parse_bore_m, parse_depth_m, parse_level_m
from clicktimer.well.rules import find_rule, parse_need

WHO, SWITCH, PUMP, WELL, HOUSEHOLD = "Who and where", "Switch", "Pump", "Well", "Household"


@dataclass(frozen=True)
class SiteFile:
    """What a site file may hold."""

    __pydantic_config__: ClassVar[Mapping[str, Any]] = {"extra": "forbid"}

    who: Annotated[str | None, Written(WHO, "Who measured?", "A. Inspector")] = None
    where: Annotated[str | None, Written(WHO, "Which house or well?", "the cottage by the mill")] = None
    client: Annotated[str | None, Written(WHO, "For whom?", "the owner of the cottage")] = None
    date: Annotated[str | None, Written(WHO, "When was this written down?", "2031-05-04")] = None
    notes: Annotated[str | None, Written(WHO, "Anything else worth noting?", "new tank last autumn")] = None
    units: Annotated[str | None, Written(WHO, "Units to write: us or metric?", "us", read=parse_units)] = None
    height: Annotated[
        str | None,
        Written(
            WHO,
            "Height above the sea?",
            "1200 ft",
            read=parse_height_m,
            unit="ft",
            how="look the place up on a map with heights",
        ),
    ] = None
    marks: Annotated[
        str | None,
        Written(WHO, "The two marks for a run, in seconds?", "30/60", read=parse_marks_s, unit="s", asked=False),
    ] = None

    switch: Annotated[
        str | None,
        Written(
            SWITCH,
            "Pressure switch, cut-in/cut-out?",
            "40/60",
            read=parse_switch_kpa,
            unit="psi",
            how="it stands on the switch's label, or on a sticker inside the house; do not open the cover",
        ),
    ] = None
    gauge: Annotated[str | None, Written(SWITCH, "Which gauge was read?", "the one at the tank tee", asked=False)] = (
        None
    )
    gauge_at_clicks: Annotated[
        str | None,
        Written(
            SWITCH,
            "Gauge at the two clicks, cut-in/cut-out?",
            "41/59",
            read=parse_switch_kpa,
            unit="psi",
            how="watch the gauge and note it at the click that starts the pump and at the one that stops it",
        ),
    ] = None
    gauge_settled: Annotated[
        str | None,
        Written(
            SWITCH,
            "Gauge settled: just before cut-in, 10 min after cut-out?",
            "40/57",
            read=parse_switch_kpa,
            unit="psi",
            how="draw slowly down to cut-in; after cut-out use no water for ten minutes, then read",
        ),
    ] = None
    gauge_error: Annotated[
        str | None,
        Written(
            SWITCH, "Error of one reading of that gauge?", "1 psi", read=parse_pressure_kpa, unit="psi", asked=False
        ),
    ] = None

    tank: Annotated[
        tuple[str, ...],
        Tanks(
            TANK,
            "Volume on the tank's label?",
            "33 gal",
            read=parse_tank,
            unit="gal",
            how="read it on the tank's label",
        ),
    ] = ()
    precharge: Annotated[
        str | None,
        Written(
            TANK,
            "Air charge as found, tank drained?",
            "38 psi",
            read=zero_ok(parse_pressure_kpa),
            unit="psi",
            how="with the power off and the tank drained, an air gauge on the tank's air valve",
        ),
    ] = None
    precharge_read: Annotated[str | None, Written(TANK, "When was that read?", "2031-05-04", asked=False)] = None
    air_valve: Annotated[
        str | None,
        Written(
            TANK,
            "Found at the air valve: right, low, water or nothing?",
            "low",
            read=read_choice(*AIR_VALVE),
            how="with the power off and the tank drained, tap the core of the air valve for a moment",
        ),
    ] = None
    relief_valve: Annotated[
        str | None,
        Written(
            TANK,
            "Relief valve: tested, there or none?",
            "there",
            read=read_choice("tested", "there", "none"),
            how="look for a valve with a lever and an open pipe near the tank or the pump",
        ),
    ] = None
    relief_valve_tested: Annotated[str | None, Written(TANK, "When was it tested?", "2030-09-12", asked=False)] = None
    seen: Annotated[
        tuple[str, ...], Listed(TANK, "What was seen, by name?", "tap-goes-dead", read=check_observation, asked=False)
    ] = ()
    not_seen: Annotated[
        tuple[str, ...], Listed(TANK, "Looked for and not seen?", "needle-swings", read=check_observation, asked=False)
    ] = ()

    pump_rate: Annotated[
        str | None,
        Written(
            PUMP,
            "What does the pump give, by its papers?",
            "8 gpm",
            read=parse_flow_l_per_min,
            unit="gpm",
            how="the driller's log or the pump's papers; better, catch the water between stop and start (caught)",
        ),
    ] = None
    pump_rate_from: Annotated[str | None, Written(PUMP, "How is that known?", "driller's log", asked=False)] = None
    caught: Annotated[
        tuple[str, ...],
        Listed(
            PUMP,
            "Water caught between stop and start, and the refill after it?",
            "15 gal in 75 s",
            read=parse_caught,
            unit="gal",
            how="catch one tap's water from the pump's stop to its start, then time the refill",
        ),
    ] = ()
    tap_flow: Annotated[
        str | None,
        Written(
            PUMP,
            "Flow of the tap left running (steady tap)?",
            "2 gpm",
            read=parse_flow_l_per_min,
            unit="gpm",
            how="by bucket and watch",
            asked=False,
        ),
    ] = None
    motor: Annotated[
        str | None,
        Written(
            PUMP,
            "Power of the motor?",
            "3/4 hp",
            read=parse_power_w,
            unit="hp",
            how="it stands on the motor's plate or on the control box",
        ),
    ] = None
    phase: Annotated[
        str | None,
        Written(
            PUMP,
            "Single or three phase?",
            "single",
            read=read_choice("single", "three"),
            how="house supplies are single phase almost always; the control box's plate says it",
        ),
    ] = None
    least_run: Annotated[
        str | None,
        Written(
            PUMP,
            "The motor maker's least run?",
            "1 min",
            read=parse_time_s,
            unit="min",
            how="the motor's manual; the maker's figure wins over any rule",
        ),
    ] = None

    yield_: Annotated[
        str | None,
        Written(
            WELL,
            "What does the well yield?",
            "3 gpm",
            read=parse_flow_l_per_min,
            unit="gpm",
            how="the driller's log, or a yield test",
        ),
    ] = None
    fracture: Annotated[
        tuple[str, ...],
        Listed(WELL, "Yield of each fracture?", "1.5 gpm", read=parse_flow_l_per_min, unit="gpm", asked=False),
    ] = ()
    yield_test: Annotated[str | None, Written(WELL, "File of a yield test?", "yield-test.csv", asked=False)] = None
    bore: Annotated[
        str | None,
        Written(WELL, "Inside diameter of the bore?", "6 in", read=parse_bore_m, unit="in", how="the driller's log"),
    ] = None
    well_depth: Annotated[
        str | None,
        Written(WELL, "Depth of the well?", "250 ft", read=parse_depth_m, unit="ft", how="the driller's log"),
    ] = None
    pump_depth: Annotated[
        str | None,
        Written(WELL, "Depth of the pump?", "200 ft", read=parse_depth_m, unit="ft", how="the pump installer's note"),
    ] = None
    static_level: Annotated[
        str | None,
        Written(
            WELL,
            "Depth of the water at rest?",
            "40 ft",
            read=parse_level_m,
            unit="ft",
            how="the driller's log, or a licensed person with a sounder",
        ),
    ] = None
    margin: Annotated[
        str | None,
        Written(WELL, "Water to be kept over the pump?", "15 ft", read=zero_ok(parse_depth_m), unit="ft", asked=False),
    ] = None
    storage: Annotated[
        str | None,
        Written(
            WELL,
            "Usable room of a storage tank that is there?",
            "500 gal",
            read=parse_volume_l,
            unit="gal",
            asked=False,
        ),
    ] = None
    rule: Annotated[
        tuple[str, ...], Listed(WELL, "Supply rules to hold it against?", "maryland", read=find_rule, asked=False)
    ] = ()
    need: Annotated[
        tuple[str, ...],
        Listed(WELL, "Needs of your own to hold it against?", "1 gpm for 6 h", read=parse_need, asked=False),
    ] = ()
    homes: Annotated[int | None, Counted(WELL, "Homes on this well?", "1", asked=False)] = None

    people: Annotated[int | None, Counted(HOUSEHOLD, "How many people live there?", "4")] = None
    bedrooms: Annotated[int | None, Counted(HOUSEHOLD, "How many bedrooms?", "3")] = None
    per_person: Annotated[
        str | None,
        Written(
            HOUSEHOLD, "Use of one person in a day, if known?", "60 gal", read=parse_volume_l, unit="gal", asked=False
        ),
    ] = None
    use: Annotated[
        tuple[str, ...],
        Listed(
            HOUSEHOLD,
            "Steady flows that matter (irrigation, softener)?",
            "3 gpm",
            read=parse_flow_l_per_min,
            unit="gpm",
        ),
    ] = ()


FIELDS: tuple[SiteField, ...] = declared(SiteFile)


@cache
def field_named(key: str) -> SiteField | None:
    """Return the field of a key (with dashes or underscores), or None."""
    return next((f for f in FIELDS if f.key == key.replace("_", "-")), None)
