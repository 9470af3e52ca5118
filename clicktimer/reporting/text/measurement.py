"""A measurement as text for a person: the verdict first, then what to do, the runs, the tank, the cautions.

At most 80 columns, no colour; ``emphasis`` may make headings bold in a terminal, and the text says the same without.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import timedelta
from typing import Any

from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.needed_cautions import cautions_for
from clicktimer.assessment.verdict import length_of
from clicktimer.records import (
    Reason,
    RunTime,
)
from clicktimer.reporting.blocks import Block, Words, lines_of
from clicktimer.reporting.formatting import (
    clock_text,
    length_text,
    plain,
    started_time,
    value_text,
    wrap,
)
from clicktimer.reporting.headline import headline
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.messages.figures import at_most_text
from clicktimer.reporting.text import advice
from clicktimer.reporting.text.causes import causes_lines, cautions_shown
from clicktimer.reporting.text.correction import correction_blocks
from clicktimer.reporting.text.day import day_lines
from clicktimer.reporting.text.proof import proof_lines
from clicktimer.reporting.text.runs import ambiguous_blocks, runs_lines
from clicktimer.tank.starts_per_day import day_starts

Emphasis = Callable[[str], str]

SAID_ELSEWHERE = {"no-clicks", "order-unknown"}  # by the title, the two readings and what to do next
OF_THE_RECORDING = {"taps": "taps", "pump_at_start": "pump at the start"}
OF_THE_TANK = {"switch", "precharge", "tank", "pump_rate", "height", "marks"}


def render_text(measurement: Measurement, *, emphasis: Emphasis = str, csv_hint: bool = True) -> str:  # noqa: C901
    """Return the whole report of one measurement as text.

    Parameters
    ----------
    measurement : Measurement
        What was measured.
    emphasis : callable
        Makes a heading stand out, such as bold in a terminal.
    csv_hint : bool
        Name ``--csv`` where the table of runs is shortened.

    Returns
    -------
    str
        Lines of at most 80 characters; ends in a newline.
    """
    m = measurement
    lines: list[str] = [*_source_lines(m), ""]
    lines += _verdict_lines(m, emphasis)
    steps = advice.next_steps(m)
    if steps:
        lines += ["", emphasis("What to do next")]
        for step in steps:
            lines += wrap(step, "  - ", "    ")
    if m.cycles:
        lines += ["", emphasis("Runs"), *runs_lines(m, csv_hint=csv_hint)]
    if m.correction is not None:
        lines += ["", emphasis("Corrected by hand"), *lines_of(correction_blocks(m))]
    if m.ambiguous is not None:
        lines += ["", emphasis("Two readings"), *lines_of(ambiguous_blocks(m))]
    if m.tank is not None and (m.run is not None or _tank_given(m.tank)):
        lines += ["", *_tank_lines(m.tank, emphasis)]
    if m.tank is not None and (day := day_starts(m.tank)) is not None:
        lines += ["", emphasis("Starts"), *day_lines(day, m.tank.units)]
    if causes := causes_lines(m.causes):
        lines += ["", emphasis("Causes"), *causes]
    if m.proof is not None:
        lines += ["", emphasis("Proof"), *proof_lines(m.proof)]
    notes = lines_of(note_blocks(m))
    if notes:
        lines += ["", emphasis("About this recording"), *notes]
    said = lines_of(said_blocks(m))
    if said:
        lines += ["", emphasis("What you said"), *said]
    lines += ["", emphasis("Cautions")]
    said_above = cautions_shown(m.causes)
    for caution in (c for c in cautions_for(m) if c not in said_above):
        lines += wrap(Messages().text(caution), "  ! ", "    ")
    return "\n".join(lines) + "\n"


def summary_line(measurement: Measurement) -> str:
    """Return one line: the recording's name, the verdict as its title says it, and the run time with its interval."""
    m = measurement
    line = f"{plain(m.source.name)}: {title_of(m).lower()}"
    if m.run is None:
        return line
    if m.run.one_sided:
        return f"{line}; run with no water in use at most {at_most_text(m.run.seconds, m.run.high_s)}"
    return f"{line}; run with no water in use {Messages().text(length_of(m.run))}"


def _source_lines(m: Measurement) -> list[str]:
    rate = f"{m.source.sample_rate_hz / 1000:g} kHz"
    parts = [m.source.name, length_text(m.source.duration_s), rate]
    started = started_time(m.source.started_at)
    if started is not None:
        parts.append(f"began {started.strftime('%Y-%m-%d %H:%M')}")
        if m.source.started_how == "container":
            parts[-1] += " by the file's own note, which some phones set to the end or to UTC"
    return wrap(", ".join(parts))


