"""Makes docs/api.md from the docstrings of the public names: numpydoc sections as tables, signatures as they are."""

from __future__ import annotations

import inspect
import re
from typing import Any

import clicktimer

INTRODUCTION = """# Python reference

For programs that call clicktimer. Made from the docstrings by `python docs/make.py api`; do not edit by hand.

Every public name of the package: `import clicktimer`, then `clicktimer.measure(...)`. Times are seconds from the first
decoded sample, lengths are in seconds, and every number has its unit in its name. Records are frozen dataclasses. An
example with its output, and the same as JSON and CSV: [JSON, CSV and Python](json.md).
"""
LISTED = ("Parameters", "Attributes", "Returns", "Raises")
_HEADING = re.compile(r"^(\w[\w ]*)\n-{3,}\n", re.MULTILINE)


def sections_of(docstring: str) -> dict[str, str]:
    """Return the text of a numpydoc docstring by section; what comes before the first has the key ''."""
    parts = _HEADING.split(inspect.cleandoc(docstring))
    return {"": parts[0].strip(), **{n: t.strip("\n") for n, t in zip(parts[1::2], parts[2::2], strict=True)}}


def entries_of(section: str) -> list[tuple[str, str]]:
    """Return (name and type, description) of each entry of a listed section."""
    entries: list[tuple[str, list[str]]] = []
    for line in section.splitlines():
        if line and not line.startswith(" "):
            entries.append((line.strip(), []))
        elif line.strip():
            entries[-1][1].append(line.strip())
    return [(head, " ".join(lines)) for head, lines in entries]


def made() -> dict[str, str]:
    names = [name for name in clicktimer.__all__ if not name.startswith("__")]
    objects = {name: getattr(clicktimer, name) for name in names}
    groups = (
        ("Functions", [n for n in names if inspect.isfunction(objects[n])]),
        ("Records", [n for n in names if inspect.isclass(objects[n]) and not issubclass(objects[n], Exception)]),
        ("Errors", [n for n in names if inspect.isclass(objects[n]) and issubclass(objects[n], Exception)]),
    )
    parts = [INTRODUCTION]
    for title, members in groups:
        parts.append(f"## {title}\n")
        parts += [_described(name, objects[name]) for name in members]
    return {"docs/api.md": "\n".join(parts)}


def _described(name: str, thing: Any) -> str:
    sections = sections_of(thing.__doc__ or "")
    lines = [f"### `{name}`", ""]
    if inspect.isfunction(thing):
        lines += ["```", _signature(name, thing), "```", ""]
    elif issubclass(thing, Exception):
        bases = [base.__name__ for base in thing.__bases__]
        lines += [f"A subclass of {' and '.join(f'`{base}`' for base in bases)}.", ""]
    lines += [_marked(sections.pop("")), ""]
    for title, text in sections.items():
        lines += [f"**{title}**", ""]
        if title in LISTED:
            lines += _table(title, entries_of(text))
        elif title == "Examples":
            lines += ["```", text.strip(), "```"]
        else:
            lines += [_marked(text)]
        lines.append("")
    return "\n".join(lines)


def _signature(name: str, function: Any) -> str:
    parameters = inspect.signature(function).parameters.values()
    lines, keyword_only = [], False
    for parameter in parameters:
        if parameter.kind is parameter.KEYWORD_ONLY and not keyword_only:
            lines.append("    *,")
            keyword_only = True
        default = "" if parameter.default is parameter.empty else f"={_default(parameter.default)}"
        lines.append(f"    {parameter.name}{default},")
    return "\n".join([f"{name}(", *lines, ")"])


def _default(value: Any) -> str:
    return value.__name__ if inspect.isclass(value) or inspect.isfunction(value) else repr(value)


def _table(title: str, entries: list[tuple[str, str]]) -> list[str]:
    if title == "Raises":
        return ["| error | when |", "|---|---|", *(f"| `{head}` | {_cell(text)} |" for head, text in entries)]
    if title == "Returns":
        return ["| type | what it is |", "|---|---|", *(f"| {_cell(head)} | {_cell(text)} |" for head, text in entries)]
    rows = ["| name | type | what it is |", "|---|---|---|"]
    for head, text in entries:
        name, _, kind = head.partition(" : ")
        rows.append(f"| `{name}` | {_cell(kind)} | {_cell(text)} |")
    return rows


def _cell(text: str) -> str:
    return _marked(text).replace("|", "\\|")


def _marked(text: str) -> str:
    """Return reStructuredText's literals as Markdown's."""
    return text.replace("``", "`")
