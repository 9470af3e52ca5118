"""The command line: exit codes, where results go, and what is said when things go wrong.

The chain itself is put aside here: a stand-in returns measurements made by hand, or fails as asked.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import types
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from clicktimer.cli import COMMANDS, cli, run
from clicktimer.cli.demo import free_name
from clicktimer.cli.output import emphasis_for, write_whole
from clicktimer.errors import InputError, SettingsError
from clicktimer.pipeline import MeasureRequest, Outcome, Watch
from tests.support.handmade import nothing_heard, short_cycling


class FakeChain(types.ModuleType):
    """Stands in for clicktimer.pipeline; the recording's name says what shall happen."""

    def __init__(self) -> None:
        super().__init__("clicktimer.pipeline")
        self.asked: list[tuple[Any, Any]] = []
        self.MeasureRequest = MeasureRequest

    def measure_all(
        self, request: MeasureRequest, watch: Watch, *, asked_to_stop: Callable[[], bool] = bool
    ) -> Outcome:
        paths = list(request.paths)
        self.asked.append((paths if len(paths) > 1 else paths[0], request.options))
        name = str(paths[0])
        if "missing" in name:
            raise InputError(f"{name}: there is no such file; check the name")
        if "defect" in name:
            raise ZeroDivisionError("division by zero")
        if "stop" in name:
            raise KeyboardInterrupt
        with watch("recording") as progress:
            if progress is not None:
                progress(1.0, 2.0)
        assert not asked_to_stop()
        return Outcome(nothing_heard() if "quiet" in name else short_cycling(), request.options)


@pytest.fixture
def chain(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> FakeChain:
    fake = FakeChain()
    monkeypatch.setitem(sys.modules, "clicktimer.pipeline", fake)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr("tempfile.tempdir", None)
    return fake


@pytest.mark.parametrize(
    ("recordings", "code"),
    [
        (["a.wav"], 0),
        (["a.wav", "b.wav"], 0),
        (["quiet.wav"], 1),
        (["a.wav", "quiet.wav"], 1),
        (["missing.wav"], 2),
        (["missing.wav", "a.wav"], 2),
        (["missing.wav", "quiet.wav", "a.wav"], 2),
        (["defect.wav", "missing.wav"], 3),
        (["a.wav", "stop.wav"], 130),
        (["stop.wav"], 130),
    ],
)
def test_exit_codes(chain: FakeChain, recordings: list[str], code: int):
    assert run(["measure", *recordings]) == code


def test_after_a_bad_recording_the_others_are_still_measured(chain: FakeChain, capsys: pytest.CaptureFixture[str]):
    assert run(["measure", "missing.wav", "defect.wav", "a.wav"]) == 3
    out, err = capsys.readouterr()
    assert "SHORT CYCLING" in out
    assert len(err.splitlines()) == 2
    assert err.splitlines()[0] == "clicktimer: missing.wav: there is no such file; check the name"


def test_a_defect_is_one_line_that_names_the_log_with_the_traceback(
    chain: FakeChain, capsys: pytest.CaptureFixture[str]
):
    assert run(["measure", "defect.wav"]) == 3
    out, err = capsys.readouterr()
    assert out == ""
    assert len(err.splitlines()) == 1
    assert "defect.wav" in err
    named = re.search(r"the details are in (\S+\.log)", err)
    assert named is not None
    log = Path(named[1]).read_text("utf-8")
    assert "Traceback" in log
    assert "ZeroDivisionError: division by zero" in log


def test_a_defect_outside_a_recording_is_told_the_same_way(
    chain: FakeChain, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr("clicktimer.cli.measure.check_targets", lambda *_: 1 / 0)
    assert run(["measure", "a.wav"]) == 3
    assert "the details are in" in capsys.readouterr().err


def test_when_the_user_stops_what_was_measured_is_kept(chain: FakeChain, tmp_path: Path):
    assert run(["measure", "a.wav", "stop.wav", "b.wav", "--json", "out.json", "--csv", "out.csv"]) == 130
    lines = (tmp_path / "out.json").read_text("utf-8").splitlines()
    assert len(lines) == 1
    assert json.loads(lines[0])["run"]["seconds"] == 12.13
    assert len((tmp_path / "out.csv").read_text("utf-8").splitlines()) == 5
    assert len(chain.asked) == 2


def test_json_to_stdout_is_all_that_is_there(chain: FakeChain, capsys: pytest.CaptureFixture[str]):
    assert run(["measure", "a.wav", "--json", "-"]) == 0
    out, err = capsys.readouterr()
    assert json.loads(out)["format"] == "clicktimer-measurement"
    assert err == ""


def test_several_recordings_give_json_lines(chain: FakeChain, capsys: pytest.CaptureFixture[str]):
    assert run(["measure", "a.wav", "quiet.wav", "b.wav", "--json", "-"]) == 1
    out, err = capsys.readouterr()
    documents = [json.loads(line) for line in out.splitlines()]
    assert [d["run"] is None for d in documents] == [False, True, False]
    assert "No click of a pressure switch was heard." in err


def test_what_could_not_be_measured_still_has_its_document(chain: FakeChain, tmp_path: Path):
    assert run(["measure", "quiet.wav", "--json", "out.json"]) == 1
    assert json.loads((tmp_path / "out.json").read_text("utf-8"))["run"] is None


def test_a_result_takes_the_place_of_an_older_one_in_one_move(chain: FakeChain, tmp_path: Path):
    (tmp_path / "out.json").write_text("old")
    assert run(["measure", "a.wav", "--json", "out.json"]) == 0
    assert json.loads((tmp_path / "out.json").read_text("utf-8"))["version"] == 1
    assert [p.name for p in tmp_path.iterdir()] == ["out.json"]


def test_with_no_recording_read_an_older_result_stays_and_that_is_said(
    chain: FakeChain, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    (tmp_path / "out.json").write_text("old")
    assert run(["measure", "missing.wav", "--json", "out.json"]) == 2
    assert (tmp_path / "out.json").read_text() == "old"
    assert "nothing was written to out.json" in capsys.readouterr().err


def test_csv_to_stdout(chain: FakeChain, capsys: pytest.CaptureFixture[str]):
    assert run(["measure", "a.wav", "--csv", "-"]) == 0
    assert capsys.readouterr().out.startswith("recording,cycle,cut_in_at,cut_in_s")


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["a.wav", "--taps-shut", "--steady-tap"], "contradict each other"),
        (["a.wav", "--json", "-", "--csv", "-"], "cannot both go to the same place"),
        (["a.wav", "--json", "a.wav"], "would overwrite the recording"),
        (["a.wav", "--json", "nowhere/x.json"], "does not exist"),
        (["a.wav", "--csv", "."], "is a folder"),
        (["a.wav", "b.wav", "--started", "2031-05-04 06:30"], "fits one recording"),
        (["a.wav", "--switch", "60/40"], "cut-in"),
        (["a.wav", "--tank", "33 gallos"], "gallos"),
        (["a.wav", "--pump-rate", "0 gpm"], "0 gpm"),
        (["a.wav", "--precharge", "70 psi"], "cut-out"),
    ],
)
def test_impossible_options_are_one_line_and_nothing_is_measured(
    chain: FakeChain, capsys: pytest.CaptureFixture[str], tmp_path: Path, arguments: list[str], message: str
):
    (tmp_path / "a.wav").write_bytes(b"sound")
    assert run(["measure", *arguments]) == 2
    out, err = capsys.readouterr()
    assert (out, len(err.splitlines())) == ("", 1)
    assert message in err
    assert chain.asked == []
    assert (tmp_path / "a.wav").read_bytes() == b"sound"


