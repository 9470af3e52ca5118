"""What a document says on paper: no option of a command line, decimals as asked for, the words its page one uses."""

from __future__ import annotations

import ast
import io
import json
import re
import shutil
import sys
from collections.abc import Iterator
from dataclasses import replace
from importlib import metadata
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader

from clicktimer.audio.cutting import Cut
from clicktimer.cli import check, run
from clicktimer.pipeline import Outcome
from clicktimer.reporting.blocks import Rows, Words
from clicktimer.reporting.document.compose import Presented
from clicktimer.reporting.document.model import Document, Facts, Shown
from clicktimer.reporting.document.remeasure import Asked, Result, conclude_asked
from clicktimer.reporting.figures import click_pair, pair_spans_s
from clicktimer.reporting.figures.picture import Picture
from clicktimer.reporting.figures.style import styled
from clicktimer.reporting.html import render_html
from clicktimer.reporting.messages.catalogue import Messages, entries
from clicktimer.reporting.pdf import render_pdf
from clicktimer.tank.prices import compare_prices, parse_prices
from tests.support import documents
from tests.support.recordings import path_of

PACKAGE = Path(__file__).parents[2] / "clicktimer"
OPTION = re.compile(r"--[a-z]|docs/|\bclicktimer [a-z]")
SHARED = (
    "reporting/messages",
    "detection",
    "pipeline.py",
    "cycles",
    "assessment",
    "assessment/causes",
    "tank",
    "well",
    "quality/proof",
    "reporting",
    "reporting/text",
    "reporting/json",
    "day",
    "storage/replay_audio.py",
    "streaming/refill_test.py",
    "reporting/document",
)
NEVER_IN_A_DOCUMENT = {
    "reporting/text/placement.py",
    "reporting/text/comparison.py",
    "reporting/document/verify.py",
    "reporting/json/read.py",
    "reporting/json/model_day.py",
    "reporting/json/model_measurement.py",
}
"""Texts of commands that write no document, what is said of one, what refuses a file, and what describes the JSON."""


def texts_of_the_program() -> Iterator[str]:
    """Every string that a document could show, but for docstrings and messages of errors."""
    for name in SHARED:
        path = PACKAGE / name
        for file in [path] if path.suffix else sorted(path.glob("*.py")):
            if file.relative_to(PACKAGE).as_posix() not in NEVER_IN_A_DOCUMENT:
                yield from strings(ast.parse(file.read_text("utf-8")))


def strings(tree: ast.AST) -> Iterator[str]:
    left_out: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Raise):
            left_out |= {id(inner) for inner in ast.walk(node)}
        for statement in getattr(node, "body", []) if not isinstance(node, ast.Lambda | ast.IfExp) else []:
            if isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant):
                left_out.add(id(statement.value))
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in left_out:
            yield node.value


def shown_by(document: Document) -> Iterator[str]:
    first = document.first
    yield from (first.verdict, *first.found, *first.notes, *first.meaning, *first.cautions)
    yield from (step.text for step in first.steps)
    for section in document.sections:
        for part in section.parts:
            match part:
                case Words(text):
                    yield text
                case Rows(header, rows):
                    yield from (*header, *(cell for row in rows for cell in row))
                case Facts(facts):
                    yield from (fact.value for fact in facts)
                case Shown(picture):
                    yield from (picture.caption, picture.alt)


# --- no command line on paper ---------------------------------------------------------------------------------------


def test_no_sentence_of_the_program_names_an_option_on_paper():
    # What the catalogue says on paper is held by test_messages.py: outside it no room that a document draws on may.
    assert sum(bool(OPTION.search(forms["text"])) for forms in entries().values()) > 30, "the search has lost its sight"
    found = sorted({text for text in texts_of_the_program() if OPTION.search(text)})
    assert not found, f"give these a message with a form for a document: {found}"


def test_what_paper_says_reads_on():
    paper, terminal = Messages("document"), Messages()
    assert terminal.text("runs.more", count=12) == "12 more are in the JSON (--json FILE)."
    assert paper.text("runs.more", count=12) == "12 more are in the figures that this document carries."
    assert paper.text("runs.each-within", most_s=0.004) == terminal.text("runs.each-within", most_s=0.004)


# --- point or comma -------------------------------------------------------------------------------------------------


