"""Makes the tables of docs/site.md from the fields themselves."""

from __future__ import annotations

import re
from pathlib import Path

from clicktimer.site.fields import FIELDS
from clicktimer.site.tanks import TANK_FIELDS

PAGE = Path(__file__).parents[1] / "site.md"


def fields_table() -> str:
    """Return the table of fields."""
    lines = ["| key | example | unit | what it is | how to get it |", "|---|---|---|---|---|"]
    group = ""
    for field in FIELDS:
        if field.group != group:
            group = field.group
            lines.append(f"| **{group}** | | | | |")
        example = field.example if field.kind == "count" else f'"{field.example}"'
        lines.append(f"| `{field.key}` | `{example}` | {field.unit} | {field.question.rstrip('?')} | {field.how} |")
    return "\n".join(lines)


def tank_table() -> str:
    """Return the table of what a [[tank]] may hold."""
    lines = ["| key | example | unit | what it is |", "|---|---|---|---|"]
    lines += [f'| `{f.key}` | `"{f.example}"` | {f.unit} | {f.question.rstrip("?")} |' for f in TANK_FIELDS]
    return "\n".join(lines)


def page(text: str) -> str:
    """Return the page with its two tables made anew."""
    for name, made in (("fields", fields_table()), ("tank", tank_table())):
        marks = (f"<!-- {name} -->", f"<!-- end of {name} -->")
        text = re.sub(f"{marks[0]}.*?{marks[1]}", lambda _: f"{marks[0]}\n{made}\n{marks[1]}", text, flags=re.DOTALL)  # noqa: B023
    return text


def made() -> dict[str, str]:
    return {"docs/site.md": page(PAGE.read_text("utf-8"))}
