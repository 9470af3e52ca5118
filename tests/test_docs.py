"""The documents cannot go stale: they are made from the program or held against it."""

from __future__ import annotations

import ast
import re
from pathlib import Path
from typing import get_args

import click
import pypdf
import pytest

import clicktimer
from clicktimer.cli import COMMANDS, cli
from clicktimer.storage.faults import Fault
from clicktimer.targets import Band
from docs.makers.cli import reference

ROOT = Path(__file__).parents[1]
PAGES = sorted({*ROOT.glob("*.md"), *(ROOT / "docs").rglob("*.md"), *(ROOT / "fixtures_audio").glob("*.md")})


def commands() -> list[tuple[str, click.Command]]:
    context = click.Context(cli)
    found = [(name, cli.get_command(context, name)) for name in COMMANDS]
    return [(name, command) for name, command in found if command is not None]


def options_of(command: click.Command) -> list[str]:
    return [o for p in command.params if isinstance(p, click.Option) for o in (*p.opts, *p.secondary_opts)]


def test_every_command_and_option_has_help_and_is_in_the_reference():
    written = (ROOT / "docs/cli.md").read_text("utf-8")
    for name, command in commands():
        assert f"## clicktimer {name}" in written
        assert command.help
        for parameter in command.params:
            if isinstance(parameter, click.Option):
                assert parameter.help, f"{name} {parameter.name}"
        for option in options_of(command):
            assert option in written, f"{name} {option}"


def test_help_fits_80_columns():
    for line in reference().split("## clicktimer", 1)[1].splitlines():
        assert len(line) <= 80, line


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_commands_in_the_pages_exist(page: Path):
    known = {name: {*options_of(command), "--help", "-h"} for name, command in commands()}
    if page.name == "cli.md":
        return  # made from the commands themselves
    lines = re.findall(r"^\s*(?:\$ |.*&& )?(?:\S*/)?clicktimer (.+)$", page.read_text("utf-8"), re.MULTILINE)
    for line in lines:
        words = line.split()
        if words[0] not in known:
            assert words[0] in ("--help", "--version", "[OPTIONS]", "COMMAND"), f"{page.name}: clicktimer {line}"
            continue
        for option in re.findall(r"(?<!\S)--[a-z-]+", line):
            assert option in known[words[0]], f"{page.name}: clicktimer {line}"


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_python_in_the_pages_uses_public_names(page: Path):
    for code in re.findall(r"```python\n(.*?)```", page.read_text("utf-8"), re.DOTALL):
        for node in ast.walk(ast.parse(code)):
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "clicktimer":
                assert node.attr in clicktimer.__all__, f"{page.name}: clicktimer.{node.attr}"


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_links_inside_the_repository_lead_somewhere(page: Path):
    for target in re.findall(r"\]\(([^)#\s]+)", page.read_text("utf-8")):
        if "://" not in target:
            assert (page.parent / target).exists(), f"{page.name}: {target}"


def notice_codes() -> dict[str, str]:
    """Every code given to Notice(...) in the package as a plain text, and the file that gives it; and the codes of
    a listening folder's faults, of which the session makes notices."""
    found: dict[str, str] = dict.fromkeys(get_args(Fault), "session.py")
    for path in (ROOT / "clicktimer").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Notice":
                given = [k.value for k in node.keywords if k.arg == "code"] or node.args[:1]
                if given and isinstance(given[0], ast.Constant):
                    found[str(given[0].value)] = path.name
    return found


def test_every_warning_code_is_described_and_no_other():
    written = (ROOT / "docs/json.md").read_text("utf-8")
    section = written.split("## Warning codes", 1)[1].split("\n## ", 1)[0]
    listed = set(re.findall(r"^\| `([a-z0-9-]+)`", section, re.MULTILINE))
    assert listed == set(notice_codes())


def test_every_band_is_described():
    written = (ROOT / "docs/json.md").read_text("utf-8")
    for band in get_args(Band):
        assert f"`{band}`" in written


def test_the_pages_are_written_for_everybody():
    for page in PAGES:
        for line in page.read_text("utf-8").splitlines():
            assert not re.search(r"\bTODO\b|\bFIXME\b|\bXXX\b", line), f"{page.name}: {line}"


def test_the_tree_for_contributors_shows_every_package_and_nothing_else():
    tree = (ROOT / "DEVELOPERS.md").read_text("utf-8").split("## The tree", 1)[1].split("```", 2)[1]
    shown = set(re.findall(r"^  ([a-z_]+(?:/|\.py))\s", tree, re.MULTILINE))
    assert len(shown) > 10
    for name in shown:
        assert (ROOT / "clicktimer" / name).exists(), name
    packages = {f"{p.parent.name}/" for p in (ROOT / "clicktimer").glob("*/__init__.py")}
    assert packages <= shown


def test_every_page_can_be_reached_from_the_readme():
    seen: set[Path] = set()
    todo = [ROOT / "README.md"]
    while todo:
        page = todo.pop()
        if page in seen or page.suffix != ".md" or not page.exists():  # links that lead nowhere: see above
            continue
        seen.add(page)
        links = re.findall(r"\]\(([^)#\s]+)", page.read_text("utf-8"))
        todo += [(page.parent / link).resolve() for link in links if "://" not in link]
    assert {p.resolve() for p in PAGES if p.parent.name == "docs"} <= {p.resolve() for p in seen}


def test_no_table_of_the_sample_report_is_broken_across_pages():
    # Without care the table of tanks would: it begins near the foot of the second page.
    pages = [page.extract_text() for page in pypdf.PdfReader(ROOT / "docs" / "report-sample.pdf").pages]
    for first, last in (("runs, taps shut", "119 gal"), ("SHA-256", "Detector"), ("where from", "site file")):
        (at,) = [i for i, page in enumerate(pages) if first in page]
        assert last in pages[at]


def test_the_accuracy_in_the_readme_is_that_of_the_accuracy_page():
    """All sets of the last day together: cycles right, and hours of sound for each false cycle."""
    together = re.findall(
        r"together \*\*[\d.]+\*\* \((\d+) of (\d+)\) \| \*\*(\d+)\*\* in (\d+) hours",
        (ROOT / "docs/accuracy.md").read_text("utf-8"),
    )
    near, hard = ([int(figure) for figure in row] for row in together)
    readme = " ".join((ROOT / "README.md").read_text("utf-8").split())
    assert f"Near the switch {100 * near[0] / near[1]:.0f} of 100 cycles were right" in readme
    assert near[2] == 0
    assert f"no false cycle was reported in {near[3]} hours" in readme
    assert round(6 * hard[0] / hard[1]) == 5
    assert round(hard[3] / hard[2]) == 4
    assert "In a loud house five of six were right, with one false cycle in four hours" in readme