def test_a_comma_stands_in_numbers_and_nowhere_else():
    comma, point = Messages(decimal="comma"), Messages()
    for text, asked in (
        ("11.99 s (11.98 to 12.00 s)", "11,99 s (11,98 to 12,00 s)"),
        ("0:16.9", "0:16,9"),
        ("54.6959 × (1/74.6959)^(1/1.4)", "54,6959 × (1/74,6959)^(1/1,4)"),
        ("9.2e-05", "9,2e-05"),
        ("2031-05-04 06:30:00", "2031-05-04 06:30:00"),
        ("", ""),
    ):
        assert comma.number(text) == asked
        assert point.number(text) == text
    recorded = comma.text("document.about.recorded", name="tank 2.5.wav", length_s=2.5)
    assert recorded == "tank 2.5.wav, 2,5 s"


@given(st.floats(0, 1e5), st.integers(0, 4))
def test_any_figure_is_the_same_figure_with_a_comma(value: float, places: int):
    text = f"{value:.{places}f}"
    assert float(Messages(decimal="comma").number(text).replace(",", ".")) == float(text)


def pdf_words(document: Document) -> str:
    text = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(render_pdf(document).data)).pages)
    return " ".join(text.replace("\u200b", "").split())


def page_words(document: Document) -> str:
    page = render_html(document).decode()
    page = re.sub(r"<(script|style)\b.*?</\1>|src=\"data:[^\"]*\"", " ", page, flags=re.DOTALL)
    return " ".join(re.sub(r"<[^>]*>", " ", page).split())


HOUSE = {
    "people": 4,
    "use": ("3 gpm",),
    "static-level": "40 ft",
    "pump-depth": "180 ft",
    "well-depth": "200 ft",
    "casing": "6 in",
    "yield": "5 gpm",
}


def result_of(case: str) -> tuple[Result, Asked]:
    """A result to make a document of, with every section that one can have, each in one of them at the least."""
    if case == "day":
        return documents.of_a_day()
    if case == "house":
        runs = documents.of_runs([38.21, 37.4, 38.9])[0].measured
        what = documents.asked(house=HOUSE)
        return conclude_asked(what, Outcome(runs, what.options), []), what
    if case == "short runs":
        return documents.of_runs([9.1, 9.3, 9.2, 9.15])
    name = {"one-sided": "short-cycling-12s", "short": "short-cycling-12s", "nothing": "no-click"}[case]
    return documents.of_fixture(name, taps=None if case == "one-sided" else "shut")[:2]


@pytest.mark.parametrize(
    "case", ["short", "one-sided", "nothing", "short runs", "house", pytest.param("day", marks=pytest.mark.slow)]
)
def test_no_document_names_an_option_or_has_a_point_where_commas_were_asked_for(case: str):
    result, what = result_of(case)
    document = documents.made(result, what, Presented(decimal="comma"), heard=False)
    for text in shown_by(document):
        assert not OPTION.search(text), text
    wanted = document.labels["check"]  # the one sentence that is a command
    for words_of in (page_words, pdf_words):
        words = words_of(document)
        assert words.count(wanted) == 1
        words = words.replace(wanted, "")
        assert not OPTION.search(words), OPTION.findall(words)
        assert not re.findall(r"(?<![\w.])\d+\.\d+(?!\.?\w)", words)


def test_with_a_comma_every_figure_is_that_of_the_point_and_the_json_stays():
    result, what = documents.of_runs([38.21, 37.4, 38.9], given={**documents.GIVEN, "height": "1200.5 ft"})
    m = result.measured
    source = replace(m.source, name="cellar 2.5.wav")
    assert m.tank is not None
    items = parse_prices("name,volume,largest_acceptance,price\nmodel 3.5,33 gal,,549.90\n")
    prices = compare_prices(items, m.tank.system, m.tank.stock_charge_kpag, m.tank.target_s)
    result = replace(result, measured=replace(m, source=source), prices=prices)
    points, commas = (
        documents.made(result, what, Presented(who="Dr. 1.5", notes="1.5 years old", decimal=decimal), heard=False)
        for decimal in ("point", "comma")
    )
    number = re.compile(r"(?<![\w.,])(\d+)[.,](\d+)(?!\.?\w)")
    for words_of in (page_words, pdf_words):
        point, comma = words_of(points), words_of(commas)
        assert number.sub(r"\1.\2", comma) == number.sub(r"\1.\2", point)
        left = re.findall(r"(?<![\w.,])\d+\.\d+(?!\.?\w)", comma)
        assert set(left) <= {"2.5", "3.5", "1.5"}, left  # what people typed
        assert "cellar 2.5.wav" in comma
        assert "model 3.5" in comma
        assert "1.5 years old" in comma
        assert len(re.findall(r"\d,\d", comma)) > 60
    assert json.loads(points.data)["result"] == json.loads(commas.data)["result"]


