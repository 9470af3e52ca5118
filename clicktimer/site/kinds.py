"""The kinds of fields that a site file is declared from: written text, lists, counts. Each checks what stands in it.

A field is the metadata of an annotation, so pydantic calls it while it reads a file; without pydantic, ``check`` does
the same for one value. No pydantic is imported before that: it is slow to load.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from keyword import iskeyword
from typing import Any, Literal, get_type_hints

from clicktimer.errors import ClicktimerError
from clicktimer.site.values import Value

Kind = Literal["free", "text", "list", "count", "tanks"]
MOST_COUNT = 200


@dataclass(frozen=True, slots=True)
class SiteField:
    """One field of a site file.

    question: what ``site new`` asks. example: as it is written. read: understands the text. unit: the one in which it
    is usually written in the United States. how: how to get it, for where it is missing. asked: whether ``site new``
    asks for it; the rest is for who edits the file. key: as it stands in the file, the name of the option it stands
    for.
    """

    group: str
    question: str
    example: str
    read: Callable[[str], Any] = str
    unit: str = ""
    how: str = ""
    asked: bool = True
    key: str = ""

    @property
    def kind(self) -> Kind:
        """Return "free" text, "text" that ``read`` understands, a "list" of such, a "count", or "tanks"."""
        return "free" if self.read is str else "text"

    def check(self, value: Any) -> Value:
        """Return a value as it is kept. Raises ValueError with what is wrong."""
        raise NotImplementedError

    def check_text(self, value: Any) -> str:
        """Return one text, checked. Raises ValueError with what is wrong."""
        free = self.read is str
        if free and isinstance(value, datetime.date | datetime.datetime | datetime.time):
            value = value.isoformat()
        if isinstance(value, int | float) and not isinstance(value, bool) and not free:
            raise ValueError(f'{value} has no unit: write it in quotes with its unit, such as "{self.example}"')
        if free and isinstance(value, int) and not isinstance(value, bool):
            value = str(value)
        if not isinstance(value, str):
            raise ValueError(f'must be text in quotes, such as "{self.example}"')
        if not value.strip():
            raise ValueError(f'is empty: leave the line out, or write it such as "{self.example}"')
        try:
            self.read(value)
        except ClicktimerError as error:
            raise ValueError(str(error)) from None
        return value if free else " ".join(value.split())

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> Any:
        """Let pydantic check a value by ``check`` before it looks at its type."""
        from pydantic import BeforeValidator, ValidationInfo

        def check(value: Any, info: ValidationInfo) -> Value:
            return replace(self, key=key_of(str(info.field_name))).check(value)

        return BeforeValidator(check).__get_pydantic_core_schema__(source, handler)


class Written(SiteField):
    """One text."""

    __slots__ = ()

    def check(self, value: Any) -> Value:
        """Return the text. Raises ValueError."""
        return self.check_text(value)


class Listed(SiteField):
    """One text or several."""

    __slots__ = ()

    @property
    def kind(self) -> Kind:
        """Return "list"."""
        return "list"

    def check(self, value: Any) -> Value:
        """Return the texts. Raises ValueError."""
        return tuple(self.check_text(item) for item in (value if isinstance(value, list) else [value]))


class Counted(SiteField):
    """A whole number of people or rooms."""

    __slots__ = ()

    @property
    def kind(self) -> Kind:
        """Return "count"."""
        return "count"

    def check(self, value: Any) -> Value:
        """Return the number. Raises ValueError."""
        if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= MOST_COUNT:
            raise ValueError(f"must be a whole number from 1 to {MOST_COUNT}, such as {self.key} = {self.example}")
        return value


def declared(model: type[Any]) -> tuple[SiteField, ...]:
    """Return the fields of a data class in their order, each with its key."""
    hints = get_type_hints(model, include_extras=True)
    return tuple(replace(hints[f.name].__metadata__[0], key=key_of(f.name)) for f in fields(model))


def attribute_of(key: str) -> str:
    """Return the attribute of a key: ``yield`` is a word of Python and has an underscore behind."""
    name = key.replace("-", "_")
    return f"{name}_" if iskeyword(name) or name.endswith("_") else name


def key_of(attribute: str) -> str:
    """Return the key of an attribute."""
    return attribute.removesuffix("_").replace("_", "-")


def zero_ok(parse: Callable[..., float]) -> Callable[[str], float]:
    """Return a reader that takes zero as well."""
    return lambda text: parse(text, zero_ok=True)
