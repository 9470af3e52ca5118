"""The document: HTML held against a strict parser and a browser, PDF against another reader, both against the JSON."""

from __future__ import annotations

import base64
import io
import json
import math
import re
import shutil
import time
import unicodedata
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import av
import html5lib
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pypdf import PdfReader

from clicktimer.assessment.verdict import judge
from clicktimer.audio import open_recording
from clicktimer.cli import run
from clicktimer.errors import SettingsError
from clicktimer.records import Notice, Reason, Verdict
from clicktimer.reporting.document.compose import Presented, compose, date_text, parse_date, result_json
from clicktimer.reporting.document.evidence import gather_evidence, runs_to_show
from clicktimer.reporting.document.layout import readable
from clicktimer.reporting.document.model import Document, Shown
from clicktimer.reporting.document.remeasure import Asked, Result, asked_json
from clicktimer.reporting.html import embedded_data, render_html
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.messages.figures import seconds_text
from clicktimer.reporting.pdf import attached_data, render_pdf
from clicktimer.reporting.tables import cycles_csv
from clicktimer.reporting.text.measurement import render_text
from clicktimer.tank.sizing import size_tank
from tests.support import documents
from tests.support.recordings import path_of
from tests.support.words import in_words, said

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
needs_browser = pytest.mark.skipif(CHROMIUM is None, reason="the browser chromium is absent")
DOCS = Path(__file__).parents[2] / "docs"
NAMESPACE = "{http://www.w3.org/1999/xhtml}"


@cache
def result_of(case: str) -> tuple[Result, Asked]:
    if case == "close":
        return documents.of_runs([62.0, 59.2, 60.9, 58.8])
    if case == "day":
        return documents.of_a_day()
    stem = {"short": "short-cycling-12s", "healthy": "taps-shut-75s", "nothing": "no-click"}[case]
    return documents.of_fixture(stem)[:2]


CASES = ("short", "nothing", *(pytest.param(name, marks=pytest.mark.slow) for name in ("healthy", "close", "day")))


@cache
def document_of(case: str) -> Document:
    return documents.made(*result_of(case))


@cache
def page_of(case: str) -> str:
    return render_html(document_of(case)).decode("utf-8")


@cache
def pdf_of(case: str) -> bytes:
    return render_pdf(document_of(case)).data


def parsed(page: str) -> Any:
    """The page by a parser that forgives nothing."""
    return html5lib.HTMLParser(strict=True).parse(page)


def text_of(page: str) -> str:
    """The words of a page as a reader sees them, without what is embedded."""
    root = parsed(page)
    for element in list(root.iter()):
        for child in list(element):
            if child.tag in (f"{NAMESPACE}script", f"{NAMESPACE}style"):
                element.remove(child)
    return " ".join(" ".join(root.itertext()).split())


def pdf_text(data: bytes) -> str:
    text = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(data)).pages)
    return " ".join(text.replace("\u200b", "").split())


# --- HTML -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("case", CASES)
def test_the_page_is_html_by_a_strict_parser_and_needs_nothing_from_elsewhere(case: str):
    page = page_of(case)
    root = parsed(page)
    for element in root.iter():
        for name, value in element.attrib.items():
            if name in ("src", "href", "action", "data", "poster", "srcset"):
                assert value.startswith(("data:", "#")), f"{element.tag} {name}={value[:60]}"
            assert not name.startswith("on"), name
    scripts = list(root.iter(f"{NAMESPACE}script"))
    assert [s.get("type") for s in scripts] == ["application/json"]
    assert not re.search(r"url\((?!#)|@import", re.sub(r'"data:[^"]*"', "", page))
    for image in root.iter(f"{NAMESPACE}img"):
        assert len(image.get("alt") or "") > 20
        drawn = base64.b64decode(image.get("src").split(",", 1)[1]).decode("utf-8")
        addresses = set(re.findall(r"https?://[^\"' <]+", drawn))
        assert addresses <= {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}


@pytest.mark.parametrize("case", CASES)
def test_the_figures_embedded_are_those_of_the_json(case: str):
    result, what = result_of(case)
    embedded = json.loads(embedded_data(page_of(case)) or "")
    assert embedded["result"] == json.loads(json.dumps(result_json(result, program="0")))
    assert embedded["asked"] == json.loads(json.dumps(asked_json(what)))


