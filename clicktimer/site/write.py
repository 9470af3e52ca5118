"""A site file's text from its values: the fields in their order, under the headings of their groups, as comments."""

from __future__ import annotations

from collections.abc import Mapping

from clicktimer.site.fields import FIELDS
from clicktimer.site.values import Value

HEAD = (
    "# What is known of this house's tank, switch, pump and well, for clicktimer (--site FILE).\n"
    "# Every line may be left out. Options on the command line overrule it. Check it: clicktimer site check FILE\n"
)
_ESCAPES = {"\\": "\\\\", '"': '\\"', "\n": "\\n", "\r": "\\r", "\t": "\\t", "\b": "\\b", "\f": "\\f"}


def site_text(values: Mapping[str, Value]) -> str:
    """Return the text of a site file that reads back to these values (by key; unknown keys are left out)."""
    parts = [HEAD]
    group = ""
    for field in FIELDS:
        if field.key not in values:
            continue
        if field.group != group:
            group = field.group
            parts.append(f"\n# {group}\n")
        parts.append(f"{field.key} = {_value(values[field.key])}\n")
    return "".join(parts)


def _value(value: Value) -> str:
    if isinstance(value, int):
        return str(value)
    if isinstance(value, tuple):
        return _quoted(value[0]) if len(value) == 1 else "[" + ", ".join(map(_quoted, value)) + "]"
    return _quoted(value)


def _quoted(text: str) -> str:
    """A TOML basic string: what it may not hold as it stands is escaped."""
    return '"' + "".join(_ESCAPES.get(c) or (c if _plain(c) else f"\\u{ord(c):04x}") for c in text) + '"'


def _plain(char: str) -> bool:
    return ord(char) >= 0x20 and ord(char) != 0x7F
