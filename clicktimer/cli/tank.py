"""``clicktimer tank``: size the pressure tank, and judge the one that is there by a run already timed."""

from __future__ import annotations

import json

import click

from clicktimer.cli.failures import MEASURED
from clicktimer.cli.options import SystemOptions, system_options
from clicktimer.cli.output import STDOUT, check_targets, emphasis_for, put


@click.command("tank", short_help="Size the pressure tank, without a recording.")
@click.option("--run", "run_text", metavar="TIME", help='A run already timed with every tap shut: "38 s".')
@click.option("--json", "json_target", metavar="FILE|-", help="Write the result as JSON.")
@system_options
def tank_command(run_text: str | None, json_target: str | None, system: SystemOptions) -> int:
    """Size the pressure tank.

    Give the pump rate to have a size chosen; give the tank that is there and the run
    that was timed (cut-in to cut-out, every tap shut) to have it judged.
    """
    from clicktimer.quantities import parse_time_s
    from clicktimer.report.tank import render_tank, tank_json
    from clicktimer.tank.handtimed import run_timed_by_hand
    from clicktimer.tank.sizing import size_tank

    check_targets(json_target, None, ())
    run = None if run_text is None else run_timed_by_hand(parse_time_s(run_text))
    sizing = size_tank(system.system, run, system.units)
    if json_target is not None:
        put(json_target, json.dumps(tank_json(sizing), indent=2, ensure_ascii=False, allow_nan=False) + "\n")
    if json_target != STDOUT:
        click.echo(render_tank(sizing, emphasis=emphasis_for()), nl=False)
    return MEASURED
