"""The catalogue of messages: every code has a sentence, every sentence a code, and paper names no option."""

from __future__ import annotations

import ast
import re
import string
from pathlib import Path

import pytest

from clicktimer.records import Reason
from clicktimer.reporting.messages import catalogue
from clicktimer.reporting.messages.catalogue import KINDS, CatalogueError, Messages, entries

PACKAGE = Path(__file__).parents[2] / "clicktimer"
COMMAND_WANTED = {"document.label.check", "page.standing.cut-off", "page.standing.older", "page.run.more"}
"""How a document is checked, and what is left to do at the computer that listened: the command is what they say."""
OPTION = re.compile(r"--[a-z]|docs/|\bclicktimer [a-z]")


def literals() -> set[str]:
    """Return every string in the package; of an f-string its fixed beginning, with a * behind."""
    found = set()
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                found.add(node.value)
            elif isinstance(node, ast.JoinedStr) and node.values and isinstance(node.values[0], ast.Constant):
                found.add(f"{node.values[0].value}*")
    return found


def fields(template: str) -> list[tuple[str, str]]:
    return [(name, spec or "") for _, name, spec, _ in string.Formatter().parse(template) if name is not None]


def test_every_message_is_used_and_every_code_has_a_message():
    used, codes = literals(), set(entries())
    nested = {
        re.sub(r"\.\*.*|$", ".", spec.partition(" ")[2], count=1)
        for forms in entries().values()
        for template in forms.values()
        for _, spec in fields(template)
        if spec.startswith(("message ", "messages "))
    }
    prefixes = tuple({u[:-1] for u in used if u.endswith(".*")} | nested)
    unused = sorted(c for c in codes if c not in used and not c.startswith(prefixes))
    assert not unused, f"no code asks for these messages: {unused}"
    areas = {c.split(".")[0] for c in codes}
    asked = {
        node.args[0].value
        for path in PACKAGE.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Call)
        and node.args
        and isinstance(node.args[0], ast.Constant)
        and isinstance(node.args[0].value, str)
        and (
            (isinstance(node.func, ast.Name) and node.func.id == "Reason")
            or (isinstance(node.func, ast.Attribute) and node.func.attr == "text" and "." in node.args[0].value)
        )
    }
    missing = sorted(c for c in asked if c.split(".")[0] in areas and c not in codes)
    assert not missing, f"the catalogue lacks: {missing}"


def test_every_figure_of_a_message_has_a_known_kind():
    for code, forms in entries().items():
        assert set(forms) <= {"text", "document", "page"}, code
        for template in forms.values():
            for name, spec in fields(template):
                assert name, f"{code}: give each figure a name"
                kind = spec.partition(" ")[0]
                assert kind in KINDS or re.fullmatch(r"[,+]?(\.\d+)?[dfg]?", kind), f"{code}: {spec!r}"


@pytest.mark.parametrize("audience", ["document", "page"])
def test_no_reader_without_a_command_line_is_told_of_an_option(audience: catalogue.Audience):
    for code, forms in entries().items():
        if code in COMMAND_WANTED:
            continue
        shown = next(forms[form] for form in catalogue.FALLBACK[audience] if form in forms)
        assert not OPTION.search(shown), f"{code}: give it a form for {audience}: {shown!r}"


def test_figures_are_written_in_the_readers_units_and_decimal_sign(monkeypatch: pytest.MonkeyPatch):
    made = {
        "a.rate": {"text": "at {rate:flow} for {run:seconds-interval}, {count} {count:choice run|runs}"},
        "a.gauge": {"text": "within 2 psi (0.14 bar) of {file}."},
    }
    monkeypatch.setattr(catalogue, "entries", lambda language="en": made)
    reason = Reason("a.rate", rate=30.28, run=(38.4, 38.1, 38.7), count=1)
    assert Messages().text(reason) == "at 8 gpm for 38.4 s (38.1 to 38.7 s), 1 run"
    assert Messages(units="metric", decimal="comma").text(reason) == "at 30,3 L/min for 38,4 s (38,1 to 38,7 s), 1 run"
    # A number in the sentence itself is ours; what a person typed is not.
    assert Messages(decimal="comma").text("a.gauge", file="2.5.wav") == "within 2 psi (0,14 bar) of 2.5.wav."


def test_a_form_falls_back_from_page_to_document_to_text(monkeypatch: pytest.MonkeyPatch):
    made = {"a.b": {"text": "say --taps-shut", "document": "close all taps"}, "a.c": {"text": "plain"}}
    monkeypatch.setattr(catalogue, "entries", lambda language="en": made)
    assert [Messages(audience).text("a.b") for audience in ("terminal", "document", "page")] == [
        "say --taps-shut",
        "close all taps",
        "close all taps",
    ]
    assert Messages("page").text("a.c") == "plain"


def test_a_code_without_a_message_and_a_missing_figure_are_named():
    with pytest.raises(CatalogueError, match=r"no message 'no\.such'"):
        Messages().text("no.such")
    with pytest.raises(CatalogueError, match="no messages in the language 'xx'"):
        Messages(language="xx").text("no.such")


def test_a_reason_is_equal_by_value_and_gives_its_figures():
    assert Reason("a", x=1.0, y=2) == Reason("a", y=2, x=1.0)
    assert Reason("a", x=1.0) != Reason("a", x=2.0)
    assert len({Reason("a", x=1.0), Reason("a", x=1.0)}) == 1
    assert Reason("a", x=1.0)["x"] == 1.0


def test_a_proof_of_both_kinds_of_click_is_said_in_words():
    """A written count is a text, not a reason: looked up as a code, it stopped every document with a proof."""
    said = Messages().text("proof.both-kinds", cut_in="50 of 50", cut_out="48 of 50")
    assert said == "Cut-in 50 of 50, cut-out 48 of 50."
