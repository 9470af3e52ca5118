"""Makes the tables of docs/site.md from the fields themselves."""

from __future__ import annotations

import re
from pathlib import Path

from clicktimer.site.fields import FIELDS, TANK_KEYS

PAGE = Path(__file__).parents[1] / "site.md"


def fields_table() -> str:
    """Return the table of fields."""
    lines = ["| key | example | what it is | how to get it |", "|---|---|---|---|"]
    group = ""
    for field in FIELDS:
        if field.group != group:
            group = field.group
            lines.append(f"| **{group}** | | | |")
        example = field.example if field.kind == "count" else f'"{field.example}"'
        lines.append(f"| `{field.key}` | `{example}` | {field.question.rstrip('?')} | {field.how} |")
    return "\n".join(lines)


def tank_table() -> str:
    """Return the table of what a [[tank]] may hold."""
    lines = ["| key | example | what it is |", "|---|---|---|"]
    lines += [f'| `{key}` | `"{example}"` | {asks.rstrip("?")} |' for key, (asks, _, example) in TANK_KEYS.items()]
    return "\n".join(lines)


def page(text: str) -> str:
    """Return the page with its two tables made anew."""
    for name, made in (("fields", fields_table()), ("tank", tank_table())):
        marks = (f"<!-- {name} -->", f"<!-- end of {name} -->")
        text = re.sub(f"{marks[0]}.*?{marks[1]}", lambda _: f"{marks[0]}\n{made}\n{marks[1]}", text, flags=re.DOTALL)  # noqa: B023
    return text


def made() -> dict[str, str]:
    return {"docs/site.md": page(PAGE.read_text("utf-8"))}
