"""``clicktimer hear`` without a recording: the microphone, a level meter, and the same judgement of the place."""

from __future__ import annotations

import shutil
import sys
import time
from typing import TYPE_CHECKING, Any, Final

import click
import numpy as np

from clicktimer.reporting.formatting import wrap
from clicktimer.reporting.messages import cautions
from clicktimer.reporting.messages.catalogue import Messages

if TYPE_CHECKING:
    from clicktimer.assessment.measurement import Measurement
    from clicktimer.quality.placement import Place
    from clicktimer.records import Block
    from clicktimer.streaming.engine import Engine

CLIPS = "It clips: turn the input's level down in the system's sound settings, or move a little away."
ENHANCED = (
    "Exact silence between sounds: noise suppression is on. Switch audio enhancements (Windows), voice isolation "
    "(macOS) or echo cancelling (Linux) off for this input."
)
ENOUGH_SNAPS: Final = 5
AFTER_CYCLE_S: Final = 4.0
DEAF_S: Final = 2.0
METER = "quiet {room:4.0f} dB  now {now:4.0f} dB  {bar}  peak {peak:4.0f} dB  clicks {clicks}  sharp {sharp}"


def list_inputs() -> None:
    """Print the inputs there are. Raises DeviceError without PortAudio."""
    from clicktimer.audio.inputs import NO_INPUT, inputs

    found = inputs()
    if not found:
        click.echo(NO_INPUT)
    for one in found:
        mark = "*" if one.default else " "
        click.echo(
            f"{mark} {one.number:3d}  {one.name}  ({one.system}, {one.channels} channels, {one.rate_hz / 1000:g} kHz)"
        )


def hear_microphone(device: str | None, length_s: float | None, *, snapped: bool = False) -> Place:
    """Listen until a whole pump cycle was heard, the time is up or Ctrl-C, and judge the place."""
    from clicktimer.audio.microphone import Microphone
    from clicktimer.cli.listen import stopping, warm_up
    from clicktimer.cli.waiting import compiling_is_told

    with compiling_is_told():
        warm_up()
    microphone = Microphone(device)
    try:
        for line in wrap(
            f"Hearing {microphone.name} at {microphone.rate_hz / 1000:g} kHz. Let the pump start and stop once (open a "
            "tap, shut it at the start); or snap your fingers five times beside the switch cover, never in it. "
            "Ctrl-C gives the judgement."
        ):
            click.echo(line, err=True)
        for line in wrap(f"! {cautions.LISTEN}"):
            click.echo(line, err=True)
        with stopping() as stop:
            return _heard(microphone, stop, length_s, snapped)
    finally:
        microphone.close()


def _heard(microphone: Any, stop: list[str], length_s: float | None, snapped: bool) -> Place:  # noqa: C901
    from clicktimer.audio.quality import Watch
    from clicktimer.detection.candidates import Candidates
    from clicktimer.quality.placement import judge_place, sharp_sounds
    from clicktimer.records import Block
    from clicktimer.streaming.engine import Engine

    engine, watch, meter = Engine(), Watch(), Meter()
    parts: list[Candidates] = []
    window: list[Block] = []
    cycle_at_s: float | None = None
    told_snaps = False
    while not stop:
        got = microphone.read()
        if isinstance(got, Block):
            fed = engine.feed(got)
            if len(fed.candidates):
                parts.append(fed.candidates)
            if window and (got.gap_before is not None or sum(len(b.samples) for b in window) >= got.rate_hz):
                _look(watch, window)
            window.append(got)
            if engine.due():
                engine.decide()
            snaps = len(sharp_sounds(Candidates.join(parts))) if meter.due() else meter.snaps
            meter.show(got, engine, snaps)
        elif got is not None:
            meter.line(got.text)
        kinds = [c.kind for c in engine.clicks()]
        if "cut-in" in kinds and "cut-out" in kinds[kinds.index("cut-in") :] and cycle_at_s is None:
            cycle_at_s = engine.end_s
            meter.line("A whole pump cycle was heard.")
        if not told_snaps and meter.snaps >= ENOUGH_SNAPS and cycle_at_s is None:
            told_snaps = True
            meter.line(f"{ENOUGH_SNAPS} sharp sounds were heard: Ctrl-C judges by them; or wait for the pump.")
        if cycle_at_s is not None and engine.end_s >= cycle_at_s + AFTER_CYCLE_S:
            break
        if length_s is not None and engine.end_s >= length_s:
            break
    meter.clear()
    parts.append(engine.flush().candidates)
    if window:
        _look(watch, window)
    candidates = Candidates.join(parts)
    measured = _measured(candidates, engine, microphone, watch)
    return judge_place(candidates, engine.finder.levels(), measured, snaps=snapped)