@pytest.mark.parametrize(
    "arguments", [["measure"], ["measure", "a.wav", "--loud"], ["fly"], ["measure", "a.wav", "--pump-at-start", "so"]]
)
def test_a_wrong_command_is_bad_input(chain: FakeChain, arguments: list[str], capsys: pytest.CaptureFixture[str]):
    assert run(arguments) == 2
    assert "Error" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "meant"),
    [
        (["mesure", "a.wav"], "did you mean measure?"),
        (["Tank"], "did you mean tank?"),
        (["site", "chek"], "did you mean check?"),
        (["my run.wav"], 'clicktimer measure "my run.wav"'),
        (["xyzzy"], "there are: measure, hear"),
        (["measure", "a.wav", "--tap-shut"], "--taps-shut"),
    ],
)
def test_a_mistyped_word_is_answered_with_the_one_that_was_meant(
    capsys: pytest.CaptureFixture[str], arguments: list[str], meant: str
):
    assert run(arguments) == 2
    (last,) = [line for line in capsys.readouterr().err.splitlines() if line.startswith("Error")]
    assert meant in last


def test_what_the_user_says_reaches_the_chain(chain: FakeChain):
    run(
        [
            "measure",
            "a.wav",
            "b.wav",
            "--joined",
            "--steady-tap",
            "--pump-at-start",
            "off",
            "--marks",
            "20/45",
            "--started",
            "2031-05-04 06:30",
            "--tank",
            "33 gal",
            "--tank",
            "20 gal",
        ]
    )
    [(parts, options)] = chain.asked
    assert parts == ["a.wav", "b.wav"]
    assert (options.taps, options.pump_at_start, options.joined) == ("steady", "off", True)
    assert (options.marks_s, options.started) == ((20.0, 45.0), "2031-05-04 06:30")
    assert len(options.system.system.tanks) == 2


