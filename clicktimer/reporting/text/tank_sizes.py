"""The sizes of a tank's sizing as a table, and one size in a sentence: what each gives, its runs, its most starts."""

from __future__ import annotations

import math
from typing import Final

from clicktimer.reporting.blocks import Rows
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.tank.options import TankRow
from clicktimer.tank.sizing import TankSizing
from clicktimer.units.conversions import l_to_gal
from clicktimer.units.format import format_volume

SAME_SHARE: Final = 0.005


def size_text(row: TankRow, sizing: TankSizing, messages: Messages = Messages()) -> str:
    """Return a size of tank with the run that it gives, from a fast refill to air settled: "33 gal (a run of ...)"."""
    return messages.text("tank-size.with-run", size=_size(row, sizing, messages), run=run_cell(row, messages))


def _size(row: TankRow, sizing: TankSizing, messages: Messages) -> str:
    """A stock size in litres is a rounded figure ("76 L"), as a day's reading writes it, too."""
    if messages.units == "metric" and row in sizing.stock:
        return f"{row.volume_l:.0f} L"
    return messages.number(format_volume(row.volume_l, messages.units))


def run_cell(row: TankRow, messages: Messages) -> str:
    """Return the runs to expect of a tank, after a fast refill and with the air settled; "-" without a pump rate."""
    if row.run_s is None or row.run_fast_s is None:
        return "-"
    low, high = _seconds(row.run_fast_s), _seconds(row.run_s)
    return messages.number(f"{high} s" if low == high else f"{low} to {high} s")


def _seconds(time_s: float) -> str:
    return f"{time_s:.1f}" if time_s < 10 else f"{time_s:.0f}"


def _starts_cell(row: TankRow) -> str:
    if row.most_starts_per_h is None or row.most_starts_fast_per_h is None:
        return "-"
    low, high = f"{row.most_starts_per_h:.0f}", f"{row.most_starts_fast_per_h:.0f}"
    return low if low == high else f"{low} to {high}"


def sizes_table(sizing: TankSizing, messages: Messages = Messages()) -> Rows:
    """The sizes as a table; the one chosen and the installed one are marked in words."""
    rows = [(row, _mark(row, sizing, messages)) for row in sizing.stock]
    if sizing.installed is not None:
        one = len(sizing.system.tanks) == 1
        _add(rows, sizing.installed, messages.text("tank-size.installed" if one else "tank-size.installed-several"))
        if sizing.right is not None:
            _add(rows, sizing.right, messages.text("tank-size.right" if one else "tank-size.right-several"))
    cells = [
        (
            _size(row, sizing, messages),
            f"{_volume(row.drawdown_fast_l, messages)} to {_volume(row.drawdown_l, messages, unit=True)}",
            run_cell(row, messages),
            _starts_cell(row),
            mark,
        )
        for row, mark in rows
    ]
    # Without a pump rate there are no runs to show.
    shown = (0, 1, 2, 3, 4) if sizing.system.pump is not None else (0, 1, 4)
    header = (*(messages.text(f"tank-size-head.{name}") for name in ("tank", "gives", "runs", "starts")), "")
    return Rows(
        [header[i] for i in shown],
        [[line[i] for i in shown] for line in cells],
        [">" if i < 4 else "<" for i in shown],
        gap=3,
    )


def _add(rows: list[tuple[TankRow, str]], row: TankRow, name: str) -> None:
    """Add a row, or mark the stock size that it is: two rows a hair apart would only raise a question."""
    same = next((i for i, (stock, _) in enumerate(rows) if _same(stock, row)), None)
    if same is None:
        rows.append((row, name))
    else:
        rows[same] = (row, "; ".join(text for text in (name, rows[same][1]) if text))


def _volume(volume_l: float, messages: Messages, *, unit: bool = False) -> str:
    shown = l_to_gal(volume_l) if messages.units == "us" else volume_l
    name = " gal" if messages.units == "us" else " L"
    return messages.number(f"{shown:.1f}{name if unit else ''}")


def _same(row: TankRow, installed: TankRow) -> bool:
    """Whether a stock size and the installed tank are one size that gives one volume; a stock size may be 0.1 L off."""
    pairs = ((row.volume_l, installed.volume_l), (row.drawdown_l, installed.drawdown_l))
    return all(math.isclose(a, b, rel_tol=SAME_SHARE) for a, b in pairs)


def _mark(row: TankRow, sizing: TankSizing, messages: Messages) -> str:
    if row == sizing.choice:
        return messages.text("tank-size.reaches", target_s=sizing.target_s)
    if row == sizing.may_reach:
        return messages.text("tank-size.may-reach", target_s=sizing.target_s)
    return messages.text("tank-size.next") if row == sizing.next_up else ""
