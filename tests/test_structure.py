"""The shape of the program: rooms import downward only, only the command line prints, no private place is named.

Each test lists every offender at once.
"""

from __future__ import annotations

import ast
import graphlib
import re
import sys
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "clicktimer"

FLOORS: list[set[str]] = [
    {"errors", "reason", "targets", "units"},
    {"records"},
    {"audio"},
    {"detection", "settings"},
    {"cycles"},
    {"storage"},
    {"tank", "well"},
    {"assessment"},
    {"day"},
    {"site"},
    {"streaming", "quality"},
    {"pipeline"},
    {"reporting"},
    {"web"},
    {"cli", "api"},
]
"""Rooms from the ground up. A room imports from floors below its own, and from neighbors on its own floor."""
FLOOR = {room: floor for floor, rooms in enumerate(FLOORS) for room in rooms}
BESIDE = {"simulator": {"errors", "units", "records", "audio", "tank", "well"}}
"""Not part of the chain: what each may import. Only the command line and the tests import it."""
ENTRANCES = {"__init__", "__main__"}
"""These may import anything, when a name is first used."""

MODULES = sorted(PACKAGE.rglob("*.py"))
MODELS = {f"clicktimer.reporting.json.{name}" for name in ("model", "model_day", "model_measurement")}
"""Declared with a slow library, which they import at the top; so they count as slow themselves, but to one another."""
SLOW_IMPORTS = {"jinja2", "librosa", "matplotlib", "pydantic", "pypdf", "rich", "scipy", "sounddevice", "typst"}


def room_of(path: Path) -> str:
    """Return the first name inside the package: the room that a file belongs to."""
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def module_name(path: Path) -> str:
    """Return the full name of a module."""
    return ".".join(path.relative_to(ROOT).with_suffix("").parts)


def where(path: Path, line: int) -> str:
    return f"{path.relative_to(ROOT).as_posix()}:{line}"


@cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text("utf-8"))


def imports_of(path: Path) -> Iterator[tuple[int, str]]:
    """Yield (line, full name) of everything that a file imports, also inside functions and for types alone."""
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, a.name) for a in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert not node.level, f"{where(path, node.lineno)}: a relative import hides where a name comes from"
            yield from ((node.lineno, f"{node.module}.{a.name}") for a in node.names)


def climbs(path: Path) -> Iterator[str]:
    """Yield the imports of a file that go up to a higher floor."""
    here = room_of(path)
    for line, name in imports_of(path):
        parts = name.split(".")
        there = parts[1] if parts[0] == "clicktimer" and len(parts) > 1 else here
        if there in (here, "__version__") or there not in FLOOR.keys() | BESIDE.keys():
            continue
        if here in BESIDE:
            allowed = there in BESIDE[here]
        elif there in BESIDE:
            allowed = here == "cli"
        else:
            allowed = FLOOR[there] <= FLOOR[here]
        if not allowed:
            yield f"{where(path, line)}: {here} imports {there}"


def test_rooms_import_downward_only_and_never_in_a_circle():
    rooms = {room_of(path) for path in MODULES} - ENTRANCES
    assert rooms == FLOOR.keys() | BESIDE.keys(), "give each room its floor in FLOORS"
    offenders = [climb for path in MODULES if room_of(path) not in ENTRANCES for climb in climbs(path)]
    names = {".".join(p.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): p for p in MODULES}
    graph = {
        name: {n if n in names else n.rsplit(".", 1)[0] for _, n in imports_of(path)} & names.keys() - {name}
        for name, path in names.items()
    }
    assert sum(map(len, graph.values())) > len(names), "the imports were found"
    try:
        graphlib.TopologicalSorter(graph).prepare()
    except graphlib.CycleError as error:
        offenders.append("a circle: " + " -> ".join(error.args[1]))
    assert not offenders, "\n".join(offenders)


def faults_of(path: Path) -> Iterator[str]:
    """Yield what a module has that it must not have, or lacks."""
    text, tree = path.read_text("utf-8"), tree_of(path)
    if text.strip() and not ast.get_docstring(tree):
        yield f"{where(path, 1)}: the first line says what goes in and what comes out"
    if len(text.splitlines()) > 400:
        yield f"{where(path, 400)}: split it, a file holds one idea"
    for node in tree.body:
        if isinstance(node, ast.Import | ast.ImportFrom):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else [node.module or ""]
            slow = set() if module_name(path) in MODELS else SLOW_IMPORTS | MODELS
            for name in {n.split(".")[0] for n in names} & slow | {n for n in names if n in slow}:
                yield f"{where(path, node.lineno)}: import {name} inside the function that needs it"
    if room_of(path) in ("cli", "__main__"):
        return
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            called = ast.unparse(node.func)
            if called in ("print", "click.echo", "sys.exit", "exit", "quit") or called.startswith(
                ("sys.stdout", "sys.stderr")
            ):
                yield f"{where(path, node.lineno)}: only the command line prints or exits, not {called}"


