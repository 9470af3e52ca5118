"""The parameters of a day: one file, checked, handed down to every function that has them, and recorded as used."""

from __future__ import annotations

import ast
import inspect
import json
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest

from clicktimer.day import params as day_params
from clicktimer.day.analysis import read_day
from clicktimer.day.params import DEFAULT_PARAMS, PACKAGE
from clicktimer.errors import SettingsError
from clicktimer.reporting.json.day import reading_json
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.units.parameters import read_table
from tests.day.test_day import evenly
from tests.reporting.test_day_report import SCHEMA, a_day

ROOM = Path(inspect.getfile(day_params)).parent


def test_every_parameter_says_what_it_is_and_lies_in_its_range():
    for section, entries in read_table(PACKAGE).items():
        for name, entry in entries.items():
            assert entry.meaning.endswith("."), f"{section}.{name}"
            assert entry.fitted_by.startswith(("python -m tests.benchmarks.days", "chosen: ")), f"{section}.{name}"
            low, high = entry.valid_range
            assert low < high, f"{section}.{name}"
    with pytest.raises(SettingsError, match=r"slow_leak\.safe=0\.5 is out of range; allowed: 1 to 3"):
        replace(DEFAULT_PARAMS.slow_leak, safe=0.5)


def test_every_call_in_the_room_hands_the_parameters_on():
    """A call without them would use those of the file, whatever is recorded as used."""
    trees = {path: ast.parse(path.read_text("utf-8")) for path in ROOM.glob("*.py")}
    takers = {
        node.name
        for tree in trees.values()
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef) and "params" in {a.arg for a in node.args.kwonlyargs}
    } - {"__init__"} | {"Clicks"}
    assert len(takers) > 30
    forgotten = [
        f"{path.name}:{node.lineno}: {node.func.id}"
        for path, tree in trees.items()
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Name)
        and node.func.id in takers
        and "params" not in {k.arg for k in node.keywords}
    ]
    assert not forgotten, forgotten
    defaults = [
        f"{path.name}:{node.lineno}"
        for path, tree in trees.items()
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "DEFAULT_PARAMS"
    ]
    assert len(defaults) <= 2, f"only a record may have a default of its own: {defaults}"


def test_a_changed_parameter_is_used_and_recorded():
    log = evenly(140.0, 140.0, 30)
    changed = replace(DEFAULT_PARAMS, no_use=replace(DEFAULT_PARAMS.no_use, least_runs=60, sure=0.005, sure_runs=50))
    changed = replace(changed, constant_flow=replace(changed.constant_flow, least_cycles=20, agree_share=0.3))
    usual, other = read_day(log), read_day(log, params=changed)
    assert usual.run is not None
    assert (usual.starts.flows[0].use.params, other.starts.flows[0].use.params) == (
        DEFAULT_PARAMS.constant_flow,
        changed.constant_flow,
    )
    few = read_day(evenly(140.0, 140.0, 15), params=changed)
    assert few.starts.flows == ()
    m, day = a_day()
    document = json.loads(json.dumps(reading_json(m, replace(day, params=changed), program_version="0")))
    jsonschema.validate(document, SCHEMA)
    assert document["parameters"]["no_use"]["least_runs"] == 60
    assert {r["code"] for r in document["reasons"]} >= {"day.leak-constant", "day.water-by-balance"}


def test_a_reader_of_a_document_is_told_of_no_option():
    _, day = a_day(known=False)
    assert day.water is not None
    assert "--pump-rate" in Messages().texts(day.water.reasons)
    assert "with the pump's rate it would be" in Messages("document").texts(day.water.reasons)
