"""Where results go: stdout, or a file that is written beside and moved into place."""

from __future__ import annotations

import contextlib
import os
import re
import sys
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path

import click

from clicktimer.errors import SettingsError

STDOUT = "-"


def write_whole(path: Path, data: str | bytes) -> None:
    """Write a file in one move: either the old file is there, or the whole new one. Text goes out as UTF-8.

    Raises SettingsError where it cannot be written.
    """
    try:
        handle, beside = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    except OSError as error:
        raise SettingsError(f"cannot write {path}: {error.strerror}; choose another place") from None
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(data if isinstance(data, bytes) else data.encode("utf-8", errors="replace"))
        mask = os.umask(0)
        os.umask(mask)
        os.chmod(beside, 0o666 & ~mask)  # mkstemp makes it private; a result is an ordinary file
        os.replace(beside, path)
    except OSError as error:
        with contextlib.suppress(OSError):
            os.unlink(beside)
        raise SettingsError(f"cannot write {path}: {error.strerror}; choose another place") from None


def put(target: str, text: str) -> None:
    """Write a result to ``target``: a path, or "-" for stdout."""
    if target == STDOUT:
        click.echo(text, nl=False)
    else:
        write_whole(Path(target), text)


def check_targets(
    json_target: str | None, csv_target: str | None, recordings: Sequence[str], labels_target: str | None = None
) -> None:
    """Refuse outputs that would fall on each other or on a recording, before anything is measured.

    A label file that is there is never overwritten: it may hold somebody's corrections. Raises SettingsError.
    """
    if labels_target is not None and labels_target in (STDOUT, json_target, csv_target):
        raise SettingsError("--labels needs a file of its own; give it a name that no other option has")
    if json_target is not None and json_target == csv_target:
        raise SettingsError("--json and --csv cannot both go to the same place; give one of them a file of its own")
    for name, target in (("--json", json_target), ("--csv", csv_target), ("--labels", labels_target)):
        if target is None or target == STDOUT:
            continue
        path = Path(target)
        if path.is_dir():
            raise SettingsError(f"{name} {target} is a folder; give the name of a file")
        if not path.parent.is_dir():
            raise SettingsError(f"{name} {target}: the folder {path.parent} does not exist; make it first")
        for recording in recordings:
            if path.exists() and Path(recording).exists() and path.samefile(recording):
                raise SettingsError(f"{name} {target} would overwrite the recording itself; choose another name")
        if target == labels_target and path.exists():
            raise SettingsError(f"{name} {target} is there already and may hold corrections; give another name")


def emphasis_for() -> Callable[[str], str]:
    """Return what makes a heading stand out: bold in a terminal, nothing in a pipe or where NO_COLOR is set."""
    if sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb":
        return lambda text: click.style(text, bold=True)
    return str


def picture_kind(picture: str | None, recordings: Sequence[str]) -> str:
    """The kind of a picture by its name, "png" or "svg"; "" for none. Raises SettingsError for one that cannot be."""
    if picture is None:
        return ""
    kind = Path(picture).suffix.lower().removeprefix(".")
    if kind not in ("png", "svg"):
        raise SettingsError(f'--picture {picture}: give a name that ends in ".png" or ".svg"')
    if not Path(picture).parent.is_dir():
        raise SettingsError(f"--picture {picture}: the folder does not exist; make it first")
    if any(Path(r).exists() and Path(picture).exists() and Path(picture).samefile(r) for r in recordings):
        raise SettingsError(f"--picture {picture} would overwrite the recording itself; choose another name")
    return kind


def quoted(text: str) -> str:
    """Return a name as it is typed in a command line: in quotes where it has spaces or signs that a shell reads."""
    return f'"{text}"' if re.search(r"[\s()&;']", text) else text
