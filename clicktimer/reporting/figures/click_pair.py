"""10 pictures: the sound around the two clicks of one run in, their wave and spectrogram out, with the onset marked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import numpy.typing as npt

from clicktimer.assessment.measurement import Measurement
from clicktimer.audio.cutting import Cut
from clicktimer.records import Click
from clicktimer.reporting.figures import style
from clicktimer.reporting.figures.picture import Picture
from clicktimer.reporting.formatting import clock_text, started_time
from clicktimer.reporting.messages.catalogue import Messages

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

BEFORE_S: Final = 0.040
AFTER_S: Final = 0.160
WINDOW_S: Final = 0.004  # a click lasts a few milliseconds; a longer window would smear it
HOP_S: Final = 0.0005
HIGHEST_HZ: Final = 16_000.0
ROOM_DB: Final = 6.0
"""So far the levels of a steady room stray from their middle by chance; it is drawn white."""
FULL_DB: Final = 36.0  # drawn darkest; a click near the switch rises by about so much
STEP_DB: Final = 2.0  # of the shades: finer is not seen, and would only make the file larger
COLUMNS: Final = 450
"""So many columns of lowest and highest sample are drawn of a wave: as fine as print, and small as a file."""

WAVE_UNIT: Final = {0: "full", -3: "thousandths", -6: "millionths"}

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class _Side:
    """One click of the run: what is known of it, and its sound where it could be had. Times in seconds."""

    kind: str
    title: str
    """Its kind and when it was, as the table of runs says it; of a recording without a clock its place in it."""
    time_s: float | None
    cut: Cut | None
    sd_s: float
    was_s: float | None
    note: str
    by_sound: bool = False


def pair_spans_s(m: Measurement, number: int) -> tuple[tuple[float, float] | None, tuple[float, float] | None]:
    """The stretches (from, to; s of the recording) whose sound is wanted for run ``number``, counted from 1.

    None for a click that was not heard. Made for clicktimer.audio.cutting.cut_spans.
    """
    cycle = m.cycles[number - 1]

    def span(time_s: float | None) -> tuple[float, float] | None:
        if time_s is None:
            return None
        return max(0.0, time_s - BEFORE_S), min(m.source.duration_s, time_s + AFTER_S)

    return span(cycle.cut_in_s), span(cycle.cut_out_s)


def click_pair(
    m: Measurement, number: int, cut_in: Cut | None, cut_out: Cut | None, messages: Messages = Messages()
) -> Picture:
    """Show the two clicks of run ``number``, counted from 1: wave over spectrogram, time from the onset in ms.

    cut_in, cut_out: their sound (pair_spans_s), None where there is none. A click set by hand is marked, with the
    place where it was detected.
    """
    cycle = m.cycles[number - 1]
    first = _side(m, "cut-in", cycle.cut_in_s, cut_in, messages)
    second = _side(m, "cut-out", cycle.cut_out_s, cut_out, messages)
    if cycle.run_s is None:
        caption = messages.text("figure.pair.caption-open", number=number)
    else:
        caption = messages.text("figure.pair.caption", number=number, run_s=cycle.run_s)
    sides = (_alt(first, messages), _alt(second, messages))
    alt = messages.text("figure.pair.alt", number=number, first=sides[0], second=sides[1])
    draw = style.written(lambda: _draw((first, second), messages), messages)
    return Picture(f"click-pair-{number}", caption, alt, draw)


def _side(m: Measurement, kind: str, time_s: float | None, cut: Cut | None, messages: Messages) -> _Side:
    if time_s is None:
        return _Side(kind, messages.text("figure.pair.title-not-heard", kind=kind), None, None, 0.0, None, "")
    started = started_time(m.source.started_at)
    if started is None:
        title = messages.text("figure.pair.title-position", kind=kind, at_s=time_s)
    else:
        title = messages.text("figure.pair.title", kind=kind, clock=clock_text(time_s, started))
    if m.correction is not None:
        by_hand = [c for c in m.correction.clicks if c.click.time_s == time_s]
        if by_hand and by_hand[0].change != "kept":
            note = messages.text(f"figure.pair.{by_hand[0].change.replace(' ', '-')}")
            return _Side(kind, title, time_s, cut, by_hand[0].click.timing_sd_s, by_hand[0].was_s, note)
    near: list[Click] = [c for c in (*m.clicks, *m.edges) if c.time_s == time_s]
    sound = bool(near) and near[0].how == "pump sound"
    note = messages.text("figure.pair.by-sound") if sound else ""
    sd_s = near[0].timing_sd_s if near else 0.0
    return _Side(kind, title, time_s, cut, sd_s, None, note, by_sound=sound)


def _alt(side: _Side, messages: Messages) -> str:
    if side.time_s is None:
        return messages.text("figure.pair.alt-not-heard", kind=side.kind)
    code = "figure.pair.alt-side-noted" if side.note else "figure.pair.alt-side"
    if side.was_s is not None and side.was_s != side.time_s:
        code = "figure.pair.alt-side-moved"
    return messages.text(
        code,
        kind=side.kind,
        at_s=side.time_s,
        note=side.note,
        time_s=side.time_s,
        was_s=side.was_s,
        sound=_sound_text(side.cut, side.time_s, messages),
    )


def _sound_text(cut: Cut | None, time_s: float, messages: Messages) -> str:
    if cut is None:
        return messages.text("figure.pair.no-sound")
    before, peak = _peaks(cut, time_s)
    if before <= 0.0 or peak <= 0.0:
        return messages.text("figure.pair.alt-peak", peak=peak)
    rise_db = float(20 * np.log10(peak / before))
    return messages.text("figure.pair.alt-rise", peak=peak, rise_db=rise_db, before_ms=1000 * BEFORE_S)


def _peaks(cut: Cut, time_s: float) -> tuple[float, float]:
    """Highest sample before the onset and from it on, as shares of full scale."""
    at = round((time_s - 0.002 - cut.start_s) * cut.rate_hz)
    size = np.abs(cut.samples)
    return float(size[:at].max(initial=0.0)), float(size[max(at, 0) :].max(initial=0.0))


def spectrogram_db(cut: Cut) -> tuple[Floats, Floats, Floats]:
    """The spectrogram of a stretch: times in s of the recording, frequencies in Hz, levels in dB of full scale.

    Hann window of 4 ms every half millisecond; 0 dB is a sine of full scale.
    """
    from scipy.signal import ShortTimeFFT
    from scipy.signal.windows import hann

    width = max(16, round(WINDOW_S * cut.rate_hz))
    hop = max(1, round(HOP_S * cut.rate_hz))
    window = hann(width, sym=False)
    stft = ShortTimeFFT(window, hop=hop, fs=cut.rate_hz, scale_to="magnitude")
    size = np.abs(stft.stft(np.asarray(cut.samples, dtype=np.float64)))
    times = cut.start_s + np.asarray(stft.t(len(cut.samples)), dtype=np.float64)
    half_s = width / 2 / cut.rate_hz  # only where the whole window lies in the sound
    heard = (times >= cut.start_s + half_s) & (times <= cut.start_s + len(cut.samples) / cut.rate_hz - half_s)
    return times[heard], np.asarray(stft.f, dtype=np.float64), 20.0 * np.log10(2.0 * size[:, heard] + 1e-9)


def rise_db(shade: tuple[Floats, Floats, Floats], time_s: float) -> tuple[Floats, Floats, Floats]:
    """A spectrogram with each frequency's level taken over its own middle level in the sound before time_s.

    Where there is no sound before it, over the middle level of all. Times in s, frequencies in Hz, levels in dB.
    """
    times_s, hz, db = shade
    before = times_s < time_s - WINDOW_S / 2
    room = np.median(db[:, before] if before.any() else db, axis=1, keepdims=True)
    return times_s, hz, np.asarray(db - room, dtype=np.float64)


def _draw(sides: tuple[_Side, _Side], messages: Messages) -> Figure:
    if all(side.cut is None for side in sides):
        return _no_sound(sides, messages)
    figure = style.canvas(2.85)
    shades = [None if s.cut is None or s.time_s is None else rise_db(spectrogram_db(s.cut), s.time_s) for s in sides]
    highest_db = max((float(shade[2].max()) for shade in shades if shade is not None), default=0.0)
    image: Any = None
    power = _power(max(float(np.abs(s.cut.samples).max(initial=0.0)) for s in sides if s.cut is not None))
    for column, (side, shade) in enumerate(zip(sides, shades, strict=True)):
        left = 0.8 + column * 2.66
        wave = style.axes_in(figure, left, 1.7, 2.15, 0.85)
        below = style.axes_in(figure, left, 0.45, 2.15, 1.15)
        wave.set_title(side.title)
        if side.cut is None or side.time_s is None or shade is None:
            _nothing(wave, below, side, messages)
            continue
        _wave(wave, side.cut, side.time_s, power)
        image = _spectrogram(below, shade, side.time_s, highest_db)
        if side.note:
            _said(wave, side.note)
        if side.by_sound:
            _said(below, messages.text("figure.pair.no-rise"))
        for axes in (wave, below):
            axes.set_xlim(-1000 * BEFORE_S, 1000 * AFTER_S)
            _onset(axes, side)
        if column == 0:
            for axes, unit in ((wave, WAVE_UNIT[power]), (below, "frequency")):
                axes.set_ylabel(messages.text(f"figure.pair.axis-{unit}"), fontsize=style.SMALL_PT)
                axes.yaxis.set_label_coords(-0.23, 0.5)
        below.set_xlabel(messages.text("figure.pair.axis-time"))
    if image is not None:
        bar = figure.colorbar(image, cax=style.axes_in(figure, 5.76, 0.45, 0.09, 1.15))
        bar.set_label(messages.text("figure.pair.axis-rise"), fontsize=style.SMALL_PT)
        bar.ax.spines["outline"].set_linewidth(0.5)
    return figure


def _said(axes: Axes, words: str) -> None:
    """Words in the picture's corner: a title of both would not fit."""
    axes.text(
        0.98,
        0.96,
        words,
        ha="right",
        va="top",
        fontsize=style.SMALL_PT,
        color=style.INK,
        transform=axes.transAxes,
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 1.0},
    )


