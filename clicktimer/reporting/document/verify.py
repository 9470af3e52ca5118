"""10 document: a document and its recordings in; measured again, out comes whether it still agrees, and where not."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from contextlib import nullcontext
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from clicktimer.errors import InputError
from clicktimer.reporting.document.compose import FORMAT, FORMAT_VERSION, Presented, compose, result_json
from clicktimer.reporting.document.differences import differ_text, differences, only_texts
from clicktimer.reporting.document.evidence import FileFact, file_facts, gather_evidence
from clicktimer.reporting.document.remeasure import Asked, Result, lying_in, measure_asked
from clicktimer.reporting.html import embedded_data, render_html
from clicktimer.reporting.json.read import first_wrong
from clicktimer.reporting.pdf import attached_data, render_pdf
from clicktimer.settings import Progress

MOST_TOLD: Final = 10
NO_DATA: Final = "{name}: no figures are embedded in it; give a report as clicktimer report wrote it, .html or .pdf"
NOT_WHOLE: Final = "{name}: the figures embedded in it are not as clicktimer writes them (at {where})"
NOT_THERE: Final = "the recording {name} is not beside the report; lay it there, or name it behind --check FILE"
OTHER: Final = "{name} is not the recording that the report is of (its SHA-256 is another): the report does not agree."
AGREES: Final = "Measured again: every figure agrees."
BY_HAND: Final = (
    "Its clicks were corrected by hand: this checks the figures with the same corrections, not whether the corrections "
    "are right."
)
WORDS_AGREE: Final = "The words are those that clicktimer writes of these figures."
PICTURES_DIFFER: Final = (
    "Some pictures or sounds are not byte for byte the same: other versions of the libraries draw them otherwise."
)
WORDS_DIFFER: Final = (
    "The words of the document are not those that clicktimer writes of these figures: it was changed by hand, or "
    "written by another build of clicktimer."
)
OTHER_PROGRAM: Final = (
    "It was made by clicktimer {theirs}, this is {ours}: words and figures may differ for that reason alone."
)


@dataclass(frozen=True, slots=True)
class Embedded:
    """What a document carries (compose.py writes it)."""

    program: str
    recordings: tuple[FileFact, ...]
    asked: Asked
    presented: Presented
    result: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Checked:
    """What came of a check: whether the document agrees, and that in sentences."""

    agrees: bool
    told: tuple[str, ...]


def check_document(
    path: Path, recordings: Sequence[str] = (), *, program: str, progress: Progress | None = None
) -> Checked:
    """Measure again what a document is of. recordings: where they lie; else they are looked for beside it.

    Raises InputError where the document or a recording cannot be read.
    """
    was = _embedded_in(path)
    paths = _places(path, [file.name for file in was.recordings], recordings)
    told = []
    if was.program != program:
        told.append(OTHER_PROGRAM.format(theirs=was.program, ours=program))
    for before, now in zip(was.recordings, file_facts(paths), strict=True):
        if before.sha256 != now.sha256:
            return Checked(False, (*told, OTHER.format(name=now.name)))
    result = _named(measure_asked(lying_in(was.asked, path.parent), paths, lambda _stage: nullcontext(progress)), was)
    found = list(differences(was.result, result_json(result, program=program)))
    if found:
        told += [differ_text(found), *(difference.text for difference in found[:MOST_TOLD])]
        # Another build may say the same in other words.
        return Checked(was.program != program and only_texts(found), tuple(told))
    told.append(AGREES)
    if was.result.get("correction") is not None:
        told.append(BY_HAND)
    same, sentences = _same_words(path, was, result, paths)
    return Checked(same or was.program != program, (*told, *sentences))


def _embedded_in(path: Path) -> Embedded:
    from pydantic import TypeAdapter, ValidationError

    try:
        raw = path.read_bytes()
    except OSError as error:
        raise InputError(f"{path}: {error.strerror}; give the report that was written") from None
    text = attached_data(path) if raw.startswith(b"%PDF") else embedded_data(raw.decode("utf-8", errors="replace"))
    try:
        head = json.loads(text or "")
        if head["format"] != FORMAT:
            raise KeyError(head["format"])
        if head["version"] > FORMAT_VERSION:
            raise InputError(f"{path.name} was written by a newer clicktimer; update clicktimer to check it")
    except (ValueError, TypeError, KeyError, RecursionError):
        raise InputError(NO_DATA.format(name=path.name)) from None
    try:
        embedded = TypeAdapter(Embedded).validate_python(head)
    except ValidationError as error:
        where = ".".join(str(part) for part in error.errors(include_url=False)[0]["loc"])
        raise InputError(NOT_WHOLE.format(name=path.name, where=where)) from None
    if (wrong := first_wrong(embedded.result)) is not None:
        raise InputError(NOT_WHOLE.format(name=path.name, where=f"result.{wrong[0]}"))
    return embedded


def _places(path: Path, names: Sequence[str], recordings: Sequence[str]) -> list[str]:
    if not names:
        raise InputError(NO_DATA.format(name=path.name))
    if recordings and len(recordings) != len(names):
        raise InputError(f"the report is of {len(names)} recordings, {len(recordings)} are named; name each, in order")
    places = list(recordings) or [str(path.parent / Path(name).name) for name in names]
    for name, place in zip(names, places, strict=True):
        if not Path(place).exists():
            raise InputError(NOT_THERE.format(name=name))
    return places


def _named(result: Result, was: Embedded) -> Result:
    """The result under the recording's name in the document: it may be called otherwise by now, and be the same."""
    told = was.result.get("source")
    name = told.get("name") if isinstance(told, Mapping) else None
    source = replace(result.measured.source, name=str(name))
    return replace(result, measured=replace(result.measured, source=source))


def _same_words(path: Path, was: Embedded, result: Result, paths: Sequence[str]) -> tuple[bool, list[str]]:
    """Write the document anew and hold it against the one that is there."""
    evidence = gather_evidence(paths, result.measured, every=was.presented.all_clicks)
    files = zip(evidence.files, was.recordings, strict=True)
    evidence = replace(evidence, files=tuple(replace(now, name=then.name) for now, then in files))
    document = compose(result, was.asked, was.presented, evidence, program=was.program)
    old = path.read_bytes()
    if old.startswith(b"%PDF"):
        new = render_pdf(document).data
        same = new == old or _pdf_text(new) == _pdf_text(old)
    else:
        new = render_html(document)
        same = _without_pictures(new) == _without_pictures(old)
    if not same:
        return False, [WORDS_DIFFER]
    return True, [WORDS_AGREE] if new == old else [WORDS_AGREE, PICTURES_DIFFER]


def _without_pictures(page: bytes) -> bytes:
    return re.sub(rb'src="data:[^"]*"', b"", page)


def _pdf_text(data: bytes) -> list[str]:
    import io

    from pypdf import PdfReader

    return [page.extract_text() for page in PdfReader(io.BytesIO(data)).pages]
