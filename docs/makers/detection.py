"""Draws the pictures of docs/detection.md from a stored recording.

Needs librosa (in the ``test`` extra) for the spectrograms. Colours are those of Okabe and Ito, which people with any
kind of colour vision can tell apart; shapes and line styles differ as well.
"""

from __future__ import annotations

import io
import itertools
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from clicktimer.audio import open_recording
from clicktimer.detection import detector, pump_state, switch_score
from clicktimer.detection.candidate_finder import OnsetFinder
from clicktimer.detection.candidates import Candidates
from clicktimer.detection.params import default_params
from clicktimer.records import Block

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FIXTURE = Path(__file__).parents[2] / "fixtures_audio/ordinary-use.flac"
ORANGE, SKY, GREEN, BLUE, RED, GREY = "#E69F00", "#56B4E9", "#009E73", "#0072B2", "#D55E00", "#777777"
KIND = {"cut-in": (BLUE, "^"), "cut-out": (RED, "v")}


class Scene:
    """The recording and what the stages make of it."""

    def __init__(self) -> None:
        recording = open_recording(FIXTURE)
        blocks = list(recording.blocks())
        self.samples = np.concatenate([b.samples for b in blocks])
        self.rate_hz = blocks[0].rate_hz
        self.length_s = len(self.samples) / self.rate_hz
        finder = OnsetFinder()
        self.candidates = Candidates.join([finder.feed(Block(self.samples, self.rate_hz, 0.0)), finder.flush()])
        segments = finder.levels()
        levels = pump_state.gather(segments, default_params().pump_state)
        assert levels is not None
        self.levels = levels
        self.codes = segments[0].codes
        self.snaps = switch_score.switch_scores(self.candidates, default_params().switch_score)
        self.heard = detector.find_clicks(self.candidates, segments, duration_s=self.length_s)
        truth = json.loads(FIXTURE.with_suffix(".truth.json").read_text("utf-8"))
        self.truth = [(c["time_s"], c["kind"]) for c in truth["clicks"]]

    def part(self, from_s: float, to_s: float) -> tuple[np.ndarray, np.ndarray]:
        """Times in seconds and samples."""
        at = np.arange(round(from_s * self.rate_hz), round(to_s * self.rate_hz))
        return at / self.rate_hz, self.samples[at]


def figure(rows: int, height: float, **more: Any) -> tuple[Figure, Any]:
    """A figure without pyplot, and its axes."""
    from matplotlib.figure import Figure

    drawn = Figure(figsize=(9.0, height), layout="constrained")
    return drawn, drawn.subplots(rows, **more)


def png(drawn: Figure) -> bytes:
    out = io.BytesIO()
    drawn.savefig(out, format="png", dpi=90, metadata={"Software": None})
    return out.getvalue()


def wave(scene: Scene) -> bytes:
    """Wave and mel spectrogram around one cut-in and one cut-out."""
    import librosa

    drawn, axes = figure(2, 5.2, ncols=2, sharex="col", sharey="row")
    for column, (time_s, kind) in enumerate(scene.truth[2:4]):
        t, x = scene.part(time_s - 0.15, time_s + 0.25)
        ms = 1e3 * (t - time_s)
        top, bottom = axes[0][column], axes[1][column]
        top.plot(ms, x, color=KIND[kind][0], linewidth=0.6)
        top.set_title(f"{kind}, {time_s:.2f} s")
        top.set_ylabel("sample (full scale = 1)")
        mel = librosa.feature.melspectrogram(
            y=x, sr=scene.rate_hz, n_fft=256, hop_length=32, n_mels=40, fmin=200.0, fmax=scene.rate_hz / 2
        )
        db = librosa.power_to_db(mel, ref=1.0, amin=1e-12)
        edges = librosa.mel_frequencies(n_mels=41, fmin=200.0, fmax=scene.rate_hz / 2)
        frames = ms[0] + 1e3 * 32 / scene.rate_hz * (np.arange(db.shape[1] + 1) - 0.5)
        shade = bottom.pcolormesh(frames, edges, db, cmap="cividis", rasterized=True, vmin=-95, vmax=-40)
        bottom.set_yscale("log")
        bottom.set_yticks([300, 1000, 3000, 7000], ["300", "1000", "3000", "7000"])
        bottom.set_yticks([], minor=True)
        bottom.set_ylabel("frequency (Hz)")
        bottom.set_xlabel("time from the click (ms)")
        bottom.set_xlim(ms[0], ms[-1])
    drawn.colorbar(shade, ax=axes[1][1], label="level (dB)")
    return png(drawn)


def rise_curve(scene: Scene) -> tuple[np.ndarray, np.ndarray]:
    """Time and rise in dB of every millisecond of the recording, by the detector's own loop."""
    from clicktimer.detection.stretch import Stretch

    stretch = Stretch(default_params(), scene.rate_hz, 0.0, keep_rises=True)
    stretch.feed(scene.samples)
    _, rise = stretch.rises()
    return np.arange(rise.size) * stretch.frame_len / scene.rate_hz, rise


