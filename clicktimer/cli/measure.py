"""``clicktimer measure``: recordings in, a report, JSON and CSV out."""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from clicktimer.cli.failures import BAD_INPUT, DEFECT, MEASURED, NOT_MEASURED, explain, explain_defect
from clicktimer.cli.options import system_options
from clicktimer.cli.output import STDOUT, check_targets, emphasis_for, put
from clicktimer.cli.recording_options import DECIMAL_OPTION, REPORT_OPTION, pump_said, recording_options, taps_said
from clicktimer.cli.reporting import (
    check_report_target,
    house_of,
    labels_read,
    presented_of,
    site_given,
    watched,
    write_report,
)
from clicktimer.errors import ClicktimerError, SettingsError
from clicktimer.reporting.formatting import plain
from clicktimer.reporting.messages.catalogue import Messages

if TYPE_CHECKING:
    from clicktimer.assessment.measurement import Measurement
    from clicktimer.assessment.options import MeasureOptions
    from clicktimer.cycles.corrections import Label
    from clicktimer.pipeline import Outcome
    from clicktimer.reporting.document.remeasure import Asked

logger = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Beside:
    """What is asked beside the measuring: where to write the labels, whose to read, and whether to prove the place.

    report: where to write the document, what was asked for it, and how its numbers are written.
    """

    labels_target: str | None = None
    corrected: tuple[str, tuple[Label, ...]] | None = None
    prove: bool = False
    into: str | None = None
    report: tuple[str, Asked, Any] | None = None


@click.command("measure", short_help="Time the pump's runs in a recording and judge them.")
@click.argument("recordings", nargs=-1, required=True, metavar="RECORDING...")
@recording_options
@click.option("--into", metavar="FOLDER", help="Keep what was heard in a new folder, as clicktimer listen does.")
@click.option(
    "--prove/--no-prove",
    "prove",
    default=None,
    help="Add copies of the clicks to the recording, count how many are caught. [with --report]",
)
@REPORT_OPTION
@DECIMAL_OPTION
@system_options
def measure_command(
    recordings: tuple[str, ...],
    taps_shut: bool,
    steady_tap: bool,
    pump_at_start: str | None,
    started: str | None,
    joined: bool,
    json_target: str | None,
    csv_target: str | None,
    labels_target: str | None,
    corrected: str | None,
    into: str | None,
    prove: bool | None,
    report_target: str | None,
    decimal: Any,
    system: Any,
) -> int:
    """Time the pump's runs in a recording and judge them.

    RECORDING is what a phone or computer recorded beside the pressure switch: wav,
    flac, mp3, m4a, ogg, webm, or the sound of a video. Say --taps-shut or --steady-tap
    if you can: water in use makes a run longer and flatters the tank.
    """
    from clicktimer.assessment.options import MeasureOptions
    from clicktimer.cycles.corrections import read_labels

    taps = taps_said(taps_shut, steady_tap)
    if started is not None and len(recordings) > 1 and not joined:
        raise SettingsError("--started fits one recording; measure them one by one, or give --joined if they are parts")
    for name, value in (
        ("--labels", labels_target),
        ("--corrected", corrected),
        ("--into", into),
        ("--report", report_target),
    ):
        if value is not None and len(recordings) > 1 and not joined:
            raise SettingsError(f"{name} fits one recording; measure one by one, or give --joined if they are parts")
    check_targets(json_target, csv_target, recordings, labels_target)
    check_report_target("--report", report_target, recordings, (json_target, csv_target, labels_target))
    if prove is None:
        prove = report_target is not None
    beside = Beside(labels_target, None if corrected is None else read_labels(corrected), prove, into)
    options = MeasureOptions(
        taps=taps,
        pump_at_start=pump_said(pump_at_start),
        marks_s=system.marks_s,
        started=started,
        joined=joined,
        system=system,
    )
    if report_target is not None:
        beside = replace(beside, report=(*_report_wanted(report_target, options, corrected, prove), decimal))
    jobs = [recordings] if joined else [(r,) for r in recordings]
    return measure_all(jobs, options, json_target=json_target, csv_target=csv_target, beside=beside)


def measure_all(
    jobs: Sequence[tuple[str, ...]],
    options: MeasureOptions,
    *,
    json_target: str | None,
    csv_target: str | None,
    beside: Beside | None = None,
) -> int:
    """Measure each job, print and write what came of it, and return the exit code.

    A job is the parts of one recording. A bad one is told and the others are still measured; when the user
    stops, what was measured so far is written.
    """
    out = _Results(json_target, csv_target, several=len(jobs) > 1)
    codes = [MEASURED]
    try:
        for job in jobs:
            codes.append(_measure_one(job, options, out, beside or Beside()))
    finally:
        out.finish()
    if DEFECT in codes:
        return DEFECT
    return BAD_INPUT if BAD_INPUT in codes else max(codes)


