"""``clicktimer listen``: the microphone in, each run shown as it happens, everything kept safe in a folder."""

from __future__ import annotations

import re
import signal
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from datetime import datetime, timedelta
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Any, Literal

import click

from clicktimer.cli.failures import MEASURED, NOT_MEASURED
from clicktimer.cli.options import system_options
from clicktimer.cli.output import emphasis_for, quoted
from clicktimer.cli.waiting import compiling_is_told
from clicktimer.errors import PlaceTakenError, SettingsError, StoreError
from clicktimer.reporting.formatting import plain, wrap
from clicktimer.reporting.messages import cautions

if TYPE_CHECKING:
    from clicktimer.assessment.measurement import Measurement
    from clicktimer.assessment.options import MeasureOptions
    from clicktimer.cli.guided import Guide
    from clicktimer.storage.writer import Folder
    from clicktimer.streaming.session import Session, Why

KEPT = {
    "default": "Kept: the time and print of each sudden sound, coarse levels, the strongest tones of each second, and "
    "one second of sound around each click that is taken for the switch and around at most 20 doubtful ones an hour. "
    "Such a second may hold a piece of a word; other talk is not kept.",
    "all": "Kept: EVERYTHING that is heard, as sound. People who may be heard should know and agree; in many places "
    "the law asks for it.",
    "none": "Kept: the time and print of each sudden sound, coarse levels, the strongest tones of each second; "
    "no sound.",
}

DAY_FROM_S = 6 * 3600.0  # common practice, no source


@click.command("listen", short_help="Listen live: a guided test, or a day unattended.")
@click.option("--for", "for_text", metavar="TIME", help='Listen so long: "24 h". [until Ctrl-C]')
@click.option("--until", "until_text", metavar="HH:MM", help="Listen until this time of day.")
@click.option("--refill-test", is_flag=True, help="Lead through refills with every tap shut (minutes, you stay).")
@click.option(
    "--refills",
    type=click.IntRange(1, 20),
    default=3,
    show_default=True,
    help="Refills that count; one more comes first.",
)
@click.option("--shut-after", metavar="TIME", help='Every tap is shut so long after each start: "3 s". [a key]')
@click.option("--steady-tap", is_flag=True, help="Lead through the test with one tap running (you may go away).")
@click.option("--taps-shut", is_flag=True, help="No water is used during any run: every run counts in full.")
@click.option("--pump-at-start", type=click.Choice(["off", "on"]), help="Whether the pump runs now, if you know.")
@click.option("--device", metavar="NAME", help="Sound input: its name, part of it or its number. [the system's]")
@click.option("--into", metavar="FOLDER", help="Where it is kept; a listening that is there is resumed. [documents]")
@click.option("--name", metavar="TEXT", help="Name of the place, for the folder's name.")
@click.option(
    "--keep",
    type=click.Choice(["default", "all", "none"]),
    default="default",
    show_default=True,
    help="Which sound is kept: around clicks, everything, nothing.",
)
@click.option("--longest-run", metavar="TIME", help="Say at once when a run is longer. [5 times the shortest run]")
@click.option("--tone", is_flag=True, help="Ring the terminal's bell at clicks and alarms.")
@click.option("--command", metavar="TEXT", help="Run this at alarms; CLICKTIMER_EVENT and CLICKTIMER_TEXT tell which.")
@system_options
def listen_command(
    for_text: str | None,
    until_text: str | None,
    refill_test: bool,
    refills: int,
    shut_after: str | None,
    steady_tap: bool,
    taps_shut: bool,
    pump_at_start: str | None,
    device: str | None,
    into: str | None,
    name: str | None,
    keep: Literal["default", "all", "none"],
    longest_run: str | None,
    tone: bool,
    command: str | None,
    system: Any,
) -> int:
    """Listen live and time the pump's runs as they happen.

    Put the computer a hand's width from the pressure switch, outside its cover.
    Ctrl-C ends it and gives the result; a second Ctrl-C leaves at once. Everything is
    kept in a folder that clicktimer measure opens, also after a power cut; give it
    again with --into to go on.
    """
    from clicktimer.assessment.options import MeasureOptions
    from clicktimer.units.parse import parse_time_s

    if sum((refill_test, steady_tap, taps_shut)) > 1:
        raise SettingsError("--refill-test, --steady-tap and --taps-shut contradict each other; give one of them")
    if for_text is not None and until_text is not None:
        raise SettingsError("--for and --until contradict each other; give one of them")
    if shut_after is not None and not refill_test:
        raise SettingsError("--shut-after belongs to --refill-test; give both, or leave it out")
    length_s = parse_time_s(for_text) if for_text else _until(until_text, datetime.now()) if until_text else None
    options = MeasureOptions(
        taps="shut" if refill_test or taps_shut else "steady" if steady_tap else None,
        pump_at_start="on" if pump_at_start == "on" else "off" if pump_at_start == "off" else None,
        marks_s=system.marks_s,
        system=system,
    )
    guide = _guide(refill_test, steady_tap, refills, None if shut_after is None else parse_time_s(shut_after))
    limit_s = None if longest_run is None else parse_time_s(longest_run)
    with ExitStack() as stack:
        with compiling_is_told():
            warm_up()
        session = _open(device, into, name, keep, options, limit_s, system)
        stack.callback(session.source.close)
        planned_s = None if length_s is None else session.engine.end_s + length_s
        session.folder.note("planned_end_s", planned_s)
        stop = stack.enter_context(stopping())
        _say_start(stack, session, keep, length_s)
        why = _listen(session, stop, guide, length_s, tone, command)
        return _finish(session, guide, why)