def rise(scene: Scene) -> bytes:
    """The rise over the room over two runs and around one cut-out, with every candidate and those that are told."""
    drawn, (whole, close) = figure(2, 5.2)
    t, rise = rise_curve(scene)
    told = {c.time_s: c.kind for c in scene.heard.clicks}
    cut_out_s = scene.truth[3][0]
    two_runs = (whole, scene.truth[2][0] - 6.0, scene.truth[5][0] + 6.0)
    for axis, from_s, to_s in (two_runs, (close, cut_out_s - 0.5, cut_out_s + 0.5)):
        inside = (t >= from_s) & (t < to_s)
        axis.plot(t[inside], rise[inside], color=GREY, linewidth=0.6, label="rise over the room")
        found = (scene.candidates.time_s >= from_s) & (scene.candidates.time_s < to_s)
        axis.plot(
            scene.candidates.time_s[found],
            scene.candidates.rise_db[found],
            "o",
            color=ORANGE,
            markersize=4,
            markerfacecolor="none",
            label="candidate",
        )
        for kind, (colour, mark) in KIND.items():
            at = [i for i in np.flatnonzero(found) if told.get(float(scene.candidates.time_s[i])) == kind]
            axis.plot(
                scene.candidates.time_s[at],
                scene.candidates.rise_db[at],
                mark,
                color=colour,
                markersize=9,
                label=f"told as {kind}",
            )
        axis.axhline(default_params().candidate_finder.least_rise_db, color="black", linestyle=":", linewidth=0.8)
        axis.set_xlim(from_s, to_s)
        axis.set_ylabel("rise (dB)")
        axis.set_xlabel("time (s)")
    whole.set_ylim(-1.0, 32.0)
    whole.legend(loc="upper center", ncols=4, fontsize=8)
    close.set_title("around one cut-out", fontsize=10)
    return png(drawn)


def level(scene: Scene) -> bytes:
    """The level by band every quarter of a second, where the detector thinks the pump runs, and where it does."""
    drawn, (shades, line) = figure(2, 5.4, sharex=True)
    db, step_s = scene.levels.db, float(scene.levels.step_s[0])
    over = db - np.median(db, axis=0)
    edge = np.arange(len(db) + 1) * step_s
    bands = np.arange(db.shape[1] + 1)
    shade = shades.pcolormesh(edge, bands, over.T, cmap="cividis", vmin=-5, vmax=20, rasterized=True)
    shades.set_yticks([0, 5, 10, 15, 20])
    shades.set_ylabel("band (0: 40 Hz,\n13 and up: the click's)")
    drawn.colorbar(shade, ax=shades, label="over the median (dB)")
    track = scene.heard.pump
    assert track is not None
    middle = edge[:-1] + step_s / 2
    line.plot(middle, track.llr, color=GREY, linewidth=0.8, label="each quarter second: > 0 speaks for on")
    line.fill_between(
        middle, -1.3, 1.3, where=track.on, step="mid", color=SKY, alpha=0.35, label="on, by the level alone"
    )
    for time_s, kind in scene.truth:
        line.axvline(time_s, color=KIND[kind][0], linestyle="-" if kind == "cut-in" else "--", linewidth=1.2)
    line.plot([], [], color=BLUE, label="true cut-in")
    line.plot([], [], color=RED, linestyle="--", label="true cut-out")
    line.set_ylim(-1.35, 2.2)
    line.set_ylabel("log of chances, on : off")
    line.set_xlabel("time (s)")
    line.set_xlim(0, scene.length_s)
    line.legend(loc="upper center", ncols=2, fontsize=8)
    return png(drawn)


def sequence(scene: Scene) -> bytes:
    """How much each candidate is shaped like a snap, which are told, and the sequence of off and on."""
    drawn, (scores, states) = figure(2, 5.0, sharex=True, height_ratios=(3, 1))
    told = {c.time_s: c for c in scene.heard.clicks}
    times = scene.candidates.time_s
    scores.plot(times, scene.snaps, "o", color=ORANGE, markersize=4, markerfacecolor="none", label="candidate")
    for kind, (colour, mark) in KIND.items():
        at = [i for i, t in enumerate(times) if float(t) in told and told[float(t)].kind == kind]
        scores.plot(times[at], scene.snaps[at], mark, color=colour, markersize=9, label=f"told as {kind}")
    scores.set_ylabel("snap score (logit)")
    scores.set_ylim(-7.0, 12.0)
    scores.legend(loc="upper center", ncols=3, fontsize=8)
    edges = sorted((c.time_s, c.kind == "cut-in") for c in scene.heard.clicks)
    t = [0.0, *(time_s for time_s, _ in edges), scene.length_s]
    on = [not edges[0][1], *(is_in for _, is_in in edges), edges[-1][1]]
    states.step(t, on, where="post", color=GREEN, linewidth=1.8)
    for a, b in itertools.pairwise(edges):
        if a[1]:
            states.text((a[0] + b[0]) / 2, 0.5, f"{b[0] - a[0]:.2f} s", ha="center", va="center", fontsize=9)
    states.set_yticks([0, 1], ["off", "on"])
    states.set_ylim(-0.2, 1.2)
    states.set_ylabel("pump")
    states.set_xlabel("time (s)")
    states.set_xlim(0, scene.length_s)
    return png(drawn)


def made() -> dict[str, bytes]:
    scene = Scene()
    return {f"docs/detection-{draw.__name__}.png": draw(scene) for draw in (wave, rise, level, sequence)}