def test_every_id_is_there_once_and_every_link_leads_to_one():
    for case in ("short", "nothing"):
        page = page_of(case)
        root = parsed(page)
        ids = [e.get("id") for e in root.iter() if e.get("id")]
        assert len(ids) == len(set(ids))
        links = [e.get("href") for e in root.iter(f"{NAMESPACE}a")]
        assert links
        assert {link.removeprefix("#") for link in links} <= set(ids)


def test_the_clicks_can_be_heard_and_are_as_long_as_is_said(tmp_path: Path):
    sounds = [s for section in document_of("short").sections for p in section.parts for s in getattr(p, "sounds", ())]
    assert len(sounds) == 8
    for sound in sounds:
        path = tmp_path / "click.flac"
        path.write_bytes(sound.flac)
        blocks = list(open_recording(path).blocks())
        assert {b.rate_hz for b in blocks} == {sound.rate_hz}
        assert sum(len(b.samples) for b in blocks) == round(sound.length_s * sound.rate_hz)
        assert 0.0 <= sound.onset_s < sound.length_s


def test_a_shown_click_is_the_recordings_own_sound():
    result, what, path = documents.of_fixture("short-cycling-12s")
    document = compose(result, what, documents.WHO, gather_evidence([path], result.measured), program="0")
    (clicks,) = [s for s in document.sections if s.name == "clicks"]
    shown = [p for p in clicks.parts if hasattr(p, "sounds")]
    assert len(shown) == 4
    whole = list(open_recording(path).blocks())
    cycle = result.measured.cycles[0]
    sound = shown[0].sounds[0]
    start = round((cycle.cut_in_s - sound.onset_s) * whole[0].rate_hz)
    with av.open(io.BytesIO(sound.flac)) as container:
        samples = np.concatenate([f.to_ndarray().ravel() for f in container.decode(audio=0)]) / 2.0**15
    recording = np.concatenate([b.samples for b in whole])
    np.testing.assert_allclose(samples, recording[start : start + len(samples)], atol=1.1 / 2**15)


@needs_browser
@pytest.mark.slow
def test_a_real_browser_shows_it_prints_it_plays_it_and_everybody_can_read_it(tmp_path: Path):
    from axe_playwright_python.sync_playwright import Axe
    from playwright.sync_api import sync_playwright

    with sync_playwright() as player:
        browser = player.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        context = browser.new_context(offline=True, bypass_csp=True)
        for case in ("short", "healthy", "close", "day", "nothing"):
            path = tmp_path / f"{case}.html"
            path.write_text(page_of(case), "utf-8")
            for csp in (False, True):
                page = context.new_page() if csp else browser.new_page()
                said: list[str] = []
                asked_for: list[str] = []
                page.on("console", lambda message, said=said: said.append(message.text))
                page.on("pageerror", lambda error, said=said: said.append(str(error)))
                page.on("request", lambda request, asked_for=asked_for: asked_for.append(request.url))
                page.goto(path.as_uri())
                assert said == [], case
                assert [u for u in asked_for if not u.startswith(("file:", "data:"))] == [], case
                if csp:
                    found = Axe().run(page)
                    assert found.violations_count == 0, found.generate_report()
                    assert len(found.response["passes"]) > 15, "it has looked at little"
                    continue
                broken = "() => [...document.images].filter(i => !i.complete || i.naturalWidth === 0).length"
                assert page.evaluate(broken) == 0, case
                lengths = page.evaluate(
                    "() => Promise.all([...document.querySelectorAll('audio')].slice(0, 4).map(a => new Promise("
                    "(ok, bad) => { a.onloadedmetadata = () => ok(a.duration); a.onerror = () => bad(a.error.message); "
                    "a.preload = 'auto'; a.load(); })))"
                )
                assert len(lengths) == (0 if case == "nothing" else 4)
                assert all(0.3 < length < 1.0 for length in lengths), case
                printed = page.pdf(prefer_css_page_size=True)
                reader = PdfReader(io.BytesIO(printed))
                width, height = reader.pages[0].mediabox[2:]
                assert (float(width), float(height)) == pytest.approx((612, 792), abs=1)
                assert "What to do next" in reader.pages[0].extract_text()
                assert "page" not in said
        browser.close()


@needs_browser
@pytest.mark.slow
@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_page_one_is_one_page_also_where_a_browser_prints_it(paper: Any, tmp_path: Path):
    from playwright.sync_api import sync_playwright

    with sync_playwright() as player:
        browser = player.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        for case in ("short", "healthy", "close", "day", "nothing"):
            presented = replace(documents.WHO, paper=paper, date="2031-05-04")
            path = tmp_path / f"{case}.html"
            path.write_bytes(render_html(documents.made(*result_of(case), presented)))
            page = browser.new_page()
            page.goto(path.as_uri())
            pages = PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True))).pages
            first = unicodedata.normalize("NFKC", pages[0].extract_text())  # a browser prints "fi" as one letter
            assert "not a certificate" in first, case
            assert pages[1].extract_text().lstrip().startswith("For the technician"), case
            page.close()
        browser.close()


