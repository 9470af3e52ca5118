"""The decoder against plain counting of every path: score, choice and probabilities."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clicktimer.detection.viterbi import Evidence, Path, Prior, decode


@dataclass(frozen=True)
class Case:
    """Everything the decoder is given. gaps: rows at which a new segment begins."""

    llr: tuple[float, ...]
    gaps: tuple[int, ...]
    row: tuple[int, ...]
    time_s: tuple[float, ...]
    score_in: tuple[float, ...]
    score_out: tuple[float, ...]
    silent: float = -3.0
    start: tuple[float, float] = (0.0, 0.0)
    over_gap: float = 1.0
    least_s: float = 0.0

    def decode(self) -> Path:
        evidence = Evidence(
            np.array(self.llr, np.float32),
            np.array([0, *self.gaps, len(self.llr)]),
            np.array(self.row, np.int64),
            np.array(self.time_s, float),
            np.array(self.score_in, float),
            np.array(self.score_out, float),
        )
        prior = Prior(self.silent, *self.start, self.over_gap, self.least_s, round(self.least_s / 0.25))
        return decode(evidence, prior)


@dataclass(frozen=True)
class Every:
    """All paths, one to a row: score, kind of each candidate, silent change of each row, state in each row, allowed."""

    score: np.ndarray
    kind: np.ndarray
    silent: np.ndarray
    on: np.ndarray
    allowed: np.ndarray


def every_path(case: Case) -> Every:
    """Plain enumeration: at each place where the state may change, it does or does not."""
    llr = np.array(case.llr, np.float32).astype(float)
    rows, n = len(llr), len(case.row)
    places = 1 + rows + n + len(case.gaps)
    choice = (np.arange(2**places)[:, None] >> np.arange(places)) & 1 == 1
    take = iter(choice.T)
    on = next(take).copy()
    score = np.where(on, case.start[1], case.start[0])
    kind = np.zeros((len(choice), n), int)
    silent = np.zeros((len(choice), rows), int)
    states = np.zeros((len(choice), rows), bool)
    allowed = np.ones(len(choice), bool)
    since = np.full(len(choice), -np.inf)  # the click that began the present state, if it was a click
    for k in range(rows):
        if k in case.gaps:
            change = next(take)
            score = score - case.over_gap * change
            since = np.where(change, -np.inf, since)
            on = on ^ change
        for i in (i for i in range(n) if case.row[i] == k):
            change = next(take)
            score = score + change * np.where(on, case.score_out[i], case.score_in[i])
            kind[:, i] = change * np.where(on, 2, 1)
            allowed &= ~change | (case.time_s[i] - since >= case.least_s)
            since = np.where(change, case.time_s[i], since)
            on = on ^ change
        change = next(take)
        score = score + case.silent * change
        silent[:, k] = change * np.where(on, 2, 1)
        since = np.where(change, -np.inf, since)
        on = on ^ change
        states[:, k] = on
        score = score + np.where(on, 0.5, -0.5) * llr[k]
    return Every(score, kind, silent, states, allowed)


def place_of(every: Every, path: Path) -> int:
    """Which path was told; two of one look differ only in the state before the start or over a gap."""
    silent = np.zeros(every.silent.shape[1], int)
    silent[path.silent_rows] = path.silent_kinds
    same = (
        (every.kind == path.kind).all(axis=1) & (every.silent == silent).all(axis=1) & (every.on == path.on).all(axis=1)
    )
    assert same.any(), "the path that was told is none of all paths"
    return int(np.flatnonzero(same)[np.argmax(every.score[same])])


@st.composite
def cases(draw: st.DrawFn) -> Case:
    rows = draw(st.integers(1, 5))
    n = draw(st.integers(0, 4))
    score = st.floats(-6, 6).map(lambda v: round(v, 3))
    where = sorted(draw(st.lists(st.integers(0, rows - 1), min_size=n, max_size=n)))
    return Case(
        llr=tuple(draw(st.lists(st.floats(-1.5, 1.5, width=32), min_size=rows, max_size=rows))),
        gaps=tuple(sorted(draw(st.sets(st.integers(1, rows - 1), max_size=2)))) if rows > 1 else (),
        row=tuple(where),
        time_s=tuple(float(r) + 0.2 * i for i, r in enumerate(where)),
        score_in=tuple(draw(st.lists(score, min_size=n, max_size=n))),
        score_out=tuple(draw(st.lists(score, min_size=n, max_size=n))),
        silent=draw(st.floats(-8, -0.1)),
        start=draw(st.sampled_from([(0.0, 0.0), (0.0, -12.0), (-12.0, 0.0)])),
        over_gap=draw(st.floats(0.1, 3.0)),
    )


@settings(max_examples=150)
@given(cases())
def test_the_best_path_is_the_best_of_all(case: Case) -> None:
    path, every = case.decode(), every_path(case)
    assert path.score == pytest.approx(every.score.max(), abs=1e-4)
    assert every.score[place_of(every, path)] == pytest.approx(path.score, abs=1e-4)
    without = (every.kind == 0).all(axis=1)
    assert path.without_clicks == pytest.approx(every.score[without].max(), abs=1e-4)
    assert path.gain == pytest.approx(path.score - path.without_clicks)


@settings(max_examples=150)
@given(cases())
def test_the_chance_of_each_click_is_its_share_of_all_paths(case: Case) -> None:
    path, every = case.decode(), every_path(case)
    weight = np.exp(every.score - every.score.max())
    for kind, chance in ((1, path.chance_in), (2, path.chance_out)):
        share = (weight[:, None] * (every.kind == kind)).sum(axis=0) / weight.sum()
        np.testing.assert_allclose(chance, share, atol=1e-5)


@settings(max_examples=100)
@given(cases(), st.floats(0.3, 3.0))
def test_no_run_or_rest_is_shorter_than_the_least(case: Case, least_s: float) -> None:
    case = replace(case, least_s=least_s)
    path, every = case.decode(), every_path(case)
    place = place_of(every, path)
    assert every.allowed[place]
    assert every.score[place] == pytest.approx(path.score, abs=1e-4)
    # One memory of the last click per state: the very best may be missed, but never beaten, nor worse than no click.
    assert path.without_clicks - 1e-4 <= path.score <= every.score[every.allowed].max() + 1e-4


def plain(**changes: object) -> Case:
    """Twelve rows of a second each, a pump in rows 4 to 7, clicks at both its ends and a bang in the middle of it."""
    on = [1.2 if 4 <= k < 8 else -1.2 for k in range(12)]
    case = Case(
        llr=tuple(on),
        gaps=(),
        row=(4, 6, 8),
        time_s=(4.0, 6.0, 8.0),
        score_in=(3.0, -1.0, -4.0),
        score_out=(-4.0, -1.0, 3.0),
    )
    return replace(case, **changes)  # type: ignore[arg-type]


def test_a_run_with_both_clicks_is_told_and_the_bang_inside_it_is_not() -> None:
    path = plain().decode()
    assert path.kind.tolist() == [1, 0, 2]
    assert path.on.tolist() == [4 <= k < 8 for k in range(12)]
    assert not len(path.silent_rows)
    assert path.chance_in[0] > 0.95
    assert path.chance_out[2] > 0.95
    assert path.chance_out[1] < 0.05


def test_a_missing_click_is_a_silent_change_where_the_level_changes() -> None:
    case = plain(row=(4,), time_s=(4.0,), score_in=(3.0,), score_out=(-4.0,))
    path = case.decode()
    assert path.kind.tolist() == [1]
    assert path.silent_rows.tolist() == [8]
    assert path.silent_kinds.tolist() == [2]


def test_a_gap_lets_the_state_change_for_less_than_a_silent_change() -> None:
    # The pump is heard up to row 6; then sound is missing, and after it the pump is off.
    llr = tuple(1.2 if k < 6 else -1.2 for k in range(12))
    case = Case(llr, (6,), (), (), (), ())
    path = case.decode()
    assert not len(path.silent_rows)
    assert path.on.tolist() == [k < 6 for k in range(12)]
    assert replace(case, gaps=()).decode().silent_rows.tolist() == [6]


def test_what_is_known_of_the_start_turns_the_kinds_round_where_nothing_else_tells() -> None:
    silent = plain(llr=(0.0,) * 12, row=(2, 6, 10), time_s=(2.0, 6.0, 10.0), score_in=(3.0,) * 3, score_out=(3.0,) * 3)
    off = replace(silent, start=(0.0, -12.0)).decode()
    on = replace(silent, start=(-12.0, 0.0)).decode()
    assert off.kind.tolist() == [1, 2, 1]
    assert on.kind.tolist() == [2, 1, 2]
    np.testing.assert_allclose(off.chance_in, on.chance_out, atol=1e-9)
    open_start = silent.decode()
    np.testing.assert_allclose(open_start.chance_in, open_start.chance_out, atol=1e-9)


def test_two_clicks_closer_than_the_least_run_are_not_both_told() -> None:
    close = plain(llr=(0.0,) * 12, row=(4, 5), time_s=(4.9, 5.1), score_in=(3.0, 3.0), score_out=(3.0, 3.0))
    assert np.count_nonzero(close.decode().kind) == 2
    assert np.count_nonzero(replace(close, least_s=1.5).decode().kind) == 1


def test_probabilities_stay_sound_over_an_hour() -> None:
    rng = np.random.default_rng(4)
    rows, n = 14400, 3000
    row = np.sort(rng.integers(0, rows, n))
    evidence = Evidence(
        rng.normal(0, 1, rows).clip(-1.2, 1.2).astype(np.float32),
        np.array([0, 5000, rows]),
        row,
        row * 0.25,
        rng.normal(-4, 3, n),
        rng.normal(-4, 3, n),
    )
    path = decode(evidence, Prior(-8.0, 0.0, 0.0, 1.0, 1.5, 6))
    for chance in (path.chance_in, path.chance_out):
        assert np.isfinite(chance).all()
        assert ((chance >= 0) & (chance <= 1)).all()
    assert (path.chance_in + path.chance_out <= 1 + 1e-9).all()


def test_a_silent_change_takes_back_no_click() -> None:
    """A bang while the pump stands still, or runs on: it may not start and in the same moment be stopped unheard."""
    for level, scores in ((-1.2, {"score_in": (12.0,)}), (1.2, {"score_out": (12.0,)})):
        case = Case((level,) * 40, (), (20,), (5.0,), scores.get("score_in", (-9.0,)), scores.get("score_out", (-9.0,)))
        taken_back = replace(case, silent=-8.5)
        assert taken_back.decode().kind.tolist() in ([1], [2])
        path = replace(taken_back, least_s=1.5).decode()
        assert path.kind.tolist() == [0]
        assert not len(path.silent_rows)


def test_clicks_that_could_be_either_take_turns() -> None:
    """Seven clicks that sound alike and no pump to tell them apart: no change without a click is needed, or told."""
    row = tuple(range(40, 320, 40))
    case = Case(
        llr=(0.0,) * 340,
        gaps=(),
        row=row,
        time_s=tuple(0.25 * r for r in row),
        score_in=(12.0,) * 7,
        score_out=(12.0,) * 7,
        silent=-8.5,
        start=(0.0, -12.0),
        least_s=1.5,
    )
    path = case.decode()
    assert path.kind.tolist() == [1, 2, 1, 2, 1, 2, 1]
    assert not len(path.silent_rows)
