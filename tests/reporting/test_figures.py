"""The pictures: the same bytes each time, words that give the same figures, a style that grey and all eyes can read."""

from __future__ import annotations

import io
import itertools
import random
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from matplotlib import colors
from matplotlib.image import imread

from clicktimer.assessment.measurement import Measurement
from clicktimer.audio.cutting import Cut
from clicktimer.day.comparison import Comparison, Difference
from clicktimer.records import (
    Click,
    CorrectedClick,
    Correction,
    Gap,
    RunTime,
    Verdict,
)
from clicktimer.reporting.figures import (
    Picture,
    click_pair,
    compare_picture,
    pair_spans_s,
    run_bars,
    run_scale,
    time_line,
)
from clicktimer.reporting.figures import style as own_style
from clicktimer.reporting.figures.click_pair import rise_db, spectrogram_db
from clicktimer.reporting.figures.time_line import _row_s, fold, rows_of
from clicktimer.reporting.messages.catalogue import Messages
from tests.support.handmade import SOURCE, a_day, cycle, measurements, nothing_heard, short_cycling
from tests.support.words import in_words

RATE_HZ = 48_000


def numbers(text: str) -> set[str]:
    return set(re.findall(r"\d+(?:\.\d+)?", text))


def one_run() -> Measurement:
    clicks = (Click(20.0, "cut-in", 0.9), Click(61.5, "cut-out", 0.9))
    return short_cycling(cycles=(cycle(20.0, 41.5, 60.0),), clicks=clicks)


def one_open_run() -> Measurement:
    return short_cycling(cycles=short_cycling().cycles[-1:], clicks=short_cycling().clicks[-1:], run=None)


def mixed() -> Measurement:
    """Runs of every kind: doubtful, by the pump's sound, of one end, corrected; gaps of known and unknown length."""
    runs = [cycle(60.0 + 100 * i, 38.0 + i % 5, 62.0 - i % 5) for i in range(9)]
    runs[2] = replace(runs[2], confidence=0.6)
    runs[4] = replace(runs[4], how="pump sound", complete=False, run_low_s=41.2, run_high_s=42.8)
    runs[6] = replace(runs[6], cut_out_s=None, run_s=None, run_low_s=None, run_high_s=None, complete=False)
    clicks = [Click(c.cut_in_s or 0.0, "cut-in", 0.99) for c in runs]
    clicks += [Click(c.cut_out_s, "cut-out", 0.99) for c in runs if c.cut_out_s is not None]
    clicks.sort(key=lambda c: c.time_s)
    ours = tuple(
        CorrectedClick(c, "moved", 159.98, c.kind) if c.time_s == 160.0 else CorrectedClick(c, "kept", c.time_s, c.kind)
        for c in clicks
    )
    deleted, nothing = (Click(500.0, "cut-in", 0.6),), Verdict(None, False)
    hand = Correction("x.txt", ours, deleted, ("cycle 2", "run"), (), None, nothing)
    return short_cycling(
        source=replace(SOURCE, duration_s=980.0),
        cycles=tuple(runs),
        clicks=tuple(clicks),
        correction=hand,
        gaps=(Gap(710.0, 740.0, "lost"), Gap(970.0, None, "next part")),
        run=RunTime(39.4, 37.2, 41.3, 6, "taps shut", False, 0.006, 1.9, (), (in_words("a doubt"),)),
    )


def long_runs() -> Measurement:
    rng = random.Random(3)
    runs = [38 + abs(rng.gauss(0, 6)) + (rng.random() < 0.06) * rng.expovariate(1 / 400) for _ in range(150)]
    return replace(a_day(150), cycles=tuple(cycle(570.0 * i + 5, r, max(1.0, 570.0 - r)) for i, r in enumerate(runs)))


