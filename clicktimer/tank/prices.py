"""A price list of the user's own, held against the run that each tank, or two of it, would give.

In: CSV with the columns name, volume, largest_acceptance (may be empty) and price. Out: offers, cheapest first.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from clicktimer.errors import InputError, QuantityError, SettingsError
from clicktimer.tank.options import TankRow, row_of
from clicktimer.tank.system import System, Tank
from clicktimer.units.parse import parse_volume_l

COLUMNS = ("name", "volume", "largest_acceptance", "price")
MOST_LINES = 1000


@dataclass(frozen=True, slots=True)
class PriceItem:
    """One line of a price list. volume_l, acceptance_l: litres (acceptance None when not stated). price: any "
    "currency.
    """

    name: str
    volume_l: float
    acceptance_l: float | None
    price: float


@dataclass(frozen=True, slots=True)
class Offer:
    """One tank of the list, or two of it together. price: of all of them. row: what they do on the system."""

    name: str
    count: int
    price: float
    row: TankRow

    @property
    def price_per_l(self) -> float:
        """Price for a litre of drawdown; infinite where there is none."""
        return self.price / self.row.drawdown_l if self.row.drawdown_l > 0 else math.inf


@dataclass(frozen=True, slots=True)
class PriceComparison:
    """Offers by price. choice: the cheapest of which every run reaches the target; next_up: the cheapest larger one.

    may_reach: the cheapest that reaches it only when the air has settled, where it costs less than choice.
    pairs_instead: pairs of a smaller tank that give at least as much as some dearer single tank.
    """

    offers: tuple[Offer, ...]
    choice: Offer | None
    next_up: Offer | None
    may_reach: Offer | None
    pairs_instead: tuple[tuple[Offer, Offer], ...]


def read_prices(path: str | Path) -> tuple[PriceItem, ...]:
    """Read a price list. Raises InputError or QuantityError, which name the line and the field."""
    try:
        text = Path(path).read_text("utf-8-sig")
    except OSError as error:
        raise InputError(f"the price list {Path(path).name} cannot be read: {error.strerror}") from None
    except UnicodeDecodeError:
        raise InputError(f"the price list {Path(path).name} is not text in UTF-8: save it as CSV, UTF-8") from None
    return parse_prices(text)


def parse_prices(text: str) -> tuple[PriceItem, ...]:
    """Read a price list from the text of a CSV file (comma or semicolon). Raises as read_prices does."""
    first = text.split("\n", 1)[0]
    rows = csv.reader(io.StringIO(text), delimiter=";" if first.count(";") > first.count(",") else ",")
    try:
        lines = [(rows.line_num, [cell.strip() for cell in row]) for row in rows if any(cell.strip() for cell in row)]
    except csv.Error as error:
        raise InputError(f"the price list is not CSV: {error}") from None
    if not lines or [cell.casefold() for cell in lines[0][1]] != list(COLUMNS):
        raise InputError(f"the first line of the price list must be: {','.join(COLUMNS)}")
    if len(lines) < 2:
        raise InputError("the price list has no tanks in it: one line for each, under the first line")
    if len(lines) > MOST_LINES:
        raise InputError(f"the price list is longer than {MOST_LINES} lines: is it the right file?")
    return tuple(_item(number, cells) for number, cells in lines[1:])


def _item(number: int, cells: Sequence[str]) -> PriceItem:
    if len(cells) != len(COLUMNS):
        raise InputError(f"price list, line {number}: {len(cells)} fields where {len(COLUMNS)} are expected")
    name, volume, acceptance, price_text = cells
    if not name:
        raise InputError(f"price list, line {number}: the name is empty")
    try:
        volume_l = parse_volume_l(volume)
        acceptance_l = parse_volume_l(acceptance) if acceptance else None
    except QuantityError as error:
        raise QuantityError(f"price list, line {number}: {error}") from None
    if acceptance_l is not None and acceptance_l > volume_l:
        raise QuantityError(f"price list, line {number}: the largest acceptance is more than the volume")
    try:
        price = float(price_text)
    except ValueError:
        price = math.nan
    if not 0 < price < 1e9:
        raise QuantityError(f'price list, line {number}: the price "{price_text[:20]}" must be a number such as 549.00')
    return PriceItem(name, volume_l, acceptance_l, price)


def compare_prices(items: Sequence[PriceItem], system: System, charge_kpag: float, target_s: float) -> PriceComparison:
    """Hold a price list against the target run (s), each tank charged to ``charge_kpag``, alone and as two.

    Raises SettingsError where the pump rate is unknown: without it no run can be expected.
    """
    if system.pump is None:
        raise SettingsError('a price list needs the pump rate to be of use: give it, such as --pump-rate "8 gpm"')
    offers = [
        Offer(
            item.name,
            count,
            item.price * count,
            row_of((Tank(item.volume_l, "bladder", charge_kpag, item.acceptance_l),) * count, system),
        )
        for item in items
        for count in (1, 2)
    ]
    offers.sort(key=lambda o: (o.price, -o.row.drawdown_l, o.count, o.name))
    reaching = [o for o in offers if o.row.reaches(target_s)]
    choice = reaching[0] if reaching else None
    longer = [o for o in reaching if choice is not None and o.row.drawdown_l > choice.row.drawdown_l * 1.001]
    pairs = [
        (pair, single)
        for single in offers
        if single.count == 1
        for pair in offers
        if pair.count == 2 and pair.price < single.price and pair.row.drawdown_l >= single.row.drawdown_l
    ]
    may = next((o for o in offers if o.row.may_reach(target_s) and (choice is None or o.price < choice.price)), None)
    return PriceComparison(tuple(offers), choice, longer[0] if longer else None, may, tuple(pairs))
