"""Parameters of the signal side of the detector, one class per section of params.toml: sound -> candidates."""

from __future__ import annotations

from dataclasses import dataclass

from clicktimer.detection.param_table import Section


@dataclass(frozen=True, slots=True)
class Bands(Section):
    """The frequency bands and time slices in which sound is described.

    Their numbers (8 bands, 13 bands of hum, 6 slices) are part of what is stored, see ``candidates.py``.
    """

    edges_hz: tuple[float, ...]
    hum_edges_hz: tuple[float, ...]
    hum_rate_hz: float
    least_rate_share: float
    highest_rate_share: float
    slice_edges_s: tuple[float, ...]
    context_before_s: tuple[float, ...]
    context_after_s: tuple[float, ...]

    def first_above(self, least_hz: float) -> int:
        """Return the number of the first band whose lower edge is at least this frequency, Hz."""
        return next(i for i, edge in enumerate(self.edges_hz) if edge >= least_hz)

    def count_at(self, rate_hz: float) -> int:
        """Return the number of bands that exist at a sample rate, Hz."""
        return sum(1 for low_hz in self.edges_hz[:-1] if low_hz < self.least_rate_share * rate_hz)


@dataclass(frozen=True, slots=True)
class CandidateFinder(Section):
    """How candidates are found; meanings, units and ranges are in params.toml."""

    frame_s: float
    after_s: float
    before_s: float
    guard_s: float
    floor_quantile: float
    floor_db_per_s: float
    rise_cap_db: float
    least_rise_db: float
    apart_s: float
    most_per_s: int
    level_s: float
    better_half_discount_db: float
    timing_sd_least_s: float
    timing_sd_noise_s: float
    timing_sd_approach_share: float
    first_frames: int
    first_speed: float
    waveform_rise: float
    waveform_fall_per_s: float


@dataclass(frozen=True, slots=True)
class OnsetTime(Section):
    """How the onset of a candidate is timed to a fraction of a millisecond."""

    mean_half_s: float
    smooth_s: float
    hold_s: float
    lead_s: float
    lag_s: float
    noise_s: float
    earliest_s: float
    rings_s: float
    onset_share: float
    approach_share: float
    slide_s: float
    quiet_over_noise: float
    decay_share: float


@dataclass(frozen=True, slots=True)
class Waveform(Section):
    """How waveforms are kept and compared."""

    before_s: float
    after_s: float
    rate_hz: float
    mean_s: float
    low_pass_taps: int
    band_edges_hz: tuple[float, ...]
    padded_s: float
    body_s: tuple[float, ...]
    lag_s: float
    lag_step_s: float
    slack_s: float
    oversampled: float
    doubt: float


@dataclass(frozen=True, slots=True)
class Similarity(Section):
    """How fingerprints are compared with a pattern and with each other."""

    visible_db: float
    most_off_db: float
    clear_db: float
    least_room_share: float
    least_signal_share: float
    level_slices: int
    least_cell_share: float
    least_cells: int
    stranger_cells: float
    stranger_db: float
    vector_cap_db: float


@dataclass(frozen=True, slots=True)
class SpectralLines(Section):
    """Which steady tones of each second are kept."""

    lowest_hz: float
    highest_hz: float
    listened_share: float
    least_db: float
    around_hz: float


@dataclass(frozen=True, slots=True)
class SwitchScore(Section):
    """Range of the switch score; its weights are in switch_score.csv."""

    lowest: float
    highest: float
