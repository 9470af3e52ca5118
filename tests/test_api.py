"""The docstrings of the public names list what the code has, and every example in a docstring gives what it says."""

from __future__ import annotations

import dataclasses
import doctest
import importlib
import inspect
from pathlib import Path

import pytest

import clicktimer
from docs.makers.api import entries_of, sections_of

ROOT = Path(__file__).parents[1]
WITH_EXAMPLES = [
    ".".join(path.relative_to(ROOT).with_suffix("").parts)
    for path in sorted((ROOT / "clicktimer").rglob("*.py"))
    if "    >>> " in path.read_text("utf-8")
]
PUBLIC = {name: getattr(clicktimer, name) for name in clicktimer.__all__ if not name.startswith("__")}
FUNCTIONS = [name for name, thing in PUBLIC.items() if inspect.isfunction(thing)]
RECORDS = [name for name, thing in PUBLIC.items() if dataclasses.is_dataclass(thing)]


def listed(name: str, section: str) -> list[str]:
    """The names that a section of a docstring describes, each with a type and a sentence."""
    names: list[str] = []
    for head, text in entries_of(sections_of(PUBLIC[name].__doc__)[section]):
        before, colon, kind = head.partition(" : ")
        assert colon, head
        assert kind, head
        assert text.endswith("."), head
        names += before.split(", ")
    return names


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_function_describes_its_parameters_and_what_it_returns(name: str):
    assert listed(name, "Parameters") == list(inspect.signature(PUBLIC[name]).parameters)
    assert sections_of(PUBLIC[name].__doc__)["Returns"]


@pytest.mark.parametrize("name", RECORDS)
def test_a_record_describes_its_fields(name: str):
    assert listed(name, "Attributes") == [field.name for field in dataclasses.fields(PUBLIC[name])]


def test_the_errors_that_measuring_raises_are_described():
    raised = {head for head, _ in entries_of(sections_of(clicktimer.measure.__doc__ or "")["Raises"])}
    assert raised == {name for name in PUBLIC if name.endswith("Error")} - {"ClicktimerError"}


@pytest.mark.parametrize("module", WITH_EXAMPLES)
def test_the_examples_in_docstrings_give_what_they_say(module: str, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.chdir(ROOT)
    result = doctest.testmod(importlib.import_module(module))
    assert result.attempted > 0
    assert result.failed == 0


def test_every_public_name_is_in_the_reference():
    written = (ROOT / "docs/api.md").read_text("utf-8")
    for name in PUBLIC:
        assert f"### `{name}`" in written
