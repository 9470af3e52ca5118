"""10 pictures: the one style that all of them share: colours, type, sizes, and axes laid out in inches.

The colours are those of Okabe and Ito, "Color Universal Design" (2008): eight colours that people with protan, deutan
and tritan sight still tell apart. They are used in pairs that also differ in lightness, and what a colour says is said
again by a hatch, a line style, a shape or a word, so that a grey print tells the same. Spectrograms go from white to
dark blue (ColorBrewer's "Blues", Brewer 2003): one hue, so lightness alone tells, and silence costs no ink. The type is
DejaVu Sans, which comes with matplotlib; it is drawn as outlines, so that a picture looks the same everywhere and no
reader's computer has to have the font.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from typing import TYPE_CHECKING, Any, Final

from clicktimer.reporting.messages.catalogue import Messages

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.patheffects import AbstractPathEffect

WIDTH_IN: Final = 6.5  # the text column of a Letter or A4 page
TEXT_PT: Final = 8.5
SMALL_PT: Final = 7.5
LARGE_PT: Final = 20.0

INK: Final = "#1a1a1a"
SOFT: Final = "#5c6670"  # labels that are not data; 5.9 to 1 on white
GRID: Final = "#d5dade"
REST: Final = "#9aa4ad"  # the line of time where the pump rests
PAPER: Final = "#ffffff"
BLUE: Final = "#0072b2"  # Okabe-Ito; the pump's runs
SKY: Final = "#56b4e9"  # Okabe-Ito; a run that is doubtful
ORANGE: Final = "#e69f00"  # Okabe-Ito; between the marks; seeping
VERMILION: Final = "#d55e00"  # Okabe-Ito; under the first mark
LIGHT_GREEN: Final = "#bfe6da"  # Okabe-Ito bluish green a quarter of the way from white: from the second mark on
LOST: Final = "#e4e7ea"  # sound that is missing; always hatched

TOGETHER: Final = (
    (VERMILION, ORANGE, LIGHT_GREEN),
    (BLUE, SKY, PAPER),
    (BLUE, ORANGE, PAPER),
    (BLUE, LOST),
    (INK, BLUE),
)
"""Colours that meet as areas in one picture: each pair of a row differs in lightness too."""

HATCH_LOST: Final = "////"
HATCH_CORRECTED: Final = "\\\\\\\\"
HATCH_BY_SOUND: Final = "||||"

SHADES: Final = "Blues"

_RC: Final[dict[Any, Any]] = {
    "font.family": "DejaVu Sans",
    "font.size": TEXT_PT,
    "text.parse_math": False,
    "text.color": INK,
    "axes.edgecolor": SOFT,
    "axes.labelcolor": INK,
    "axes.labelsize": TEXT_PT,
    "axes.titlesize": TEXT_PT + 0.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "axes.unicode_minus": True,
    "xtick.color": SOFT,
    "ytick.color": SOFT,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.labelsize": SMALL_PT,
    "ytick.labelsize": SMALL_PT,
    "xtick.major.width": 0.7,
    "ytick.major.width": 0.7,
    "xtick.major.size": 3.0,
    "ytick.major.size": 3.0,
    "grid.color": GRID,
    "grid.linewidth": 0.6,
    "hatch.linewidth": 0.6,
    "legend.frameon": False,
    "legend.fontsize": SMALL_PT,
    "figure.facecolor": PAPER,
    "savefig.facecolor": PAPER,
    "svg.fonttype": "path",
    "svg.image_inline": True,
}


@contextmanager
def styled(salt: str) -> Iterator[None]:
    """Our style in place of whatever this computer's user has set up, as long as it lasts. salt: for the SVG's ids."""
    import matplotlib as mpl

    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update({**_RC, "svg.hashsalt": salt})
        yield


def canvas(height_in: float, width_in: float = WIDTH_IN) -> Figure:
    """An empty figure, inches."""
    from matplotlib.figure import Figure

    return Figure(figsize=(width_in, height_in))


def axes_in(figure: Figure, left: float, bottom: float, width: float, height: float) -> Axes:
    """Axes at a place given in inches from the lower left corner."""
    across, up = figure.get_size_inches()
    return figure.add_axes((left / across, bottom / up, width / across, height / up))


def strip_down(axes: Axes, keep: Sequence[str] = ("bottom",)) -> None:
    """Leave only the named sides of the frame, and the ticks that belong to them."""
    for side in ("left", "right", "top", "bottom"):
        axes.spines[side].set_visible(side in keep)
    if "left" not in keep:
        axes.tick_params(left=False)
    if "bottom" not in keep:
        axes.tick_params(bottom=False)


def plain_numbers(axes: Axes, which: str) -> None:
    """Round numbers, written plainly, on a logarithmic axis ("x" or "y") whose limits are set."""
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullFormatter, NullLocator

    axis = axes.xaxis if which == "x" else axes.yaxis
    low, high = axes.get_xlim() if which == "x" else axes.get_ylim()
    for steps in ((1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0), (1.0, 2.0, 3.0, 5.0), (1.0, 3.0), (1.0,)):
        ticks = [step * 10.0**power for power in range(-2, 7) for step in steps]
        ticks = [tick for tick in ticks if low <= tick <= high]
        if len(ticks) <= 9:
            break
    axis.set_major_locator(FixedLocator(ticks))
    axis.set_minor_locator(NullLocator())
    axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axis.set_minor_formatter(NullFormatter())


def whole_numbers(axes: Axes) -> None:
    """Ticks of the y axis at whole numbers only: there is no half a start."""
    from matplotlib.ticker import MaxNLocator

    axes.yaxis.set_major_locator(MaxNLocator(nbins=5, integer=True))


def over_areas(width_pt: float) -> list[AbstractPathEffect]:
    """A white border for a line of so many points, so that it can be seen over dark areas and light ones."""
    from matplotlib.patheffects import Normal, Stroke

    return [Stroke(linewidth=width_pt + 1.4, foreground=PAPER), Normal()]


def written(draw: Callable[[], Figure], messages: Messages) -> Callable[[], Figure]:
    """Have the numbers along the axes of a picture written with the reader's decimal sign."""
    if messages.decimal == "point":
        return draw

    def drawn() -> Figure:
        figure = draw()
        write_axes(figure, messages.number)
        return figure

    return drawn


