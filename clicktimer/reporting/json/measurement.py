"""A measurement as JSON: the form that other programs read (docs/json.md, docs/measurement.schema.json).

Times are seconds from the first decoded sample, rounded to a microsecond, which is finer than any
click can be told. What is not known is null; a number that is not finite never appears.
"""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Mapping
from typing import Any

from clicktimer.assessment.measurement import Measurement
from clicktimer.reporting.formatting import plain
from clicktimer.reporting.json.records import click_json, cycle_json, notice_json, run_json, verdict_json
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.text.causes import causes_json
from clicktimer.reporting.text.correction import correction_json
from clicktimer.reporting.text.proof import proof_json

FORMAT = "clicktimer-measurement"
FORMAT_VERSION = 1
DECIMALS = 6


def measurement_json(measurement: Measurement, *, program_version: str) -> dict[str, Any]:
    """Return the JSON document of one measurement (docs/json.md).

    Parameters
    ----------
    measurement : Measurement
        What was measured.
    program_version : str
        The version of clicktimer that measured.

    Returns
    -------
    dict
        Plain dicts, lists, numbers and text. Times and lengths are in seconds.
    """
    m = measurement
    document = {
        "format": FORMAT,
        "version": FORMAT_VERSION,
        "program": {"version": program_version, "settings": m.settings},
        "source": {
            "name": bare_name(m.source.name),
            "duration_s": m.source.duration_s,
            "sample_rate_hz": m.source.sample_rate_hz,
            "channels": m.source.channels,
            "sha256": m.source.sha256,
            "started_at": m.source.started_at,
            "started_how": m.source.started_how,
        },
        "clicks": [click_json(c) for c in m.clicks],
        "cycles": [cycle_json(c) for c in m.cycles],
        "gaps": m.gaps,
        "ambiguous": None
        if m.ambiguous is None
        else {
            "text": Messages().texts(m.ambiguous.reasons),
            "first": {"starts_s": m.ambiguous.first_starts_s, "lengths_s": m.ambiguous.first_s},
            "second": {"starts_s": m.ambiguous.second_starts_s, "lengths_s": m.ambiguous.second_s},
        },
        "run": run_json(m.run),
        "verdict": verdict_json(m.verdict),
        "tank": _tank(m.tank),
        "causes": causes_json(m.causes),
        "warnings": [notice_json(n) for n in m.warnings],
        "correction": correction_json(m.correction),
        "proof": proof_json(m.proof),
    }
    cleaned: dict[str, Any] = jsonable(document)
    return cleaned


def document_text(document: Mapping[str, Any], *, one_line: bool = False) -> str:
    """Return a document as text that ends in a newline: indented, or on one line for JSON Lines."""
    if one_line:
        return json.dumps(document, ensure_ascii=False, allow_nan=False, separators=(", ", ": ")) + "\n"
    return json.dumps(document, ensure_ascii=False, allow_nan=False, indent=2) + "\n"


def jsonable(value: Any) -> Any:  # noqa: PLR0911
    """Return ``value`` made of JSON's own types only: finite numbers to 6 decimals, null where unknown."""
    if value is None or isinstance(value, bool | int):
        return value
    if isinstance(value, str):
        return plain(value)
    if isinstance(value, float):
        if not math.isfinite(value):
            return None
        return round(value, DECIMALS) + 0.0  # + 0.0 turns -0.0 into 0.0
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: jsonable(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {plain(str(k)): jsonable(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [jsonable(v) for v in value]
    if hasattr(value, "item"):  # a numpy scalar
        return jsonable(value.item())
    raise TypeError(f"no JSON form for {type(value).__name__}")


def bare_name(name: str) -> str:
    """Return the file name without its folders, whichever slash they were written with."""
    return name.replace("\\", "/").rsplit("/", 1)[-1]


def _tank(tank: Any) -> Any:
    if tank is None or isinstance(tank, Mapping):
        return tank
    from clicktimer.reporting.json.tank import tank_json

    return tank_json(tank)
