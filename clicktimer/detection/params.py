"""Every number that the detector rests on: params.toml -> one frozen ``DetectionParams``, handed down the chain.

Nothing here is global state: ``default_params()`` is what params.toml says, ``changed`` gives a copy with other values,
and what a measurement reports as used is the object that was used.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, replace
from functools import lru_cache
from typing import Any, get_type_hints

from clicktimer.detection import live_params, model_params, signal_params
from clicktimer.detection.param_table import Section, Value, section_name, table
from clicktimer.errors import SettingsError


@dataclass(frozen=True, slots=True)
class DetectionParams:
    """All parameters of detection, by section. Each section is a frozen dataclass of plain numbers."""

    bands: signal_params.Bands
    candidate_finder: signal_params.CandidateFinder
    onset_time: signal_params.OnsetTime
    waveform: signal_params.Waveform
    switch_score: signal_params.SwitchScore
    similarity: signal_params.Similarity
    spectral_lines: signal_params.SpectralLines
    timing: model_params.Timing
    pump_state: model_params.PumpState
    shortlist: model_params.Shortlist
    evidence: model_params.Evidence
    viterbi: model_params.Viterbi
    template_em: model_params.TemplateEm
    proposals: model_params.Proposals
    acceptance: model_params.Acceptance
    assemble: model_params.Assemble
    precursors: model_params.Precursors
    second_machine: model_params.SecondMachine
    speed_changes: model_params.SpeedChanges
    level_step: live_params.LevelStep
    template_match: live_params.TemplateMatch
    live: live_params.Live

    def changed(self, values: Mapping[str, Value]) -> DetectionParams:
        """Return a copy with other values.

        Parameters
        ----------
        values
            New values by section and name, for example ``{"candidate_finder.least_rise_db": 4.0}``.

        Raises
        ------
        SettingsError
            If a name is not known, or a value lies outside the range that params.toml allows.
        """
        new = self
        for name, value in values.items():
            section, _, key = name.partition(".")
            if key not in table().get(section, {}):
                raise SettingsError(f"{name!r} is no parameter of the detector; they are listed in params.toml")
            plain = _as_used(value, table()[section][key].value)
            new = replace(new, **{section: replace(getattr(new, section), **{key: plain})})
        return new

    def differences(self) -> dict[str, Value]:
        """Return the values that differ from params.toml, by ``section.name``."""
        default = default_params().as_dict()
        return {
            f"{section}.{key}": value
            for section, values in self.as_dict().items()
            for key, value in values.items()
            if value != default[section][key]
        }

    def as_dict(self) -> dict[str, dict[str, Value]]:
        """Return every value by section and name."""
        return asdict(self)


def _as_used(value: Any, default: Value) -> Any:
    """Return a whole number as the float that the parameter is, and a list as a tuple."""
    if isinstance(value, list | tuple):
        return tuple(float(v) if isinstance(v, int) else v for v in value)
    if isinstance(value, int) and not isinstance(value, bool) and isinstance(default, float):
        return float(value)
    return value


@lru_cache(maxsize=1)
def default_params() -> DetectionParams:
    """Return the parameters as params.toml states them.

    Raises
    ------
    SettingsError
        If params.toml lacks a parameter, has one that is not known, or a value out of its range.
    """
    sections: dict[str, type[Section]] = get_type_hints(DetectionParams)
    if set(sections) != set(table()):
        raise SettingsError(f"params.toml: the sections must be {', '.join(f.name for f in fields(DetectionParams))}")
    made: dict[str, Any] = {}
    for name, section in sections.items():
        assert name == section_name(section)
        made[name] = section(**{key: entry.value for key, entry in table()[name].items()})
    return DetectionParams(**made)
