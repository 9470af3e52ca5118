"""Label files and corrections: what is written comes back, what a person changes counts, what was detected stays."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import clicktimer
from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.options import MeasureOptions
from clicktimer.cli import run
from clicktimer.cycles.corrections import HAND_SD_S, correct, decode_labels, label_text, parse_labels
from clicktimer.errors import InputError
from clicktimer.pipeline import corrected, measure_recording
from clicktimer.records import (
    Click,
    CorrectedClick,
    Gap,
)
from clicktimer.reporting.text.measurement import render_text
from tests.support.words import said

FIXTURES = Path(__file__).parents[2] / "fixtures_audio"
SHUT = MeasureOptions(taps="shut")

kinds = st.sampled_from(["cut-in", "cut-out", "unknown"])
hows = st.sampled_from(["clicks", "pump sound"])
times = st.lists(st.integers(0, 86_400_000), min_size=1, max_size=40, unique=True)  # ms: two labels never touch


@st.composite
def click_lists(draw: st.DrawFn) -> list[Click]:
    return [Click(ms / 1000.0, draw(kinds), 0.9, how=draw(hows)) for ms in sorted(draw(times))]


@given(click_lists())
def test_what_is_written_comes_back(clicks: list[Click]):
    labels = parse_labels(label_text(clicks))
    assert [(label.kind, label.how) for label in labels] == [(c.kind, c.how) for c in clicks]
    for label, click in zip(labels, clicks, strict=True):
        assert label.time_s == pytest.approx(click.time_s, abs=1e-6)
    ours, deleted = correct(labels, clicks, (), end_s=90_000.0)
    if all(c.kind == "unknown" for c in clicks) or all(c.kind != "unknown" for c in clicks):
        assert all(c.change == "kept" for c in ours)
        assert [c.click for c in ours] == clicks
    assert not deleted


@given(click_lists(), st.data())
def test_every_detected_click_is_somewhere_and_every_label_counts(clicks: list[Click], data: st.DataObject):
    labelled = [dataclasses.replace(c, kind=data.draw(kinds)) for c in clicks if data.draw(st.booleans())]
    labels = parse_labels(label_text(labelled))
    ours, deleted = correct(labels, clicks, (), end_s=90_000.0)
    assert [c.click.time_s for c in ours] == [label.time_s for label in labels] or all(
        abs(c.click.time_s - label.time_s) < 1e-5 for c, label in zip(ours, labels, strict=True)
    )
    assert sum(c.was_s is not None for c in ours) + len(deleted) == len(clicks)
    for one, label in zip(ours, labels, strict=True):
        assert one.click.kind == label.kind or one.change == "by turns"


def refusal(attempt: Callable[[], object]) -> str:
    """Why it was refused, or "read". Any other error goes through."""
    try:
        attempt()
    except InputError as error:
        return str(error)
    return "read"


@given(st.text(max_size=200))
def test_any_text_is_read_or_refused_with_its_line(text: str):
    assert refusal(lambda: parse_labels(text, "mine.txt")).startswith(("mine.txt, line", "read"))


@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(data: bytes):
    told = refusal(lambda: parse_labels(decode_labels(data, "mine.txt"), "mine.txt"))
    assert told.startswith(("mine.txt", "read"))


def test_what_editors_and_people_write_is_understood():
    text = "12,5\t12,5\tCut In\r\n\\\t300.0\t9000.0\n\n# a remark\n40.25\t41\tcut_out\n60\t60\t# a dog\n70 70 click\n"
    for data in (text.encode(), text.encode("utf-16"), b"\xef\xbb\xbf" + text.encode()):
        labels = parse_labels(decode_labels(data, "l"))
        assert [(label.time_s, label.kind, label.line) for label in labels] == [
            (12.5, "cut-in", 1),
            (40.25, "cut-out", 5),
            (70.0, "unknown", 7),
        ]


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("1.0\t1.0\tdog", 'line 2: "dog" is not known'),
        ("1.0\t1.0\t", "line 2: it has no text"),
        ("1.0\t1.0", "line 2: it has no text"),
        ("one\t1.0\tcut-in", 'line 2: "one" is not a time'),
        ("1.234,5\t1.0\tcut-in", 'line 2: "1.234,5" is not a time'),
        ("2.0\t1.0\tcut-in", "line 2: the end, 1 s, lies before the start, 2 s"),
        ("-1.0\t1.0\tcut-in", "line 2: -1 s is outside the recording"),
        ("nan\t1.0\tcut-in", 'line 2: "nan" is not a time'),
        ("cut-in", 'line 2: "cut-in" is not "start, end, text"'),
        ("9.0002\t9.1\tcut-out", "lines 1, 2".replace(", ", " and ") + ": two labels at 9.000 s"),
    ],
)
def test_what_cannot_be_understood_is_said_with_its_line(line: str, says: str):
    with pytest.raises(InputError) as told:
        parse_labels(f"9.0\t9.0\tcut-in\n{line}\n", "mine.txt")
    assert says in str(told.value)
    assert "\n" not in str(told.value)


def test_the_recording_itself_is_no_label_file():
    with pytest.raises(InputError, match="no text"):
        decode_labels(b"RIFF\x00\x00\x00\x00WAVE", "a.wav")


def changes(ours: tuple[CorrectedClick, ...]) -> list[str]:
    return [c.change for c in ours]


DETECTED = (Click(10.0, "cut-in", 0.9), Click(40.0, "cut-out", 0.8), Click(80.0, "cut-in", 0.95))


def test_moved_added_deleted_and_renamed_are_told_apart():
    labels = parse_labels("10\t10\tcut-in\n40.7\t41\tcut-out\n80\t80\tcut-out\n100\t100\tcut-in\n")
    ours, deleted = correct(labels, DETECTED, (), end_s=120.0)
    assert changes(ours) == ["kept", "moved", "renamed", "added"]
    assert not deleted
    assert ours[0].click is DETECTED[0]
    assert (ours[1].click.time_s, ours[1].was_s, ours[1].click.timing_sd_s) == (40.7, 40.0, HAND_SD_S)
    assert ours[2].was_kind == "cut-in"
    assert ours[2].click.timing_sd_s == DETECTED[2].timing_sd_s
    _, deleted = correct(labels[:1], DETECTED, (), end_s=120.0)
    assert deleted == DETECTED[1:]


def test_a_label_far_from_any_click_is_a_new_one():
    ours, deleted = correct(parse_labels("43\t43\tcut-out"), DETECTED, (), end_s=120.0)
    assert changes(ours) == ["added"]
    assert len(deleted) == 3


def test_a_label_after_the_end_belongs_to_another_recording():
    with pytest.raises(InputError, match=r"line 1: 130 s lies after the end of the recording at 120\.000 s"):
        correct(parse_labels("130\t130\tcut-in"), DETECTED, (), end_s=120.0)


UNKNOWN = tuple(Click(t, "unknown", 0.9) for t in (10.0, 40.0, 80.0, 110.0))


def test_naming_one_click_names_the_others_by_turns_but_not_across_missing_sound():
    labels = parse_labels("10\t10\tclick\n40\t40\tcut-out\n80\t80\tclick\n110\t110\tclick\n")
    ours, _ = correct(labels, UNKNOWN, (), end_s=120.0)
    assert [c.click.kind for c in ours] == ["cut-in", "cut-out", "cut-in", "cut-out"]
    assert changes(ours) == ["by turns", "renamed", "by turns", "by turns"]
    ours, _ = correct(labels, UNKNOWN, (Gap(60.0, 61.0, "lost"),), end_s=120.0)
    assert [c.click.kind for c in ours] == ["cut-in", "cut-out", "unknown", "unknown"]


def test_names_that_contradict_each_other_settle_nothing():
    labels = parse_labels("10\t10\tcut-in\n40\t40\tcut-in\n80\t80\tclick\n110\t110\tclick\n")
    ours, _ = correct(labels, UNKNOWN, (), end_s=120.0)
    assert [c.click.kind for c in ours] == ["cut-in", "cut-in", "unknown", "unknown"]


@pytest.fixture(scope="module")
def measured() -> Measurement:
    return measure_recording(FIXTURES / "short-cycling-12s.flac", options=SHUT)


def by_labels(m: Measurement, text: str) -> Measurement:
    return corrected(m, parse_labels(text), SHUT, name="mine.txt")


def test_an_unchanged_file_changes_nothing(measured: Measurement):
    same = by_labels(measured, label_text((*measured.clicks, *measured.edges)))
    assert dataclasses.replace(same, correction=None) == measured
    assert same.correction is not None
    assert same.correction.figures == ()


def test_a_moved_click_moves_the_run_and_all_that_rests_on_it_says_so(measured: Measurement):
    out = next(c for c in measured.clicks if c.kind == "cut-out" and c.time_s > 30.0)
    moved = [dataclasses.replace(c, time_s=c.time_s + 1.5) if c is out else c for c in measured.clicks]
    new = by_labels(measured, label_text(moved))
    assert new.clicks == measured.clicks  # what was detected stays as it was
    assert new.correction is not None
    assert new.correction.detected_run == measured.run
    before = next(c for c in measured.cycles if c.cut_out_s == out.time_s)
    after = next(c for c in new.cycles if c.cut_out_s == pytest.approx(out.time_s + 1.5))
    assert before.run_s is not None
    assert after.run_s == pytest.approx(before.run_s + 1.5, abs=1e-5)
    assert after.run_high_s is not None
    assert after.run_low_s is not None
    assert after.run_high_s - after.run_low_s > 1.9 * 1.96 * HAND_SD_S  # as fine as a hand, no finer
    assert "corrected by hand" in said(after.notes)
    assert new.run is not None
    assert "corrected by hand" in said(new.run.notes)
    assert "corrected by hand" in said(new.verdict.reasons)
    untouched = [c for c in new.cycles if "corrected" not in said(c.notes)]
    assert untouched == [c for c in measured.cycles if c in untouched]
    place = new.cycles.index(after) + 1
    assert set(new.correction.figures) == {f"cycle {place}", "run", "verdict"}


def test_a_struck_out_click_takes_its_run_away(measured: Measurement):
    clicks = [c for c in measured.clicks if c.time_s < 30.0]
    new = by_labels(measured, label_text(clicks))
    assert new.correction is not None
    assert len(new.correction.deleted) == len(measured.clicks) - len(clicks)
    assert sum(c.complete for c in new.cycles) == 1
    assert new.run is not None
    assert new.run.count == 1


def test_the_command_writes_labels_and_reads_corrections(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    monkeypatch.chdir(tmp_path)
    recording = str(FIXTURES / "no-pump-heard.flac")
    assert run(["measure", recording, "--labels", "clicks.txt", "--taps-shut"]) == 1
    lines = Path("clicks.txt").read_text("utf-8").splitlines()
    assert all(line.endswith("\tclick") for line in lines)
    assert len(lines) == 6
    assert run(["measure", recording, "--labels", "clicks.txt"]) == 2  # somebody's corrections may be in it
    assert "may hold corrections" in capsys.readouterr().err
    lines[0] = lines[0].replace("click", "cut-in")
    Path("mine.txt").write_text("\n".join(lines), "utf-8")
    command = ["measure", recording, "--corrected", "mine.txt", "--labels", "again.txt", "--taps-shut"]
    assert run([*command, "--json", "m.json"]) == 0
    document = json.loads(Path("m.json").read_text("utf-8"))
    truth = json.loads((FIXTURES / "no-pump-heard.truth.json").read_text("utf-8"))
    assert document["run"]["seconds"] == pytest.approx(truth["no_use_run_s"], abs=0.01)
    assert {c["kind"] for c in document["clicks"]} == {"unknown"}
    assert document["correction"]["file"] == "mine.txt"
    assert [c["kind"] for c in document["correction"]["clicks"]] == ["cut-in", "cut-out"] * 3
    assert document["correction"]["detected"]["run"] is None
    assert "run" in document["correction"]["figures"]
    shown = capsys.readouterr().out
    assert "Corrected by hand" in shown
    assert "by turns" in shown
    assert [line.split("\t")[2] for line in Path("again.txt").read_text().splitlines()] == ["cut-in", "cut-out"] * 3


@pytest.mark.parametrize(
    ("text", "code"), [("9\t9\tdog\n", 2), ("9\tcut-in\n", 2), ("9000\t9000\tcut-in\n", 2), ("", 1)]
)
def test_a_bad_label_file_is_one_line_and_an_empty_one_is_no_click(
    text: str, code: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    (tmp_path / "mine.txt").write_text(text)
    recording = str(FIXTURES / "very-short-3s.flac")
    assert run(["measure", recording, "--corrected", str(tmp_path / "mine.txt")]) == code
    out, err = capsys.readouterr()
    assert len(err.splitlines()) == (code == 2)
    assert ("mine.txt holds no label" in " ".join(out.split())) == (code == 1)


def test_a_missing_label_file_is_said_before_anything_is_measured(capsys: pytest.CaptureFixture[str]):
    assert run(["measure", "nothing.wav", "--corrected", "no-such-labels.txt"]) == 2
    assert "no-such-labels.txt" in capsys.readouterr().err


def test_python_has_the_same(tmp_path: Path):
    (tmp_path / "mine.txt").write_text("9\t9\tcut-in\n12\t12\tcut-out\n", "utf-8")
    m = clicktimer.measure(FIXTURES / "very-short-3s.flac", taps="shut", corrected=tmp_path / "mine.txt")
    assert m.run is not None
    assert m.run.seconds == pytest.approx(3.0, abs=1e-3)
    assert m.correction is not None
    assert m.correction.file == "mine.txt"


@settings(max_examples=30)
@given(click_lists())
def test_the_report_tells_every_correction(clicks: list[Click]):
    m = dataclasses.replace(
        measure_once(),
        clicks=tuple(c for c in clicks if c.how == "clicks"),
        edges=tuple(c for c in clicks if c.how == "pump sound"),
    )
    new = corrected(m, parse_labels("1\t1\tcut-in\n5\t5\tcut-out"), SHUT, name="mine.txt")
    text = render_text(new)
    assert "Corrected by hand" in text
    assert all(len(line) <= 80 for line in text.splitlines())


def measure_once() -> Measurement:
    from tests.support.handmade import nothing_heard

    m = nothing_heard()
    return dataclasses.replace(m, source=dataclasses.replace(m.source, duration_s=90_000.0))
