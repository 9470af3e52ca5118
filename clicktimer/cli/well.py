"""``clicktimer well``: what the well gives, whether that is enough, and what would make up what is short."""

from __future__ import annotations

import json

import click

from clicktimer.cli.failures import MEASURED
from clicktimer.cli.options import SystemOptions, origins_of, system_options
from clicktimer.cli.output import STDOUT, check_targets, emphasis_for, put

WELL_OPTIONS = (
    "yield_text",
    "fracture",
    "yield_test",
    "bore",
    "well_depth",
    "pump_depth",
    "static_level",
    "margin",
)


@click.command("well", short_help="Say what the well gives, and whether it is enough.")
@click.option("--yield", "yield_text", metavar="FLOW", help='What the well yields: "3 gpm".')
@click.option("--fracture", metavar="FLOW", multiple=True, help="Yield of one fracture. Repeat; they are added up.")
@click.option("--yield-test", metavar="FILE", help="A yield test as CSV: times with volumes or water levels.")
@click.option("--bore", metavar="WIDTH", help='Inside diameter of the bore: "6 in" or "152 mm".')
@click.option("--well-depth", metavar="DEPTH", help='From the ground to the bottom: "250 ft".')
@click.option("--pump-depth", metavar="DEPTH", help='From the ground to the pump: "200 ft".')
@click.option("--static-level", metavar="DEPTH", help='From the ground to the water at rest: "40 ft".')
@click.option("--margin", metavar="LENGTH", help="Water kept over the pump. [5 m, 16.4 ft]")
@click.option("--over", metavar="TIME", multiple=True, help='Supply over this time too: "6 h". Repeat.')
@click.option("--people", type=click.IntRange(1, 200), metavar="NUMBER", help="Who live there.")
@click.option("--bedrooms", type=click.IntRange(1, 200), metavar="NUMBER", help="Bedrooms of the house.")
@click.option("--per-person", metavar="VOLUME", help='Use of one in a day: "215 L". [published figures]')
@click.option("--homes", type=click.IntRange(1, 200), default=1, metavar="NUMBER", help="Homes on this well. [1]")
@click.option("--storage", metavar="VOLUME", help='A storage tank that is there: "500 gal" of usable room.')
@click.option("--rule", metavar="NAME", multiple=True, help="Hold the supply against this rule. Repeat.")
@click.option("--need", metavar="TEXT", multiple=True, help='...or against your own: "1 gpm for 6 h". Repeat.')
@click.option("--list-rules", is_flag=True, help="List the rules with source and status, and stop.")
@click.option("--json", "json_target", metavar="FILE|-", help="Write the result as JSON.")
@system_options
def well_command(
    yield_text: str | None,
    fracture: tuple[str, ...],
    yield_test: str | None,
    bore: str | None,
    well_depth: str | None,
    pump_depth: str | None,
    static_level: str | None,
    margin: str | None,
    over: tuple[str, ...],
    people: int | None,
    bedrooms: int | None,
    per_person: str | None,
    homes: int,
    storage: str | None,
    rule: tuple[str, ...],
    need: tuple[str, ...],
    list_rules: bool,
    json_target: str | None,
    system: SystemOptions,
) -> int:
    """Say what the well gives, and whether it is enough.

    Give what is known; what is missing is named with how to get it. Depths are
    measured from the ground. The tank and pump options are those of clicktimer tank.
    """
    from clicktimer.reporting.json.well import well_json
    from clicktimer.reporting.text.well import render_rules, render_well
    from clicktimer.units.parse import parse_flow_l_per_min, parse_time_s, parse_volume_l
    from clicktimer.well.assess import Asked, assess_well
    from clicktimer.well.parse import parse_bore_m, parse_depth_m, parse_level_m
    from clicktimer.well.reading import make_well
    from clicktimer.well.rules import find_rule, parse_need

    if list_rules:
        click.echo(render_rules(), nl=False)
        return MEASURED
    check_targets(json_target, None, () if yield_test is None else (yield_test,))
    well, test = make_well(
        stated_l_per_min=None if yield_text is None else parse_flow_l_per_min(yield_text),
        fractures_l_per_min=tuple(parse_flow_l_per_min(text) for text in fracture),
        test_file=yield_test,
        bore_m=None if bore is None else parse_bore_m(bore),
        well_depth_m=None if well_depth is None else parse_depth_m(well_depth),
        pump_depth_m=None if pump_depth is None else parse_depth_m(pump_depth),
        static_level_m=None if static_level is None else parse_level_m(static_level),
        margin_m=None if margin is None else parse_depth_m(margin, zero_ok=True),
        draw_l_per_min=None if system.system.pump is None else system.system.pump.l_per_min,
        origins={name.removesuffix("_text"): place for name, place in origins_of(WELL_OPTIONS).items()},
    )
    asked = Asked(
        over_s=tuple(parse_time_s(text) for text in over),
        rules=(*map(find_rule, rule), *map(parse_need, need)),
        homes=homes,
        people=people,
        bedrooms=bedrooms,
        per_person_l=None if per_person is None else parse_volume_l(per_person),
        storage_l=0.0 if storage is None else parse_volume_l(storage),
    )
    report = assess_well(well, system.system, asked, test=test, units=system.units)
    if json_target is not None:
        put(json_target, json.dumps(well_json(report), indent=2, ensure_ascii=False, allow_nan=False) + "\n")
    if json_target != STDOUT:
        click.echo(render_well(report, emphasis=emphasis_for()), nl=False)
    return MEASURED
