"""``clicktimer tank``: size the pressure tank, and judge the one that is there by a run already timed."""

from __future__ import annotations

import json
from typing import Any

import click

from clicktimer.cli.failures import MEASURED
from clicktimer.cli.options import SystemOptions, system_options
from clicktimer.cli.output import STDOUT, check_targets, emphasis_for, put


@click.command("tank", short_help="Size the pressure tank, without a recording.")
@click.option("--run", "run_text", metavar="TIME", help='A run already timed with every tap shut: "38 s".')
@click.option("--use", "uses", metavar="FLOW", multiple=True, help='A steady use to reckon with: "3 gpm". Repeat.')
@click.option("--prices", metavar="FILE", help="Your price list: CSV with name,volume,largest_acceptance,price.")
@click.option("--picture", metavar="FILE", help="Draw run against tank size: .png, .svg or .pdf.")
@click.option("--json", "json_target", metavar="FILE|-", help="Write the result as JSON.")
@system_options
def tank_command(
    run_text: str | None,
    uses: tuple[str, ...],
    prices: str | None,
    picture: str | None,
    json_target: str | None,
    system: SystemOptions,
) -> int:
    """Size the pressure tank.

    Give the pump rate to have a size chosen; give the tank that is there and the run
    that was timed (cut-in to cut-out, every tap shut) to have it judged.
    """
    from clicktimer.quantities import parse_flow_l_per_min, parse_time_s
    from clicktimer.report import tank_more
    from clicktimer.report.tank import render_tank, tank_json
    from clicktimer.tank.handtimed import run_timed_by_hand
    from clicktimer.tank.prices import compare_prices, read_prices
    from clicktimer.tank.sizing import size_tank, under_use

    check_targets(json_target, None, [] if prices is None else [prices])
    run = None if run_text is None else run_timed_by_hand(parse_time_s(run_text))
    sizing = size_tank(system.system, run, system.units)
    document: dict[str, Any] = tank_json(sizing)
    more: list[tuple[str, list[str]]] = []
    if uses:
        under = under_use(sizing, tuple(parse_flow_l_per_min(text) for text in uses))
        more.append(("Under steady use", tank_more.use_lines(under, sizing)))
        document["use"] = tank_more.use_json(under)
    compared = None
    if prices is not None:
        compared = compare_prices(read_prices(prices), system.system, sizing.stock_charge_kpag, sizing.target_s)
        more.append(("Price list", tank_more.price_lines(compared, sizing)))
        document["prices"] = tank_more.prices_json(compared)
    if picture is not None:
        tank_more.save_picture(picture, tank_more.sizing_figure(sizing, compared))
    if json_target is not None:
        put(json_target, json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False) + "\n")
    if json_target != STDOUT:
        click.echo(render_tank(sizing, more, emphasis=emphasis_for()), nl=False)
    return MEASURED
