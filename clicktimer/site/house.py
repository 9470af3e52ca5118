"""What a site file says of well and household, in; the well's report out, as ``clicktimer well`` would give it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from clicktimer.assessment.options import SystemOptions
from clicktimer.site.fields import FIELDS
from clicktimer.site.values import Site
from clicktimer.units.parse import parse_flow_l_per_min, parse_volume_l
from clicktimer.well.assess import Asked, WellReport, assess_well
from clicktimer.well.description import Well
from clicktimer.well.household import household_needs
from clicktimer.well.parse import parse_bore_m, parse_depth_m, parse_level_m
from clicktimer.well.reading import make_well
from clicktimer.well.rules import find_rule, parse_need
from clicktimer.well.yield_test import YieldTest

OF_THE_WELL = {f.key for f in FIELDS if f.group == "Well"}
OF_THE_PEOPLE = {"people", "bedrooms", "per-person"}
Uses = tuple[tuple[str, float, float], ...]
"""A household's use in a day: by which figure, at the least and at the most, litres."""


def house_values(site: Site) -> dict[str, Any]:
    """Return what a site file says of well and household: what a document tells of these rests on nothing else."""
    return {key: value for key, value in site.values.items() if key in OF_THE_WELL | OF_THE_PEOPLE | {"use"}}


def says_of_the_well(values: Mapping[str, Any]) -> bool:
    """Whether there is anything of the well in them: how many live there is no reason to report on it."""
    return bool(OF_THE_WELL & values.keys())


def day_uses(values: Mapping[str, Any]) -> Uses:
    """What the household uses in a day by the published figures. Raises SettingsError for counts that cannot be."""
    if not {"people", "bedrooms"} & values.keys():
        return ()
    per_person = parse_volume_l(str(values["per-person"])) if "per-person" in values and "people" in values else None
    needs = household_needs(values.get("people"), values.get("bedrooms"), per_person)
    return tuple((need.figure.name, need.low_l, need.high_l) for need in needs)


def steady_uses_l_per_min(values: Mapping[str, Any]) -> tuple[float, ...]:
    """The steady flows that matter in this house, litres per minute. Raises QuantityError."""
    return tuple(parse_flow_l_per_min(str(text)) for text in values.get("use", ()))


def well_of(values: Mapping[str, Any], *, draw_l_per_min: float | None = None) -> tuple[Well, YieldTest | None]:
    """The well that a site file describes, and its yield test; draw_l_per_min: what the pump drew during it.

    Raises SettingsError for what cannot be, InputError for a test that cannot be read.
    """
    return make_well(
        stated_l_per_min=_read(values, "yield", parse_flow_l_per_min),
        fractures_l_per_min=tuple(parse_flow_l_per_min(text) for text in values.get("fracture", ())),
        test_file=values.get("yield-test"),
        bore_m=_read(values, "bore", parse_bore_m),
        well_depth_m=_read(values, "well-depth", parse_depth_m),
        pump_depth_m=_read(values, "pump-depth", parse_depth_m),
        static_level_m=_read(values, "static-level", parse_level_m),
        margin_m=_read(values, "margin", parse_depth_m, zero_ok=True),
        draw_l_per_min=draw_l_per_min,
        origin="site file",
    )


def well_report(values: Mapping[str, Any], described: SystemOptions) -> WellReport:
    """Assess the well by a site file's values. Raises SettingsError for what cannot be, InputError for a bad test."""
    system = described.system
    draw_l_per_min = None if system.pump is None else system.pump.l_per_min
    well, test = well_of(values, draw_l_per_min=draw_l_per_min)
    asked = Asked(
        rules=(*map(find_rule, values.get("rule", ())), *map(parse_need, values.get("need", ()))),
        homes=values.get("homes", 1),
        people=values.get("people"),
        bedrooms=values.get("bedrooms"),
        per_person_l=_read(values, "per-person", parse_volume_l),
        storage_l=_read(values, "storage", parse_volume_l) or 0.0,
    )
    return assess_well(well, system, asked, test=test, units=described.units)


def _read(values: Mapping[str, Any], key: str, parse: Callable[..., float], **more: Any) -> float | None:
    return parse(str(values[key]), **more) if key in values else None