def write_axes(figure: Figure, write: Callable[[str], str]) -> None:
    """Have the numbers along the axes of a picture written as ``write`` says."""
    from matplotlib.ticker import FixedFormatter, Formatter

    class Rewritten(Formatter):
        def __init__(self, inner: Formatter) -> None:
            self._inner = inner

        def set_axis(self, axis: Any) -> None:
            super().set_axis(axis)
            self._inner.set_axis(axis)

        def set_locs(self, locs: Any) -> None:
            self._inner.set_locs(locs)

        def get_offset(self) -> str:
            return write(self._inner.get_offset())

        def __call__(self, x: float, pos: int | None = None) -> str:
            return write(self._inner(x, pos))

        def format_ticks(self, values: Any) -> list[str]:
            return [write(shown) for shown in self._inner.format_ticks(values)]

    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            inner = axis.get_major_formatter()
            if not isinstance(inner, FixedFormatter):  # names are written already, and may be what somebody typed
                axis.set_major_formatter(Rewritten(inner))


Entry = tuple["Artist", str]
"""A mark and the words for it."""


def _key_columns(entries: Sequence[Entry]) -> int:
    """How many entries stand side by side, by a generous guess at the width of their words."""
    long_in = sum(0.42 + 0.068 * len(words) for _, words in entries)
    return max(1, math.ceil(len(entries) / math.ceil(long_in / WIDTH_IN))) if entries else 1


def key_room_in(entries: Sequence[Entry]) -> float:
    """How much room the key takes along the lower edge, inches."""
    return 0.07 + 0.17 * math.ceil(len(entries) / _key_columns(entries))


def key(figure: Figure, entries: Sequence[Entry], left_in: float = 0.2, low_in: float = 0.03) -> None:
    """What the marks of a picture mean, along its lower edge; at a place in inches."""
    if not entries:
        return
    across, up = figure.get_size_inches()
    figure.legend(
        [artist for artist, _ in entries],
        [words for _, words in entries],
        loc="lower left",
        ncols=_key_columns(entries),
        bbox_to_anchor=(left_in / across, low_in / up),
        handlelength=1.4,
        columnspacing=1.3,
        handletextpad=0.5,
        borderpad=0.0,
        borderaxespad=0.0,
    )


@cache
def _letters() -> frozenset[int]:
    from matplotlib.font_manager import FontProperties, fontManager, get_font

    return frozenset(get_font(fontManager.findfont(FontProperties(family="DejaVu Sans"))).get_charmap())


def drawable(text: str, most: int = 60) -> str:
    """The text with "?" for every letter that the font lacks (never a silent box), cut to so many letters.

    >>> drawable("cellar\\u6c34.wav")
    'cellar?.wav'
    """
    shown = "".join(c if ord(c) in _letters() and c.isprintable() else "?" for c in text)
    return shown if len(shown) <= most else shown[: most - 1] + "…"
