"""Parameters of the model side of the detector, one class per section of params.toml: candidates -> clicks.

Meanings, units, origins and valid ranges are in params.toml.
"""

from __future__ import annotations

from dataclasses import dataclass

from clicktimer.detection.param_table import Section


@dataclass(frozen=True, slots=True)
class Timing(Section):
    """The clock that all times rest on."""

    clock_ppm: float


@dataclass(frozen=True, slots=True)
class PumpState(Section):
    """Is the pump running: two states of the level, off and on."""

    step_window: int
    least_spread_db: float
    same_share: float
    most_estimates: int
    most_changes: int
    change_cap: float
    change_bands: int
    least_change: float
    same_direction: float
    least_apart: float
    refine_rounds: int
    first_sd: float
    least_sd: float
    steps_per_sample: float
    most_step_llr: float
    switch_cost: float
    least_steps: int
    band_sd_added_db: float
    least_band_sd_db: float
    decisive_db: float
    decisive_sd: float
    least_decisive: int
    position_low: float
    position_high: float
    sound_least_run_s: float
    sound_least_runs: int
    sound_apart: float
    sound_band_db: float
    sound_bands: int
    sound_sharp_steps: int
    sound_sharp_share: float


@dataclass(frozen=True, slots=True)
class Shortlist(Section):
    """Which candidates are weighed at all."""

    most_candidates: int
    most_per_h: int
    change_cap: float
    chatter_s: float
    chatter_score: float
    chatter_stronger: float
    chatter_alike: float
    chatter_wave: float


@dataclass(frozen=True, slots=True)
class Evidence(Section):
    """Log-likelihood ratios of a candidate: these clicks against all other sounds of the recording."""

    score_center: float
    score_spread: float
    score_width: float
    score_floor: float
    score_range: float
    score_blur: float
    score_count: float
    score_least_spread: float
    score_upper_ratio: float
    score_broad_share: float
    most_templates: int
    most_features: float
    most_wave: float
    most_wave_against: float
    most_level: float
    wave_blur: float
    wave_center: float
    wave_spread: float
    wave_floor: float
    wave_count: float
    wave_least_spread: float
    wave_upper_spread: float
    wave_broad_share: float
    level_blur_db: float
    level_count: float
    level_least_spread_db: float
    level_broad_share: float
    least_weight_db: float
    most_left_out: int
    features_rise_blur_db: float
    features_blur_db: float
    features_center_db: float
    features_spread_db: float
    features_floor: float
    features_count: float
    features_low_db: float
    features_high_db: float
    features_shape: float
    features_mean_ratio: float
    features_broad_share: float
    change_cap: float
    change_floor: float


@dataclass(frozen=True, slots=True)
class Viterbi(Section):
    """What is assumed of a sequence before anything is known."""

    hazard_per_s: float
    miss: float
    least_run_s: float
    gap_cost: float
    start_cost: float
    ramp_steps: int
    least_score: float
    most_score: float


@dataclass(frozen=True, slots=True)
class TemplateEm(Section):
    """Learning what the two clicks sound like, and what a sequence explains."""

    rounds: int
    most_click: float
    around_s: float
    approach_s: float
    left_out: float
    plain_apart: float
    doubt_range: float
    dull_score: float
    dull_cost: float
    kind_score: float
    kind_cost: float
    kind_cost_alone: float
    edge_s: float
    rival_margin: float
    rival_count: float
    rival_share: float
    most_coincidence: float
    silent_cost: float
    silent_cost_burst: float
    silent_share: float
    silent_excess: float
    silent_doubt: float
    burst_s: float
    sustained_s: float
    sustained_apart: float
    sustained_bonus: float
    sustained_plain: float
    sustained_bonus_plain: float


