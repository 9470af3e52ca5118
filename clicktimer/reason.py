"""Why something was decided, as a code with its figures; the sentence comes last, from the message catalogue."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Final, TypeAlias

AS_WRITTEN: Final = "notice.as-written"
"""The code of a sentence that an earlier program noted in words."""

Figure: TypeAlias = "float | int | str | bool | tuple[Figure, ...] | Reason | None"
"""What a reason may carry: SI numbers, names, codes, times in seconds, tuples of these, or another reason."""


@dataclass(frozen=True, slots=True, init=False)
class Reason:
    """Why something was decided: a code of the message catalogue with its figures. Hashable; equal by value.

    Attributes
    ----------
    code : str
        Its name in the catalogue; ``render_text`` and the JSON give the words.
    figures : tuple of (str, value)
        Its figures by name, SI units, sorted by name; ``reason["name"]`` gives one.

    Examples
    --------
    >>> Reason("verdict.crosses", mark_s=30.0)["mark_s"]
    30.0
    """

    code: str
    figures: tuple[tuple[str, Figure], ...]

    def __init__(self, code: str, **figures: Figure) -> None:
        object.__setattr__(self, "code", code)
        object.__setattr__(self, "figures", tuple(sorted(figures.items())))

    def __getitem__(self, name: str) -> Figure:
        return dict(self.figures)[name]

    @classmethod
    def from_data(cls, noted: Any) -> Reason:
        """Return a reason from plain data: its code and figures, or the words that an earlier program wrote instead.

        Raises
        ------
        ValueError
            If it is neither.
        """
        if isinstance(noted, str):
            return cls(AS_WRITTEN, words=noted)
        if not (isinstance(noted, dict) and isinstance(noted.get("code"), str)):
            raise ValueError("neither a code with figures nor words")
        figures = noted.get("figures", {})
        if not isinstance(figures, dict):
            raise ValueError("the figures of a code are not named")
        return cls(noted["code"], **{name: _figure(figure) for name, figure in figures.items()})

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: Any) -> Any:
        """Let a checked reader of plain data read a reason as ``from_data`` does."""
        from pydantic import PlainValidator

        return handler.generate_schema(Annotated[Any, PlainValidator(cls.from_data)])


def _figure(noted: Any) -> Figure:
    if isinstance(noted, dict):
        return Reason.from_data(noted)
    return tuple(_figure(one) for one in noted) if isinstance(noted, list) else noted