def test_every_module_is_described_short_quick_to_import_and_silent():
    offenders = [fault for path in MODULES for fault in faults_of(path)]
    assert not offenders, "\n".join(offenders)


SENTENCES = {"text", "doubt", "settle", "note"}
"""Attributes that may hold words for a person, under these names or with "_text" at the end."""
LOOKS = {"startswith", "endswith", "find", "index", "replace", "split", "partition", "removeprefix", "removesuffix"}


def is_sentence(node: ast.AST, worded: set[str]) -> bool:
    """Return whether an expression is a sentence: words of a record, of the catalogue, or a constant of messages."""
    match node:
        case ast.Attribute(attr=name):
            return name in SENTENCES
        case ast.Name(id=name):
            return name in worded
        case ast.Call(func=ast.Attribute(attr="text" | "texts", value=ast.Name(id="messages"))):
            return True
        case ast.Call(func=ast.Attribute(attr="text" | "texts", value=ast.Call(func=ast.Name(id="Messages")))):
            return True
    return False


def looks_at_words(path: Path) -> Iterator[str]:
    """Yield where a finished sentence is compared, searched or edited; a choice is made by its code."""
    worded = {
        alias.asname or alias.name
        for node in ast.walk(tree_of(path))
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("clicktimer.reporting.messages")
        for alias in node.names
        if alias.name.isupper()
    }
    for node in ast.walk(tree_of(path)):
        looked: list[ast.AST] = []
        if isinstance(node, ast.Compare) and not isinstance(node.ops[0], ast.Is | ast.IsNot):
            looked = [node.left, *node.comparators]
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in LOOKS:
            looked = [node.func.value, *node.args]
        if any(is_sentence(one, worded) for one in looked):
            yield f"{where(path, node.lineno)}: {ast.unparse(node)[:90]}"


def test_no_sentence_is_compared_searched_or_edited():
    offenders = [look for path in MODULES for look in looks_at_words(path)]
    assert not offenders, "look at the code of a reason, not at its words:\n" + "\n".join(offenders)


def third_party_imports(folder: Path) -> set[str]:
    """Return the libraries that the files of a folder import, anywhere in them, also for types alone."""
    found = {name.split(".")[0] for path in folder.rglob("*.py") for _, name in imports_of(path)}
    return found - {"clicktimer", "docs", "tests"} - sys.stdlib_module_names


def required(requirements: list[str]) -> set[str]:
    return {re.split(r"[^\w.-]", r, maxsplit=1)[0] for r in requirements}


def test_the_required_libraries_are_those_in_use():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    needed = required(project["dependencies"])
    assert third_party_imports(PACKAGE) == needed
    tools = {"mypy", "ruff", "scipy-stubs"}
    assert third_party_imports(ROOT / "tests") - needed == required(project["optional-dependencies"]["test"]) - tools


TEXTS = [
    p
    for p in ROOT.rglob("*")
    if p.suffix in {".py", ".md", ".toml", ".json", ".csv", ".txt", ".yml", ".cfg"}
    and not any(part.startswith(".") or part in ("build", "__pycache__") for part in p.relative_to(ROOT).parts)
    and not any(part.endswith(".egg-info") for part in p.parts)
]


def test_no_file_names_a_place_outside_the_repository():
    # Built from pieces, so that this file does not find itself.
    places = "|".join(("work", "tmp", "root", "opt", "home", "Users", "mnt", "srv"))
    pattern = re.compile(rf"(?<![\w.*)\]}}>-])/({places})/(?!someone)")
    assert {"test_structure.py", "records.py"} <= {p.name for p in TEXTS}, "the search sees the files"
    offenders = [
        f"{path.relative_to(ROOT)}:{number}: {line.strip()[:100]}"
        for path in TEXTS
        for number, line in enumerate(path.read_text("utf-8").splitlines(), start=1)
        if pattern.search(line)
    ]
    assert not offenders, "\n".join(offenders)
