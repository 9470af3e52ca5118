"""Stage 10, beside the report: a measurement or a day in, pictures out, each with its caption and its words.

Every function here only prepares words and numbers; a picture is drawn when its ``svg()`` or ``png()`` is asked for.
"""

from clicktimer.reporting.figures.click_pair import click_pair, pair_spans_s
from clicktimer.reporting.figures.comparison import compare_picture
from clicktimer.reporting.figures.day import day_pictures, day_sheet
from clicktimer.reporting.figures.picture import Picture
from clicktimer.reporting.figures.run_bars import run_bars
from clicktimer.reporting.figures.run_scale import run_scale
from clicktimer.reporting.figures.time_line import time_line

__all__ = [
    "Picture",
    "click_pair",
    "compare_picture",
    "day_pictures",
    "day_sheet",
    "pair_spans_s",
    "run_bars",
    "run_scale",
    "time_line",
]
