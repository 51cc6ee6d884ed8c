"""Device and ball terms: by what share of carry each reads long against the device and ball of most drives.

A share, not yards: a device of another calibration, and a ball that leaves the face or falls out of the air otherwise,
moves a drive of 280 yd by more yards than one of 180 (`docs/statistics.md` weighs both).
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.statistics.arrays import Array

CELL = ("device", "ball")
UNSTATED = "unstated"
MIN_SHOTS = 30  # below this a level's offset would be noise: its drives count as the reference's


@dataclass(frozen=True)
class Offsets:
    """The levels that have a term of their own.

    Attributes
    ----------
    reference : dict of str to str
        For `device` and `ball`: the level of most drives, whose offset is zero.
    levels : tuple of (str, str)
        (column, level) of each term, in order.
    absorbed : tuple of (str, str)
        Levels with enough drives whose part can't be told apart from that of the terms, and is in them.
    """

    reference: dict[str, str]
    levels: tuple[tuple[str, str], ...]
    absorbed: tuple[tuple[str, str], ...] = ()

    @property
    def labels(self) -> tuple[str, ...]:
        """Names of the terms, such as `device:unit-B`."""
        return tuple(f"{column}:{level}" for column, level in self.levels)

    def design(self, drives: pl.DataFrame) -> Array:
        """Build indicator columns, shape (n, terms), from the columns `device` and `ball`."""
        columns = [
            drives.get_column(column).fill_null(UNSTATED).eq(level).to_numpy().astype(float)
            for column, level in self.levels
        ]
        return np.stack(columns, axis=-1) if columns else np.zeros((drives.height, 0))

    def terms(self, drives: pl.DataFrame) -> Array:
        """Build the columns of a fit, yd, shape (n, terms): the indicators times `flown_yd`.

        Carry that doesn't depend on the fit stands in for expected carry, so that a share is a linear term; see
        `Survey` for its scale.
        """
        return np.asarray(self.design(drives) * drives.get_column("flown_yd").to_numpy()[:, None])


def count_levels(drives: pl.DataFrame, *by: str) -> pl.DataFrame:
    """Count drives by device and ball, and by other columns: *by, device, ball, drives."""
    known = drives.select(*by, pl.col("device", "ball").fill_null(UNSTATED))
    return known.group_by(*by, "device", "ball").agg(pl.len().cast(pl.Int64).alias("drives"))


def every_level(counts: pl.DataFrame) -> Offsets:
    """List all levels that have enough drives for a term, the references too; `counts` as for `offsets_from`."""
    levels: list[tuple[str, str]] = []
    for column in ("device", "ball"):
        enough = counts.group_by(column).agg(pl.col("drives").sum()).filter(pl.col("drives") >= MIN_SHOTS)
        levels += [(column, level) for level in enough.get_column(column).sort()]
    return Offsets({}, tuple(levels))


def offsets_from(counts: pl.DataFrame) -> Offsets:
    """Choose reference levels and the levels that get a term.

    Parameters
    ----------
    counts : DataFrame
        device, ball and drives, from `count_levels`; a pair may stand there more than once.

    Returns
    -------
    Offsets
        Levels with fewer than `MIN_SHOTS` drives get no term; nor does a level that can't be told apart from
        the terms before it (a ball that is only hit at one device).
    """
    pairs = counts.group_by("device", "ball").agg(pl.col("drives").sum()).filter(pl.col("drives") > 0)
    pairs = pairs.sort("device", "ball")
    reference: dict[str, str] = {}
    levels: list[tuple[str, str]] = []
    absorbed: list[tuple[str, str]] = []
    columns: list[Array] = [np.ones(pairs.height)]
    for column in ("device", "ball"):
        ranked = pairs.group_by(column).agg(pl.col("drives").sum()).sort(["drives", column], descending=[True, False])
        for place, (level, count) in enumerate(ranked.iter_rows()):
            if place == 0:
                reference[column] = level
                continue
            indicator = pairs.get_column(column).eq(level).to_numpy().astype(float)
            # Which terms can be told apart depends on the pairs that occur, not on how often.
            apart = np.linalg.matrix_rank(np.stack([*columns, indicator], axis=-1)) > len(columns)
            if count >= MIN_SHOTS and apart:
                levels.append((column, level))
                columns.append(indicator)
            elif count >= MIN_SHOTS:
                absorbed.append((column, level))
    return Offsets(reference, tuple(levels), tuple(absorbed))
