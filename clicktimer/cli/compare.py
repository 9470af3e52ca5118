"""``clicktimer compare``: two results side by side, with what changed and what did not."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from clicktimer.cli.failures import MEASURED
from clicktimer.cli.output import STDOUT, check_targets, emphasis_for, put
from clicktimer.errors import InputError


@click.command("compare", short_help="Put two measurements or days side by side.")
@click.argument("before", metavar="BEFORE")
@click.argument("after", metavar="AFTER")
@click.option("--valve-test", is_flag=True,
              help="BEFORE was heard with the valve after the tank open, AFTER with it shut.")  # fmt: skip
@click.option("--json", "json_target", metavar="FILE|-", help="Write the comparison as JSON.")
def compare_command(before: str, after: str, valve_test: bool, json_target: str | None) -> int:
    """Put two measurements or days side by side, with what changed and what did not.

    BEFORE and AFTER are files written by measure --json or day --json. A difference
    smaller than the errors of the two is told as no change.
    """
    from clicktimer.day.compare import compare
    from clicktimer.report.comparison import render_comparison

    check_targets(json_target, None, (before, after))
    found = compare(_document(before), _document(after), valve_test=valve_test)
    if json_target != STDOUT:
        click.echo(render_comparison(found, emphasis=emphasis_for()), nl=False)
    if json_target is not None:
        from clicktimer.report.machine import document_text, jsonable

        put(json_target, document_text({"format": "clicktimer-comparison", "version": 1, **jsonable(found)}))
    return MEASURED


def _document(path: str) -> dict[str, Any]:
    try:
        document = json.loads(Path(path).read_text("utf-8"))
    except OSError as error:
        raise InputError(f"{path}: {error.strerror}; give a file written by measure --json or day --json") from None
    except ValueError:
        raise InputError(
            f"{Path(path).name} is no JSON document: measure the recording first with --json FILE, and give that file"
        ) from None
    if not isinstance(document, dict):
        raise InputError(f"{Path(path).name} is no result of clicktimer: give a file written by measure or day --json")
    return document