def _no_sound(sides: tuple[_Side, _Side], messages: Messages) -> Figure:
    """Both clicks without sound: what is known of them, in little room."""
    figure = style.canvas(0.6)
    for column, side in enumerate(sides):
        axes = style.axes_in(figure, 0.8 + column * 2.66, 0.05, 2.15, 0.3)
        axes.set_title(side.title)
        axes.set_axis_off()
        if side.time_s is not None:
            words = "; ".join(text for text in (side.note, messages.text("figure.pair.no-sound")) if text)
            axes.text(0.0, 0.5, words, va="center", color=style.SOFT)
    return figure


def _nothing(wave: Axes, below: Axes, side: _Side, messages: Messages) -> None:
    words = messages.text("figure.pair.not-heard" if side.time_s is None else "figure.pair.no-sound")
    if side.time_s is not None and side.note:
        words = f"{side.note}; {words}"
    wave.text(0.0, 0.7, words, va="center", color=style.SOFT, transform=wave.transAxes)
    for axes in (wave, below):
        style.strip_down(axes, ())
        axes.set(xticks=[], yticks=[])


def _power(peak: float) -> int:
    """The power of ten that the numbers beside the waves are written in, so that those of a quiet click stay short.

    >>> _power(0.3), _power(0.02), _power(0.00004)
    (0, -3, -6)
    """
    return 0 if peak >= 0.1 or peak <= 0.0 else -3 if peak >= 1e-4 else -6


