"""The command line with the real chain behind it: what a newcomer types first, and its JSON."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import jsonschema
import pytest

from clicktimer.cli import run
from clicktimer.cli.waiting import PREPARING
from clicktimer.simulator.demo import DemoFacts, demo_recording

ROOT = Path(__file__).parents[2]
FIRST_RUN = f"{PREPARING}\n"  # all that may be on stderr, in a fresh installation


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, DemoFacts]:
    return demo_recording(tmp_path_factory.mktemp("demo") / "demo.wav", 7)


@pytest.fixture
def demo(made: tuple[Path, DemoFacts]) -> Path:
    return made[0]


def test_the_demo_command_makes_measures_and_keeps_its_recording(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    monkeypatch.chdir(tmp_path)
    assert run(["demo"]) == 0
    out, err = capsys.readouterr()
    assert err in ("", FIRST_RUN)
    assert (tmp_path / "clicktimer-demo.wav").stat().st_size > 1_000_000
    assert "clicktimer measure clicktimer-demo.wav --taps-shut" in out
    assert "the simulator's true runs:" in out
    readme = (ROOT / "README.md").read_text("utf-8")
    assert out.split("\nCautions\n")[0].rstrip() in readme, "run: python docs/make.py readme"
    # A command is one line, to be copied whole.
    assert all(len(line) <= 80 for line in out.splitlines() if not line.startswith("  clicktimer"))


def test_the_demo_recording_is_measured_as_its_physics_has_it(
    made: tuple[Path, DemoFacts], capsys: pytest.CaptureFixture[str]
):
    demo, facts = made
    assert (facts.switch_psig, facts.precharge_psig) == ((40.0, 60.0), 38.0), "the demo command leaves these out"
    assert run(["measure", str(demo), "--taps-shut", "--json", "-"]) == 0
    out, err = capsys.readouterr()
    assert err in ("", FIRST_RUN)
    document = json.loads(out)
    jsonschema.validate(document, json.loads((ROOT / "docs/measurement.schema.json").read_text("utf-8")))
    runs = [c["run_s"] for c in document["cycles"]]
    assert runs == pytest.approx(facts.runs_s, abs=0.01)
    assert document["verdict"]["band"] == "under-a-minute"
    assert document["source"]["name"] == "demo.wav"


def test_same_recording_gives_the_same_bytes(demo: Path, tmp_path: Path):
    for name in ("one", "two"):
        run(["measure", str(demo), "--json", str(tmp_path / name)])
    assert (tmp_path / "one").read_bytes() == (tmp_path / "two").read_bytes()


def test_python_and_the_command_line_say_the_same(demo: Path, capsys: pytest.CaptureFixture[str]):
    import clicktimer

    run(["measure", str(demo), "--taps-shut", "--tank", "20 gal", "--pump-rate", "8 gpm", "--json", "-"])
    said = json.loads(capsys.readouterr().out)
    measured = clicktimer.measure(demo, taps="shut", tank="20 gal", pump_rate="8 gpm")
    document = clicktimer.measurement_json(measured, program_version=clicktimer.__version__)
    assert json.loads(json.dumps(document)) == said


@pytest.mark.parametrize("content", [b"", b"this is not sound\n" * 50])
def test_what_is_no_recording_is_one_line_and_exit_code_2(
    content: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    (tmp_path / "a.wav").write_bytes(content)
    assert run(["measure", str(tmp_path / "a.wav")]) == 2
    out, err = capsys.readouterr()
    assert (out, len(err.splitlines())) == ("", 1)
    assert err.startswith("clicktimer: ")


def test_a_missing_recording_is_one_line_and_exit_code_2(capsys: pytest.CaptureFixture[str]):
    assert run(["measure", "no-such-recording.wav"]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1


def test_measuring_loads_no_library_that_it_does_not_need(demo: Path):
    import subprocess

    code = f"""
import sys
from clicktimer.cli import run
from clicktimer.simulator.demo import DemoFacts, demo_recording
run(["measure", {str(demo)!r}, "--json", "-"])
print([m for m in ("librosa", "matplotlib", "sounddevice", "scipy.stats", "rich") if m in sys.modules], file=sys.stderr)
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, timeout=120)
    assert done.stderr.strip() == "[]"
