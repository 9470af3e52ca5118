"""``clicktimer report``, ``--report`` and ``report --check``: what they write, refuse, and find changed."""

from __future__ import annotations

import importlib.util
import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clicktimer.cli import run
from clicktimer.reporting.document.differences import differ_text, differences
from clicktimer.reporting.html import embedded_data
from tests.support.recordings import path_of

PRICES = "name,volume,largest_acceptance,price\nthe blue one,33 gal,,549.00\n=cmd(),44 gal,,700.00\n"
SITE = """who = "A. Inspector"
client = "the owner of the cottage"
where = "the cottage by the mill"
date = "2030-01-01"
notes = "new tank last autumn"
switch = "40/60"
pump-rate = "8 gpm"
yield = "3 gpm"
bore = "6 in"
pump-depth = "200 ft"
static-level = "40 ft"
people = 4
[[tank]]
volume = "20 gal"
"""


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    shutil.copy(path_of("short-cycling-12s"), tmp_path / "tank.flac")
    shutil.copy(path_of("no-click"), tmp_path / "quiet.flac")
    (tmp_path / "house.toml").write_text(SITE, "utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture(scope="module")
def quiet_report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("quiet")
    shutil.copy(path_of("no-click"), folder / "quiet.flac")
    run(
        [
            "report",
            str(folder / "quiet.flac"),
            "--taps-shut",
            "--tank",
            "20 gal",
            "--no-prove",
            "-o",
            str(folder / "it.html"),
        ]
    )
    return folder / "it.html"


def shown(page: Path) -> str:
    """The page's words, pictures and data left out."""
    text = re.sub(r"<(script|style)\b.*?</\1>", " ", page.read_text("utf-8"), flags=re.DOTALL)
    return " ".join(re.sub(r"<[^>]*>", " ", text).split())


def data_of(page: Path) -> Any:
    return json.loads(embedded_data(page.read_text("utf-8")) or "")


def test_a_report_with_a_site_file_names_them_all_and_agrees_with_itself(
    here: Path, capsys: pytest.CaptureFixture[str]
):
    arguments = ["report", "tank.flac", "--taps-shut", "--site", "house.toml", "--no-prove", "-o", "it.html"]
    assert run([*arguments, "--json", "it.json", "--csv", "it.csv"]) == 0
    text = shown(here / "it.html")
    for words in ("A. Inspector", "the owner of the cottage", "the cottage by the mill", "new tank last autumn"):
        assert words in text
    assert "2030-01-01" not in text, "the site file's date is not that of the measurement"
    assert "Yield: 3 gpm" in text
    assert "Standing water" in text
    assert (
        json.loads((here / "it.json").read_text("utf-8"))["run"]["seconds"]
        == data_of(here / "it.html")["result"]["run"]["seconds"]
    )
    capsys.readouterr()
    assert run(["report", "--check", "it.html"]) == 0
    assert capsys.readouterr().out.startswith("AGREES")


@pytest.mark.slow
def test_a_check_tells_another_recording_a_changed_figure_a_changed_text_and_a_changed_word(
    here: Path, capsys: pytest.CaptureFixture[str]
):
    assert run(["report", "tank.flac", "--taps-shut", "--no-prove", "-o", "it.html"]) == 0
    page = (here / "it.html").read_text("utf-8")
    seconds = data_of(here / "it.html")["result"]["run"]["seconds"]
    (here / "figure.html").write_text(page.replace(f'"seconds": {seconds}', '"seconds": 71.5'), "utf-8")
    sentence = data_of(here / "it.html")["result"]["verdict"]["text"]
    (here / "sentence.html").write_text(page.replace(sentence[-30:], "all is well."), "utf-8")
    (here / "word.html").write_text(page.replace("they wear the pump out</h2>", "all is well</h2>"), "utf-8")
    assert (here / "word.html").read_text("utf-8") != page
    (here / "tank.flac").rename(here / "cellar.flac")
    shutil.copy(path_of("very-short-3s"), here / "tank.flac")
    capsys.readouterr()
    for arguments, said in (
        (["it.html"], "is not the recording"),
        (["figure.html", "cellar.flac"], "Measured again: 2 figures differ. run.seconds: 71.5 in the document"),
        (["sentence.html", "cellar.flac"], 'every figure agrees, but 1 text differs. verdict.text: "…'),
        (["sentence.html", "cellar.flac"], 'all is well." in the document, "…'),
        (["word.html", "cellar.flac"], "changed by hand"),
    ):
        assert run(["report", "--check", *arguments]) == 1
        out = " ".join(capsys.readouterr().out.split())
        assert out.startswith("DOES NOT AGREE")
        assert said in out
    assert run(["report", "--check", "it.html", "cellar.flac"]) == 0, "a recording may be renamed"


def test_a_pdf_is_checked_too_and_a_changed_one_does_not_agree(here: Path, capsys: pytest.CaptureFixture[str]):
    from pypdf import PdfReader, PdfWriter

    assert run(["report", "quiet.flac", "--taps-shut", "--no-prove", "-o", "it.pdf"]) == 1
    assert run(["report", "--check", "it.pdf"]) == 0
    writer = PdfWriter(clone_from=PdfReader("it.pdf"))
    writer.remove_page(0)
    writer.write("short.pdf")
    capsys.readouterr()
    assert run(["report", "--check", "short.pdf"]) == 1
    assert "changed by hand" in " ".join(capsys.readouterr().out.split())


def test_a_listening_folder_has_its_report_and_its_sounds(here: Path):
    assert run(["measure", "tank.flac", "--taps-shut", "--into", "heard"]) == 0
    assert run(["report", "heard", "-o", "heard.html"]) == 0
    page = (here / "heard.html").read_text("utf-8")
    assert page.count("<audio ") == 8
    assert "only a second of sound around each click was kept" in shown(here / "heard.html")
    assert run(["report", "--check", "heard.html"]) == 0


def test_corrected_clicks_are_marked_with_what_was_detected_beside_them(here: Path):
    assert run(["measure", "tank.flac", "--taps-shut", "--labels", "mine.txt"]) == 0
    lines = (here / "mine.txt").read_text("utf-8").splitlines()
    lines[0] = re.sub(r"^[\d.]+\t[\d.]+", "8.900000\t8.900000", lines[0])
    (here / "mine.txt").write_text("\n".join(lines) + "\n", "utf-8")
    assert run(["report", "tank.flac", "--taps-shut", "--corrected", "mine.txt", "--no-prove", "-o", "it.html"]) == 0
    text = shown(here / "it.html")
    assert "Run 1: cut-in, the pump starts (corrected by hand: moved)" in text
    assert "Run 1: cut-in, the pump starts, as it was detected" in text
    assert (here / "it.html").read_text("utf-8").count("<audio ") == 9
    (here / "mine.txt").unlink()
    assert run(["report", "--check", "it.html"]) == 0, "what it was corrected by is in the document"


def test_prices_stand_on_page_one_only_where_they_are_given(here: Path):
    (here / "prices.csv").write_text(PRICES, "utf-8")
    options = ["--taps-shut", "--tank", "20 gal", "--pump-rate", "8 gpm", "--no-prove"]
    assert run(["report", "quiet.flac", *options, "-o", "without.html"]) == 1
    assert run(["report", "quiet.flac", *options, "--prices", "prices.csv", "-o", "with.html"]) == 1
    first = shown(here / "with.html").split("For the technician", 1)[0]
    assert "the blue one (549.00" in first
    assert "549" not in shown(here / "without.html")
    assert run(["report", "--check", "with.html"]) == 0


def test_measure_writes_the_same_document_by_report(here: Path):
    options = ["--taps-shut", "--site", "house.toml", "--no-prove"]
    assert run(["measure", "quiet.flac", *options, "--report", "a.html"]) == 1
    assert run(["report", "quiet.flac", *options, "-o", "b.html"]) == 1
    assert (here / "a.html").read_bytes() == (here / "b.html").read_bytes()


def test_day_writes_the_same_document_by_report(here: Path):
    options = ["--site", "house.toml", "--started", "2031-05-04 06:30", "--no-prove"]
    assert run(["day", "quiet.flac", *options, "--report", "a.html"]) == run(
        ["report", "quiet.flac", "--day", *options, "-o", "b.html"]
    )
    assert (here / "a.html").read_bytes() == (here / "b.html").read_bytes()
    assert "A day of the well pump" in shown(here / "a.html")
    assert data_of(here / "a.html")["result"]["format"] == "clicktimer-day"


@pytest.mark.slow
def test_the_proof_is_part_of_a_report_and_its_time_is_said(here: Path, capsys: pytest.CaptureFixture[str]):
    assert run(["report", "tank.flac", "--taps-shut", "-o", "it.html"]) == 0
    assert "proof by added clicks took" in capsys.readouterr().err
    assert data_of(here / "it.html")["result"]["proof"]["usual"]["put"] > 0
    assert run(["report", "--check", "it.html"]) == 0


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["tank.flac"], "say what to report on and where"),
        (["-o", "x.html"], "say what to report on and where"),
        (["tank.flac", "-o", "x.txt"], 'ends in ".html" or ".pdf"'),
        (["tank.flac", "-o", "nowhere/x.html"], "its folder does not exist"),
        (["tank.flac", "house.toml", "-o", "x.html"], "a report is of one recording"),
        (["tank.flac", "-o", "x.html", "--date", "yesterday"], "is no date"),
        (["tank.flac", "-o", "x.html", "--json", "x.html"], "given twice"),
        (["tank.flac", "-o", "x.html", "--prices", "prices.csv"], "cannot be read"),
        (["tank.flac", "-o", "x.html", "--taps-shut", "--steady-tap"], "contradict each other"),
        (["missing.flac", "-o", "x.html"], "missing.flac"),
        (["--check", "missing.html"], "give the report that was written"),
        (["--check", "house.toml"], "no figures are embedded"),
        (["--check", "tank.flac"], "no figures are embedded"),
    ],
)
def test_what_cannot_be_is_told_in_one_line(
    here: Path, arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]
):
    assert run(["report", *arguments]) == 2
    err = capsys.readouterr().err
    assert said in err
    assert len(err.splitlines()) == 1
    assert not list(here.glob("x.*"))