def _wave(axes: Axes, cut: Cut, time_s: float, power: int) -> None:
    step = max(1, len(cut.samples) // COLUMNS)
    whole = len(cut.samples) // step * step
    columns = cut.samples[:whole].reshape(-1, step)
    ms = 1000 * (cut.start_s - time_s + (np.arange(len(columns)) + 0.5) * step / cut.rate_hz)
    scale = 10.0**-power
    axes.fill_between(ms, scale * columns.min(axis=1), scale * columns.max(axis=1), color=style.BLUE, lw=0.5)
    most = scale * float(np.abs(cut.samples).max(initial=0.0)) or 1e-3
    axes.set_ylim(-1.15 * most, 1.15 * most)
    axes.locator_params(axis="y", nbins=4)
    axes.tick_params(labelbottom=False)


def _spectrogram(axes: Axes, shade: tuple[Floats, Floats, Floats], time_s: float, highest_db: float) -> Any:
    times_s, hz, db = shade
    kept = hz <= HIGHEST_HZ
    ms = 1000 * (times_s - time_s)
    half = (ms[1] - ms[0]) / 2 if len(ms) > 1 else 0.25
    extent = (float(ms[0] - half), float(ms[-1] + half), 0.0, float(hz[kept][-1]) / 1000)
    steps = STEP_DB * np.round(np.maximum(db[kept], ROOM_DB) / STEP_DB)
    return axes.imshow(
        steps,
        origin="lower",
        aspect="auto",
        extent=extent,
        cmap=style.SHADES,
        vmin=ROOM_DB,
        vmax=max(min(highest_db, FULL_DB), ROOM_DB + 1.0),
        interpolation="none",
    )


def _onset(axes: Axes, side: _Side) -> None:
    axes.axvline(0.0, color=style.INK, ls=(0, (4, 2)), lw=1.0)
    if side.was_s is not None and side.time_s is not None and side.was_s != side.time_s:
        axes.axvline(1000 * (side.was_s - side.time_s), color=style.ORANGE, ls=":", lw=1.4)
