"""``clicktimer demo``: an invented household is recorded by the simulator and measured like any recording."""

from __future__ import annotations

import itertools
from pathlib import Path

import click

from clicktimer.cli.failures import MEASURED, NOT_MEASURED
from clicktimer.cli.measure import measure_all
from clicktimer.cli.output import quoted
from clicktimer.errors import SettingsError
from clicktimer.reporting.formatting import wrap
from clicktimer.site.options import parse_system_options

DEMO_NAME = "clicktimer-demo"
DEMO_SEED = 20  # any seed does; a fixed one lets two people talk about the same recording


@click.command("demo", short_help="Make a recording of an invented household and measure it.")
@click.option("--into", metavar="FOLDER", default=".", show_default="this folder", help="Where to keep the recording.")
@click.option(
    "--seed",
    metavar="NUMBER",
    type=click.IntRange(0, 2**31 - 1),
    default=DEMO_SEED,
    show_default=True,
    help="Another number makes another recording.",
)
def demo_command(into: str, seed: int) -> int:
    """Make a recording of an invented household and measure it.

    The sound is synthetic: a simulated tank, pump and switch whose true times are
    known. The recording is kept, so that you can listen to it.
    """
    folder = Path(into)
    if not folder.is_dir():
        raise SettingsError(f"--into {into}: there is no such folder; make it first, or leave the option out")
    from clicktimer.assessment.options import MeasureOptions
    from clicktimer.simulator.demo import demo_recording

    path = free_name(folder)
    try:
        _, facts = demo_recording(path, seed)
    except OSError as error:
        raise SettingsError(f"cannot write {path}: {error.strerror}; give another folder with --into") from None
    shown = path.name if into == "." else str(path)
    tank, rate = f"{facts.tank_gal:g} gal", f"{facts.pump_gpm:g} gpm"
    system = parse_system_options(tank=(tank,), pump_rate=rate)  # its switch and air charge are the usual ones
    for line in wrap(f"Made {shown}: {facts.household}. The sound is synthetic. Measuring it, as you would with:"):
        click.echo(line)
    click.echo(f'  clicktimer measure {quoted(shown)} --taps-shut --tank "{tank}" --pump-rate "{rate}"\n')
    options = MeasureOptions(taps="shut", marks_s=system.marks_s, system=system)
    code = measure_all([(str(path),)], options, json_target=None, csv_target=None)
    if code not in (MEASURED, NOT_MEASURED):
        return code
    truth = ", ".join(f"{run_s:.2f} s" for run_s in facts.runs_s)
    for line in (
        "",
        *wrap(f"For comparison, the simulator's true runs: {truth}. They are from its physics, not from the sound."),
        "",
        "A recording of your own:",
        "  clicktimer measure YOUR-RECORDING --taps-shut",
        "  (--steady-tap if one tap ran all the time; neither if you do not know)",
    ):
        click.echo(line)
    return code


def free_name(folder: Path) -> Path:
    """Return a name in ``folder`` that no file has yet."""
    for number in itertools.count(1):
        path = folder / (f"{DEMO_NAME}.wav" if number == 1 else f"{DEMO_NAME}-{number}.wav")
        if not path.exists():
            return path
    raise AssertionError("count never ends")
