"""``clicktimer.measure``: a recording in, a Measurement out, with options as people write them."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from contextlib import nullcontext
from typing import TYPE_CHECKING

from clicktimer.assessment.options import MeasureOptions
from clicktimer.errors import SettingsError
from clicktimer.settings import (
    PumpState,
    Taps,
)

if TYPE_CHECKING:
    from clicktimer.assessment.measurement import Measurement

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
    """Measure the pump's runs in a recording.

    Parameters
    ----------
    recording : path or sequence of paths
        A recording, a listening folder, or the parts of one recording in order.
    taps : {"shut", "steady"} or None
        "shut": no water was running; "steady": one tap ran steadily; None: not known, so that the run time is an upper
        bound.
    pump_at_start : {"on", "off"} or None
        Whether the pump ran when the recording began; None: not known.
    switch : str or None
        Cut-in and cut-out pressure, such as "40/60" (psi) or "2.8/4.2 bar".
    precharge : str or None
        The tank's air charge, such as "38 psi".
    tank : str or sequence of str
        Volume of the installed tank, such as "33 gal"; several for several tanks.
    pump_rate : str or None
        What the pump delivers, such as "8 gpm".
    height : str or None
        Height above the sea, such as "1200 ft".
    marks : str or None
        The minimum and the target of a run, such as "30/60" (seconds).
    started : str or None
        Date and time of the first sample, such as "2031-05-04 06:30".
    corrected : path or None
        A label file by which to measure in place of the detected clicks (docs/correcting.md).
    prove : bool
        Count how many copies of the recording's own clicks are found again (docs/proof.md). Takes about as long again.
    detection : mapping or None
        Other values for parameters of the detector, by section and name, such as
        {"candidate_finder.least_rise_db": 4.0}; clicktimer/detection/params.toml lists them.
    progress : callable or None
        Called with the seconds heard so far, and in all (None: not known).

    Returns
    -------
    Measurement
        Clicks, cycles, run time, verdict and tank, with every value that was used.

    Raises
    ------
    InputError
        The recording or the label file cannot be read.
    QuantityError
        A quantity cannot be understood or is impossible.
    SettingsError
        Options contradict each other, or describe a system that cannot work.

    Examples
    --------
    >>> import clicktimer
    >>> result = clicktimer.measure("fixtures_audio/short-cycling-12s.flac", taps="shut")
    >>> round(result.run.seconds, 1), result.verdict.band
    (12.0, 'short')
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