# --- PDF ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("case", CASES)
def test_page_one_of_the_pdf_is_one_page(case: str):
    pages = PdfReader(io.BytesIO(pdf_of(case))).pages
    assert "not a certificate" in pages[0].extract_text()
    assert pages[1].extract_text().lstrip().startswith("For the technician")


@pytest.mark.parametrize("case", CASES)
def test_the_pdf_says_what_the_json_says(case: str, tmp_path: Path):
    result, _ = result_of(case)
    text = pdf_text(pdf_of(case))
    m = result.measured
    for cycle in m.cycles:
        if cycle.run_s is not None:
            half = ((cycle.run_high_s or 0) - (cycle.run_low_s or 0)) / 2
            assert seconds_text(cycle.run_s, cycle.run_s - half, cycle.run_s + half).split(" (")[0] in text
    if m.run is not None:
        assert re.search(rf"\b{math.floor(m.run.seconds)}(\.\d+)? s\b|\b{round(m.run.seconds)} s\b", text)
    path = tmp_path / "it.pdf"
    path.write_bytes(pdf_of(case))
    attached = json.loads(attached_data(path) or "")
    assert attached["result"] == json.loads(json.dumps(result_json(result, program="0")))


@pytest.mark.parametrize("case", CASES)
def test_the_pdf_is_tagged_numbered_titled_and_its_first_page_is_one_page(case: str):
    reader = PdfReader(io.BytesIO(pdf_of(case)))
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert str(root["/Lang"]).startswith("en")
    assert reader.metadata is not None
    assert reader.metadata.title in ("How long the well pump runs", "A day of the well pump")
    assert not {"/CreationDate", "/ModDate"} & reader.metadata.keys()
    count = len(reader.pages)
    for number, page in enumerate(reader.pages, start=1):
        assert f"page {number} of {count}" in page.extract_text()
    first = reader.pages[0].extract_text()
    assert "What to do next" in first
    assert "not a certificate" in first
    assert "For the technician" in reader.pages[1].extract_text()


def test_paper_and_dates_are_as_asked():
    result, what = documents.of_runs([])
    for paper, size in (("letter", (612, 792)), ("a4", (595, 842))):
        presented = Presented(date="2031-05-04", date_style="us", paper=paper)  # type: ignore[arg-type]
        data = render_pdf(documents.made(result, what, presented)).data
        page = PdfReader(io.BytesIO(data)).pages[0]
        assert [float(x) for x in page.mediabox[2:]] == pytest.approx(size, abs=1)
        assert "May 4, 2031" in page.extract_text()
    assert date_text("2031-12-24", "eu") == "24 December 2031"
    with pytest.raises(SettingsError, match="is no date"):
        parse_date("4.5.2031")


def test_the_date_is_the_recordings_or_left_open_and_never_todays():
    result, what = documents.of_runs([])
    dated = documents.made(result, what)
    assert {f.label: f.value for f in dated.about}["Date"] == "2031-05-04"
    m = replace(result.measured, source=replace(result.measured.source, started_at=None))
    undated = documents.made(replace(result, measured=m), what)
    assert {f.label: f.value for f in undated.about}["Date"] == ""
    assert "to be filled in by hand" in render_html(undated).decode()


@pytest.mark.parametrize("case", ["short", "nothing"])
def test_same_input_same_bytes(case: str):
    document = documents.made(*result_of(case))
    assert render_html(document).decode() == page_of(case)
    assert render_pdf(document).data == pdf_of(case)


# --- hostile words --------------------------------------------------------------------------------------------------

HOSTILE = [
    "</script><script>alert(1)</script><img src=x onerror=alert(2)>",
    '#set page(fill: red); #panic[x] $x$ *b* _i_ @ref <label> \\ `raw` = head #read("report.typ")',
    "{{ 7 * 7 }} {% include 'report.css' %}",
    "W" * 4000,
    "בעל הבית ברחוב הטחנה، مالك البيت",
    "水の家 \u202eabc\x00\x1b[31m\ud800",
    "'\"&<>\u2028\ufffe",
]


