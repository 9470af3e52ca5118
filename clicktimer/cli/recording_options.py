"""The options that say how a recording was made and what else to write of it, the same on measure, day and report."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

from clicktimer.errors import SettingsError
from clicktimer.settings import PumpState, Taps

F = TypeVar("F", bound=Callable[..., Any])

_RECORDING = (
    click.option("--taps-shut", is_flag=True, help="No water was in use: every run counts in full."),
    click.option("--steady-tap", is_flag=True, help="One tap ran steadily all the time, and nothing else."),
    click.option(
        "--pump-at-start",
        type=click.Choice(["off", "on"]),
        help="Whether the pump was running when the recording began, if you know.",
    ),
    click.option("--started", metavar='"YYYY-MM-DD HH:MM"', help="When the recording began, by the clock on the wall."),
    click.option("--joined", is_flag=True, help="The recordings are parts of one, in this order."),
    click.option("--json", "json_target", metavar="FILE|-", help="Write the result as JSON; several give a line each."),
    click.option("--csv", "csv_target", metavar="FILE|-", help="Write the runs and rests as CSV."),
    click.option(
        "--labels",
        "labels_target",
        metavar="OUT",
        help="Write the clicks as a label file (text) that audio editors open.",
    ),
    click.option("--corrected", metavar="IN", help="Measure by this label file: the clicks as you corrected them."),
)

_DAY = (
    click.option("--zone", metavar="ZONE", help='Time zone of the wall\'s clock: "America/Halifax".'),
    click.option(
        "--nobody",
        multiple=True,
        metavar="HH:MM-HH:MM",
        help="Hours in which every tap was shut, by the wall's clock. Repeat.",
    ),
    click.option(
        "--other-tank",
        multiple=True,
        metavar="TANK",
        help='Replay the day through this tank too: "62 gal". Repeat. Needs --tank.',
    ),
    click.option("--other-charge", metavar="PRESSURE", help="Replay it with this air charge. Needs --tank."),
    click.option("--other-switch", metavar="IN/OUT", help="Replay it with this switch setting. Needs --tank."),
)

REPORT_OPTION = click.option(
    "--report",
    "report_target",
    metavar="FILE",
    help="Write a document for the client: FILE.html or FILE.pdf (clicktimer report).",
)

DECIMAL_OPTION = click.option(
    "--decimal",
    type=click.Choice(["point", "comma"]),
    default="point",
    help="How numbers are written in the document: 1.5 or 1,5.",
)


def recording_options(command: F) -> F:
    """Add what is said of a recording: taps_shut, steady_tap, pump_at_start, started, joined, and the targets."""
    return _with(_RECORDING, command)


def day_options(command: F) -> F:
    """Add what is asked of a day: zone, nobody, other_tank, other_charge, other_switch."""
    return _with(_DAY, command)


def _with(options: tuple[Callable[[Any], Any], ...], command: F) -> F:
    wrapped: Any = command
    for option in reversed(options):
        wrapped = option(wrapped)
    return wrapped  # type: ignore[no-any-return]


def taps_said(taps_shut: bool, steady_tap: bool) -> Taps | None:
    """What was said of the taps. Raises SettingsError for both at once."""
    if taps_shut and steady_tap:
        raise SettingsError("--taps-shut and --steady-tap contradict each other; give the one that was so")
    return "shut" if taps_shut else "steady" if steady_tap else None


def pump_said(pump_at_start: str | None) -> PumpState | None:
    """What was said of the pump at the start."""
    return "on" if pump_at_start == "on" else "off" if pump_at_start == "off" else None
