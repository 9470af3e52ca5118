"""Reasons and the records that hold them, as JSON can hold them, and back; also as earlier programs noted them.

An earlier program noted a sentence where now there is a reason: it comes back as a reason that holds the words.
"""

from __future__ import annotations

import json
from dataclasses import fields, is_dataclass
from typing import Any

from clicktimer.records import AS_WRITTEN, Reason


def as_data(value: Any) -> Any:
    """Return a record, or what a record holds, as plain data; a reason as its code and figures."""
    if isinstance(value, Reason):
        return {"code": value.code, "figures": {name: as_data(figure) for name, figure in value.figures}}
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: as_data(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, list | tuple):
        return [as_data(item) for item in value]
    return value


def reason_text(reason: Reason) -> str:
    """Return a reason as the text of one column of a table; plain words stay as they are."""
    if reason.code == AS_WRITTEN:
        return str(reason["words"])
    return json.dumps(as_data(reason), ensure_ascii=False)


def text_reason(text: str) -> Reason:
    """Return the reason that a column holds, or the words that an earlier program wrote there."""
    if not text.startswith('{"code"'):
        return Reason.from_data(text)
    return Reason.from_data(json.loads(text))