def test_nothing_is_assumed_where_the_user_says_nothing(chain: FakeChain):
    run(["measure", "a.wav"])
    [(path, options)] = chain.asked
    assert path == "a.wav"
    assert (options.taps, options.pump_at_start, options.started, options.joined) == (None, None, None, False)


def test_a_pipe_gets_no_control_codes(chain: FakeChain, capsys: pytest.CaptureFixture[str]):
    run(["measure", "a.wav"])
    assert "\x1b" not in "".join(capsys.readouterr())


@pytest.mark.parametrize(("no_color", "terminal", "bold"), [("", True, True), ("1", True, False), ("", False, False)])
def test_headings_are_bold_only_in_a_terminal_without_no_color(
    monkeypatch: pytest.MonkeyPatch, no_color: str, terminal: bool, bold: bool
):
    monkeypatch.setattr("sys.stdout", types.SimpleNamespace(isatty=lambda: terminal))
    monkeypatch.setenv("NO_COLOR", no_color)
    monkeypatch.setenv("TERM", "xterm")
    assert ("\x1b" in emphasis_for()("Runs")) is bold


def test_a_file_that_cannot_be_written_leaves_nothing_behind(tmp_path: Path):
    (tmp_path / "taken").mkdir()
    with pytest.raises(SettingsError, match=r"cannot write .*choose another place"):
        write_whole(tmp_path / "taken", "text")
    assert [p.name for p in tmp_path.iterdir()] == ["taken"]


def test_the_demo_never_overwrites(tmp_path: Path):
    names = []
    for _ in range(3):
        path = free_name(tmp_path)
        path.touch()
        names.append(path.name)
    assert names == ["clicktimer-demo.wav", "clicktimer-demo-2.wav", "clicktimer-demo-3.wav"]


def test_the_demo_needs_a_folder_that_is_there(capsys: pytest.CaptureFixture[str]):
    assert run(["demo", "--into", "no/such/folder"]) == 2
    assert "there is no such folder" in capsys.readouterr().err


@pytest.mark.parametrize("name", list(COMMANDS))
def test_the_list_of_commands_says_what_each_command_says(name: str):
    import click

    command = cli.get_command(click.Context(cli), name)
    assert command is not None
    assert command.get_short_help_str(limit=200).rstrip(".") == COMMANDS[name][2].rstrip(".")


def python(code: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, timeout=60)


HEAVY = ("numpy", "scipy", "av", "librosa", "numba", "matplotlib", "rich", "sounddevice")


@pytest.mark.parametrize(
    "code",
    [
        "import clicktimer",
        "from clicktimer.cli import run; run(['--help'])",
        "from clicktimer.cli import run; run(['--version'])",
    ],
)
def test_start_up_loads_no_heavy_library(code: str):
    done = python(f"{code}\nimport sys; print([m for m in {HEAVY} if m in sys.modules], file=sys.stderr)")
    assert done.stderr.strip() == "[]"


def test_measure_does_not_load_what_it_does_not_need():
    done = python(
        "from clicktimer.cli import run; run(['measure', 'no-such-file.wav'])\n"
        "import sys; print([m for m in ('librosa', 'matplotlib', 'sounddevice', 'rich') if m in sys.modules])"
    )
    assert done.stdout.strip() == "[]"


def test_a_reader_that_goes_away_is_no_error():
    reader, writer = os.pipe()
    os.close(reader)
    done = subprocess.run(
        [sys.executable, "-m", "clicktimer", "--help"], stdout=writer, stderr=subprocess.PIPE, check=False, timeout=60
    )
    os.close(writer)
    assert (done.returncode, done.stderr) == (141, b"")


def test_the_public_names_are_there_and_no_others():
    import clicktimer

    for name in clicktimer.__all__:
        if name not in ("measure_samples",):
            assert getattr(clicktimer, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'guess'"):
        _ = clicktimer.guess


def test_the_python_interface_takes_options_as_people_write_them(chain: FakeChain):
    import clicktimer

    result = clicktimer.measure("a.wav", taps="shut", switch="30/50", tank="33 gal", marks="20/45")
    assert result.run is not None
    [(path, options)] = chain.asked
    assert (path, options.taps, options.marks_s, options.joined) == ("a.wav", "shut", (20.0, 45.0), False)
    clicktimer.measure(["a.wav", "b.wav"])
    assert chain.asked[1][1].joined is True
    with pytest.raises(SettingsError, match="shut"):
        clicktimer.measure("a.wav", taps="closed")  # type: ignore[arg-type]
