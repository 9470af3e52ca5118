"""The gate tells how each run of the tests closed, also where pytest never got to say it."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

GATE = Path(__file__).parents[1] / ".ci" / "run"
CRASH = "bash -c 'echo Fatal Python error; exit 139'"
PASSED = "echo '===== 3 passed, 1 deselected in 0.10s ====='"
FAILED = "bash -c 'echo \"=== 1 failed, 2 passed in 61.20s (0:01:01) ===\"; exit 1'"
ABSENT = "printf 'SKIPPED [1] tests/test_x.py:9: the browser is absent\\n=== 2 passed, 1 skipped in 0.10s ===\\n'"
SILENT = "true"

pytestmark = pytest.mark.skipif(shutil.which("bash") is None, reason="the shell bash is absent")


def gate(*commands: str) -> subprocess.CompletedProcess[str]:
    """Run commands as steps one, two, ... with the gate's own functions, then its summary."""
    steps = "; ".join(f"tested 'step {number}' {command}" for number, command in enumerate(commands, start=1))
    script = f"source {GATE}; {steps}; summary"
    return subprocess.run(["bash", "-c", script], capture_output=True, text=True, timeout=60, check=False)


def test_steps_that_pass_are_listed_with_the_closing_line_of_pytest():
    done = gate(PASSED, PASSED)
    assert done.returncode == 0
    assert done.stdout.endswith(
        "step 1: ===== 3 passed, 1 deselected in 0.10s =====\n"
        "step 2: ===== 3 passed, 1 deselected in 0.10s =====\n"
        "ci: all passed\n"
    )


@pytest.mark.parametrize("crashed", [CRASH, SILENT])
def test_a_command_that_ends_before_pytest_does_fails_and_does_not_hide_the_next_one(crashed: str):
    done = gate(crashed, PASSED)
    assert done.returncode == 1
    assert "step 1: no closing line of pytest" in done.stdout
    assert "step 2: ===== 3 passed" in done.stdout
    assert "ci: FAILED\n" in done.stderr
    assert "all passed" not in done.stdout


def test_failed_tests_and_tests_skipped_for_something_absent_fail_the_gate():
    done = gate(FAILED, ABSENT)
    assert done.returncode == 1
    summary = done.stderr.rsplit("ci: FAILED\n", 1)[1]
    assert summary == "  step 1\n  step 2: a test was skipped because something is absent\n"
