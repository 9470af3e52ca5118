"""The parts of the tank's report that are written only when asked for: runs under use, a price list, a picture."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

from clicktimer.errors import SettingsError
from clicktimer.records import Reason
from clicktimer.reporting.blocks import SPACE, Block, Rows, Words, lines_of
from clicktimer.reporting.messages.catalogue import Messages
from clicktimer.reporting.text.tank_sizes import run_cell
from clicktimer.tank.prices import Offer, PriceComparison
from clicktimer.tank.sizing import TankSizing, UnderUse
from clicktimer.units.conversions import gal_to_l, l_to_gal
from clicktimer.units.format import format_flow, format_time, format_volume

if TYPE_CHECKING:
    from matplotlib.figure import Figure

PICTURES = (".png", ".svg", ".pdf")


def use_lines(under: UnderUse, sizing: TankSizing) -> list[str]:
    """Return the runs under use as lines of at most 80 columns."""
    return lines_of(use_blocks(under, sizing, Messages(units=sizing.units)))


def use_blocks(under: UnderUse, sizing: TankSizing, messages: Messages = Messages()) -> list[Block]:
    """Return the runs under use."""
    rows = under.rows
    lines: list[Block] = [Words(messages.text("tank-use.of", what=under.what, drawdown_l=under.drawdown_l))]
    cells = []
    for row in rows:
        run = format_time(row.run_s) if row.stops else messages.text("tank-use.never-stops")
        rest = format_time(row.rest_s) if math.isfinite(row.rest_s) and row.stops else "-"
        figures = (format_flow(row.use_l_per_min, messages.units), run, rest, f"{row.starts_per_h:.1f}")
        cells.append(tuple(map(messages.number, figures)))
    header = [messages.text(f"tank-use-head.{name}") for name in ("use", "runs", "rests", "starts")]
    lines.append(Rows(header, cells, (">", ">", ">", ">"), gap=3))
    return [*lines, Words(messages.text("tank-use.one-rate"))]


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
    return lines_of(price_blocks(prices, sizing, Messages(units=sizing.units)))


def price_blocks(prices: PriceComparison, sizing: TankSizing, messages: Messages = Messages()) -> list[Block]:
    """Return the price list, held against the target."""
    if prices.choice is None:
        lines: list[Block] = [Words(messages.text("tank-price.none-reaches", target_s=sizing.target_s))]
    else:
        offer = _offer(prices.choice)
        lines = [Words(messages.text("tank-price.cheapest", target_s=sizing.target_s, offer=offer))]
        if prices.next_up is not None:
            lines.append(Words(messages.text(_next_up(prices.choice, prices.next_up))))
    if prices.may_reach is not None:
        offer = _offer(prices.may_reach)
        lines.append(Words(messages.text("tank-price.may-reach", target_s=sizing.target_s, offer=offer)))
    for pair, single in prices.pairs_instead[:3]:
        lines.append(
            Words(
                messages.text(
                    "tank-price.pair",
                    pair=pair.name,
                    pair_price=pair.price,
                    single=single.name,
                    single_price=single.price,
                )
            )
        )
    lines.append(SPACE)
    us = messages.units == "us"
    columns = ("tank", "price", "gives", "run", "per-gal" if us else "per-l")
    header = [messages.text(f"tank-price-head.{name}") for name in columns]
    cells = []
    for offered in prices.offers:
        per_l = offered.price_per_l * (gal_to_l(1.0) if us else 1.0)
        figures = (
            f"{offered.price:.2f}",
            format_volume(offered.row.drawdown_l, messages.units),
            run_cell(offered.row, messages),
            "-" if math.isinf(per_l) else f"{per_l:.2f}",
        )
        cells.append((_name(offered), *map(messages.number, figures)))
    lines.append(Rows(header, cells, ("<", ">", ">", ">", ">"), gap=3))
    return lines


def _next_up(choice: Offer, longer: Offer) -> Reason:
    """Return what the next offer costs and gives more than the cheapest."""
    return Reason(
        "tank-price.next",
        more_price=longer.price - choice.price,
        offer=_offer(longer),
        more_s=(longer.row.run_fast_s or 0.0) - (choice.row.run_fast_s or 0.0),
        more_l=longer.row.drawdown_l - choice.row.drawdown_l,
    )


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
            "run_fast_s": None if o.row.run_fast_s is None else round(o.row.run_fast_s, 6),
        }

    return {
        "offers": [offer(o) for o in prices.offers],
        "choice": offer(prices.choice),
        "next_up": offer(prices.next_up),
        "may_reach": offer(prices.may_reach),
        "pairs_instead": [{"pair": offer(a), "single": offer(b)} for a, b in prices.pairs_instead],
    }


def _name(offer: Offer, count: int | None = None) -> str:
    shown = offer.name if len(offer.name) <= 28 else offer.name[:27] + "…"
    return shown if (count or offer.count) == 1 else f"2 × {shown}"


def _offer(offer: Offer) -> Reason:
    if offer.row.run_s is None:
        return Reason("tank-price.offer", name=_name(offer), price=offer.price)
    low_s = offer.row.run_s if offer.row.run_fast_s is None else offer.row.run_fast_s
    run = {"low_s": low_s, "high_s": offer.row.run_s}
    return Reason("tank-price.offer-with-run", name=_name(offer), price=offer.price, **run)


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
    shown = [row.volume_l for row in sizing.stock] + (
        [sizing.installed.volume_l] if sizing.installed is not None else []
    )
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
    if sizing.installed is not None and sizing.run is not None:
        axes.errorbar(
            [sizing.installed.volume_l * scale],
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