def _measured(candidates: Any, engine: Engine, microphone: Any, watch: Any) -> Measurement:
    from clicktimer.assessment.options import MeasureOptions
    from clicktimer.pipeline import Listened, conclude
    from clicktimer.records import SourceInfo

    heard = Listened(candidates, engine.finder, tuple(engine.gaps), engine.end_s)
    source = SourceInfo(microphone.name, engine.end_s, microphone.rate_hz, 1, None)
    return conclude(heard, source, MeasureOptions(), watch.notices())


def _look(watch: Any, window: list[Block]) -> None:
    """Clipping, silence and so on, in windows of a second as for a recording."""
    from clicktimer.records import Block

    first = window[0]
    samples = np.concatenate([b.samples for b in window])
    for _ in watch.feed(Block(samples, first.rate_hz, first.start_s, first.gap_before)):
        pass
    window.clear()


class Meter:
    """The level in the click's bands, and warnings as soon as they are due, each once. snaps: sharp sounds so far."""

    def __init__(self) -> None:
        self.snaps = 0
        self._live = sys.stderr.isatty()
        self._at = self._counted = 0.0
        self._levels: list[float] = []
        self._peak = 0.0
        self._zeros_s = 0.0
        self._clipped = 0
        self._brief_zeros_s = 0.0
        self._told: set[str] = set()
        self._drawn = 0

    def due(self) -> bool:
        """Whether the sharp sounds are to be counted again."""
        if time.monotonic() - self._counted < 1.0:
            return False
        self._counted = time.monotonic()
        return True

    def show(self, block: Block, engine: Engine, snaps: int) -> None:
        """Take a block, warn where it is time, draw."""
        self.snaps = snaps
        samples = block.samples
        length_s = len(samples) / block.rate_hz
        peak = float(np.abs(samples).max(initial=0.0))
        self._peak = max(self._peak * 0.98, peak)
        if samples.size and samples.min() == samples.max():
            self._zeros_s += length_s
        else:
            self._brief_zeros_s += self._zeros_s if 0.1 <= self._zeros_s < DEAF_S else 0.0
            self._zeros_s = 0.0
        self._clipped += int(np.count_nonzero(np.abs(samples) >= 0.985))
        if self._zeros_s >= DEAF_S:
            self._warn("deaf", Messages().text("notice.deaf"))
        if self._clipped > 200:
            self._warn("clips", CLIPS)
        if self._brief_zeros_s > 1.0 and block.start_s > 5.0:
            self._warn("enhanced", ENHANCED)
        now_db = engine.finder.level_db()
        if now_db is None or not self._live or time.monotonic() - self._at < 0.1:
            return
        self._at = time.monotonic()
        self._levels = [*self._levels[-300:], now_db]
        room_db = float(np.quantile(self._levels, 0.25))
        bar = "#" * int(np.clip((now_db - room_db) / 3.0 + 2, 0, 14))
        text = METER.format(
            room=room_db,
            now=now_db,
            bar=bar.ljust(14, "."),
            peak=20 * np.log10(max(self._peak, 1e-5)),
            clicks=len(engine.clicks()),
            sharp=snaps,
        )
        text = text[: shutil.get_terminal_size().columns - 1]
        click.echo("\r" + text.ljust(self._drawn), nl=False, err=True)
        self._drawn = len(text)

    def line(self, text: str) -> None:
        """One line above the meter."""
        self.clear()
        for part in wrap(text):
            click.echo(part, err=True)

    def clear(self) -> None:
        """Take the meter away."""
        if self._drawn:
            click.echo("\r" + " " * self._drawn + "\r", nl=False, err=True)
            self._drawn = 0

    def _warn(self, code: str, text: str) -> None:
        if code not in self._told:
            self._told.add(code)
            self.line(f"! {text}")
