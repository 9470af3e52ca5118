"""The options that describe the system (switch, charge, tank, pump rate and so on), the same on every command.

Put ``@system_options`` under ``@click.command()``; the function then gets one keyword, ``system``, holding a
``SystemOptions``. ``--site FILE`` gives every option of the command that the file holds its value, also the command's
own; what is typed on the command line overrules it. Where each value came from is noted with it.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any, TypeVar

import click
from click.core import ParameterSource

from clicktimer.assessment.options import SystemOptions
from clicktimer.site.options import (
    NAMES,
    STANDS_FOR,
    describe,
)
from clicktimer.tank.system import Origin

if TYPE_CHECKING:
    from clicktimer.site.values import Site

__all__ = ["SystemOptions", "system_options"]

F = TypeVar("F", bound=Callable[..., Any])
SITE = "site_file"


def _tell_names(ctx: click.Context, _param: click.Parameter, names: tuple[str, ...]) -> tuple[str, ...]:
    """Answer "?" with every name that can be seen and what it means."""
    if "?" in names and not ctx.resilient_parsing:
        from clicktimer.assessment.causes.table import observations
        from clicktimer.reporting.formatting import wrap
        from clicktimer.reporting.messages.catalogue import Messages

        for fact in observations():
            asks = Messages().text(f"fact.{fact.name}.asks")
            click.echo("\n".join(wrap(f"{fact.name}: {asks}", "", "    ")))
        ctx.exit()
    return names


def _use_site(ctx: click.Context, _param: click.Parameter, path: str | None) -> Site | None:
    """Read the site file and offer its values to the command's options (click's own way: default_map)."""
    if path is None or ctx.resilient_parsing:
        return None
    from clicktimer.site.read import read_site

    site = read_site(path)
    offered: dict[str, Any] = dict(ctx.default_map or {})
    for parameter in ctx.command.params:
        for option in parameter.opts:
            key = option.removeprefix("--")
            if isinstance(parameter, click.Option) and option.startswith("--") and key in site.values:
                value = site.values[key]
                many = list(value) if isinstance(value, tuple) else [value]
                offered[str(parameter.name)] = many if parameter.multiple else value
    ctx.default_map = offered
    return site


_OPTIONS = (
    click.option(
        "--site",
        SITE,
        metavar="FILE",
        is_eager=True,
        callback=_use_site,
        help="Site file with what is known of this house. Options overrule it.",
    ),
    click.option("--switch", metavar="IN/OUT", help='Pressure switch, cut-in/cut-out: "40/60" (psi) or "2.8/4.1 bar".'),
    click.option(
        "--precharge", metavar="PRESSURE", help='Air charge of the empty tank: "38 psi". [2 psi below cut-in]'
    ),
    click.option(
        "--tank",
        metavar="TANK",
        multiple=True,
        help='Tank: "33 gal", "125 L", "42 gal plain" (no bladder). Repeat for several.',
    ),
    click.option("--pump-rate", metavar="FLOW", help='What the pump gives: "8 gpm" or "30 L/min".'),
    click.option(
        "--caught",
        metavar="VOLUME",
        multiple=True,
        help='Water caught between stop and start: "15 gal", or "15 gal in 75 s" with its refill. Repeat.',
    ),
    click.option("--tap-flow", metavar="FLOW", help='Flow of the one tap that ran steadily, by bucket: "2 gpm".'),
    click.option("--motor", metavar="POWER", help='Power of the motor: "3/4 hp" or "0.55 kW".'),
    click.option("--phase", type=click.Choice(["single", "three"]), help="Phases of the motor."),
    click.option("--least-run", metavar="TIME", help='Least run by the motor\'s maker: "1 min". It wins.'),
    click.option("--gauge-at-clicks", metavar="IN/OUT", help='Gauge as read at the two clicks: "41/59".'),
    click.option(
        "--gauge-settled",
        metavar="IN/OUT",
        help='Gauge just before cut-in on a slow draw, and 10 min after cut-out: "40/57".',
    ),
    click.option("--gauge-error", metavar="PRESSURE", help="Standard deviation of one reading. [1 psi]"),
    click.option("--relief-valve", type=click.Choice(["tested", "there", "none"]), help="The relief valve as found."),
    click.option(
        "--air-valve",
        type=click.Choice(["right", "low", "water", "nothing"]),
        help="What came at the air valve, tank drained.",
    ),
    click.option(
        "--seen",
        metavar="NAME",
        multiple=True,
        callback=_tell_names,
        help='Something seen, by its name: "tap-goes-dead"; "?" tells them all. Repeat.',
    ),
    click.option(
        "--not-seen",
        metavar="NAME",
        multiple=True,
        callback=_tell_names,
        help="Something looked for and not seen. Repeat.",
    ),
    click.option("--height", metavar="HEIGHT", help='Height above the sea: "1200 ft" or "365 m". [sea level]'),
    click.option("--marks", metavar="A/B", help="The two marks for a run, in seconds. [30/60]"),
    click.option("--units", metavar="us|metric", help="Units to write: us or metric. [us]"),
)


def system_options(command: F) -> F:
    """Add the system's options to a command, which receives them parsed as the keyword ``system``.

    Texts are parsed when the command runs, so a bad one raises QuantityError or SettingsError from inside the
    command's own error handling.
    """

    @functools.wraps(command)
    def wrapper(*args: Any, **kwargs: Any) -> Any:
        site: Site | None = kwargs.pop(SITE)
        origins = origins_of(kwargs)
        for name in (other for n, place in origins.items() if place == "option" for other in STANDS_FOR.get(n, ())):
            if origins.get(name) == "site file" and name in kwargs:
                kwargs[name] = () if isinstance(kwargs[name], tuple) else None
        texts = {name: kwargs.pop(name) for name in NAMES if name in kwargs}
        return command(*args, system=describe(texts, site=site, origins=origins), **kwargs)

    wrapped: Any = wrapper
    for option in reversed(_OPTIONS):
        wrapped = option(wrapped)
    return wrapped  # type: ignore[no-any-return]


def origins_of(names: Iterable[str]) -> dict[str, Origin]:
    """Where each option's value came from, by click's own book-keeping; defaults are left out."""
    context = click.get_current_context()
    places: dict[ParameterSource | None, Origin] = {
        ParameterSource.COMMANDLINE: "option",
        ParameterSource.ENVIRONMENT: "option",
        ParameterSource.DEFAULT_MAP: "site file",
    }
    found = {name: places.get(context.get_parameter_source(name)) for name in names}
    return {name: place for name, place in found.items() if place is not None}
