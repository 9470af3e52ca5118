"""Ctrl-C keeps what was heard so far, says so, and the second one leaves at once."""

from __future__ import annotations

import json
import signal
from pathlib import Path

import pytest

from clicktimer.cli import run
from clicktimer.cli.progress import ProgressBar
from clicktimer.cli.stopping import Wish, user_may_stop

RECORDING = Path(__file__).parents[2] / "fixtures_audio/short-cycling-12s.flac"


def measured(target: Path, capsys: pytest.CaptureFixture[str]) -> tuple[int, dict[str, object], str]:
    code = run(["measure", str(RECORDING), "--taps-shut", "--json", str(target)])
    printed = capsys.readouterr()
    return code, json.loads(target.read_text("utf-8")), printed.out


def test_what_was_heard_so_far_is_measured(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    code, whole, _ = measured(tmp_path / "whole.json", capsys)
    assert code == 0
    handler = signal.getsignal(signal.SIGINT)

    def press_after_a_minute(_bar: ProgressBar, done_s: float, _total_s: float | None) -> None:
        if done_s >= 60.0:
            signal.raise_signal(signal.SIGINT)

    monkeypatch.setattr(ProgressBar, "__call__", press_after_a_minute)
    code, part, text = measured(tmp_path / "part.json", capsys)
    assert code == 130
    assert signal.getsignal(signal.SIGINT) is handler
    assert part["source"]["duration_s"] == 60.0
    assert [w["code"] for w in part["warnings"]] == ["stopped"]
    assert "You stopped the measuring at 60 s" in " ".join(text.split())
    # The first two runs end before the minute: the same as in the whole, to the timing error that is told.
    ends = [c["cut_out_s"] for c in part["cycles"] if c["complete"]]
    assert len(ends) == 2
    assert ends == pytest.approx([c["cut_out_s"] for c in whole["cycles"]][:2], abs=0.005)
    assert all(c["time_s"] < 60.0 for c in part["clicks"])


def test_the_second_press_leaves_at_once(request):
    """Also where the tests run in the background of a shell, which has the signal ignored."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    request.addfinalizer(lambda: signal.signal(signal.SIGINT, before))
    wish = Wish()
    with user_may_stop(wish):
        signal.raise_signal(signal.SIGINT)
        assert wish.asked
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)
