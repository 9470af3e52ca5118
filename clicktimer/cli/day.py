"""``clicktimer day``: recordings of a day or more in, what the day tells out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from clicktimer.cli.failures import MEASURED, NOT_MEASURED
from clicktimer.cli.options import system_options
from clicktimer.cli.output import STDOUT, check_targets, emphasis_for, picture_kind, put, write_whole
from clicktimer.cli.recording_options import (
    DECIMAL_OPTION,
    REPORT_OPTION,
    day_options,
    pump_said,
    recording_options,
    taps_said,
)
from clicktimer.cli.reporting import (
    check_report_target,
    house_of,
    labels_read,
    presented_of,
    site_given,
    watched,
    write_report,
)
from clicktimer.errors import SettingsError

if TYPE_CHECKING:
    from clicktimer.assessment.measurement import Measurement
    from clicktimer.day.analysis import DayReading


@click.command("day", short_help="Say what a day of listening tells of tank, house and leaks.")
@click.argument("recordings", nargs=-1, required=True, metavar="RECORDING...")
@recording_options
@day_options
@click.option("--picture", metavar="FILE", help="Draw the day as FILE.png or FILE.svg.")
@REPORT_OPTION
@DECIMAL_OPTION
@click.option("--no-prove", is_flag=True, help="Leave the proof by added clicks out of the document.")
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
    report_target: str | None,
    decimal: Any,
    no_prove: bool,
    system: Any,
) -> int:
    """Say what a day of listening tells of tank, house and leaks.

    RECORDING is hours or days of sound from beside the pressure switch, with water
    used as always; several are joined in the order given. It gives the run with no
    water in use without a test, seeping, starts, water, and the same day with other
    tanks. Say --started (and --zone) to have times of day, --pump-rate for gallons.
    """
    from zoneinfo import available_timezones

    from clicktimer.cycles.corrections import label_text
    from clicktimer.reporting.document.remeasure import Asked, as_listened, measure_asked
    from clicktimer.site.others import others_of
    from clicktimer.streaming.finalize import zone_of_listening

    taps = taps_said(taps_shut, steady_tap)
    listened_in = zone_of_listening(recordings) if started is None else None
    if zone is None and listened_in in available_timezones():
        zone = listened_in
    if nobody and started is None and listened_in is None:
        raise SettingsError("--nobody needs to know when the recording began: give --started as well")
    check_targets(json_target, csv_target, recordings, labels_target)
    check_report_target("--report", report_target, recordings, (json_target, csv_target, labels_target, picture))
    kind = picture_kind(picture, recordings)
    asked = Asked(
        kind="day",
        taps=taps,
        pump_at_start=pump_said(pump_at_start),
        started=started,
        joined=len(recordings) > 1 or joined,
        given=system.given,
        origins=dict(system.origins),
        site=system.site,
        house=house_of(site_given()),
        labels=labels_read(corrected),
        prove=report_target is not None and not no_prove,
        zone=zone,
        nobody=nobody,
        other_tank=other_tank,
        other_charge=other_charge,
        other_switch=other_switch,
    )
    asked = as_listened(asked, recordings)
    system = asked.system
    others_of(system, other_tank, other_charge, other_switch)  # what cannot be is told before anything is measured
    result = measure_asked(asked, recordings, watched(Path(recordings[0]).name, prove_told=asked.prove))
    m, reading = result.measured, result.reading
    if labels_target is not None:
        put(labels_target, label_text((*m.clicks, *m.edges)))
    if reading is None:
        raise TypeError("a day without a reading")
    _write(m, reading, system.units, json_target, csv_target)
    if picture is not None:
        from clicktimer.reporting.figures import day_sheet

        sheet = day_sheet(reading, m.source.name, units=system.units)
        write_whole(Path(picture), sheet.file_bytes(kind))
    if report_target is not None:
        write_report(report_target, result, asked, presented_of(site_given(), decimal=decimal), recordings)
    return MEASURED if m.run is not None else NOT_MEASURED


def _write(m: Measurement, reading: DayReading, units: Any, json_target: str | None, csv_target: str | None) -> None:
    if STDOUT not in (json_target, csv_target):
        from clicktimer.reporting.text.causes import causes_lines
        from clicktimer.reporting.text.day_sections import render_day

        emphasis = emphasis_for()
        causes = causes_lines(m.causes)
        text = render_day(reading, m.source.name, units=units, emphasis=emphasis, causes=causes)
        click.echo(text, nl=False)
    if json_target is not None:
        from clicktimer import __version__
        from clicktimer.reporting.json.day import reading_json
        from clicktimer.reporting.json.measurement import document_text

        put(json_target, document_text(reading_json(m, reading, program_version=__version__)))
    if csv_target is not None:
        from clicktimer.reporting.tables import cycles_csv

        put(csv_target, cycles_csv([m]))
