"""Puts the demo's real output into README.md."""

from __future__ import annotations

import contextlib
import io
import os
import re
import tempfile
from pathlib import Path

from clicktimer.cli import run

README = Path(__file__).parents[2] / "README.md"
BLOCK = re.compile(r"<!-- demo -->.*?<!-- end of demo -->", re.DOTALL)


def demo_output() -> str:
    """Return what ``clicktimer demo`` prints, up to the cautions."""
    before = Path.cwd()
    out = io.StringIO()
    with tempfile.TemporaryDirectory() as folder, contextlib.redirect_stdout(out):
        os.chdir(folder)
        try:
            code = run(["demo"])
        finally:
            os.chdir(before)
    if code != 0:
        raise RuntimeError(f"the demo ended with exit code {code}")
    return shortened(out.getvalue())


def shortened(output: str) -> str:
    """Return the demo's output without the cautions (the README has them) and what follows."""
    return output.split("\nCautions\n", 1)[0].rstrip() + "\n"


def block(output: str) -> str:
    """Return the part of the README that holds the output."""
    return f"<!-- demo -->\n```\n{output}```\n<!-- end of demo -->"


def made() -> dict[str, str]:
    return {"README.md": BLOCK.sub(lambda _: block(demo_output()), README.read_text("utf-8"))}
