"""``clicktimer day``: recordings of a day or more in, what the day tells out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from clicktimer.cli.failures import MEASURED, NOT_MEASURED
from clicktimer.cli.options import system_options
from clicktimer.cli.output import STDOUT, check_targets, emphasis_for, picture_kind, put, write_whole
from clicktimer.cli.progress import ProgressBar
from clicktimer.cli.waiting import compiling_is_told
from clicktimer.errors import SettingsError

if TYPE_CHECKING:
    from clicktimer.day.read import DayReading
    from clicktimer.records import Measurement
    from clicktimer.settings import MeasureOptions


@click.command("day", short_help="Say what a day of listening tells of tank, house and leaks.")
@click.argument("recordings", nargs=-1, required=True, metavar="RECORDING...")
@click.option("--started", metavar='"YYYY-MM-DD HH:MM"', help="When the recording began, by the clock on the wall.")
@click.option("--zone", metavar="ZONE", help='Time zone of the wall\'s clock: "America/Halifax".')
@click.option("--nobody", multiple=True, metavar="HH:MM-HH:MM",
              help="Hours in which every tap was shut, by the wall's clock. Repeat.")  # fmt: skip
@click.option("--other-tank", multiple=True, metavar="TANK",
              help='Replay the day through this tank too: "62 gal". Repeat. Needs --tank.')  # fmt: skip
@click.option("--other-charge", metavar="PRESSURE", help="Replay it with this air charge. Needs --tank.")
@click.option("--other-switch", metavar="IN/OUT", help="Replay it with this switch setting. Needs --tank.")
@click.option("--taps-shut", is_flag=True, help="No water was in use: every run counts in full.")
@click.option("--steady-tap", is_flag=True, help="One tap ran steadily all the time, and nothing else.")
@click.option("--pump-at-start", type=click.Choice(["off", "on"]),
              help="Whether the pump was running when the recording began, if you know.")  # fmt: skip
@click.option("--joined", is_flag=True, help="Several recordings are joined in any case; as for measure.")
@click.option("--json", "json_target", metavar="FILE|-", help="Write the result as JSON.")
@click.option("--csv", "csv_target", metavar="FILE|-", help="Write the runs and rests as CSV.")
@click.option("--labels", "labels_target", metavar="OUT", help="Write the clicks as a label file (text).")
@click.option("--corrected", metavar="IN", help="Read the day by this label file: the clicks as you corrected them.")
@click.option("--picture", metavar="FILE", help="Draw the day as FILE.png or FILE.svg.")
@system_options
def day_command(
    recordings: tuple[str, ...],
    started: str | None,
    zone: str | None,
    nobody: tuple[str, ...],
    other_tank: tuple[str, ...],
    other_charge: str | None,
    other_switch: str | None,
    taps_shut: bool,
    steady_tap: bool,
    pump_at_start: str | None,
    joined: bool,
    json_target: str | None,
    csv_target: str | None,
    labels_target: str | None,
    corrected: str | None,
    picture: str | None,
    system: Any,
) -> int:
    """Say what a day of listening tells of tank, house and leaks.

    RECORDING is hours or days of sound from beside the pressure switch, with water
    used as always; several are joined in the order given. It gives the run with no
    water in use without a test, seeping, starts, water, and the same day with other
    tanks. Say --started (and --zone) to have times of day, --pump-rate for gallons.
    """
    from clicktimer.day.measured import read_measured_day
    from clicktimer.settings import MeasureOptions
    from clicktimer.site.others import others_of

    if taps_shut and steady_tap:
        raise SettingsError("--taps-shut and --steady-tap contradict each other; give the one that was so")
    if nobody and started is None:
        raise SettingsError("--nobody needs to know when the recording began: give --started as well")
    check_targets(json_target, csv_target, recordings, labels_target)
    kind = picture_kind(picture, recordings)
    others = others_of(system, other_tank, other_charge, other_switch)
    options = MeasureOptions(
        taps="shut" if taps_shut else "steady" if steady_tap else None,
        pump_at_start="on" if pump_at_start == "on" else "off" if pump_at_start == "off" else None,
        marks_s=system.marks_s,
        started=started,
        joined=len(recordings) > 1 or joined,
        system=system,
    )
    m = _measured(recordings, options, labels_target, corrected)
    m, reading = read_measured_day(m, options, zone=zone, nobody=nobody, others=others)
    _tell(m, reading, system.units, json_target, csv_target)
    if picture is not None:
        from clicktimer.pictures import day_sheet

        sheet = day_sheet(reading, m.source.name, units=system.units, marks_s=options.marks_s)
        write_whole(Path(picture), sheet.file_bytes(kind))
    return MEASURED if m.run is not None else NOT_MEASURED


def _measured(
    recordings: tuple[str, ...], options: MeasureOptions, labels_target: str | None, corrected: str | None
) -> Measurement:
    from clicktimer.pipeline import corrected as corrected_by
    from clicktimer.pipeline import measure_recording

    with compiling_is_told(), ProgressBar(Path(recordings[0]).name) as bar:
        m = measure_recording(list(recordings) if len(recordings) > 1 else recordings[0], options=options, progress=bar)
    if corrected is not None:
        from clicktimer.labels import read_labels

        name, labels = read_labels(corrected)
        m = corrected_by(m, labels, options, name=name)
    if labels_target is not None:
        from clicktimer.labels import label_text

        put(labels_target, label_text((*m.clicks, *m.edges)))
    return m


def _tell(m: Measurement, reading: DayReading, units: Any, json_target: str | None, csv_target: str | None) -> None:
    if STDOUT not in (json_target, csv_target):
        from clicktimer.report.causes import causes_lines
        from clicktimer.report.day_text import render_day

        emphasis = emphasis_for()
        causes = causes_lines(m.causes)
        text = render_day(reading, m.source.name, units=units, emphasis=emphasis, causes=causes)
        click.echo(text, nl=False)
    if json_target is not None:
        from clicktimer import __version__
        from clicktimer.report.day_json import reading_json
        from clicktimer.report.machine import document_text

        put(json_target, document_text(reading_json(m, reading, program_version=__version__)))
    if csv_target is not None:
        from clicktimer.report.tables import cycles_csv

        put(csv_target, cycles_csv([m]))