def drawn_words(picture: Picture) -> list[str]:
    """Every word and number that is to be seen in a picture, as matplotlib draws it."""
    from matplotlib.text import Text

    with styled("test"):
        figure = picture.draw()
        figure.draw_without_rendering()
        found = [t.get_text() for t in figure.findobj(Text) if isinstance(t, Text) and t.get_visible()]
    return [text for text in found if text]


def test_pictures_have_the_comma_too():
    result, what = documents.of_fixture("short-cycling-12s")[:2]
    points, commas = (documents.made(result, what, Presented(decimal=decimal)) for decimal in ("point", "comma"))
    pairs = [
        (a.picture, b.picture)
        for one, other in zip(points.sections, commas.sections, strict=True)
        for a, b in zip(one.parts, other.parts, strict=True)
        if isinstance(a, Shown) and isinstance(b, Shown)
    ]
    pairs = [(points.first.picture, commas.first.picture), *pairs[:3]]
    changed = 0
    for point, comma in pairs:
        before, after = drawn_words(point), drawn_words(comma)
        assert [text.replace(",", ".") for text in after] == [text.replace(",", ".") for text in before]
        assert not any(re.search(r"\d\.\d", text) for text in after), after
        changed += before != after
    assert changed >= 3


@pytest.mark.slow
def test_the_option_is_taken_by_all_three_commands_and_a_check_agrees(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
):
    shutil.copy(path_of("very-short-3s"), tmp_path / "tank.flac")
    monkeypatch.chdir(tmp_path)
    more = ["--taps-shut", "--decimal", "comma"]
    assert run(["report", "tank.flac", *more, "--no-prove", "-o", "it.html"]) == 0
    assert run(["report", "--check", "it.html"]) == 0
    assert run(["measure", "tank.flac", *more, "--no-prove", "--report", "m.html"]) == 0
    assert "3," not in capsys.readouterr().out, "the terminal keeps its point"
    run(["day", "tank.flac", *more, "--no-prove", "--report", "d.html"])
    for name in ("it.html", "m.html", "d.html"):
        page = re.sub(
            r"<(script|style)\b.*?</\1>|src=\"data:[^\"]*\"", " ", (tmp_path / name).read_text("utf-8"), flags=re.DOTALL
        )
        assert re.search(r"\d,\d", page)
        assert not re.search(r"(?<![\w.,])\d+\.\d+ s\b", page)


# --- page one -------------------------------------------------------------------------------------------------------


def test_page_one_says_what_its_words_mean_and_no_others():
    result, what = documents.of_fixture("short-cycling-12s")[:2]
    first = documents.made(result, what, heard=False).first
    told = {term.label for term in first.terms}
    assert {"Run", "Bladder", "Air charge", "Disconnect", "95 %"} <= told
    nothing = documents.made(*documents.of_fixture("no-click")[:2], heard=False).first
    assert "95 %" not in {term.label for term in nothing.terms}
    assert "Bladder" not in {term.label for term in nothing.terms}


@pytest.mark.parametrize(
    ("runs_s", "tank", "rate", "asked"),
    [
        ([22.0, 21.8, 22.1, 21.9], "11 gal", "8 gpm", "Have a larger tank put in"),
        ([22.0, 21.8, 22.1, 21.9], "44 gal", "8 gpm", Messages("document").text("document.next.air")),
        ([70.0, 69.8, 70.1, 69.9], "20 gal", "8 gpm", Messages("document").text("document.next.stated")),
    ],
)
def test_what_to_do_next_fits_what_was_found_of_the_tank(runs_s: list[float], tank: str, rate: str, asked: str):
    given = {"tank": (tank,), "pump_rate": rate, "switch": "40/60"}
    result, what = documents.of_runs(runs_s, given=given, origins=dict.fromkeys(given, "option"))
    steps = [step.text for step in documents.made(result, what, heard=False).first.steps]
    assert any(step.startswith(asked) for step in steps), steps
    assert not any(step.startswith("Find the cause") for step in steps)
    if asked.startswith("Have a larger"):
        # Boyle: 33 gal gives 8.51 gal at 40/60 and a charge of 38 psi, 64 s at 8 gpm; 44 gal refilled fast gives 63 s.
        assert "For 60 s with this pump: 44 gal (a run of 63 to 85 s)." in steps[0]


def test_too_close_to_call_between_two_good_bands_says_that_neither_harms():
    for runs_s, harmless in (([62.0, 59.2, 60.9, 58.8], True), ([31.0, 29.2, 30.9, 28.8], False)):
        given = {**documents.GIVEN, "tank": ("33 gal" if harmless else "20 gal",)}  # each can give so long a run
        first = documents.made(*documents.of_runs(runs_s, given=given), heard=False).first
        assert first.verdict == Messages("document").text("headline.too-close")
        assert ("Neither wears the pump out." in first.found[1]) == harmless