@pytest.mark.parametrize("name", HOSTILE, ids=["html", "typst", "jinja", "long", "right-to-left", "lacking", "quotes"])
def test_a_hostile_name_breaks_nothing(name: str):
    result, what = documents.of_runs([])
    source = replace(result.measured.source, name=name)
    hostile = replace(result, measured=replace(result.measured, source=source))
    presented = Presented(who=name, client=name, where=name, notes=name)
    document = documents.made(hostile, what, presented)
    page = render_html(document).decode("utf-8")
    root = parsed(page)
    tags = {e.tag.removeprefix(NAMESPACE) for e in root.iter() if isinstance(e.tag, str)}
    plain = {
        e.tag.removeprefix(NAMESPACE)
        for e in parsed(render_html(documents.made(result, what)).decode("utf-8")).iter()
        if isinstance(e.tag, str)
    }
    assert tags == plain
    assert sum(1 for _ in root.iter(f"{NAMESPACE}script")) == 1
    shown = readable(" ".join(name.split()))
    assert shown[:60] in text_of(page)
    assert "49" not in text_of(page).split("Recording", 1)[0]
    pdf = render_pdf(document)
    reader = PdfReader(io.BytesIO(pdf.data))
    assert len(reader.pages) >= 2
    text = pdf_text(pdf.data)
    assert "For the technician" in text
    assert ("lacks" in text) == bool(pdf.lacking)
    assert bool(pdf.lacking) == ("水" in name)
    if name.startswith("#set"):
        assert "#set page(fill: red)" in text
    json.loads(embedded_data(page) or "")


