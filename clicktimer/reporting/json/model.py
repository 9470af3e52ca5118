"""The parts that the JSON documents are declared from. One field is one line: its type, what it says, and its bounds.

Both the schemas in docs/ and the reading of a document rest on these models. Documents are built without them,
by ``jsonable``: pydantic takes a third of a second to load, so a model is imported only where a document is read.
"""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, Field


class Part(BaseModel):
    """A part of a document. Unknown fields are ignored: a later program may have written them."""

    model_config = ConfigDict(extra="ignore", strict=True)


def says(text: str, *, optional: bool = False, **more: Any) -> Any:
    """Declare a field with what it says. more: bounds (ge, le, pattern), or alias for a word of Python."""
    return Field(None, description=text, **more) if optional else Field(description=text, **more)


class Interval(Part):
    """A figure with its 95 % interval."""

    value: float = says("The figure.")
    low: float = says("Lower end.")
    high: float = says("Upper end.")


class Reason(Part):
    """One reason."""

    code: str = says("Code of the message catalogue, such as day.leak-constant.")
    figures: dict[str, Any] = says(
        "Its figures by name, in SI units; intervals are value, low, high; a figure may be a reason again."
    )
