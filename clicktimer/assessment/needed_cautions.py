"""A measurement in, the cautions that it calls for out. Common practice in the trade, no published source."""

from __future__ import annotations

from clicktimer.assessment.causes.run_signs import runs_on
from clicktimer.assessment.cautions import caution, hand_work
from clicktimer.assessment.measurement import Measurement
from clicktimer.records import Reason
from clicktimer.targets import SHORT_BANDS


def cautions_for(measurement: Measurement) -> tuple[Reason, ...]:
    """Return the cautions that belong to what a result may make somebody do, most urgent first.

    Parameters
    ----------
    measurement : Measurement
        With its verdict, warnings and, where it was sized, its tank.

    Returns
    -------
    tuple of Reason
        Each once; the last one says that this is no certificate.
    """
    m = measurement
    found: list[str] = []
    if runs_on(m):
        found.append("endless")
    found.append("listen")
    if any(w.code == "variable-speed" for w in m.warnings):
        found.append("licensed")
    # Too-close-to-call near a short band sends people to the tank as well.
    to_tank = m.verdict.band in SHORT_BANDS or (m.verdict.band == "under-a-minute" and not m.verdict.sure)
    sized = m.tank is not None and bool(m.tank.system.tanks or m.tank.system.pump)
    if to_tank or sized:
        found += [*hand_work(m.tank)[:3]]
    found += ["surroundings", "no-certificate"]
    return tuple(caution(name) for name in dict.fromkeys(found))