def _verdict_lines(m: Measurement, emphasis: Emphasis) -> list[str]:
    lines = [emphasis(title_of(m)), *wrap(verdict_text(m), "  ")]
    if m.run is None:
        return lines
    lines += ["", *wrap(basis_text(m.run), "  ")]
    if not set(m.run.doubts) <= set(m.verdict.reasons):
        lines += wrap(Messages().texts(m.run.doubts), "  ")
    return lines + wrap(Messages().text("runs.what-a-run-is"), "  ")


def basis_text(run: RunTime, messages: Messages = Messages()) -> str:
    """Return what a run time rests on: which runs, the error of timing, the spread between runs."""
    code = "runs.timing" if run.one_sided else "runs.timing-few" if run.spread_s is None else "runs.timing-spread"
    basis = messages.text(code, timing_s=run.timing_s, spread_s=run.spread_s)
    # What the verdict has just said of the shortest run is not said again.
    notes = [note for note in run.notes if note.code not in ("run.shortest", "run.shortest-one")]
    return f"{messages.texts(notes)} {basis}".strip()


def verdict_text(m: Measurement, messages: Messages = Messages()) -> str:
    """Return the verdict in words; its cautions, which a report says elsewhere, are left out."""
    if m.run is None and m.ambiguous is not None:
        return messages.text("verdict.two-readings")
    # The cautions stand in full at the end of the report; once is enough.
    reasons = [reason for reason in m.verdict.reasons if reason.code != "verdict.caution"]
    if advice.tank_denies(m):
        reasons = [reason for reason in reasons if reason.code != "verdict.meaning"]
        reasons.append(Reason("verdict.tank-denies"))
    return messages.texts(reasons)


def title_of(m: Measurement) -> str:
    """Return the verdict in a few words, in capitals."""
    return Messages().text(headline(m)[1])


def _tank_given(tank: Any) -> bool:
    return tank.system.pump is not None or bool(tank.system.tanks)


def _tank_lines(tank: Any, emphasis: Emphasis) -> list[str]:
    from clicktimer.reporting.text.tank import tank_lines

    if not _tank_given(tank):
        # A table of sizes without a pump rate helps nobody here; what to find out does.
        lines = wrap("Nothing was said of tank and pump, so the tank is neither sized nor judged.", "  ")
        messages = Messages(units=tank.units)
        for missing in tank.missing:
            if missing != "run":
                lines += wrap(messages.text("tank-section.to-get", what=missing), "  - ", "    ")
        return [emphasis("Tank"), *lines]
    return [emphasis("Tank"), *tank_lines(tank)]


def note_blocks(m: Measurement, messages: Messages = Messages()) -> list[Block]:
    """Return what was odd about the recording: gaps and notices, each an item of a list."""
    started = started_time(m.source.started_at)
    day = started is not None and (started + timedelta(seconds=m.source.duration_s)).date() != started.date()
    lines: list[Block] = []
    for gap in m.gaps:
        begin = messages.number(clock_text(gap.from_s, started, with_day=day))
        if gap.to_s is None:
            lines.append(Words(messages.text("runs.gap-open", begin=begin, why=gap.why), "-"))
        else:
            end = messages.number(clock_text(gap.to_s, started, with_day=day))
            lines.append(Words(messages.text("runs.gap", begin=begin, end=end, why=gap.why), "-"))
    for notice in m.warnings:
        if notice.code in SAID_ELSEWHERE:
            continue
        text = messages.text(notice.reason)
        if notice.time_s is not None:
            when = messages.number(clock_text(notice.time_s, started, with_day=day))
            text = messages.text("runs.notice-at", when=when, text=text)
        lines.append(Words(_sentence(text), "-"))
    return lines


def _sentence(text: str) -> str:
    """Begin with a capital and end with a full stop, whatever stage wrote it."""
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else text + "."


def said_blocks(m: Measurement) -> list[Block]:
    """What the user said of the recording, and the values used; those of the tank stand in its own section."""
    said: list[str] = []
    given: list[str] = []
    defaults: list[str] = []
    for name, entry in m.settings.items():
        if not isinstance(entry, Mapping) or "value" not in entry or "from" not in entry:
            continue  # for programs only
        if name in OF_THE_RECORDING:
            value = "not said" if entry["value"] is None else value_text(entry["value"])
            said.append(f"{OF_THE_RECORDING[name]}: {value}")
        elif name == "units" and entry["from"] == "default":
            continue  # seen at a glance
        elif entry["value"] is not None and (m.tank is None or name not in OF_THE_TANK):
            shown = f"{name.replace('_', ' ')} {value_text(entry['value'])}"
            (defaults if entry["from"] == "default" else given).append(shown)
    lines: list[Block] = []
    for start, values in (("", said), ("Given: ", given), ("Not given, so the usual: ", defaults)):
        if values:
            text = start + "; ".join(values) + "."
            lines.append(Words(text[0].upper() + text[1:]))
    return lines
