"""``clicktimer compare``: two results, recordings or listening folders side by side, with what changed and what not."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from clicktimer.cli.failures import MEASURED
from clicktimer.cli.options import system_options
from clicktimer.cli.output import STDOUT, check_targets, emphasis_for, picture_kind, put, write_whole
from clicktimer.cli.recording_options import pump_said, taps_said
from clicktimer.cli.reporting import watched
from clicktimer.errors import InputError, SettingsError

if TYPE_CHECKING:
    from clicktimer.units.format import UnitSystem


@click.command("compare", short_help="Put two measurements or days side by side.")
@click.argument("before", metavar="BEFORE")
@click.argument("after", metavar="AFTER")
@click.option(
    "--valve-test", is_flag=True, help="BEFORE was heard with the valve after the tank open, AFTER with it shut."
)
@click.option("--taps-shut", is_flag=True, help="No water was in use in what is heard here.")
@click.option("--steady-tap", is_flag=True, help="One tap ran steadily all the time in what is heard here.")
@click.option(
    "--pump-at-start",
    type=click.Choice(["off", "on"]),
    help="Whether the pump was running when what is heard here began.",
)
@click.option("--json", "json_target", metavar="FILE|-", help="Write the comparison as JSON.")
@click.option("--picture", metavar="FILE", help="Draw the two side by side as FILE.png or FILE.svg.")
@system_options
def compare_command(
    before: str,
    after: str,
    valve_test: bool,
    taps_shut: bool,
    steady_tap: bool,
    pump_at_start: str | None,
    json_target: str | None,
    picture: str | None,
    system: Any,
) -> int:
    """Put two measurements or days side by side, with what changed and what did not.

    BEFORE and AFTER are each a recording, a folder of clicktimer listen, or a file
    written by measure --json or day --json. Sound is measured here, as day does, with
    the options given; a file keeps what it was measured with. A difference smaller than
    the errors of the two is told as no change.
    """
    from clicktimer.assessment.options import MeasureOptions
    from clicktimer.day.comparison import compare
    from clicktimer.reporting.text.comparison import render_comparison

    check_targets(json_target, None, (before, after))
    kind = picture_kind(picture, (before, after))
    options = MeasureOptions(
        taps=taps_said(taps_shut, steady_tap),
        pump_at_start=pump_said(pump_at_start),
        marks_s=system.marks_s,
        system=system,
    )
    if (options.taps or options.pump_at_start) and all(map(_is_document, (before, after))):
        raise SettingsError(
            "both are results that were measured before, so nothing can be said of their taps or pump any more: "
            "measure the recordings again, or leave these options out"
        )
    both = (_seen(before, options), _seen(after, options))
    found = compare(*both, valve_test=valve_test)
    units = system.units if system.units_origin != "default" else _units_of(both)
    if json_target != STDOUT:
        click.echo(render_comparison(found, units=units, emphasis=emphasis_for()), nl=False)
    if json_target is not None:
        from clicktimer.reporting.json.comparison import comparison_json
        from clicktimer.reporting.json.measurement import document_text

        put(json_target, document_text(comparison_json(found)))
    if picture is not None:
        from clicktimer.reporting.figures import compare_picture

        write_whole(Path(picture), compare_picture(found, units=units).file_bytes(kind))
    return MEASURED


def _units_of(documents: Iterable[Mapping[str, Any]]) -> UnitSystem:
    """The units that the two were told in where both, or the only one that says any, were metric."""
    said = set()
    for document in documents:
        settings = (document.get("program") or {}).get("settings") or {}
        said.add((settings.get("units") or {}).get("value"))
    return "metric" if said - {None} == {"metric"} else "us"


def _is_document(path: str) -> bool:
    """Whether a path is to be read as JSON: by its name, or because it begins like JSON."""
    if path.lower().endswith(".json"):
        return True
    try:
        with open(path, "rb") as file:
            return file.read(64).lstrip().startswith(b"{")
    except OSError:
        return False


def _seen(path: str, options: Any) -> dict[str, Any]:
    """The document of one side: as it was written, or of what is heard here."""
    return _document(path) if _is_document(path) else _measured(path, options)


def _measured(path: str, options: Any) -> dict[str, Any]:
    from clicktimer import __version__
    from clicktimer.day.measured import read_measured_day
    from clicktimer.pipeline import MeasureRequest, measure_all
    from clicktimer.reporting.json.day import reading_json

    outcome = measure_all(MeasureRequest((path,), options), watched(Path(path).name, prove_told=False))
    m, reading = read_measured_day(outcome.measured, outcome.options)
    return reading_json(m, reading, program_version=__version__)


def _document(path: str) -> dict[str, Any]:
    from clicktimer.reporting.json.read import NOT_JSON, read_document

    name = Path(path).name
    try:
        text = Path(path).read_text("utf-8")
    except OSError as error:
        raise InputError(f"{path}: {error.strerror}; give a recording or a file written by --json") from None
    except UnicodeDecodeError:
        raise InputError(NOT_JSON.format(name=name)) from None
    return read_document(text, name)