def _measure_one(job: tuple[str, ...], options: MeasureOptions, out: _Results, beside: Beside) -> int:
    from clicktimer import __version__
    from clicktimer.cli.stopping import Wish
    from clicktimer.pipeline import MeasureRequest, measure_all

    name = Path(job[0]).name
    into = None if beside.into is None else Path(beside.into)
    wish = Wish()
    request = MeasureRequest(job, options, beside.corrected, beside.prove, into, __version__)
    try:
        logger.info("measuring %s", ", ".join(job))
        watch = watched(name, prove_told=beside.report is not None, wish=wish)
        outcome = measure_all(request, watch, asked_to_stop=lambda: wish.asked)
        if into is not None:
            kept = f"kept in {into}: clicks, prints, levels, one second of sound around each click"
            click.echo(f"clicktimer: {kept}", err=True)
        if wish.asked:  # a document does not fit what was heard
            beside = replace(beside, report=None)
        measurement = _beside(outcome, job, beside)
    except ClicktimerError as error:
        return explain(error, name)
    except (BrokenPipeError, KeyboardInterrupt):
        raise
    except Exception as error:  # the other recordings are still measured
        return explain_defect(error, name)
    out.add(measurement)
    if wish.asked:
        raise KeyboardInterrupt
    return MEASURED if measurement.run is not None else NOT_MEASURED


def _beside(outcome: Outcome, job: tuple[str, ...], beside: Beside) -> Measurement:
    """Write labels and the document, as far as asked for."""
    m = outcome.measured
    if beside.labels_target is not None:
        from clicktimer.cycles.corrections import label_text

        clicks = (*m.clicks, *m.edges) if m.correction is None else tuple(c.click for c in m.correction.clicks)
        put(beside.labels_target, label_text(clicks))
        shown = len([c for c in clicks if c.how == "clicks"])
        click.echo(f"clicktimer: {shown} click{'' if shown == 1 else 's'} written to {beside.labels_target}", err=True)
    if beside.report is not None:
        from clicktimer.reporting.document.remeasure import conclude_asked

        target, asked, decimal = beside.report
        presented = presented_of(site_given(), decimal=decimal)
        write_report(target, conclude_asked(asked, outcome, job), asked, presented, job)
    return m


def _report_wanted(target: str, options: MeasureOptions, corrected: str | None, prove: bool) -> tuple[str, Asked]:
    """Where the document goes, and what was asked for it."""
    from clicktimer.reporting.document.remeasure import Asked

    system: Any = options.system
    return target, Asked(
        taps=options.taps,
        pump_at_start=options.pump_at_start,
        started=options.started,
        joined=options.joined,
        given=system.given,
        origins=dict(system.origins),
        site=system.site,
        house=house_of(site_given()),
        labels=labels_read(corrected),
        prove=prove,
    )


class _Results:
    """Prints each result as it comes and writes the files when all are there."""

    def __init__(self, json_target: str | None, csv_target: str | None, *, several: bool) -> None:
        self._json = json_target
        self._csv = csv_target
        self._several = several
        self._documents: list[str] = []
        self._measured: list[Measurement] = []
        self._text = STDOUT not in (json_target, csv_target)  # otherwise stdout belongs to the program that reads it
        self._emphasis: Callable[[str], str] = emphasis_for()

    def add(self, measurement: Measurement) -> None:
        """Print the report of one measurement (its JSON instead, if that goes to stdout) and keep it for the files."""
        if self._text:
            from clicktimer.reporting.text.measurement import render_text

            if self._measured:
                click.echo("\n" + "=" * 80 + "\n")
            click.echo(render_text(measurement, emphasis=self._emphasis, csv_hint=self._csv is None), nl=False)
        elif measurement.run is None:
            name = plain(measurement.source.name)
            click.echo(f"clicktimer: {name}: {plain(Messages().texts(measurement.verdict.reasons))}", err=True)
        self._measured.append(measurement)
        if self._json is not None:
            from clicktimer import __version__
            from clicktimer.reporting.json.measurement import document_text, measurement_json

            document = measurement_json(measurement, program_version=__version__)
            line = document_text(document, one_line=self._several)
            if self._json == STDOUT:
                put(STDOUT, line)
            else:
                self._documents.append(line)

    def finish(self) -> None:
        """Write the files; where nothing was measured none is written, and that is said."""
        for option, target in (("--json", self._json), ("--csv", self._csv)):
            if target is not None and target != STDOUT and not self._measured:
                click.echo(f"clicktimer: nothing was written to {target} ({option}): no recording was read", err=True)
        if not self._measured:
            return
        if self._json is not None and self._json != STDOUT:
            put(self._json, "".join(self._documents))
        if self._csv is not None:
            from clicktimer.reporting.tables import cycles_csv

            put(self._csv, cycles_csv(self._measured))