CASES = {
    "nothing": nothing_heard,
    "one run": one_run,
    "one open run": one_open_run,
    "three runs": short_cycling,
    "every kind": mixed,
    "150 runs": lambda: a_day(150),
    "150 runs, some long": long_runs,
    "unknown clicks": lambda: replace(
        nothing_heard(), clicks=tuple(Click(30.0 * i, "unknown", 0.9) for i in range(1, 9))
    ),
}


def burst(rise: float = 0.2, at_s: float = 0.04, seed: int = 1) -> Cut:
    """Faint noise with a ringing click in it, 0.2 s long."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(0.2 * RATE_HZ)) / RATE_HZ
    x = 0.002 * rng.standard_normal(len(t))
    after = t >= at_s
    x[after] += rise * np.exp(-(t[after] - at_s) / 0.004) * np.sin(2 * np.pi * 6000 * (t[after] - at_s))
    return Cut(x.astype(np.float32), RATE_HZ, 20.0 - at_s)


def pictures_of(m: Measurement) -> list[Picture]:
    found = [run_scale(m.run), time_line(m), run_bars(m)]
    if m.cycles:
        found.append(click_pair(m, 1, burst() if m.cycles[0].cut_in_s == 20.0 else None, None))
    return found


# --- drawn whatever comes, and always the same -----------------------------------------------------------------------
@pytest.mark.parametrize("case", CASES)
def test_every_case_is_drawn_as_clean_svg(case: str):
    for picture in pictures_of(CASES[case]()):
        svg = picture.svg()
        root = ET.fromstring(svg)
        assert root.attrib["role"] == "img"
        assert root.attrib["aria-label"] == picture.alt
        ids = [e.attrib["id"] for e in root.iter() if "id" in e.attrib]
        assert len(ids) == len(set(ids))
        assert all(i.startswith(f"{picture.name}-") for i in ids)
        outside = set(re.findall(r"https?://[^\"' >]+", svg))
        assert outside <= {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}
        assert set(re.findall(r'(?:href="#|url\(#)([^")]+)', svg)) <= set(ids)
        assert len(svg) < 160_000


@pytest.mark.parametrize("case", ["three runs", "every kind"])
def test_the_same_bytes_each_time_whatever_the_user_has_set_up(case: str):
    import matplotlib as mpl

    first = [(p.svg(), p.png(60)) for p in pictures_of(CASES[case]())]
    with mpl.rc_context({"font.size": 22.0, "axes.grid": True, "lines.linewidth": 9.0, "svg.fonttype": "none"}):
        again = [(p.svg(), p.png(60)) for p in pictures_of(CASES[case]())]
        assert mpl.rcParams["font.size"] == 22.0  # and what the user has set up stays as it was
    assert first == again


@settings(max_examples=8, suppress_health_check=[HealthCheck.too_slow])
@given(m=measurements)
def test_any_measurement_is_drawn(m: Measurement):
    for picture in (run_scale(m.run), time_line(m), run_bars(m)):
        assert picture.alt
        assert picture.svg_element().startswith("<svg ")


def test_a_pair_of_clicks_stays_small():
    pair = click_pair(short_cycling(), 1, burst(seed=2), burst(seed=3))
    assert len(pair.svg()) < 160_000


# --- the words say what the picture shows ----------------------------------------------------------------------------
def test_the_scale_tells_the_run_and_its_interval():
    told = run_scale(RunTime(39.1, 38.92, 39.28, 2, "taps shut", False, 0.006, None))
    assert {"39.1", "38.9", "39.3", "30", "60"} <= numbers(told.alt)
    assert {"36.4", "41.8"} <= numbers(told.alt)  # 7 % either way: what the verdict allows for
    assert told.caption.endswith("The thin line allows for how runs differ, which so few cannot show.")
    steady = run_scale(RunTime(61.4, 61.2, 61.6, 8, "steady tap", False, 0.006, 0.2))
    assert steady.caption.endswith(
        "The thin line allows for what the steady-tap method itself may read short (to 5 %) or long (to 8 %)."
    )
    most = run_scale(RunTime(40.0, 0.0, 40.01, 2, "shortest run", True, 0.006, None))
    assert "at most 40.1 s" in most.alt
    assert "No run was measured" in run_scale(None).alt
    moved = run_scale(told_run(50.0), marks_s=(45.0, 120.0))
    assert {"45", "120"} <= numbers(moved.alt)
    assert "45 and 120 s" in moved.caption


def told_run(seconds: float) -> RunTime:
    return RunTime(seconds, 0.95 * seconds, 1.05 * seconds, 5, "taps shut", False, 0.006, 0.05 * seconds)


def test_the_bars_tell_every_run_and_how_many_lie_between_the_marks():
    alt = run_bars(short_cycling()).alt
    assert "12.31 s, 12.10 s, 12.16 s, ?" in alt
    assert "3 under 30 s, 0 from 30 to 60 s, 0 of 60 s or more" in alt
    m = mixed()
    lengths = [c.run_s for c in m.cycles if c.run_s is not None]
    assert f"{len([x for x in lengths if 30 <= x < 60])} from 30 to 60 s" in run_bars(m).alt
    for words in ("1 doubtful", "1 timed by the pump's sound", "1 only one end heard", "1 corrected by hand", "9 runs"):
        assert words in run_bars(m).alt
        assert words in time_line(m).alt
    long = long_runs()
    beyond = sum((c.run_s or 0.0) > 180.0 for c in long.cycles)
    assert f"{beyond} longer than 180 s" in run_bars(long).caption


def test_one_run_timed_less_finely_does_not_stand_for_all():
    fine = [replace(c, run_low_s=c.run_s - 0.01, run_high_s=c.run_s + 0.01) for c in short_cycling().cycles if c.run_s]
    assert "Each is timed to within ±10 ms" in run_bars(short_cycling(cycles=tuple(fine))).caption
    wide = replace(fine[0], run_low_s=(fine[0].run_s or 0.0) - 0.1, run_high_s=(fine[0].run_s or 0.0) + 0.1)
    caption = run_bars(short_cycling(cycles=(wide, *fine[1:]))).caption
    assert "The least sure is timed to within ±0.1 s" in caption.replace("±100 ms", "±0.1 s").replace("0.10", "0.1")
    assert "Each is timed" not in caption


def test_the_line_of_time_tells_gaps_and_what_a_person_struck_out():
    alt = time_line(mixed()).alt
    assert "Sound is missing at 11:50.0, 30 s." in alt
    assert "Sound is missing at 16:10.0, an unknown length." in alt
    assert "1 click struck out by hand" in alt
    assert "8 clicks of unknown kind" in time_line(CASES["unknown clicks"]()).alt
    assert "2 h 00 min" in time_line(a_day(150)).caption


def test_the_pair_tells_both_clicks_and_what_was_moved():
    m = mixed()
    assert pair_spans_s(m, 2) == ((159.96, 160.16), (198.96, 199.16))
    assert pair_spans_s(m, 7)[1] is None
    alt = click_pair(m, 2, None, None).alt
    assert "160.000 s, detected at 159.980 s" in alt
    assert "moved by hand" in alt
    assert "The cut-out was not heard" in click_pair(m, 7, None, None).alt
    sounding = click_pair(short_cycling(), 1, burst(rise=0.2), None)
    peak = float(np.abs(burst(rise=0.2).samples).max())
    assert f"{peak:.2g} of full scale" in sounding.alt


def test_the_pair_is_named_whole_by_the_clock_of_the_table_and_says_where_no_click_was():
    base = short_cycling()
    cycle = base.cycles[0]
    sound = [replace(c, how="pump sound") if c.time_s == cycle.cut_out_s else c for c in base.clicks]
    for started, in_title in (("2031-05-04T06:30:00", "cut-out at 06:30:32"), (None, "cut-out, 0:32.3 from the start")):
        source = replace(base.source, started_at=started)
        m = replace(base, source=source, clicks=tuple(sound))
        at_out = replace(burst(seed=3), start_s=(cycle.cut_out_s or 0.0) - 0.04)
        with own_style.styled("test"):
            figure = click_pair(m, 1, burst(seed=2), at_out).draw()
            figure.draw_without_rendering()
        axes = {a.get_title("left"): a for a in figure.axes if a.get_title("left")}
        (title,) = [t for t in axes if t.startswith("cut-out")]
        assert in_title in title
        assert "sound" not in title
        texts = [t.get_text() for a in figure.axes for t in a.texts]
        for code in ("figure.pair.by-sound", "figure.pair.no-rise"):
            assert texts.count(Messages().text(code)) == 1
        box, room = axes[title]._left_title.get_window_extent(), axes[title].get_window_extent()
        assert box.width <= 2.55 / 2.15 * room.width, title  # up to the next picture


def test_two_results_are_told_with_the_digits_that_their_intervals_allow():
    rows = (
        Difference("seeping", "L/min", 1.1356, 0.0, -1.19, -1.07, "less", 1.079, 1.192, 0.0, 0.039),
        Difference("starts a day", "", 125.0, None, None, None, "cannot tell", 102.6, 147.4, None, None),
    )
    us, metric = (
        compare_picture(Comparison("a", "b", rows, "")),
        compare_picture(Comparison("a", "b", rows, ""), units="metric"),
    )
    assert "Seeping, L/min: before 1.14 (1.07 to 1.20), after at most 0.039: less by 1.07 to 1.19." in metric.alt
    assert "Seeping, gpm: before 0.30 (0.28 to 0.32), after at most 0.011: less by 0.28 to 0.32." in us.alt
    assert "Starts a day: before 125 (102 to 148), after not told: cannot tell." in us.alt
    assert ET.fromstring(us.svg()) is not None
    assert "Neither" in compare_picture(Comparison("a", "b", (), "")).alt


# --- the spectrogram -------------------------------------------------------------------------------------------------
def test_the_spectrogram_gives_a_sine_its_level_and_its_pitch():
    # A sine of half full scale is 20 log10(0.5) = -6.02 dB; the window's bins are 250 Hz apart.
    t = np.arange(9600) / RATE_HZ
    cut = Cut((0.5 * np.sin(2 * np.pi * 3000 * t)).astype(np.float32), RATE_HZ, 5.0)
    times_s, hz, db = spectrogram_db(cut)
    middle = db[:, len(times_s) // 2]
    assert hz[int(np.argmax(middle))] == pytest.approx(3000.0, abs=1.0)
    assert float(middle.max()) == pytest.approx(20 * np.log10(0.5), abs=0.05)
    assert times_s[0] >= 5.0
    assert times_s[-1] <= 5.2


def test_a_click_stands_out_at_its_own_pitch_and_a_steady_hum_does_not():
    click = burst()
    t = np.arange(len(click.samples)) / RATE_HZ
    hum = Cut((click.samples + 0.1 * np.sin(2 * np.pi * 1000 * t)).astype(np.float32), RATE_HZ, click.start_s)
    times_s, hz, rise = rise_db(spectrogram_db(hum), 20.0)
    at = (times_s > 20.0) & (times_s < 20.003)
    loudest = rise[:, at].mean(axis=1)
    assert hz[int(np.argmax(loudest))] == pytest.approx(6000.0, abs=260.0)
    assert float(loudest.max()) > 30.0
    assert float(np.abs(rise[hz == 1000.0]).max()) < 3.0


# --- the style -------------------------------------------------------------------------------------------------------
def luminance(colour: str) -> float:
    """Relative luminance of sRGB, by WCAG 2.2 (definition "relative luminance")."""
    rgb = np.array(colors.to_rgb(colour))
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    return float(linear @ (0.2126, 0.7152, 0.0722))


def lightness(colour: str) -> float:
    """CIE 1976 L*, 0 to 100."""
    y = luminance(colour)
    return 116 * np.cbrt(y) - 16 if y > (6 / 29) ** 3 else y * (29 / 3) ** 3


@pytest.mark.parametrize("row", own_style.TOGETHER)
def test_colours_that_meet_differ_in_grey(row: tuple[str, ...]):
    for a, b in itertools.combinations(row, 2):
        assert abs(lightness(a) - lightness(b)) >= 12.0, (a, b)


# Machado, Oliveira and Fernandes 2009, table 1, severity 1.0, for linear RGB.
SIGHT = {
    "protan": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
    "deutan": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881)),
    "tritan": ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602), (0.004733, 0.691367, 0.303900)),
}


def lab(colour: str, sight: str) -> np.ndarray:
    """CIE L*a*b* (D65) of a colour as somebody of that sight has it."""
    rgb = np.array(colors.to_rgb(colour))
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    linear = np.clip(np.array(SIGHT[sight]) @ linear, 0.0, 1.0)
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    scaled = to_xyz @ linear / np.array([0.9505, 1.0, 1.089])
    f = np.where(scaled > (6 / 29) ** 3, np.cbrt(scaled), scaled / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("sight", SIGHT)
@pytest.mark.parametrize("row", own_style.TOGETHER)
def test_colours_that_meet_are_told_apart_by_every_sight(row: tuple[str, ...], sight: str):
    for a, b in itertools.combinations(row, 2):
        # A difference of 2.3 is just seen (Mahy and others 1994); areas side by side get far more.
        assert float(np.linalg.norm(lab(a, sight) - lab(b, sight))) >= 15.0, (a, b)


def test_words_have_the_contrast_that_readers_need():
    # WCAG 2.2, 1.4.3: 4.5 to 1 for small text.
    for colour in (own_style.INK, own_style.SOFT):
        assert 1.05 / (luminance(colour) + 0.05) >= 4.5


def test_the_zones_of_the_scale_are_told_apart_in_a_grey_print():
    picture = imread(io.BytesIO(run_scale(None).png(100)), format="png")[..., :3]
    grey = picture @ np.array([0.299, 0.587, 0.114])  # as printers and ITU-R BT.601 turn colour to grey
    row = grey[int((1.5 - 0.54) * 100)]  # through the strip
    across = [float(np.median(row[int(100 * x) : int(100 * x) + 30])) for x in (1.2, 3.0, 5.2)]
    assert across[0] + 0.08 < across[1] < across[2] - 0.08


def test_letters_that_the_font_lacks_are_never_a_silent_box():
    assert own_style.drawable("Käller № 3 ±½") == "Käller № 3 ±½"
    assert own_style.drawable("水\x1b[31m") == "??[31m"
    assert len(own_style.drawable("x" * 4000)) == 60


@pytest.mark.parametrize(
    ("duration_s", "row_s", "rows"),
    [
        (1200.0, 1200.0, 1),
        (1200.02, 1200.02, 1),
        (1500.0, 300.0, 5),
        (1500.02, 300.0, 5),
        (1510.0, 300.0, 6),
        (3600.02, 300.0, 12),
        (3660.0, 600.0, 7),
        (43_200.02, 3600.0, 12),
    ],
)
def test_some_milliseconds_over_a_row_make_no_empty_row(duration_s: float, row_s: float, rows: int):
    assert _row_s(duration_s) == pytest.approx(row_s)
    assert rows_of(duration_s, row_s) == rows
    pieces = list(fold(0.0, duration_s, row_s, rows))
    assert [row for row, _, _ in pieces] == list(range(rows))
    assert sum(b - a for _, a, b in pieces) == pytest.approx(duration_s)  # nothing is lost
    ((row, a, b),) = fold(duration_s, duration_s, row_s, rows)  # a click at the very end is drawn
    assert (row, a, row * row_s + a) == (rows - 1, b, pytest.approx(duration_s))
