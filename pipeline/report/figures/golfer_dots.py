"""Golfers as marks of a figure, and the rule of who may be one."""

from typing import Any

import numpy as np
import polars as pl
from matplotlib.axes import Axes

from pipeline.bands import SpeedBands
from pipeline.report.palette import LIGHT, Palette

MOST_POINTS = 2000  # golfers in one figure; more are one blot
RIM = 0.08  # of a mark's width, about which it runs


def without_suppressed(golfers: pl.DataFrame, bands: pl.DataFrame, speed_bands: SpeedBands) -> pl.DataFrame:
    """Leave out golfers of suppressed bands: a point each would tell what the suppressed row must not.

    Parameters
    ----------
    golfers, bands : DataFrame
        Of one quarter.
    speed_bands : SpeedBands
    """
    speed, hidden = golfers["club_speed_mph"].to_numpy(), np.zeros(golfers.height, dtype=bool)
    for centre in bands.filter("suppressed")["band_mph"]:
        hidden |= speed_bands.holds(centre, speed)
    return golfers.filter(pl.Series(~hidden))


def draw_golfers(axes: Axes, golfers: pl.DataFrame, x: str, y: str, scheme: Palette = LIGHT) -> None:
    """Draw golfers as points: dots for the clear, rings for those not assessed, diamonds for the flagged."""
    edge = {"edgecolor": scheme.paper, "s": 44}
    looks: tuple[tuple[str, str, dict[str, Any]], ...] = (
        ("not_assessed", "not assessed", {"marker": "o", "facecolor": scheme.paper, "edgecolor": scheme.ink, "s": 36}),
        ("clear", "not flagged", {"marker": "o", "facecolor": scheme.line, **edge}),
        ("flagged", "flagged", {"marker": "D", "facecolor": scheme.attention_mark, **edge}),
    )
    # Golfers stand in the order of a digest, so that every so many are drawn at random.
    golfers = golfers.drop_nulls([x, y])  # a guessed spin has no place
    drawn = golfers.gather_every(max(-(-golfers.height // MOST_POINTS), 1))
    for status, label, look in looks:
        some = drawn.filter(pl.col("status") == status)
        if some.height:
            rim = RIM * look["s"] ** 0.5
            axes.scatter(some[x].to_numpy(), some[y].to_numpy(), label=label, linewidth=rim, zorder=5, **look)


def say(axes: Axes, remark: str, scheme: Palette = LIGHT) -> None:
    """Write a remark into the upper left corner of the axes, on paper so that it can be read over anything."""
    if remark:
        box = {"facecolor": scheme.paper, "edgecolor": scheme.line, "alpha": 0.9, "boxstyle": "round"}
        axes.text(0.02, 0.98, remark, transform=axes.transAxes, ha="left", va="top", fontsize=9.5, bbox=box, zorder=8)
