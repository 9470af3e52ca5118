"""Turns errors into one line on stderr and an exit code; a defect leaves its traceback in a log file."""

from __future__ import annotations

import tempfile
import traceback

import click

from clicktimer.errors import ClicktimerError
from clicktimer.reporting.formatting import plain

MEASURED = 0
NOT_MEASURED = 1
BAD_INPUT = 2
DEFECT = 3
STOPPED = 130  # 128 + SIGINT, as shells count
BROKEN_PIPE = 141  # 128 + SIGPIPE


def explain(error: ClicktimerError, about: str = "") -> int:
    """Print what the user can do something about as one line on stderr and return the exit code."""
    message = " ".join(str(error).split())
    name = f"{about}: " if about and about not in message else ""
    click.echo(f"clicktimer: {plain(name + message)}", err=True)
    return BAD_INPUT


def explain_defect(error: BaseException, about: str = "") -> int:
    """Print one line that owns up to a defect and names the log file with its traceback; return the exit code."""
    text = "".join(traceback.format_exception(error))
    try:
        with tempfile.NamedTemporaryFile(
            "w", prefix="clicktimer-", suffix=".log", delete=False, encoding="utf-8", errors="replace"
        ) as log:
            log.write(text)
        where = f"the details are in {log.name}"
    except OSError:
        where = "and no log file could be written"
    name = f"{about}: " if about else ""
    summary = " ".join(f"{type(error).__name__} {error}".split())
    message = f"{name}a defect in clicktimer, not in what you did ({summary[:120]}); {where}. Please report it."
    click.echo(f"clicktimer: {plain(message)}", err=True)
    return DEFECT