def _until(text: str, now: datetime) -> float:
    """Seconds until the next time of day like this."""
    if not re.fullmatch(r"([01]?\d|2[0-3]):[0-5]\d", text.strip()):
        raise SettingsError(f'--until {text}: give a time of day like "07:30"')
    hour, minute = (int(part) for part in text.split(":"))
    then = now.replace(hour=hour, minute=minute, second=0, microsecond=0)
    if then <= now:
        then += timedelta(days=1)
    return (then - now).total_seconds()


def _guide(refill: bool, steady: bool, refills: int, shut_after_s: float | None) -> Guide | None:
    from clicktimer.cli.guided import Refill, SteadyTap

    if refill:
        return Refill(_say, refills + 1, shut_after_s)
    return SteadyTap(_say) if steady else None


def _say(text: str) -> None:
    for line in wrap(text):
        click.echo(line, err=True)


def warm_up() -> None:
    """Compile or load the detector before the first sound comes, so that none has to wait."""
    import numpy as np

    from clicktimer.records import Block
    from clicktimer.streaming.engine import Engine

    noise = np.random.default_rng(1).normal(0.0, 0.01, 48_000 * 4).astype(np.float32)
    noise[[30_000, 90_000]] = 0.9
    engine = Engine()
    engine.feed(Block(noise, 48_000, 0.0))
    engine.decide()


def _open(
    device: str | None,
    into: str | None,
    name: str | None,
    keep: Literal["default", "all", "none"],
    options: MeasureOptions,
    longest_run_s: float | None,
    system: Any,
) -> Session:
    """Open the microphone, then the folder: without a microphone no folder is made."""
    from clicktimer import __version__
    from clicktimer.audio.microphone import Microphone
    from clicktimer.records import Gap
    from clicktimer.storage.paths import new_folder
    from clicktimer.storage.writer import Folder, is_listening
    from clicktimer.streaming.finalize import about_options
    from clicktimer.streaming.session import Session

    path = Path(into) if into is not None else new_folder(datetime.now(), name or system.site)
    resumed = Folder.resume(path) if is_listening(path) else None
    start_s, gap = 0.0, None
    if resumed is not None and options.pump_at_start is not None:
        resumed.close()
        raise SettingsError("--pump-at-start tells of the beginning, and this listening goes on: leave it out")
    if resumed is not None and resumed.resumed is not None:
        where = resumed.resumed
        start_s = where.end_s + (where.gap_s or 0.0)
        if where.end_s > 0.0:
            gap = Gap(where.end_s, None if where.gap_s is None else start_s, "nobody listened")
    try:
        microphone = Microphone(device, start_s=start_s, gap_before=gap)
    except BaseException:
        if resumed is not None:
            resumed.close()
        raise
    try:
        folder = resumed or _created(path, into is None, about_options(options, keep, __version__))
        return Session(
            microphone, folder, options, program=__version__, keep=keep, longest_run_s=longest_run_s, start_s=start_s
        )
    except BaseException:
        microphone.close()
        raise


def _created(path: Path, may_differ: bool, about: dict[str, Any]) -> Folder:
    """A new folder; may_differ: where another program has just taken this name, the next one will do."""
    from clicktimer.storage.writer import Folder

    number = 1
    while True:
        try:
            return Folder.create(path if number == 1 else path.with_name(f"{path.name} ({number})"), about)
        except PlaceTakenError:
            number += 1
            if not may_differ or number > 20:
                raise


