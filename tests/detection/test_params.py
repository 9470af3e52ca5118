"""The parameters: what params.toml says is complete, in range, handed down, and reported as used."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import clicktimer
from clicktimer.assessment.options import MeasureOptions
from clicktimer.detection.candidates import Candidates
from clicktimer.detection.param_table import table
from clicktimer.detection.params import default_params
from clicktimer.errors import SettingsError
from clicktimer.streaming.engine import Engine
from tests.support.recordings import measured, path_of

NAME = "taps-shut-75s"


def test_every_entry_states_value_unit_meaning_origin_and_range():
    entries = [(section, name, entry) for section, part in table().items() for name, entry in part.items()]
    assert len(entries) > 10
    for section, name, entry in entries:
        assert entry.meaning.endswith((".", "?")), f"{section}.{name}"
        assert entry.fitted_by.startswith(("chosen: ", "python -m tests.benchmarks.")), f"{section}.{name}"
        assert entry.valid_range[0] < entry.valid_range[1], f"{section}.{name}"


def test_a_value_out_of_its_range_is_refused_in_one_line():
    for name, value in (
        ("candidate_finder.frame_s", 0.0),
        ("candidate_finder.most_per_s", -1),
        ("candidate_finder.floor_quantile", float("nan")),
        ("candidate_finder.most_per_s", 2.5),
        ("candidate_finder.frame_s", "1 ms"),
        ("candidate_finder.frame_s", (0.001, 0.002)),
        ("candidate_finder.frame_ms", 1.0),
        ("frame_s", 0.001),
    ):
        with pytest.raises(SettingsError) as error:
            default_params().changed({name: value})  # type: ignore[dict-item]
        assert "\n" not in str(error.value)
        assert name.split(".")[-1] in str(error.value)
    finder = default_params().candidate_finder
    with pytest.raises(SettingsError):
        replace(finder, least_rise_db=1e9)


def test_differences_are_what_was_changed():
    params = default_params().changed({"candidate_finder.least_rise_db": 4, "candidate_finder.most_per_s": 3})
    assert params.differences() == {"candidate_finder.least_rise_db": 4.0, "candidate_finder.most_per_s": 3}
    assert default_params().differences() == {}
    assert default_params().changed(params.differences()) == params


@pytest.mark.parametrize("values", [{"candidate_finder.least_rise_db": 60.0}, {"candidate_finder.most_per_s": 0}])
def test_without_candidates_there_is_no_click_and_the_result_says_by_which_parameters(values: dict[str, float]):
    assert measured(NAME).clicks
    m = clicktimer.measure(path_of(NAME), detection=values)
    assert m.clicks == ()
    assert m.cycles == ()
    (name, value), *_ = values.items()
    section, key = name.split(".")
    assert m.settings["detection"]["values"][section][key] == value
    assert m.settings["detection"]["from"] == "option"
    assert measured(NAME).settings["detection"] == {"from": "default", "values": default_params().as_dict()}


@pytest.mark.parametrize(
    "values",
    [
        {f"acceptance.least_log_odds{which}": 1000.0 for which in ("", "_alone", "_apart")},
        {"acceptance.least_each": 100.0, "acceptance.pump_apart": 100.0},
        {"template_em.rounds": 1},
        {"assemble.edge_sd_s": 2.0, "acceptance.least_chance": 1.0, "acceptance.doubted_chance": 1.0},
    ],
    ids=lambda values: next(iter(values)),
)
def test_parameters_of_the_decision_change_what_is_decided(values: dict[str, float]):
    usual, m = measured(NAME), clicktimer.measure(path_of(NAME), detection=values)
    assert (m.clicks, m.edges) != (usual.clicks, usual.edges)
    for name, value in values.items():
        section, key = name.split(".")
        assert m.settings["detection"]["values"][section][key] == value


def test_every_section_of_the_file_is_one_of_the_parameters():
    assert set(default_params().as_dict()) == set(table())
    for section, part in default_params().as_dict().items():
        assert part == {name: entry.value for name, entry in table()[section].items()}


def test_the_clock_error_of_the_settings_widens_every_run():
    wide = clicktimer.measure(path_of(NAME), detection={"timing.clock_ppm": 10_000.0})
    for usual, wider in zip(measured(NAME).cycles, wide.cycles, strict=True):
        if usual.run_s is not None and wider.run_high_s is not None and usual.run_high_s is not None:
            assert wider.run_high_s - usual.run_high_s == pytest.approx(usual.run_s * (0.01 - 0.0001))


def test_the_live_engine_detects_by_its_parameters():
    from clicktimer.audio import open_recording

    found = {}
    for least_rise_db in (2.5, 60.0):
        engine = Engine(params=default_params().changed({"candidate_finder.least_rise_db": least_rise_db}))
        parts = [len(engine.feed(block).candidates) for block in open_recording(path_of("very-short-3s")).blocks()]
        found[least_rise_db] = sum(parts) + len(engine.flush().candidates)
    assert found[2.5] > 0
    assert found[60.0] == 0


def test_options_hold_the_defaults_until_others_are_given():
    assert MeasureOptions().detection == default_params()


def test_the_bands_and_slices_are_as_many_as_are_stored():
    from clicktimer.detection.candidates import N_BANDS, N_HUM_BANDS, N_SLICES

    bands = default_params().bands
    assert len(bands.edges_hz) - 1 == N_BANDS
    assert len(bands.hum_edges_hz) - 1 == N_HUM_BANDS
    assert len(bands.slice_edges_s) - 1 == N_SLICES


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("bands.highest_rate_share", 0.45),
        ("bands.slice_edges_s", (0.0, 0.003, 0.005, 0.010, 0.020, 0.040, 0.080)),
        ("bands.hum_edges_hz", (*default_params().bands.hum_edges_hz[:-1], 1200.0)),
        ("onset_time.onset_share", 0.4),
        ("candidate_finder.timing_sd_least_s", 0.001),
        ("waveform.after_s", 0.008),
    ],
)
def test_a_parameter_of_the_signal_side_changes_what_is_found(name: str, value: object):
    from clicktimer.audio import open_recording
    from clicktimer.detection.candidate_finder import OnsetFinder

    found = []
    for params in (default_params(), default_params().changed({name: value})):  # type: ignore[dict-item]
        finder, recording = OnsetFinder(params), open_recording(path_of(NAME))
        parts = [finder.feed(block) for block in recording.blocks()]
        candidates = Candidates.join([*parts, finder.flush()])
        levels = [segment.codes for segment in finder.levels()]
        found.append([getattr(candidates, field) for field in Candidates.__slots__] + levels)
    assert not all(np.array_equal(a, b) for a, b in zip(*found, strict=True))
