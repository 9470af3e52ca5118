"""The JSON document: what its schema says is what is written, and nothing else."""

from __future__ import annotations

import dataclasses
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given, settings

from clicktimer.assessment.measurement import Measurement
from clicktimer.errors import InputError
from clicktimer.reporting.json.measurement import document_text, jsonable, measurement_json
from clicktimer.reporting.json.read import read_document
from tests.support.handmade import measurements, nothing_heard, short_cycling

ROOT = Path(__file__).parents[2]
SCHEMA: dict[str, Any] = json.loads((ROOT / "docs/measurement.schema.json").read_text("utf-8"))
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)


def test_the_schema_is_itself_valid():
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


@settings(max_examples=40)
@given(measurements)
def test_any_measurement_follows_the_schema(measurement: Measurement):
    text = document_text(measurement_json(measurement, program_version="0.1.0"), one_line=True)
    VALIDATOR.validate(json.loads(text))
    assert text.count("\n") == 1
    assert not undocumented(json.loads(text), SCHEMA)


def undocumented(value: Any, schema: Any, where: str = "") -> list[str]:
    """Fields of ``value`` that the schema does not name; readers may ignore them, but we must describe them."""
    found: list[str] = []
    properties = schema.get("properties")
    if isinstance(value, dict) and properties is not None:
        for key, inner in value.items():
            if key not in properties:
                found.append(f"{where}.{key}")
            else:
                found += undocumented(inner, properties[key], f"{where}.{key}")
    elif isinstance(value, list):
        for inner in value:
            found += undocumented(inner, schema.get("items", {}), where + "[]")
    return found


@pytest.mark.parametrize(
    "breaks",
    [
        lambda d: d.pop("run"),
        lambda d: d["clicks"][0].update(kind="maybe"),
        lambda d: d["clicks"][0].update(confidence=1.2),
        lambda d: d["source"].update(name="/home/someone/tank.wav"),
        lambda d: d["verdict"].update(band="good"),
        lambda d: d.update(version=2),
        lambda d: d["run"].update(low_s=None),
    ],
)
def test_the_schema_refuses_what_is_wrong(breaks: Any):
    document = measurement_json(short_cycling(), program_version="0.1.0")
    VALIDATOR.validate(document)
    breaks(document)
    with pytest.raises(jsonschema.ValidationError):
        VALIDATOR.validate(document)


def test_the_document_has_the_promised_keys_in_the_promised_order():
    document = measurement_json(short_cycling(), program_version="9.9")
    assert list(document) == [
        "format",
        "version",
        "program",
        "source",
        "clicks",
        "cycles",
        "gaps",
        "ambiguous",
        "run",
        "verdict",
        "tank",
        "causes",
        "warnings",
        "correction",
        "proof",
    ]
    assert document["format"] == "clicktimer-measurement"
    assert document["program"]["version"] == "9.9"
    assert document["cycles"][3]["cut_out_s"] is None
    assert document["cycles"][0]["run_s"] == 12.31
    assert document["run"]["one_sided"] is False


def test_unknown_is_null():
    document = measurement_json(nothing_heard(), program_version="0.1.0")
    assert document["run"] is None
    assert document["verdict"]["band"] is None
    assert document["source"]["started_at"] is None


def test_no_folder_of_the_user_gets_into_the_document():
    for name in ("/home/someone/tank.wav", "C:\\Users\\someone\\tank.wav"):
        m = short_cycling(source=dataclasses.replace(short_cycling().source, name=name))
        assert "someone" not in document_text(measurement_json(m, program_version="0.1.0"))


def test_same_measurement_gives_the_same_bytes():
    one, two = (document_text(measurement_json(short_cycling(), program_version="0.1.0")) for _ in range(2))
    assert one == two


def test_numbers_are_finite_rounded_to_a_microsecond_and_never_minus_zero():
    assert jsonable([float("nan"), float("inf"), 1 / 3, -1e-9]) == [None, None, 0.333333, 0.0]
    assert "-0" not in document_text({"a": jsonable(-1e-9)})


def test_what_has_no_json_form_is_an_error_rather_than_a_guess():
    with pytest.raises(TypeError, match="no JSON form for set"):
        jsonable({1, 2})


def written(document: Any) -> str:
    return json.dumps(document)


@pytest.mark.parametrize("measured", [short_cycling(), nothing_heard()])
def test_what_is_written_is_read_again(measured: Measurement):
    document = measurement_json(measured, program_version="0.1.0")
    assert read_document(document_text(document), "a.json") == document


def test_a_document_of_a_later_or_an_earlier_program_is_read():
    document = measurement_json(short_cycling(), program_version="0.1.0")
    document["verdict"]["of_a_later_day"] = 1
    del document["proof"], document["clicks"][0]["level_db"]
    assert read_document(written(document), "a.json") == document


@pytest.mark.parametrize(
    ("breaks", "says"),
    [
        (lambda d: d["clicks"][2].update(time_s="soon"), "clicks.2.time_s: .*valid number"),
        (lambda d: d["run"].update(seconds=None), "run.seconds: "),
        (lambda d: d["verdict"].update(band="good"), "verdict.band: "),
        (lambda d: d.update(cycles={}), "cycles: "),
        (lambda d: d.update(format="of another"), "is no result of clicktimer"),
    ],
)
def test_a_document_with_a_wrong_type_is_refused_in_one_line(breaks: Any, says: str):
    document = measurement_json(short_cycling(), program_version="0.1.0")
    breaks(document)
    with pytest.raises(InputError, match=rf"^a\.json [^\n]*{says}[^\n]*$"):
        read_document(written(document), "a.json")


def test_writing_a_document_loads_no_slow_library():
    code = (
        "import sys; from tests.support import handmade; from clicktimer.reporting.json import measurement; "
        "measurement.measurement_json(handmade.short_cycling(), program_version='0'); "
        "sys.exit('pydantic' in sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=True)


def test_every_field_is_described_in_the_docs():
    described = (ROOT / "docs/json.md").read_text("utf-8")
    for name in names_of(SCHEMA):
        assert f"`{name}`" in described, name


def names_of(schema: Any) -> set[str]:
    names: set[str] = set()
    for key, inner in schema.get("properties", {}).items():
        names |= {key} | names_of(inner)
    if "items" in schema:
        names |= names_of(schema["items"])
    return names