def _say_start(stack: ExitStack, session: Session, keep: str, length_s: float | None) -> None:
    from clicktimer.cli.machine_state import kept_awake, power_text
    from clicktimer.storage.sound_store import free_bytes, needed_bytes
    from clicktimer.units.format import format_time

    asked = "until Ctrl-C" if length_s is None else f"for {format_time(length_s)}"
    _say(f"Listening to {session.source.name} at {session.source.rate_hz / 1000:g} kHz, {asked}.")
    if session.folder.resumed is not None:
        _say(f"Going on with what is there ({format_time(session.folder.resumed.end_s)}); the time between is a gap.")
    # Not wrapped: a path or a command that is copied must be whole.
    click.echo(
        f"Kept in {plain(str(session.folder.path))}\nTo watch it in a browser, in another terminal:\n"
        f"  clicktimer page {plain(quoted(str(session.folder.path)))}",
        err=True,
    )
    _say(KEPT[keep])
    if length_s is None or length_s > 1800.0:
        _say(stack.enter_context(kept_awake()))
        _say(power_text())
    free, needed = free_bytes(session.folder.path), needed_bytes(length_s or 86_400.0, keep, session.source.rate_hz)
    if free < needed:
        length = "a day" if length_s is None else "so long"
        _say(
            f"The disk has {free / 1e9:.1f} GB free; {length} may need {needed / 1e9:.1f} GB. When it is nearly full "
            "no more sound is kept; the timing goes on."
        )
    _say(f"! {cautions.LISTEN}")


def _listen(
    session: Session, stop: list[str], guide: Guide | None, length_s: float | None, tone: bool, command: str | None
) -> Why:
    import time

    from clicktimer.audio.clock import Clock
    from clicktimer.cli.keys import Keys
    from clicktimer.cli.live_screen import Screen

    clock = Clock()
    began_s, start_s = clock.boot_s(), session.engine.end_s
    end_s = None if length_s is None else start_s + length_s
    screen = Screen(session, until_s=end_s, tone=tone, command=command)
    keys = None
    if guide is not None:
        keys = Keys()
        guide.begin(screen.say)
    drawn = 0.0
    typed = ""
    try:
        while True:
            said = session.step()
            with _terminal_may_be_gone(stop):
                screen.show(said)
                if guide is not None and keys is not None:
                    guide.look(session, said, keys.next())
                    screen.prompt, screen.typing = guide.prompt, keys.typing
                if time.monotonic() - drawn >= 0.25 or screen.typing != typed:
                    typed = screen.typing
                    drawn = time.monotonic()
                    screen.draw()
            if stop:
                return "asked" if stop[0] == "asked" else "signal"
            if guide is not None and guide.done:
                return "verdict"
            if length_s is not None and (
                session.engine.end_s - start_s >= length_s or clock.boot_s() - began_s >= length_s + 5.0
            ):
                return "time"
            if session.source.ended:
                return "end of the recording"
    finally:
        if keys is not None:
            keys.close()
        with suppress(OSError):
            screen.clear()


@contextmanager
def _terminal_may_be_gone(stop: list[str]) -> Iterator[None]:
    """A terminal that was closed must not end the listening by a half-written line."""
    try:
        yield
    except OSError:
        stop.append("signal")


@contextmanager
def stopping() -> Iterator[list[str]]:
    """Inside, Ctrl-C, SIGTERM and SIGHUP are noted, so that all ends in good order; the second Ctrl-C leaves."""
    stop: list[str] = []
    before: dict[int, Any] = {}

    def note(number: int, _frame: FrameType | None) -> None:
        stop.append("asked" if number == signal.SIGINT else "signal")
        if number == signal.SIGINT:
            signal.signal(signal.SIGINT, before[signal.SIGINT])

    for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK"):
        number = getattr(signal, name, None)
        if number is not None:
            with suppress(ValueError):  # not the main thread
                before[number] = signal.signal(number, note)
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _finish(session: Session, guide: Guide | None, why: Why) -> int:
    """Settle, print the report, and say where everything lies."""
    from clicktimer.cli.guided import Refill, with_caught
    from clicktimer.reporting.text.measurement import render_text, summary_line

    if isinstance(guide, Refill):
        with_caught(guide, session)
    try:
        measured: Measurement = session.finish(why)
    except StoreError as error:
        raise StoreError(f"{error}; what was shown so far is all that can be told") from None
    click.echo(render_text(measured, emphasis=emphasis_for(), csv_hint=False), nl=False)
    # The report is longer than a screen: its end tells the main thing again.
    click.echo("\n" + "\n".join(wrap(f"In short: {summary_line(measured)}")))
    click.echo(last_words(session.folder.path, measured))
    return MEASURED if measured.run is not None else NOT_MEASURED


def last_words(folder: Path, measured: Measurement) -> str:
    """Where a listening lies and what reads it again; as a day too, where it lasted for six hours of ordinary use."""
    from clicktimer.reporting.text.advice import reads_as_a_day

    text = f"Kept in {folder}\nTo read it again:\n  clicktimer measure {quoted(str(folder))}"
    if not reads_as_a_day(measured, DAY_FROM_S):
        return text
    day = f"  clicktimer day {quoted(str(folder))}"
    return f"{text}\nTo read the run, the leak and the water of a day from it:\n{day}"
