"""A JSON document that was written before, read again: checked by its model, with what is wrong in one line."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, Final

from clicktimer.errors import InputError

FORMATS: Final = ("clicktimer-measurement", "clicktimer-day")
MEASUREMENT, DAY = FORMATS
NOT_OURS: Final = "{name} is no result of clicktimer: give a recording, a listening folder, or what --json wrote"
NOT_JSON: Final = "{name} is no JSON document: give the recording itself, or what measure or day --json wrote of it"


def read_document(text: str, name: str) -> dict[str, Any]:
    """Return the document that a text holds. name: of its file, for the message. Raises InputError."""
    try:
        document = json.loads(text)
    except (ValueError, RecursionError):
        raise InputError(NOT_JSON.format(name=name)) from None
    if not isinstance(document, dict) or document.get("format") not in FORMATS:
        raise InputError(NOT_OURS.format(name=name))
    wrong = first_wrong(document)
    if wrong is not None:
        raise InputError(f"{name} cannot be read: {wrong[0]}: {wrong[1]}; write it again with --json")
    return document


def first_wrong(document: Mapping[str, Any]) -> tuple[str, str] | None:
    """Return where a document first has a wrong type or value, and what is wrong, or None.

    A field that is not there is not wrong: an earlier program may have written the document.
    """
    from pydantic import ValidationError

    from clicktimer.reporting.json.model_day import DayDocument
    from clicktimer.reporting.json.model_measurement import MeasurementDocument

    model = DayDocument if document.get("format") == DAY else MeasurementDocument
    try:
        model.model_validate_json(json.dumps(document))
    except ValidationError as errors:
        for error in errors.errors(include_url=False):
            if error["type"] != "missing":
                return ".".join(map(str, error["loc"])), error["msg"]
    return None
