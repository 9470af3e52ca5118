"""10 document: what was asked, as plain data that a document can carry; and measuring by it, the first time or again.

``report --check`` measures by the very function that measured for the report, so that the two cannot drift apart.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

from clicktimer.assessment.measurement import Measurement
from clicktimer.assessment.options import MeasureOptions, SystemOptions
from clicktimer.day.analysis import DayReading
from clicktimer.pipeline import MeasureRequest, Outcome, Watch, measure_all
from clicktimer.settings import (
    PumpState,
    Taps,
)
from clicktimer.site.house import Uses, day_uses, says_of_the_well, steady_uses_l_per_min, well_report
from clicktimer.site.options import describe
from clicktimer.tank.prices import PriceComparison, compare_prices, parse_prices
from clicktimer.tank.sizing import UnderUse, under_use
from clicktimer.tank.system import Origin
from clicktimer.well.assess import WellReport

Text = str | tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Asked:
    """All that the user said of a recording and asked of it; texts as they were typed.

    kind: read as a measurement or as a day. given, origins: the system's options by name with underscores, and where
    each came from; site: the site file's name; house: what it says of well and household. labels: name and text of a
    label file. prices: text of a price list. nobody, other_*: as clicktimer day takes them.
    """

    kind: Literal["measure", "day"] = "measure"
    taps: Taps | None = None
    pump_at_start: PumpState | None = None
    started: str | None = None
    joined: bool = False
    given: Mapping[str, Text] = field(default_factory=dict)
    origins: Mapping[str, Origin] = field(default_factory=dict)
    site: str | None = None
    house: Mapping[str, Text | int] = field(default_factory=dict)
    labels: tuple[str, str] | None = None
    prove: bool = False
    prices: str | None = None
    zone: str | None = None
    nobody: tuple[str, ...] = ()
    other_tank: tuple[str, ...] = ()
    other_charge: str | None = None
    other_switch: str | None = None

    @property
    def system(self) -> SystemOptions:
        """The system as described. Raises QuantityError or SettingsError."""
        return replace(describe(self.given, origins=self.origins), site=self.site)

    @property
    def options(self) -> MeasureOptions:
        """The options to measure with."""
        system = self.system
        return MeasureOptions(
            taps=self.taps,
            pump_at_start=self.pump_at_start,
            marks_s=system.marks_s,
            started=self.started,
            joined=self.joined,
            system=system,
        )


@dataclass(frozen=True, slots=True)
class Result:
    """What came of it. measured: its run, verdict, tank and causes are the day's where there is a reading.

    uses: the household's use in a day; under: runs under its steady uses; both by the site file.
    """

    measured: Measurement
    reading: DayReading | None = None
    well: WellReport | None = None
    prices: PriceComparison | None = None
    uses: Uses = ()
    under: UnderUse | None = None


def asked_json(asked: Asked) -> dict[str, Any]:
    """Return it as JSON can hold it; of a file its name is told, not where it lies."""
    data = asdict(asked)
    if "yield-test" in asked.house:
        data["house"] = {**asked.house, "yield-test": Path(str(asked.house["yield-test"])).name}
    return data


def lying_in(asked: Asked, folder: Path) -> Asked:
    """What was asked, read from a document; the files that it names lie in this folder."""
    if "yield-test" not in asked.house:
        return asked
    return replace(asked, house={**asked.house, "yield-test": str(folder / Path(str(asked.house["yield-test"])).name)})


def as_listened(asked: Asked, paths: Sequence[str]) -> Asked:
    """What was asked, filled with what the one listening folder was listened with. Raises StoreError."""
    from clicktimer.storage.reader import read_folder
    from clicktimer.storage.writer import is_listening
    from clicktimer.streaming.finalize import with_noted

    if len(paths) != 1 or not is_listening(Path(paths[0])):
        return asked
    folder = Path(paths[0])
    system = with_noted(asked.options, read_folder(folder).about, folder).system
    if system is None:
        return asked
    return replace(asked, given=system.given, origins=dict(system.origins), site=system.site)


def request_of(asked: Asked, paths: Sequence[str]) -> MeasureRequest:
    """Return what was asked as a request. Raises InputError for labels that cannot be read."""
    labels = None
    if asked.labels is not None:
        from clicktimer.cycles.corrections import parse_labels

        name, text = asked.labels
        labels = (name, parse_labels(text, name))
    return MeasureRequest(tuple(paths), asked.options, labels, asked.prove)


def measure_asked(asked: Asked, paths: Sequence[str], watch: Watch | None = None) -> Result:
    """Measure recordings (or one listening folder) as asked. Raises ClicktimerError."""
    return conclude_asked(asked, measure_all(request_of(asked, paths), watch), paths)


def conclude_asked(asked: Asked, outcome: Outcome, paths: Sequence[str]) -> Result:
    """Read what has been measured as a day, and with the house around it, as far as asked for."""
    asked, measured = as_listened(asked, paths), outcome.measured
    reading = None
    if asked.kind == "day":
        from clicktimer.day.measured import read_measured_day
        from clicktimer.site.others import others_of

        others = others_of(asked.system, asked.other_tank, asked.other_charge, asked.other_switch)
        measured, reading = read_measured_day(
            measured, asked.options, zone=asked.zone, nobody=asked.nobody, others=others
        )
    uses, under = _of_the_house(asked, measured)
    return Result(measured, reading, _well(asked), _prices(asked, measured), uses, under)


def _of_the_house(asked: Asked, m: Measurement) -> tuple[Uses, UnderUse | None]:
    """What the household uses in a day, and the runs under its steady uses, where a tank and a pump are known."""
    if m.tank is None or not m.tank.system.tanks:
        return (), None
    steady = steady_uses_l_per_min(asked.house)
    under = under_use(m.tank, steady) if steady and m.tank.system.pump is not None else None
    return day_uses(asked.house), under


def _prices(asked: Asked, m: Measurement) -> PriceComparison | None:
    if asked.prices is None or m.tank is None:
        return None
    items = parse_prices(asked.prices)
    return compare_prices(items, m.tank.system, m.tank.stock_charge_kpag, m.tank.target_s)


def _well(asked: Asked) -> WellReport | None:
    """The well, where the site file says anything of it."""
    if not says_of_the_well(asked.house):
        return None
    return well_report(asked.house, asked.system)
