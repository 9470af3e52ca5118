"""``clicktimer tank``: size the pressure tank, and judge the one that is there by a run already timed."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import click

from clicktimer.cli.failures import MEASURED
from clicktimer.cli.options import SystemOptions, system_options
from clicktimer.cli.output import STDOUT, check_targets, emphasis_for, put
from clicktimer.errors import SettingsError

if TYPE_CHECKING:
    from clicktimer.records import Cycle, RunTime

Section = tuple[str, list[str]]


@click.command("tank", short_help="Size the pressure tank, without a recording.")
@click.option("--run", "run_text", metavar="TIME", help='A run already timed with every tap shut: "38 s".')
@click.option("--rest", "rest_text", metavar="TIME", help="The rest after it, if one tap ran steadily through both.")
@click.option("--use", "uses", metavar="FLOW", multiple=True, help='A steady use to reckon with: "3 gpm". Repeat.')
@click.option("--people", type=click.IntRange(1, 200), metavar="NUMBER", help="Who live there: most starts in a day.")
@click.option("--bedrooms", type=click.IntRange(1, 200), metavar="NUMBER", help="Bedrooms, likewise.")
@click.option("--per-person", metavar="VOLUME", help='Use of one in a day: "60 gal". [published figures]')
@click.option("--prices", metavar="FILE", help="Your price list: CSV with name,volume,largest_acceptance,price.")
@click.option("--picture", metavar="FILE", help="Draw run against tank size: .png, .svg or .pdf.")
@click.option("--json", "json_target", metavar="FILE|-", help="Write the result as JSON.")
@system_options
def tank_command(
    run_text: str | None,
    rest_text: str | None,
    uses: tuple[str, ...],
    people: int | None,
    bedrooms: int | None,
    per_person: str | None,
    prices: str | None,
    picture: str | None,
    json_target: str | None,
    system: SystemOptions,
) -> int:
    """Size the pressure tank.

    Give the pump rate to have a size chosen; give the tank that is there and the run
    that was timed (cut-in to cut-out, every tap shut) to have it judged and, if it is
    short, the likely causes ranked.
    """
    from clicktimer.assessment.causes.ranking import likely_causes
    from clicktimer.reporting.json.tank import tank_json
    from clicktimer.reporting.messages.catalogue import Messages
    from clicktimer.reporting.text import tank_more
    from clicktimer.reporting.text.causes import causes_json, causes_lines, cautions_shown
    from clicktimer.reporting.text.day import day_json, day_lines
    from clicktimer.reporting.text.tank import render_tank
    from clicktimer.tank.prices import compare_prices, read_prices
    from clicktimer.tank.sizing import size_tank, under_use
    from clicktimer.tank.starts_per_day import day_starts
    from clicktimer.units.parse import parse_flow_l_per_min, parse_volume_l
    from clicktimer.well.household import household_needs

    check_targets(json_target, None, [] if prices is None else [prices])
    run, cycles = _timed(run_text, rest_text)
    sizing = size_tank(system.system, run, system.units, cycles)
    causes = likely_causes(None, sizing, system.found)
    document: dict[str, Any] = tank_json(sizing) | {"causes": causes_json(causes)}
    more: list[Section] = []
    if lines := causes_lines(causes):
        more.append(("Causes", lines))
    if uses:
        under = under_use(sizing, tuple(parse_flow_l_per_min(text) for text in uses))
        more.append(("Under steady use", tank_more.use_lines(under, sizing)))
        document["use"] = tank_more.use_json(under)
    needs = household_needs(people, bedrooms, None if per_person is None else parse_volume_l(per_person))
    day = day_starts(sizing, [(need.figure.name, need.low_l, need.high_l) for need in needs])
    if day is not None:
        more.append(("Starts", day_lines(day, sizing.units)))
        document["starts"] = day_json(day, Messages(units=sizing.units))
    compared = None
    if prices is not None:
        compared = compare_prices(read_prices(prices), sizing.system, sizing.stock_charge_kpag, sizing.target_s)
        more.append(("Price list", tank_more.price_lines(compared, sizing)))
        document["prices"] = tank_more.prices_json(compared)
    if picture is not None:
        tank_more.save_picture(picture, tank_more.sizing_figure(sizing, compared))
    if json_target is not None:
        put(json_target, json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False) + "\n")
    if json_target != STDOUT:
        text = render_tank(sizing, more, emphasis=emphasis_for(), cautioned=cautions_shown(causes))
        click.echo(text, nl=False)
    return MEASURED


def _timed(run_text: str | None, rest_text: str | None) -> tuple[RunTime | None, tuple[Cycle, ...]]:
    """The run with no water in use, and the cycle it comes from where a tap ran steadily."""
    from clicktimer.records import Cycle
    from clicktimer.tank.stopwatch import run_timed_by_hand, steady_timed_by_hand
    from clicktimer.units.parse import parse_time_s

    if run_text is None:
        if rest_text is not None:
            raise SettingsError("--rest needs the run before it: give --run as well")
        return None, ()
    run_s = parse_time_s(run_text)
    if rest_text is None:
        return run_timed_by_hand(run_s), ()
    rest_s = parse_time_s(rest_text)
    return steady_timed_by_hand(run_s, rest_s), (Cycle(0.0, run_s, run_s, None, None, rest_s, True),)
