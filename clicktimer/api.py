"""``clicktimer.measure``: a recording in, a Measurement out, with options as people write them."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from contextlib import nullcontext
from typing import TYPE_CHECKING

from clicktimer.errors import SettingsError
from clicktimer.settings import MeasureOptions, PumpState, Taps

if TYPE_CHECKING:
    from clicktimer.records import Measurement

PathLike = str | os.PathLike[str]


def measure(  # noqa: PLR0913
    recording: PathLike | Sequence[PathLike],
    *,
    taps: Taps | None = None,
    pump_at_start: PumpState | None = None,
    switch: str | None = None,
    precharge: str | None = None,
    tank: str | Sequence[str] = (),
    pump_rate: str | None = None,
    height: str | None = None,
    marks: str | None = None,
    started: str | None = None,
    corrected: PathLike | None = None,
    prove: bool = False,
    detection: Mapping[str, float] | None = None,
    progress: Callable[[float, float | None], None] | None = None,
) -> Measurement:
    """Measure the pump's runs in one recording, or in the parts of one (a sequence of paths).

    taps: "shut" (no water in use), "steady" (one tap ran steadily) or None (not known: the verdict is one-sided).
    pump_at_start: "on" or "off" where it is known. The quantities are text with a unit, as on the command line:
    switch "40/60" (psi), precharge "38 psi", tank "33 gal" (several: a sequence), pump_rate "8 gpm", height "1200 ft",
    marks "30/60" (seconds), started "2031-05-04 06:30". None is the default of the command line.
    corrected: a label file by which to measure (docs/correcting.md). prove: count how many copies of its own clicks are
    caught (docs/proof.md). detection: other values for parameters of the detector, by section and name
    ({"candidate_finder.least_rise_db": 4.0}; clicktimer/detection/params.toml lists them).
    progress: called with the seconds heard so far and in all (None: not known).

    Raises InputError where the recording or the label file cannot be read, QuantityError and SettingsError for the
    options.
    """
    from clicktimer.cycles.corrections import read_labels
    from clicktimer.detection.params import default_params
    from clicktimer.pipeline import MeasureRequest, measure_all
    from clicktimer.site.options import parse_system_options

    if taps not in (None, "shut", "steady"):
        raise SettingsError(f'taps={taps!r} is not known; give "shut", "steady" or None')
    if pump_at_start not in (None, "on", "off"):
        raise SettingsError(f'pump_at_start={pump_at_start!r} is not known; give "on", "off" or None')
    system = parse_system_options(
        switch=switch,
        precharge=precharge,
        tank=(tank,) if isinstance(tank, str) else tuple(tank),
        pump_rate=pump_rate,
        height=height,
        marks=marks,
    )
    joined = not isinstance(recording, str | os.PathLike)
    options = MeasureOptions(
        taps=taps,
        pump_at_start=pump_at_start,
        marks_s=system.marks_s,
        started=started,
        joined=joined,
        system=system,
        detection=default_params().changed(detection or {}),
    )
    labels = None if corrected is None else read_labels(corrected)
    paths = (recording,) if isinstance(recording, str | os.PathLike) else tuple(recording)
    return measure_all(MeasureRequest(paths, options, labels, prove), lambda _stage: nullcontext(progress)).measured
