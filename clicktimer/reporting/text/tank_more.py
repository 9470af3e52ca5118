"""The parts of the tank's report that are written only when asked for: runs under use, a price list, a picture."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

from clicktimer.errors import SettingsError
from clicktimer.reporting.blocks import SPACE, Block, Rows, Words, lines_of
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.tank.prices import Offer, PriceComparison
from clicktimer.tank.sizing import TankSizing, UnderUse
from clicktimer.units.conversions import gal_to_l, l_to_gal
from clicktimer.units.format import format_flow, format_time, format_volume

if TYPE_CHECKING:
    from matplotlib.figure import Figure

PICTURES = (".png", ".svg", ".pdf")


def use_lines(under: UnderUse, sizing: TankSizing) -> list[str]:
    """Return the runs under use as lines of at most 80 columns."""
    return lines_of(use_blocks(under, sizing))


def use_blocks(under: UnderUse, sizing: TankSizing, messages: Messages = Messages()) -> list[Block]:
    """Return the runs under use."""
    rows = under.rows
    given = format_volume(under.drawdown_l, sizing.units)
    lines: list[Block] = [Words(f"Of {under.what}: {given} between cut-out and cut-in.")]
    cells = []
    for row in rows:
        run = format_time(row.run_s) if row.stops else "never stops"
        rest = format_time(row.rest_s) if math.isfinite(row.rest_s) and row.stops else "-"
        cells.append((format_flow(row.use_l_per_min, sizing.units), run, rest, f"{row.starts_per_h:.1f}"))
    lines.append(Rows(("steady use", "runs", "rests", "starts/h"), cells, (">", ">", ">", ">"), gap=3))
    return [
        *lines,
        Words(
            "Reckoned with one pump rate. A pump whose rate falls towards cut-out may run on without end from about "
            "0.8 of its mean rate."
        ),
    ]


def use_json(under: UnderUse) -> list[dict[str, Any]]:
    """Return the runs under use for JSON; a time that never ends is null."""

    def finite(value: float) -> float | None:
        return round(value, 6) if math.isfinite(value) else None

    return [
        {
            "use_gpm": round(l_to_gal(r.use_l_per_min), 6),
            "use_l_per_min": round(r.use_l_per_min, 6),
            "run_s": finite(r.run_s),
            "rest_s": finite(r.rest_s),
            "starts_per_h": round(r.starts_per_h, 6),
            "stops": r.stops,
        }
        for r in under.rows
    ]


def price_lines(prices: PriceComparison, sizing: TankSizing) -> list[str]:
    """Return the price list, held against the target, as lines of at most 80 columns."""
    return lines_of(price_blocks(prices, sizing))


def price_blocks(prices: PriceComparison, sizing: TankSizing, messages: Messages = Messages()) -> list[Block]:
    """Return the price list, held against the target."""
    target = format_time(sizing.target_s)
    if prices.choice is None:
        lines: list[Block] = [Words(f"Nothing on the price list, alone or as two, reaches a run of {target}.")]
    else:
        lines = [Words(f"Cheapest that reaches {target}: {_offer_text(prices.choice, sizing)}.")]
        if prices.next_up is not None:
            more_s = (prices.next_up.row.run_s or 0.0) - (prices.choice.row.run_s or 0.0)
            more_l = prices.next_up.row.drawdown_l - prices.choice.row.drawdown_l
            lines.append(
                Words(
                    f"For {prices.next_up.price - prices.choice.price:.2f} more, {_offer_text(prices.next_up, sizing)}:"
                    f" {format_time(more_s)} longer, {format_volume(more_l, sizing.units)} more between cut-out and "
                    "cut-in."
                )
            )
    for pair, single in prices.pairs_instead[:3]:
        lines.append(
            Words(
                f"Two of {pair.name} ({pair.price:.2f}) give at least as much as one {single.name} "
                f"({single.price:.2f})."
            )
        )
    lines.append(SPACE)
    unit = "gal" if sizing.units == "us" else "L"
    header = ("tank", "price", "gives", "run", f"price/{unit}")
    cells = []
    for offer in prices.offers:
        per_l = offer.price_per_l * (gal_to_l(1.0) if sizing.units == "us" else 1.0)
        cells.append(
            (
                _name(offer),
                f"{offer.price:.2f}",
                format_volume(offer.row.drawdown_l, sizing.units),
                "-" if offer.row.run_s is None else f"{offer.row.run_s:.0f} s",
                "-" if math.isinf(per_l) else f"{per_l:.2f}",
            )
        )
    lines.append(Rows(header, cells, ("<", ">", ">", ">", ">"), gap=3))
    return lines


def prices_json(prices: PriceComparison) -> dict[str, Any]:
    """Return the price list for JSON."""

    def offer(o: Offer | None) -> dict[str, Any] | None:
        if o is None:
            return None
        return {
            "name": o.name,
            "count": o.count,
            "price": round(o.price, 2),
            "volume_gal": round(l_to_gal(o.row.volume_l), 6),
            "drawdown_gal": round(l_to_gal(o.row.drawdown_l), 6),
            "run_s": None if o.row.run_s is None else round(o.row.run_s, 6),
        }

    return {
        "offers": [offer(o) for o in prices.offers],
        "choice": offer(prices.choice),
        "next_up": offer(prices.next_up),
        "pairs_instead": [{"pair": offer(a), "single": offer(b)} for a, b in prices.pairs_instead],
    }


def _name(offer: Offer, count: int | None = None) -> str:
    shown = offer.name if len(offer.name) <= 28 else offer.name[:27] + "…"
    return shown if (count or offer.count) == 1 else f"2 × {shown}"


def _offer_text(offer: Offer, sizing: TankSizing) -> str:
    run = "" if offer.row.run_s is None else f", run {format_time(offer.row.run_s)}"
    return f"{_name(offer)} ({offer.price:.2f}{run})"


def sizing_figure(sizing: TankSizing, prices: PriceComparison | None = None) -> Figure:
    """Draw run against tank size with the marks, the fast-refill band and, where given, the prices. Nothing is shown.

    Raises SettingsError without a pump rate.
    """
    try:
        from matplotlib.figure import Figure
    except ImportError:
        raise SettingsError("a picture needs matplotlib, which is not installed: pip install matplotlib") from None
    system = sizing.system
    if system.pump is None:
        raise SettingsError('a picture of the sizes needs the pump rate: give it, such as --pump-rate "8 gpm"')
    us = sizing.units == "us"
    shown = [row.volume_l for row in sizing.stock] + ([sizing.there.volume_l] if sizing.there is not None else [])
    top_l = 1.08 * max(shown)
    sizes_l = [top_l * i / 100 for i in range(101)]
    settled = [60.0 * v * sizing.fraction / system.pump.l_per_min for v in sizes_l]
    fast = [60.0 * v * sizing.fraction_fast / system.pump.l_per_min for v in sizes_l]
    scale = l_to_gal(1.0) if us else 1.0
    figure = Figure(figsize=(8, 5), layout="constrained")
    axes = figure.add_subplot()
    across = [v * scale for v in sizes_l]
    axes.fill_between(across, fast, settled, alpha=0.25, label="healthy tank: fast refill to air settled")
    axes.plot(across, settled, label="air settled (Boyle)")
    for mark_s, style in zip(system.marks_s, (":", "--"), strict=True):
        axes.axhline(mark_s, color="black", linestyle=style, linewidth=1, label=f"mark {mark_s:g} s")
    for row in sizing.stock:
        chosen = row == sizing.choice
        if row.run_s is not None:
            axes.plot(row.volume_l * scale, row.run_s, marker="s" if chosen else "o", color="black", markersize=5)
            text = format_volume(row.volume_l, sizing.units) + (" (chosen)" if chosen else "")
            axes.annotate(text, (row.volume_l * scale, row.run_s), (0, 8), textcoords="offset points", ha="right")
    if sizing.there is not None and sizing.run is not None:
        axes.errorbar(
            [sizing.there.volume_l * scale],
            [sizing.run.seconds],
            yerr=[[sizing.run.seconds - sizing.run.low_s], [sizing.run.high_s - sizing.run.seconds]],
            marker="x",
            color="black",
            linestyle="none",
            label="the tank there, as measured",
        )
    axes.set(
        xlabel=f"tank volume, {'US gal' if us else 'L'}",
        ylabel="run with every tap shut, s",
        xlim=(0, top_l * scale),
        ylim=(0, None),
        title=f"Run against tank size at {format_flow(system.pump.l_per_min, sizing.units)}",
    )
    if prices is not None:
        right = axes.twinx()
        singles = [o for o in prices.offers if o.count == 1]
        right.scatter([o.row.volume_l * scale for o in singles], [o.price for o in singles], marker="^", label="price")
        right.set(ylabel="price (triangles)", ylim=(0, None))
    axes.legend(loc="upper left", fontsize=8)
    return figure


def save_picture(path: str | Path, figure: Figure) -> None:
    """Write a figure beside its place and move it there. Same figure, same bytes. Raises SettingsError."""
    import matplotlib as mpl

    target = Path(path)
    if target.suffix.lower() not in PICTURES:
        raise SettingsError(f"{target.name}: a picture must end in {', '.join(PICTURES)}")
    beside = target.with_name(f".{target.stem}.part{target.suffix}")
    # No dates and no random names inside: the same input makes the same file.
    nothing = {".svg": {"Date": None}, ".pdf": {"CreationDate": None}}.get(target.suffix.lower(), {})
    try:
        with mpl.rc_context({"svg.hashsalt": "clicktimer"}):
            figure.savefig(beside, metadata=nothing)
        beside.replace(target)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise SettingsError(f"cannot write {target}: {error.strerror}; choose another place") from None
