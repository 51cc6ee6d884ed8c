"""Each golfer's carry at each device and ball beside expected carry, as more or less of the drives is known."""

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.drives import usable
from pipeline.fit.model import CarryModel, Delivery
from pipeline.flight.offsets import CELL, UNSTATED
from pipeline.statistics.arrays import Array


class Mode(NamedTuple):
    """What isn't known of drives: ball speed (`blind`), spin (`guessed`)."""

    blind: bool
    guessed: bool

    @property
    def usual(self) -> str:
        """Name of expected carry with what is usual at the club speed in place of what isn't known."""
        return f"usual_{self.blind:d}{self.guessed:d}"

    @property
    def own(self) -> str:
        """Name of expected carry with the golfer's own ratio and spin, by the drives of the fit, in their place."""
        return f"own_{self.blind:d}{self.guessed:d}"


KNOWN = Mode(False, False)


def level_counts(frame: pl.DataFrame, speed: str) -> pl.DataFrame:
    """Count drives by golfer, device and ball: all, usable ones, those without ball speed, those of guessed spin."""
    marks = frame.select(
        "golfer",
        pl.col(CELL).fill_null(UNSTATED),
        pl.Series("usable", usable(frame, speed)),
        blind=pl.col("ball_speed_mph").is_null() & (speed == "ball"),
        guessed=~pl.col("spin_measured").fill_null(True),
    )
    sums = pl.col("usable", "blind", "guessed").sum().cast(pl.Int64)
    return marks.group_by("golfer", *CELL).agg(pl.len().cast(pl.Int64).alias("drives"), sums)


class LevelCounts(NamedTuple):
    """How many drives and golfers there are.

    Attributes
    ----------
    levels : DataFrame
        By column (device or ball) and level: drives and usable ones, and the golfers behind each, `_golfers` at the
        name's end.
    pairs : DataFrame
        By device and ball: drives, and those that are blind or guessed, as `Mode` has it.
    """

    levels: pl.DataFrame
    pairs: pl.DataFrame

    @classmethod
    def of(cls, frame: pl.DataFrame, speed: str) -> "LevelCounts":
        """Count whole golfers' drives; those of several frames add up."""
        counts, columns = level_counts(frame, speed), ("drives", "usable")
        golfers = (pl.col("golfer").filter(pl.col(name) > 0).n_unique().alias(f"{name}_golfers") for name in columns)
        each = [pl.col(columns).sum(), *(one.cast(pl.Int64) for one in golfers)]
        levels = (
            counts.group_by(pl.col(name).alias("level")).agg(pl.lit(name).alias("column").first(), *each)
            for name in CELL
        )
        return cls(pl.concat(levels), counts.group_by(CELL).agg(pl.col("drives", "blind", "guessed").sum()))

    @classmethod
    def joined(cls, parts: "Iterable[LevelCounts]") -> "LevelCounts":
        """Add the counts of pieces up."""
        levels, pairs = (pl.concat(tables) for tables in zip(*parts, strict=True))
        return cls(levels.group_by("column", "level").sum(), pairs.group_by(CELL).sum().sort(CELL))


def cells_of(frame: pl.DataFrame, model: CarryModel, modes: set[Mode]) -> pl.DataFrame:
    """Sum up golfers' drives by device, ball and whether the fit can use them: medians, so that mishits don't count.

    Parameters
    ----------
    frame : DataFrame
        Whole golfers' drives, with the columns of `FIT_COLUMNS`.
    model : CarryModel
    modes : set of Mode
        In which expected carry is wanted, beside `KNOWN`.

    Returns
    -------
    DataFrame
        golfer, device, ball, usable, drives, club_speed_mph (mean), mean and var (of carry over expected carry, all
        known); and for each name of the modes the median of carry over that expected carry, and with `_spread` at its
        end the median distance from it.
    """
    fits = usable(frame, model.surface.speed)
    carry = frame.get_column("carry_standard_yd").to_numpy()
    expected = _expected(frame, fits, model, {KNOWN, *modes})
    ratios = [pl.Series(name, carry / np.maximum(values, 1.0)) for name, values in expected.items()]
    marks = ("golfer", pl.col(CELL).fill_null(UNSTATED), pl.Series("usable", fits), "club_speed_mph")
    known = pl.col(KNOWN.usual)
    return (
        frame.select(*marks, *ratios)
        .group_by("golfer", *CELL, "usable")
        .agg(
            pl.len().cast(pl.Int64).alias("drives"),
            pl.col("club_speed_mph").mean(),
            known.mean().alias("mean"),
            known.var().fill_null(0.0).alias("var"),
            pl.col(expected).median(),
            *((pl.col(name) - pl.col(name).median()).abs().median().alias(f"{name}_spread") for name in expected),
        )
    )


def _expected(
    frame: pl.DataFrame, fits: npt.NDArray[np.bool_], model: CarryModel, modes: set[Mode]
) -> dict[str, Array]:
    """Give expected carry of every drive, yd, by the names of modes; a guessed spin counts as not known in all."""
    marked = frame.with_columns(pl.Series("fits", fits))
    ratio = pl.col("ball_speed_mph").cast(pl.Float64) / pl.col("club_speed_mph")
    own = marked.select(
        value.filter(pl.col("fits")).median().over("golfer").alias(name)
        for name, value in (("ratio", ratio), ("spin", pl.col("spin_rpm").cast(pl.Float64)))
    )
    own_ratio, own_spin = (own.get_column(name).to_numpy() for name in own.columns)
    drive = Delivery.of(frame)
    guessed = ~frame.get_column("spin_measured").fill_null(True).to_numpy()
    found: dict[str, Array] = {}
    for mode in sorted(modes):
        ratios = np.where(mode.blind, np.nan, drive.speed_ratio)
        spins = np.where(guessed | mode.guessed, np.nan, drive.spin_rpm)
        plain = Delivery(drive.club_speed_mph, ratios, drive.launch_deg, spins)
        found[mode.usual] = model.expected(model.with_usual(plain))
        if mode != KNOWN:
            filled = (np.where(np.isnan(one), other, one) for one, other in ((ratios, own_ratio), (spins, own_spin)))
            ratios, spins = filled
            mine = Delivery(drive.club_speed_mph, ratios, drive.launch_deg, spins)
            found[mode.own] = model.expected(model.with_usual(mine))
    return found