def test_a_report_never_overwrites_a_recording_and_leaves_no_half_file(here: Path):
    (here / "it.html").write_bytes((here / "quiet.flac").read_bytes())
    before = (here / "it.html").read_bytes()
    assert run(["report", "it.html", "--no-prove", "-o", "it.html"]) == 2
    assert (here / "it.html").read_bytes() == before
    assert run(["report", "quiet.flac", "--no-prove", "-o", "other.html"]) in (0, 1)
    assert not list(here.glob(".*.part"))


@pytest.mark.parametrize(("package", "target"), [("jinja2", "it.html"), ("typst", "it.pdf"), ("matplotlib", "it.pdf")])
def test_a_missing_package_is_told_in_one_line(
    here: Path, package: str, target: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    find = importlib.util.find_spec
    monkeypatch.setattr("importlib.util.find_spec", lambda name, *a: None if name == package else find(name, *a))
    assert run(["report", "tank.flac", "-o", target]) == 2
    err = capsys.readouterr().err
    assert err == f"clicktimer: a report needs the package {package}, which is missing: pip install {package}\n"


@pytest.mark.slow
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(dice=st.randoms(use_true_random=False), junk=st.sampled_from([None, 7, -1.5, "x", [], {}, ["a"], {"b": 1}]))
def test_whatever_is_embedded_a_check_never_ends_in_a_defect(quiet_report: Path, dice: Any, junk: Any):
    """One place of the embedded JSON is replaced or taken out; a check says so, or says what is wrong, in words."""
    page = quiet_report.read_text("utf-8")
    text = embedded_data(page) or ""
    data = json.loads(text)
    here: Any = data if dice.random() < 0.3 else data[dice.choice(["asked", "presented", "result", "recordings"])]
    while True:
        key = dice.choice(list(here) if isinstance(here, dict) else range(len(here)))
        if not isinstance(here[key], dict | list) or not here[key] or dice.random() < 0.3:
            break
        here = here[key]
    if dice.random() < 0.2:
        del here[key]
    else:
        here[key] = junk
    changed = quiet_report.with_name("changed.html")
    changed.write_text(page.replace(text, json.dumps(data).replace("<", "\\u003c")), "utf-8")
    assert run(["report", "--check", str(changed)]) in (0, 1, 2)


@pytest.mark.parametrize(
    ("before", "now", "said"),
    [
        ({"a": 1.5}, {"a": 2}, "1 figure differs."),
        ({"a": None}, {"a": 2}, "1 figure differs."),
        ({"a": 1, "b": "x"}, {"a": 2, "b": "y"}, "1 figure and 1 text differ."),
        ({"a": True}, {"a": False}, "1 other entry differs."),
        ({"a": ["x", "y"], "b": [1]}, {"a": ["z", "w"], "b": [1, 2]}, "2 texts and 1 other entry differ."),
        ({"a": "x"}, {"a": "y"}, "every figure agrees, but 1 text differs."),
    ],
)
def test_what_differs_is_told_by_its_kind(before: Any, now: Any, said: str):
    assert differ_text(list(differences(before, now))) == f"Measured again: {said}"