def test_what_the_fonts_of_a_pdf_lack_is_told_on_stderr(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    target = tmp_path / "it.pdf"
    recording = str(path_of("very-short-3s"))
    assert run(["report", recording, "--taps-shut", "--no-prove", "--client", "水", "-o", str(target)]) == 0
    assert "lacks 1 letter (U+6C34)" in " ".join(capsys.readouterr().err.split())


# --- figures agree everywhere ---------------------------------------------------------------------------------------

run_lengths = st.lists(st.floats(2.0, 400.0), min_size=0, max_size=3)


@settings(max_examples=6, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    runs_s=run_lengths,
    taps=st.sampled_from(["shut", None]),
    tank=st.sampled_from([(), ("20 gal",), ("33 gal", "44 gal"), ("42 gal plain",)]),
    rate=st.sampled_from([None, "8 gpm", "30 L/min"]),
    units=st.sampled_from(["us", "metric"]),
)
def test_figures_agree_in_text_json_csv_html_and_pdf(  # noqa: C901
    runs_s: list[float], taps: Any, tank: tuple[str, ...], rate: str | None, units: str
):
    given: dict[str, Any] = {"units": units}
    if tank:
        given["tank"] = tank
    if rate:
        given["pump_rate"] = rate
    result, what = documents.of_runs(runs_s, taps=taps, given=given, origins=dict.fromkeys(given, "option"))
    document = documents.made(result, what, heard=False)
    page, pdf = text_of(render_html(document).decode("utf-8")), pdf_text(render_pdf(document).data)
    text = " ".join(render_text(result.measured).split())
    data = result_json(result, program="0")
    rows = cycles_csv([result.measured]).splitlines()[1:]
    assert len(rows) == len(data["cycles"])
    for row, cycle in zip(rows, data["cycles"], strict=True):
        half_s = (cycle["run_high_s"] - cycle["run_low_s"]) / 2
        written = seconds_text(cycle["run_s"], cycle["run_s"] - half_s, cycle["run_s"] + half_s).split(" (")[0]
        assert f"{cycle['run_s']:.6f}" in row
        for where in (text, page, pdf):
            assert written in where
    if data["run"] is not None:
        told = re.search(r"[\d.]+ s(?: \([\d.]+ to [\d.]+ s\))?(?=[ :])", data["verdict"]["text"].split("runs ", 1)[-1])
        if told is not None:
            for where in (text, page, pdf):
                assert told[0] in where
    if data["tank"] is not None and data["tank"]["judgement"] is not None:
        for where in (page, pdf):
            for figure in re.findall(r"\d[\d.]* (?:gal|gpm|L|L/min)\b", data["tank"]["judgement"]["text"]):
                assert figure in where


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("tank", ["20 gal", "450 L", "42 gal plain", "33 gal charge 45 psi"])
def test_the_arithmetic_comes_out_as_it_is_written(units: str, tank: str):
    """Each line is reckoned anew from its own written numbers, by Python's arithmetic and nothing of ours."""
    from clicktimer.reporting.document.arithmetic import arithmetic

    given = {"tank": (tank,), "pump_rate": "7.3 gpm", "units": units, "height": "1200 ft"}
    result, what = documents.of_runs([41.0, 38.2, 38.9, 38.4], given=given, origins={})
    sizing = size_tank(what.system.system, result.measured.run, what.system.units, result.measured.cycles)
    lines = arithmetic(sizing).rows
    reckoned = 0
    for name, reckoning, answer in lines:
        if not reckoning:
            continue
        plain = re.sub(r" (gal|L|s)(/min)?\b| s/min\b", "", reckoning)
        plain = plain.replace("×", "*").replace("−", "-").replace("^", "**")
        value = eval(plain, {"__builtins__": {}})
        figure = re.match(r"[\d.]+", answer)
        assert figure is not None
        decimals = len(figure[0].partition(".")[2])
        # Its own last digit, and what the digits of the numbers put in leave open (a share has five).
        assert value == pytest.approx(float(figure[0]), abs=0.5 * 10**-decimals + 3e-5 * abs(value)), (name, reckoning)
        reckoned += 1
    assert reckoned >= 8


# --- a day is long --------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_a_days_report_is_small_and_quick():
    result, what = documents.of_a_day(leak_gpm=0.4)
    assert len(result.measured.cycles) >= 150
    document = documents.made(result, what)
    began = time.process_time()
    page = render_html(document)
    assert time.process_time() - began < 15
    began = time.process_time()
    pdf = render_pdf(document).data
    assert time.process_time() - began < 15
    assert len(page) < 5e6
    assert len(pdf) < 10e6


def test_of_many_runs_the_telling_ones_are_shown():
    runs_s = [40.0 + (i * 37 % 100) / 50 for i in range(80)]
    runs_s[17], runs_s[50] = 3.0, 300.0
    result, _ = documents.of_runs(runs_s, taps=None)
    m = result.measured
    cycles = list(m.cycles)
    cycles[33] = replace(cycles[33], confidence=0.6)
    m = replace(m, cycles=tuple(cycles))
    numbers = runs_to_show(m)
    assert len(numbers) == 12
    assert {1, 18, 34, 51, 80} <= set(numbers)
    assert list(numbers) == sorted(numbers)
    assert runs_to_show(m, every=True) == tuple(range(1, 81))


def test_every_runs_clicks_are_shown_where_asked_for():
    result, what = documents.of_runs([40.0 + i / 10 for i in range(14)])
    for every, count in ((False, 12), (True, 14)):
        document = documents.made(result, what, Presented(all_clicks=every), heard=False)
        (clicks,) = [s for s in document.sections if s.name == "clicks"]
        assert sum(isinstance(part, Shown) for part in clicks.parts) == count


def test_a_driven_pump_is_not_called_a_bad_recording():
    result, what = documents.of_runs([])
    notice = Notice("variable-speed", in_words("Something here changes its speed while it runs."))
    verdict = Verdict(None, False, (Reason("verdict.variable-speed"),), (Reason("verdict.settle.variable-speed"),))
    m = replace(result.measured, warnings=(notice,), verdict=verdict)
    first = documents.made(replace(result, measured=m), what).first
    assert first.verdict.startswith("Not judged")
    assert first.found == (said(verdict.reasons),)
    assert "recording" not in " ".join(first.meaning)
    assert [step.text for step in first.steps] == [said(verdict.settle)]


def test_a_doubt_stands_on_page_one():
    result, what = documents.of_runs([20.0, 20.1, 20.2, 20.1])
    assert result.measured.run is not None
    doubted = replace(result.measured.run, doubts=(Reason("run.two-pumps"),))
    m = replace(result.measured, run=doubted, verdict=judge(doubted))
    first = documents.made(replace(result, measured=m), what).first
    assert first.tone == "open"
    assert said(Reason("run.two-pumps")) in first.notes[0]


def test_a_leak_that_makes_most_starts_comes_before_a_larger_tank():
    leak = Messages("document").text("document.next.leak")
    for leak_gpm, gallons, first in ((0.3, 30.0, True), (0.05, 14.0, False)):
        result, what = documents.of_a_day(leak_gpm=leak_gpm, gallons=gallons)
        assert result.reading is not None
        assert result.reading.leak.reported
        steps = [step.text for step in documents.made(result, what, heard=False).first.steps]
        assert steps.count(leak) == 1
        tank = next(i for i, text in enumerate(steps) if "larger tank" in text)
        assert (steps.index(leak) < tank) is first
