"""``clicktimer report``: a recording in, one document out that a client reads and the next technician can check."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.core import ParameterSource

from clicktimer.cli.failures import MEASURED, NOT_MEASURED
from clicktimer.cli.options import system_options
from clicktimer.cli.output import STDOUT, check_targets, put
from clicktimer.cli.progress import ProgressBar
from clicktimer.cli.recording_options import DECIMAL_OPTION, day_options, pump_said, recording_options, taps_said
from clicktimer.cli.reporting import (
    check_report_target,
    house_of,
    labels_read,
    presented_of,
    site_given,
    watched,
    write_report,
)
from clicktimer.cli.waiting import compiling_is_told
from clicktimer.errors import SettingsError

if TYPE_CHECKING:
    from clicktimer.reporting.document.remeasure import Asked, Result


@click.command("report", short_help="Write a document for the client: HTML or PDF.")
@click.argument("recordings", nargs=-1, metavar="RECORDING...")
@click.option("-o", "--output", metavar="FILE", help="The document: FILE.html or FILE.pdf.")
@click.option("--check", "checked", metavar="FILE", help="Measure again what this document is of: does it agree?")
@click.option("--day", "as_day", is_flag=True, help="Read the recording as a day, as clicktimer day does.")
@click.option("--who", metavar="NAME", help="Who measured. [site file]")
@click.option("--client", metavar="NAME", help="For whom. [site file]")
@click.option("--where", metavar="PLACE", help="Which house or well. [site file]")
@click.option("--notes", metavar="TEXT", help="What else is to be said. [site file]")
@click.option("--date", metavar="YYYY-MM-DD", help="Date of the document. [of the recording; else left open]")
@click.option(
    "--date-style", type=click.Choice(["iso", "us", "eu"]), default="iso", help="2031-05-04, May 4, 2031 or 4 May 2031."
)
@DECIMAL_OPTION
@click.option("--paper", type=click.Choice(["letter", "a4"]), default="letter", help="Size of the paper.")
@click.option("--all-clicks", is_flag=True, help="Show the clicks of every run. [of at most 12]")
@click.option("--no-prove", is_flag=True, help="Leave out the proof by added clicks, which takes the longest.")
@click.option("--prices", metavar="FILE", help="Your price list: CSV with name,volume,largest_acceptance,price.")
@recording_options
@day_options
@system_options
def report_command(
    recordings: tuple[str, ...],
    output: str | None,
    checked: str | None,
    as_day: bool,
    date: str | None,
    paper: Any,
    date_style: Any,
    decimal: Any,
    all_clicks: bool,
    json_target: str | None,
    csv_target: str | None,
    labels_target: str | None,
    system: Any,
    **said: Any,
) -> int:
    """Write a document for the client: HTML or PDF.

    RECORDING is a recording or a listening folder. Page one says what was found, what
    it means and what to do; the rest is for the technician, with pictures, the sounds
    of the clicks (HTML) and all figures embedded, so that --check can measure it again.
    """
    if checked is not None:
        return _check(checked, recordings)
    if not recordings or output is None:
        raise SettingsError("say what to report on and where: clicktimer report RECORDING -o FILE.html")
    if len(recordings) > 1 and not (said["joined"] or as_day):
        raise SettingsError("a report is of one recording; write one for each, or give --joined if they are parts")
    if said["nobody"] and said["started"] is None:
        raise SettingsError("--nobody needs to know when the recording began: give --started as well")
    check_targets(json_target, csv_target, recordings, labels_target)
    inputs = [*recordings, *(x for x in (said["corrected"], said["prices"]) if x is not None)]
    check_report_target("--output", output, inputs, (json_target, csv_target, labels_target))
    from clicktimer.reporting.document.compose import parse_date

    # The site file's date says when it was written, not when this was measured.
    if click.get_current_context().get_parameter_source("date") is ParameterSource.DEFAULT_MAP:
        date = None
    presented = presented_of(
        site_given(),
        paper=paper,
        date_style=date_style,
        decimal=decimal,
        all_clicks=all_clicks,
        date=None if date is None else parse_date(date),
        **{k: said[k] for k in ("who", "client", "where", "notes")},
    )
    asked = _asked(system, said, as_day, joined=len(recordings) > 1 or said["joined"])
    result = _measured(asked, recordings)
    write_report(output, result, asked, presented, recordings)
    _beside(result, json_target, csv_target, labels_target)
    return MEASURED if result.measured.run is not None else NOT_MEASURED


def _asked(system: Any, said: dict[str, Any], as_day: bool, *, joined: bool) -> Asked:
    from clicktimer.reporting.document.remeasure import Asked

    prices = said["prices"]
    if prices is not None:
        from clicktimer.tank.prices import read_prices

        read_prices(prices)  # a bad list is told before anything is measured
        if system.system.pump is None:
            raise SettingsError('a price list needs the pump rate: give it, such as --pump-rate "8 gpm"')
    return Asked(
        kind="day" if as_day else "measure",
        taps=taps_said(said["taps_shut"], said["steady_tap"]),
        pump_at_start=pump_said(said["pump_at_start"]),
        started=said["started"],
        joined=joined,
        given=system.given,
        origins=dict(system.origins),
        site=system.site,
        house=house_of(site_given()),
        labels=labels_read(said["corrected"]),
        prove=not said["no_prove"],
        prices=None if prices is None else Path(prices).read_text("utf-8-sig"),
        zone=said["zone"],
        nobody=said["nobody"],
        other_tank=said["other_tank"],
        other_charge=said["other_charge"],
        other_switch=said["other_switch"],
    )


def _measured(asked: Asked, recordings: tuple[str, ...]) -> Result:
    from clicktimer.reporting.document.remeasure import measure_asked

    return measure_asked(asked, recordings, watched(Path(recordings[0]).name, prove_told=asked.prove))


def _beside(result: Result, json_target: str | None, csv_target: str | None, labels_target: str | None) -> None:
    """What else was asked for; else one line for whoever waits for it."""
    m = result.measured
    if json_target is not None:
        from clicktimer import __version__
        from clicktimer.reporting.document.compose import result_json
        from clicktimer.reporting.json.measurement import document_text

        put(json_target, document_text(result_json(result, program=__version__)))
    if csv_target is not None:
        from clicktimer.reporting.tables import cycles_csv

        put(csv_target, cycles_csv([m]))
    if labels_target is not None:
        from clicktimer.cycles.corrections import label_text

        clicks = (*m.clicks, *m.edges) if m.correction is None else tuple(c.click for c in m.correction.clicks)
        put(labels_target, label_text(clicks))
    if STDOUT not in (json_target, csv_target):
        from clicktimer.reporting.text.measurement import summary_line

        click.echo(summary_line(m))


def _check(document: str, recordings: tuple[str, ...]) -> int:
    from clicktimer import __version__
    from clicktimer.reporting.document.verify import check_document
    from clicktimer.reporting.formatting import wrap

    with compiling_is_told(), ProgressBar(Path(document).name) as bar:
        checked = check_document(Path(document), recordings, program=__version__, progress=bar)
    click.echo("AGREES" if checked.agrees else "DOES NOT AGREE")
    for sentence in checked.told:
        click.echo("\n".join(wrap(sentence, "  ")))
    return MEASURED if checked.agrees else NOT_MEASURED