# --- what the site file says of the house, and what is missing ------------------------------------------------------


def test_people_and_steady_uses_of_the_site_file_are_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    shutil.copy(path_of("short-cycling-12s"), tmp_path / "tank.flac")
    (tmp_path / "house.toml").write_text(
        'pump-rate = "8 gpm"\npeople = 4\nuse = ["3 gpm"]\n[[tank]]\nvolume = "20 gal"\n', "utf-8"
    )
    monkeypatch.chdir(tmp_path)
    assert (
        run(
            [
                "report",
                "tank.flac",
                "--taps-shut",
                "--site",
                "house.toml",
                "--no-prove",
                "-o",
                "it.html",
                "--json",
                "it.json",
            ]
        )
        == 0
    )
    page = re.sub(r"<[^>]*>", " ", (tmp_path / "it.html").read_text("utf-8"))
    assert "Under steady use" in page
    (row,) = json.loads((tmp_path / "it.json").read_text("utf-8"))["use"]
    # As docs/formulas.md has it, by hand: D / (Q - q) and D / q, D = Q x the measured run.
    run_s = json.loads((tmp_path / "it.json").read_text("utf-8"))["run"]["seconds"]
    assert row["run_s"] == pytest.approx(8 * run_s / (8 - 3), rel=1e-4)
    assert row["rest_s"] == pytest.approx(8 * run_s / 3, rel=1e-4)
    assert "Starts in a day" in page
    assert "The well" not in page, "nothing was said of the well"
    assert run(["report", "--check", "it.html"]) == 0


def test_check_says_what_each_missing_package_of_a_report_is_for(monkeypatch: pytest.MonkeyPatch):
    gone = {"jinja2": "as HTML", "typst": "as PDF", "matplotlib": "every report", "pypdf": "--check of a PDF"}
    there = metadata.version

    def version(name: str) -> str:
        if name in gone:
            raise metadata.PackageNotFoundError(name)
        return there(name)

    monkeypatch.setattr(metadata, "version", version)
    fine, text = check.packages()
    assert not fine
    for name, use in gone.items():
        assert re.search(rf"{name} \(for [^;]*{re.escape(use)}[^;]*; install it: [^;]*pip install {name}\)", text), text


@pytest.mark.parametrize(("name", "kind"), [("jinja2", "html"), ("typst", "pdf"), ("matplotlib", "pdf")])
def test_a_report_without_its_package_is_refused_before_anything_is_measured(
    name: str, kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    monkeypatch.setitem(sys.modules, name, None)  # type: ignore[arg-type]
    target = tmp_path / f"it.{kind}"
    assert run(["report", str(path_of("very-short-3s")), "--no-prove", "-o", str(target)]) == 2
    assert f"needs the package {name}" in " ".join(capsys.readouterr().err.split())
    assert not target.exists()


# --- the picture of a quiet click -----------------------------------------------------------------------------------


@pytest.mark.parametrize(("loud", "quiet"), [(0.9, 0.9), (0.012, 0.003), (2e-4, 2e-3), (3e-6, 1e-6), (0.9, 0.003)])
def test_labels_beside_the_waves_never_overlap(loud: float, quiet: float):
    m = documents.of_runs([41.0, 38.2])[0].measured
    cuts = documents.clicks_made([m.cycles[0].cut_in_s or 0.0, m.cycles[0].cut_out_s or 0.0])
    pair = []
    for span, cut, level in zip(pair_spans_s(m, 1), cuts.values(), (loud, quiet), strict=True):
        assert span is not None
        first = round((span[0] - cut.start_s) * cut.rate_hz)
        samples = cut.samples[first : first + round((span[1] - span[0]) * cut.rate_hz)]
        pair.append(Cut((samples * level / np.abs(samples).max()).astype(np.float32), cut.rate_hz, span[0]))
    with styled("test"):
        figure = click_pair(m, 1, *pair).draw()
        figure.draw_without_rendering()
        boxes = []
        for axes in figure.axes:
            for text in (*axes.get_yticklabels(), axes.yaxis.label):
                inside = text is axes.yaxis.label or axes.get_ylim()[0] <= text.get_position()[1] <= axes.get_ylim()[1]
                if text.get_text() and inside:
                    boxes.append((text.get_text(), text.get_window_extent()))
        panels = [axes.get_window_extent() for axes in figure.axes]
    assert len(boxes) > 10
    for (one, a), (other, b) in combinations(boxes, 2):
        assert not a.overlaps(b), f"{one!r} and {other!r}"
    for words_, box in boxes:
        assert box.x0 >= 0, f"{words_!r} is cut off"
        assert not any(box.overlaps(panel) for panel in panels), words_