@dataclass(frozen=True, slots=True)
class Proposals(Section):
    """Which hypotheses are tried: where the pump may be heard, and which sounds recur."""

    most_sounds: int
    near_s: float
    score_offset: float
    least_weight: float
    most_weight: float
    groups: int
    alike_from: float
    alike_member: float
    alike_tight: float
    least_halves: int
    leaders: int
    wave_quantile: float
    wave_above: float
    wave_least: float
    wave_most: float
    seeds: int
    most_members: int
    templates: int
    sampled: int
    least_member: float
    same_share: float
    most_same: int
    most_pairs: int
    most_asked: int
    least_asked: int
    least_change_t: float
    pair_change_t: float
    more_pumps: int
    combined: int
    relearned: int
    most_core: int
    core_alike: float


@dataclass(frozen=True, slots=True)
class Acceptance(Section):
    """Which hypothesis is accepted, and when it is rejected."""

    least_log_odds: float
    least_log_odds_alone: float
    least_log_odds_apart: float
    least_each: float
    each_alone: float
    apart_score: float
    apart_clicks: int
    away_s: float
    least_lead: float
    near_share: float
    least_alternation: float
    sure_change_t: float
    no_change_t: float
    least_kind_score: float
    least_chance: float
    sure_chance: float
    doubted_chance: float
    doubted_share: float
    doubted_kinds_apart: float
    resembles: float
    conflict_llr: float
    conflict_steps: int
    rival_clicks: int
    rival_share: float
    plain_clicks: int
    plain_doubt: float
    plain_silent_share: float
    plain_change_t: float
    plain_change_t_weak: float
    faint_doubt: float
    faint_score: float
    own_kind_clicks: int
    own_kind: float
    pump_apart: float
    pump_change_t: float
    pump_change_t_two: float
    denied_steps: int
    denied_share: float
    different_share: float
    same_kind_share: float
    duller: float
    clock_s: float
    clock_clicks: int
    clock_spread: float
    clock_share: float
    chance_spread: float
    least_time_spread: float
    least_order: float
    plain_order: float
    stands_out: float
    steps_gaps: int
    steps_moment_s: float
    steps_ratio: float
    outshines: float
    outshines_by: float
    core_share: float


@dataclass(frozen=True, slots=True)
class Assemble(Section):
    """Which clicks of an accepted sequence are reported, when each began, and edges without a click."""

    edge_sd_s: float
    edge_confidence: float
    unknown_confidence: float
    most_confidence: float
    least_own: float
    leads: float
    most_unheard: float
    clear_own: float
    burst_s: float
    first_s: float
    most_neighbors: int
    same_wave: float
    surely_same_wave: float
    wave_over_features: float
    alike: float
    plainly_alike: float
    fainter_db: float
    louder_db: float
    less_score: float
    sure_within: float
    first_within: float
    approach_s: float
    slide_s: float
    slide_scatter: float
    slide_clicks: int
    buried_db: float
    buried_sd_s: float
    first_least: float
    earlier_sd: float


@dataclass(frozen=True, slots=True)
class Precursors(Section):
    """Sounds shortly before most clicks of one kind: relays and pipes follow the switch."""

    nearest_s: float
    farthest_s: float
    share: float
    least: int
    alike: float
    less_score: float
    fainter_db: float
    most_elsewhere: float


@dataclass(frozen=True, slots=True)
class SecondMachine(Section):
    """Does something else start and stop beside the pump."""

    least_edges: int
    least_s: float
    least_apart: float
    least_bands: int
    least_db: float
    sharp_share: float
    most_dull: float
    alike_db: float
    unlike_db: float
    least_share: float
    least_together: int
    louder_db: float
    least_louder: int
    margin_s: float
    rest_s: float
    shortest_part_s: float
    least_steps: int
    most_changes: int
    decisive_db: float
    least_sound_steps: int
    least_stop_steps: int
    stop_near_s: float
    stop_far_s: float
    after_near_s: float
    after_far_s: float
    inside_s: float
    sharp_steps: int
    least_common: int


@dataclass(frozen=True, slots=True)
class SpeedChanges(Section):
    """Does a machine change its speed while it runs."""

    cell: float
    farthest: float
    slip_share: float
    hold_s: float
    hold_share: float
    change_s: float
    least_lines: int
    sure_lines: int
    least_changes: int
    mains_near_hz: float
    blur_hz: float
    same_cells: int
    most_cells: int
