"""Scores as plain text tables. In: the rows of a run; out: text."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import reduce
from operator import add
from typing import Any

import numpy as np

from tests.benchmarks.score import Score, calibration, f1

Row = dict[str, Any]
HEAD = (
    "",
    "rec",
    "click F1",
    "clicks",
    "false",
    "kind",
    "cycle F1",
    "right",
    "miss",
    "inv",
    "inv/h",
    "order",
    "run err med/95 ms",
    "ambig",
    "verdict r/w/a",
    "x real time",
)


def total(rows: Iterable[Row]) -> Score:
    """The scores added up."""
    return reduce(add, (row["score"] for row in rows), Score())


def _part(count: int, of: int) -> str:
    return f"{count / of:.3f}" if of else "-"


def _errors(errors_s: Sequence[float]) -> str:
    if not len(errors_s):
        return "-"
    size = np.abs(errors_s) * 1000
    return f"{np.median(size):.2f}/{np.percentile(size, 95):.1f}"


def score_cells(name: str, s: Score) -> tuple[str, ...]:
    """One line of the main table."""
    return (
        name,
        str(s.recordings),
        f"{s.click_f1():.3f}",
        f"{s.found_clicks}/{s.true_clicks}",
        str(s.told_clicks - s.found_clicks),
        _part(s.right_kinds, s.found_clicks),
        f"{s.cycle_f1():.3f}",
        f"{s.right_cycles}/{s.true_cycles}",
        str(s.missed_cycles),
        str(s.invented_cycles),
        f"{s.invented_cycles / s.hours:.2f}" if s.hours else "-",
        str(s.wrong_order),
        _errors(s.run_errors_s),
        str(s.ambiguous),
        f"{s.verdict_right}/{s.verdict_wrong}/{s.verdict_abstained}",
        f"{s.hours * 3600 / s.seconds:.0f}" if s.seconds else "-",
    )


def row_line(row: Row) -> str:
    """One recording on one line, while it runs."""
    s: Score = row["score"]
    error = " ERROR " + row["error"].strip().splitlines()[-1] if row["error"] else ""
    return (
        f"{row['name'][:52]:52s} {row['pump']:5s} clicks {s.found_clicks}/{s.true_clicks} "
        f"+{s.told_clicks - s.found_clicks} kinds {s.right_kinds} cycles {s.right_cycles}/{s.true_cycles} "
        f"inv {s.invented_cycles} amb {s.ambiguous} {row['wall_s']:.1f} s{error}"
    )


def grid(lines: Sequence[Sequence[str]]) -> str:
    """Cells in columns, the first one to the left."""
    widths = [max(len(line[i]) for line in lines) for i in range(len(lines[0]))]

    def text(line: Sequence[str]) -> str:
        cells = [line[0].ljust(widths[0]), *(c.rjust(w) for c, w in zip(line[1:], widths[1:], strict=True))]
        return "  ".join(cells).rstrip()

    return "\n".join(text(line) for line in lines)


def _pump(row: Row) -> str:
    if not row["truth"]:
        return "no click at all"
    return f"pump: {row['pump']}" + ("" if row["audible"] or row["pump"] == "none" else " (too faint to hear)")


def _groups(rows: Sequence[Row], key: Callable[[Row], str]) -> list[tuple[str, ...]]:
    names = list(dict.fromkeys(key(r) for r in rows))
    return [score_cells(n, total(r for r in rows if key(r) == n)) for n in names]


def _details(s: Score) -> str:
    def bias(values: Sequence[float]) -> str:
        return f"{np.median(values) * 1000:+.2f}" if len(values) else "-"

    held = s.run_in_interval + s.run_outside_interval
    wrong_kinds = s.found_clicks - s.right_kinds - s.open_kinds
    return "\n".join(
        (
            f"click offset, median: all {bias(s.offsets_s)} ms, cut-in {bias(s.offsets_in_s)}, "
            f"cut-out {bias(s.offsets_out_s)}; size, median/95 %: {_errors(s.offsets_s)} ms; "
            f"bias of runs {bias(s.run_errors_s)} ms",
            f"kinds of found clicks: right {s.right_kinds}, open {s.open_kinds}, wrong {wrong_kinds}; "
            f"chatter seen as such {s.found_chatter}/{s.true_chatter}",
            f"95 % interval of single runs held the true run: {_part(s.run_in_interval, held)} of {held}",
            f"runs by pump sound: right {s.sound_runs_right}, true run outside the interval {s.sound_runs_outside}, "
            f"invented {s.sound_runs_invented}; true runs where no click can be heard {s.sound_runs_true}",
            f"both readings given: {s.ambiguous} recordings, one of them true in {s.ambiguous_right}",
            f"verdict: right {s.verdict_right}, WRONG {s.verdict_wrong} (against the run from "
            f"settled air {s.verdict_wrong_settled}), not sure {s.verdict_abstained}; sure on "
            f"{s.clear_sure}/{s.clear_cases} clear cases (3 runs, clicks 15 dB in their band, 8 % off the marks)",
            f"quiet recordings: {s.quiet_recordings}, clicks told there {s.quiet_false_clicks}",
        )
    )


def _confidence(s: Score) -> str:
    lines: list[Sequence[str]] = [("confidence", "clicks", "said", "found", "cycles", "said", "found")]
    clicks = {name: row for name, *row in calibration(s.click_confidence)}
    cycles = {name: row for name, *row in calibration(s.cycle_confidence)}
    for name in sorted(set(clicks) | set(cycles)):
        cells = [name]
        for row in (clicks.get(name), cycles.get(name)):
            cells += ["-", "-", "-"] if row is None else [str(row[0]), f"{row[1]:.3f}", f"{row[2]:.3f}"]
        lines.append(cells)
    return grid(lines)


def _peers(rows: Sequence[Row]) -> str:
    lines: list[Sequence[str]] = [("way", "click F1", "recall", "precision", "offset med/95 ms", "x real time")]
    s = total(rows)
    lines.append(
        (
            "clicktimer",
            f"{s.click_f1():.3f}",
            _part(s.found_clicks, s.true_clicks),
            _part(s.found_clicks, s.told_clicks),
            _errors(s.offsets_s),
            f"{s.hours * 3600 / s.seconds:.0f}" if s.seconds else "-",
        )
    )
    for name in rows[0]["peers"]:
        found, true, told, took = (sum(r["peers"][name][i] for r in rows) for i in range(4))
        offsets = [x for r in rows for x in r["peers"][name][4]]
        lines.append(
            (
                name,
                f"{f1(found, true, told):.3f}",
                _part(found, true),
                _part(found, told),
                _errors(offsets),
                f"{s.hours * 3600 / took:.0f}",
            )
        )
    return grid(lines)


def all_tables(rows: Sequence[Row]) -> str:
    """Every table of a run."""
    counted = [r for r in rows if r["counts"]]
    rest = [r for r in rows if not r["counts"]]
    lossless = [r for r in counted if not r["codec"]]
    lines: list[Sequence[str]] = [HEAD, *_groups(rows, lambda r: str(r["condition"]))]
    lines += [("",) * len(HEAD), *_groups(rows, _pump)]
    lines += [("",) * len(HEAD)]
    if lossless and len(lossless) < len(counted):
        lines.append(score_cells("counted, lossless", total(lossless)))
    if rest:
        lines.append(score_cells("not counted: pump not heard, no hint", total(rest)))
    if counted:
        lines.append(score_cells("COUNTED", total(counted)))
    lines.append(score_cells("all", total(rows)))
    sharp = [r for r in lossless if r["sharp"]]
    if sharp and len(sharp) < len(lossless):
        lines.insert(-2, score_cells("counted, lossless, both clicks with a sharp onset", total(sharp)))
    parts = [grid(lines)]
    parts.append("Of the counted:\n" + _details(total(counted)) if counted else "none counted")
    parts.append(_confidence(total(counted)))
    if rows and rows[0]["peers"]:
        parts.append(_peers(rows))
    return "\n\n".join(parts)
