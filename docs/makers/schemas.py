"""Makes the schemas of the JSON documents from their models: plain JSON Schema, each part where it stands."""

from __future__ import annotations

import json
from typing import Any

from clicktimer.reporting.json.model import Part
from clicktimer.reporting.json.model_day import DayDocument
from clicktimer.reporting.json.model_measurement import MeasurementDocument

DIALECT = "https://json-schema.org/draft/2020-12/schema"
DOCUMENTS: dict[str, tuple[str, type[Part]]] = {
    "docs/measurement.schema.json": ("clicktimer measurement", MeasurementDocument),
    "docs/day.schema.json": ("clicktimer day", DayDocument),
}
ORDER = ("$schema", "title", "description", "type", "enum", "const", "required", "properties", "items")
"""Of a part's words; bounds stand between."""


def schema(title: str, model: type[Part]) -> dict[str, Any]:
    """Return a document's schema."""
    whole = model.model_json_schema(by_alias=True, mode="validation")
    return sorted_words({"$schema": DIALECT, **plain(whole, whole.get("$defs", {})), "title": title})


def plain(part: Any, parts: dict[str, Any]) -> Any:
    """Return a part of pydantic's schema with what it refers to in its place, and null among its types."""
    if isinstance(part, list):
        return [plain(one, parts) for one in part]
    if not isinstance(part, dict):
        return part
    if "$ref" in part:
        part = {**parts[part["$ref"].rsplit("/", 1)[1]], **{k: v for k, v in part.items() if k != "$ref"}}
    part = {k: v for k, v in part.items() if k not in ("$defs", "default", "title", "additionalProperties")}
    if "description" in part:
        part["description"] = " ".join(part["description"].split())
    if "anyOf" in part:
        (one,) = [x for x in part.pop("anyOf") if x != {"type": "null"}]
        part = nullable({**plain(one, parts), **part})
    if "properties" in part:
        part["properties"] = {name: plain(one, parts) for name, one in part["properties"].items()}
    if "items" in part:
        part["items"] = plain(part["items"], parts)
    if {"enum", "const"} & part.keys():
        part.pop("type", None)
    return sorted_words(part)


def nullable(part: dict[str, Any]) -> dict[str, Any]:
    """Return a part that may be null as well."""
    if "enum" in part:
        return {**part, "enum": [*part["enum"], None]}
    return {**part, "type": [part["type"], "null"]}


def sorted_words(part: dict[str, Any]) -> dict[str, Any]:
    """Return a part with its words in a settled order."""
    first = {word: part[word] for word in ORDER[:6] if word in part}
    last = {word: part[word] for word in ORDER[6:] if word in part}
    return {**first, **{k: v for k, v in part.items() if k not in (*first, *last)}, **last}


def made() -> dict[str, str]:
    return {
        path: json.dumps(schema(*document), indent=2, ensure_ascii=False) + "\n" for path, document in DOCUMENTS.items()
    }
