"""Puts real output into docs/well.md.

Before a block with a command stands a mark: "shown" (all but the cautions) or "begins" (the first paragraph). The block
after the command is replaced. A block marked "file" is written to a folder of its own, in which the commands run.
"""

from __future__ import annotations

import os
import re
import shlex
import tempfile
from pathlib import Path

from click.testing import CliRunner

from clicktimer.cli import cli

PAGE = Path(__file__).parents[1] / "well.md"
_FILE = re.compile(r"<!-- file: (\S+) -->\n```\n(.*?)```", re.DOTALL)
_SHOWN = re.compile(r"(<!-- (shown|begins) -->\n```\nclicktimer (.*?)\n```\n.*?\n```\n)(.*?)(\n```)", re.DOTALL)


def filled(text: str) -> str:
    """Return the page with every output replaced by what the program prints."""
    before = Path.cwd()
    with tempfile.TemporaryDirectory() as folder:
        for name, content in _FILE.findall(text):
            (Path(folder) / name).write_text(content, encoding="utf-8")
        os.chdir(folder)
        try:
            return _SHOWN.sub(_with_output, text)
        finally:
            os.chdir(before)


def _with_output(found: re.Match[str]) -> str:
    result = CliRunner().invoke(cli, shlex.split(found[3]), catch_exceptions=False, standalone_mode=False)
    body = result.stdout.split("\nCautions\n")[0].rstrip()
    return found[1] + (body if found[2] == "shown" else body.split("\n\n")[0]) + found[5]


def made() -> dict[str, str]:
    return {"docs/well.md": filled(PAGE.read_text("utf-8"))}
