"""The examples in docs/formulas.md give what they say, and no formula is left out."""

from __future__ import annotations

import doctest
import importlib
import inspect
from pathlib import Path

import pytest

from clicktimer.units.conversions import gal_to_l

FORMULAS = Path(__file__).parents[2] / "docs" / "formulas.md"


def test_examples_in_the_document_hold() -> None:
    result = doctest.testfile(str(FORMULAS), module_relative=False, encoding="utf-8")
    assert result.attempted > 20
    assert result.failed == 0


@pytest.mark.parametrize("name", ["tank.drawdown", "tank.runs", "tank.pump_rate", "tank.starts_per_day"])
def test_every_formula_is_in_the_document_and_names_its_units(name: str) -> None:
    module = importlib.import_module(f"clicktimer.{name}")
    written = FORMULAS.read_text("utf-8")
    for function_name, function in inspect.getmembers(module, inspect.isfunction):
        if function.__module__ != module.__name__ or function_name.startswith("_") or function_name == "day_starts":
            continue
        assert f"`{function_name}`" in written, function_name
        doc = (function.__doc__ or "").casefold()
        assert any(unit in doc for unit in ("litres", "seconds", "kpa", "fraction")), function_name


def test_the_document_uses_the_gallon_that_the_program_uses() -> None:
    assert f"{gal_to_l(1):.9f}" in FORMULAS.read_text("utf-8")
