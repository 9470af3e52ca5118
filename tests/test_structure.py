"""The shape of the program: stages import one way only, only the command line prints, no private place is named."""

from __future__ import annotations

import ast
import graphlib
import re
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "clicktimer"

ORDER: list[tuple[str, set[str]]] = [
    ("ground", {"records", "errors", "units", "dimensions", "quantities", "formats", "settings", "sentences", "marks"}
     | {"cautions", "compiled"}),
    ("1 sound", {"sound"}),
    ("2 onsets", {"filters", "lanes", "kernel", "small", "candidates", "snap", "shape", "waves", "onsets", "tones"}),
    ("2a listening folder", {"store"}),
    ("3 clicks", {"likeness", "counted", "pump", "sequence", "field", "weighing", "learning", "recurrence"}
     | {"companions", "judging", "telling", "clicks", "drive", "company"}),
    ("4 cycles", {"cycles", "labels", "not_one_pump"}),
    ("5 run time", {"steady_tap", "run_time"}),
    ("6 verdict", {"verdict"}),
    ("7 tank", {"tank", "well", "motors"}),
    ("8 causes", {"causes"}),
    ("8a a day", {"day"}),
    ("9 site file", {"site"}),
    ("the chain", {"pipeline", "concluding", "used", "place", "prove", "give", "live"}),
    ("10 report", {"report", "pictures"}),
    ("10 document", {"document"}),
    ("10 page", {"page"}),
    ("the user", {"cli", "api"}),
]
"""Each may import what stands before it and its own neighbours. A new module is given its place here."""

RANK = {name: rank for rank, (_, names) in enumerate(ORDER) for name in names}
BESIDE = {"simulator": {"ground", "1 sound", "7 tank"}}
"""Not in the chain: what each may import. Only the command line and tests may import it."""
UNRANKED = {"__init__", "__main__"}

MODULES = sorted(PACKAGE.rglob("*.py"))


def part(path: Path) -> str:
    """The first name inside the package: the module or sub-package that a file belongs to."""
    first = path.relative_to(PACKAGE).parts[0]
    return first.removesuffix(".py")


def imported_parts(path: Path) -> set[str]:
    """Parts of the package that a file imports, anywhere in it, also inside functions and for types alone."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [a.name for a in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}: a relative import hides where a name comes from"
            module = node.module or ""
            names = [f"clicktimer.{a.name}" for a in node.names] if module == "clicktimer" else [module]
        found |= {n.split(".")[1] for n in names if n.startswith("clicktimer.")}
    return {f for f in found if not f.startswith("__version")}


def test_every_module_has_its_place_in_the_order():
    for path in MODULES:
        assert part(path) in RANK.keys() | BESIDE.keys() | UNRANKED, f"give {part(path)} its place in ORDER"
    for name in RANK:
        assert (PACKAGE / name).exists() or (PACKAGE / f"{name}.py").exists(), f"{name} is in ORDER but nowhere else"


@pytest.mark.parametrize("path", MODULES, ids=lambda p: p.relative_to(PACKAGE).as_posix())
def test_no_stage_imports_a_later_one(path: Path):
    here = part(path)
    if here in UNRANKED:
        return
    for there in imported_parts(path):
        if here in BESIDE:
            assert there == here or ORDER[RANK[there]][0] in BESIDE[here], f"{here} imports {there}"
        elif there in BESIDE:
            assert here == "cli", f"{here} imports {there}"
        elif there != here:
            assert RANK[there] <= RANK[here], f"{here} imports {there}"


def imported_modules(path: Path, names: dict[str, Path]) -> set[str]:
    """Modules of the package that a file imports, anywhere in it, by their full names."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {a.name for a in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            full = {a.name: f"{node.module}.{a.name}" for a in node.names}
            found |= {name if name in names else node.module for name in full.values()}
    return found & names.keys()


def test_no_two_modules_import_each_other_not_even_for_types_or_inside_functions():
    names = {".".join(p.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): p for p in MODULES}
    graph = {name: imported_modules(path, names) - {name} for name, path in names.items()}
    assert sum(map(len, graph.values())) > len(names), "the imports were found"
    graphlib.TopologicalSorter(graph).prepare()  # raises CycleError, which names them


@pytest.mark.parametrize("path", MODULES, ids=lambda p: p.relative_to(PACKAGE).as_posix())
def test_only_the_command_line_prints(path: Path):
    if part(path) in ("cli", "__main__"):
        return
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Call):
            called = ast.unparse(node.func)
            assert called not in ("print", "click.echo", "sys.exit", "exit", "quit"), f"line {node.lineno}: {called}"
            assert not called.startswith(("sys.stdout", "sys.stderr")), f"line {node.lineno}: {called}"


@pytest.mark.parametrize("path", MODULES, ids=lambda p: p.relative_to(PACKAGE).as_posix())
def test_every_module_says_what_it_is_and_is_short(path: Path):
    text = path.read_text("utf-8")
    tree = ast.parse(text)
    if text.strip():
        assert ast.get_docstring(tree), "the first line of a module says its stage, what comes in, what goes out"
    assert len(text.splitlines()) <= 400, "split it: a file holds one idea"
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            assert ast.get_docstring(node), f"{node.name} (line {node.lineno}) has no docstring"


def third_party_imports(folder: Path) -> set[str]:
    """Libraries that the files of a folder import, anywhere in them, also for types alone."""
    found: set[str] = set()
    for path in folder.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Import):
                found |= {a.name.split(".")[0] for a in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module:
                found.add(node.module.split(".")[0])
    files = list(folder.rglob("*.py"))
    ours = {"clicktimer", "tests"} | {p.stem for p in files} | {p.parent.name for p in files}
    return found - ours - sys.stdlib_module_names


def required(requirements: list[str]) -> set[str]:
    return {re.split(r"[^\w.-]", r, maxsplit=1)[0] for r in requirements}


def test_the_libraries_asked_for_are_those_that_are_used():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    needed = required(project["dependencies"])
    assert third_party_imports(PACKAGE) == needed
    tools = {"mypy", "ruff", "scipy-stubs"}
    assert third_party_imports(ROOT / "tests") - needed == required(project["optional-dependencies"]["test"]) - tools


SLOW_IMPORTS = {"jinja2", "librosa", "matplotlib", "pydantic", "pypdf", "rich", "scipy", "sounddevice", "typst"}


@pytest.mark.parametrize("path", MODULES, ids=lambda p: p.relative_to(PACKAGE).as_posix())
def test_slow_libraries_are_imported_where_they_are_used(path: Path):
    for node in ast.parse(path.read_text("utf-8")).body:
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [a.name for a in node.names]
        elif isinstance(node, ast.ImportFrom):
            names = [node.module or ""]
        slow = {n.split(".")[0] for n in names} & SLOW_IMPORTS
        assert not slow, f"line {node.lineno}: import {', '.join(slow)} inside the function that needs it"


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
    for path in TEXTS:
        for number, line in enumerate(path.read_text("utf-8").splitlines(), start=1):
            assert not pattern.search(line), f"{path.relative_to(ROOT)}:{number}: {line.strip()[:100]}"


def test_the_search_for_private_places_would_find_one():
    assert any(p.name == "test_structure.py" for p in TEXTS)
    assert any(p.name == "records.py" for p in TEXTS)
