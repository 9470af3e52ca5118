"""What a listening folder notes of its result and options, written and read back into records, checked.

A program of another day may have written it: unknown fields are ignored, fields that are not there have the record's
default, and what has a wrong type is one StoreError.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, TypeVar

from clicktimer.assessment.measurement import Measurement
from clicktimer.errors import StoreError
from clicktimer.records import (
    Click,
    Cycle,
    Gap,
    Intervals,
    Notice,
    RunTime,
    SourceInfo,
    Verdict,
)
from clicktimer.storage.reasons import as_data

RESULT: Final = "result"
"""Under this name the settled result is noted in a folder, for who only looks at it; measuring never reads it."""

WORDS: Final[dict[str, dict[str, str]]] = {
    "run": {"text": "notes", "doubt": "doubts"},
    "verdict": {"text": "reasons", "settle": "settle"},
    "ambiguous": {"text": "reasons"},
    "cycles": {"note": "notes"},
    "warnings": {"text": "reason"},
}
"""The fields that held words in an earlier program, and those that hold reasons now."""

T = TypeVar("T")
_ADAPTERS: Final[dict[type[Any], Any]] = {}


@dataclass(frozen=True, slots=True)
class SettledResult:
    """The settled result without tank and causes, which follow from its run. end_s: where its sound ends."""

    end_s: float
    run: RunTime | None = None
    verdict: Verdict = field(default_factory=lambda: Verdict(None, False))
    ambiguous: Intervals | None = None
    cycles: tuple[Cycle, ...] = ()
    warnings: tuple[Notice, ...] = ()

    def measurement(self, source: SourceInfo, clicks: Sequence[Click], gaps: Sequence[Gap]) -> Measurement:
        """Return it as a measurement of this source, these clicks and these gaps."""
        return Measurement(
            source=source,
            clicks=tuple(clicks),
            cycles=self.cycles,
            gaps=tuple(gaps),
            ambiguous=self.ambiguous,
            run=self.run,
            verdict=self.verdict,
            warnings=self.warnings,
        )


@dataclass(frozen=True, slots=True)
class NotedSystem:
    """The tank, switch and pump a folder was listened with: texts by option name, and where each came from."""

    given: Mapping[str, str | Sequence[str]]
    origins: Mapping[str, Any]
    site: str | None


def result_noted(measured: Measurement) -> dict[str, Any]:
    """Return what is noted of the settled result, as JSON can hold it."""
    m = measured
    noted: dict[str, Any] = as_data(
        SettledResult(m.source.duration_s, m.run, m.verdict, m.ambiguous, m.cycles, m.warnings)
    )
    return noted


def noted_result(about: Mapping[str, Any], place: str) -> SettledResult | None:
    """Return the settled result as it is noted, None where there is none. Raises StoreError."""
    return None if not about.get(RESULT) else record_of(SettledResult, _with_reasons(about[RESULT]), place, "result")


def _with_reasons(noted: Any) -> Any:
    """Return a result with reasons where an earlier program noted words; what is no such result stays as it is."""
    if not isinstance(noted, dict):
        return noted
    return {name: _renamed(value, WORDS.get(name, {})) for name, value in noted.items()}


def _renamed(value: Any, words: Mapping[str, str]) -> Any:
    if isinstance(value, list):
        return [_renamed(one, words) for one in value]
    if not isinstance(value, dict):
        return value
    changed = dict(value)
    for before, now in words.items():
        if isinstance(changed.get(before), str):
            text = changed.pop(before)
            changed[now] = text if now == "reason" else [text] if text else []
    return changed


def noted_system(about: Mapping[str, Any], place: str) -> NotedSystem | None:
    """Return the system as it is noted, None where there is none. Raises StoreError."""
    noted = about.get("system") or {}
    given = noted.get("given") if isinstance(noted, dict) else ""
    # Checked by hand: every measurement of a folder comes here, and pydantic takes a third of a second to load.
    if not (isinstance(given, dict | None) and all(map(_is_text, (given or {}).values()))):
        raise _unreadable(place, "system")
    if not given:
        return None
    origins, site = noted.get("origins", {}), noted.get("site")
    if not (isinstance(origins, dict) and isinstance(site, str | None)):
        raise _unreadable(place, "system")
    return NotedSystem(given, origins, site)


def record_of(kind: type[T], noted: Any, place: str, what: str) -> T:
    """Return a record of a data class from plain data. what: its name in the message. Raises StoreError."""
    from pydantic import TypeAdapter, ValidationError

    try:
        if kind not in _ADAPTERS:
            _ADAPTERS[kind] = TypeAdapter(kind)
        record: T = _ADAPTERS[kind].validate_json(json.dumps(noted), strict=True)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        field = ".".join(map(str, first["loc"]))
        raise _unreadable(place, f"{what}, {field}: {first['msg']}" if field else what) from None
    return record


def _is_text(value: Any) -> bool:
    return isinstance(value, str) or (isinstance(value, list) and all(isinstance(v, str) for v in value))


def _unreadable(place: str, what: str) -> StoreError:
    return StoreError(
        f"{place}: what it notes cannot be read ({what}): damaged, or of another clicktimer; use the one that wrote it"
    )
