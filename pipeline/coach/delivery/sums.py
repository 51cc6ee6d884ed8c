"""Sums of drives by golfer, quarter, device and loft: all that slopes are worked out from, and addable over logs."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.statistics.arrays import Array

DELIVERY_COLUMNS = (
    "golfer",
    "quarter",
    "device",
    "club_speed_mph",
    "ball_speed_mph",
    "launch_deg",
    "spin_rpm",
    "attack_deg",
    "loft_deg",
    "spin_measured",
)
# Within a cell everything is complete: drives without ball speed have a cell of their own.
CELL = ["golfer", "quarter", "device", "loft_deg", "ball_known"]

# A drive whose speed ratio lies further below the golfer's usual one of the quarter is a mishit, where launch and spin
# tell of the strike and not of the swing. ASSUMED: four standard deviations of sound drives or so.
SOUND_SHARE = 0.95

# Attack, launch, spin and speed ratio, each about a round number near its middle, so that sums of squares keep their
# digits.
VALUES = ("attack", "launch", "spin", "ratio")
ATTACK, LAUNCH, SPIN, RATIO = range(4)
RESPONSE_PLACES = [LAUNCH, SPIN, RATIO]
ORIGIN = np.array([0.0, 13.0, 2700.0, 1.45])
_CROSS = tuple((i, j) for i in range(4) for j in range(i, 4))


_ratio = pl.col("ball_speed_mph") / pl.col("club_speed_mph")


def struck_soundly(drives: pl.DataFrame, golfers: pl.DataFrame) -> pl.DataFrame:
    """Leave out mishits: drives below `SOUND_SHARE` of the golfer's usual speed ratio of that quarter in `Golfers`."""
    usual = golfers.select("golfer", "quarter", _ratio.alias("usual_ratio"))
    sound = (_ratio >= SOUND_SHARE * pl.col("usual_ratio")).fill_null(True)
    return drives.join(usual, on=["golfer", "quarter"], how="left", maintain_order="left").filter(sound)


def cell_sums(drives: pl.DataFrame, golfers: pl.DataFrame) -> pl.DataFrame:
    """Sum up the sound drives that have a reading of attack.

    Parameters
    ----------
    drives : DataFrame
        The columns `DELIVERY_COLUMNS`; any part of a study's drives, a log's, say.
    golfers : DataFrame
        The table `Golfers`: its typical ball speed tells mishits.

    Returns
    -------
    DataFrame
        One row per `CELL`, sorted: n, club (sum of club speed, mph), the sums of `VALUES` less `ORIGIN` and of their
        products, such as attack*launch. Drives whose spin the device guessed, mishits, and drives without attack are
        left out.
    """
    known = struck_soundly(drives, golfers).filter(
        pl.col("attack_deg").is_not_null() & pl.col("spin_measured").fill_null(True)
    )
    readings = (pl.col("attack_deg"), pl.col("launch_deg"), pl.col("spin_rpm"), _ratio.fill_null(ORIGIN[RATIO]))
    values = known.select(
        *CELL[:-1],
        pl.col("ball_speed_mph").is_not_null().alias("ball_known"),
        "club_speed_mph",
        *(
            (reading - origin).alias(name)
            for name, reading, origin in zip(VALUES, readings, ORIGIN.tolist(), strict=True)
        ),
    )
    products = ((pl.col(VALUES[i]) * pl.col(VALUES[j])).sum().alias(f"{VALUES[i]}*{VALUES[j]}") for i, j in _CROSS)
    return (
        values.group_by(CELL, maintain_order=True)
        .agg(
            pl.len().cast(pl.Int64).alias("n"),
            pl.col("club_speed_mph").sum().alias("club"),
            pl.col(VALUES).sum(),
            *products,
        )
        .sort(CELL, nulls_last=True)
    )


def add_cells(parts: list[pl.DataFrame]) -> pl.DataFrame:
    """Add the sums of several parts of a study's drives, cell by cell."""
    together = pl.concat(parts).group_by(CELL, maintain_order=True).agg(pl.all().sum())
    return together.sort(CELL, nulls_last=True)


@dataclass(frozen=True)
class Sums:
    """The cells as arrays, golfers numbered in their order.

    Attributes
    ----------
    names : list of str
        Pseudonyms, shape (golfers,).
    golfer : ndarray of int, shape (cells,)
    parent : ndarray of int, shape (cells,)
        Golfer, quarter, device and whether ball speed is known: cells of one parent differ in loft alone.
    n : ndarray, shape (cells,)
        Drives.
    total : ndarray, shape (cells, 4)
        Of `VALUES` about `ORIGIN`.
    cross : ndarray, shape (cells, 4, 4)
        Of their products.
    loft_deg : ndarray, shape (cells,)
        NaN where not stated.
    ball_known : ndarray of bool, shape (cells,)
    speed_mph : ndarray, shape (golfers,)
        Mean club speed.
    """

    names: list[str]
    golfer: npt.NDArray[np.int64]
    parent: npt.NDArray[np.int64]
    n: Array
    total: Array
    cross: Array
    loft_deg: Array
    ball_known: npt.NDArray[np.bool_]
    speed_mph: Array

    @classmethod
    def of(cls, cells: pl.DataFrame) -> "Sums":
        """Take the arrays out of the cells."""
        golfer = _codes(cells, ["golfer"])
        n = cells.get_column("n").to_numpy().astype(float)
        cross = np.empty((cells.height, 4, 4))
        for i, j in _CROSS:
            cross[:, i, j] = cross[:, j, i] = cells.get_column(f"{VALUES[i]}*{VALUES[j]}").to_numpy()
        many = int(golfer.max()) + 1 if len(golfer) else 0
        club = cells.get_column("club").to_numpy()
        return cls(
            cells.get_column("golfer").unique(maintain_order=True).to_list(),
            golfer,
            _codes(cells, ["golfer", "quarter", "device", "ball_known"]),
            n,
            cells.select(VALUES).to_numpy().astype(float),
            cross,
            cells.get_column("loft_deg").cast(pl.Float64).to_numpy(),
            cells.get_column("ball_known").to_numpy(),
            np.bincount(golfer, club, many) / np.bincount(golfer, n, many),
        )

    @property
    def golfers(self) -> int:
        """Number of golfers."""
        return len(self.names)

    def by_golfer(self, values: Array) -> Array:
        """Sum values of the cells, shape (cells, ...), over each golfer, shape (golfers, ...)."""
        return _summed(values, self.golfer, self.golfers)

    def within_cells(self) -> Array:
        """Give the scatter of drives about their cell's mean, shape (cells, 4, 4)."""
        return np.asarray(self.cross - np.einsum("ci,cj->cij", self.total, self.total) / self.n[:, None, None])

    def within_parents(self) -> tuple[Array, Array]:
        """Give how loft varies among a parent's cells.

        Returns
        -------
        tuple of ndarray
            The drives' scatter of loft about the parent's mean, deg^2, shape (cells,), and its cross scatter with
            `VALUES`, shape (cells, 4); nil where loft isn't stated.
        """
        stated = ~np.isnan(self.loft_deg)
        weight = np.where(stated, self.n, 0.0)
        loft = np.where(stated, self.loft_deg, 0.0)
        parents = int(self.parent.max()) + 1 if len(self.parent) else 0
        count = np.bincount(self.parent, weight, parents)
        mean = np.bincount(self.parent, weight * loft, parents) / np.where(count > 0, count, 1.0)
        off = np.where(stated, loft - mean[self.parent], 0.0)
        return self.n * off**2, off[:, None] * self.total


def _codes(cells: pl.DataFrame, by: list[str]) -> npt.NDArray[np.int64]:
    # Texts are never null but for the device.
    known = cells.select(pl.col(name).fill_null("") if name == "device" else pl.col(name) for name in by)
    return np.asarray(known.select(pl.struct(by).rank("dense")).to_series().to_numpy().astype(np.int64) - 1)


def _summed(values: Array, code: npt.NDArray[np.int64], many: int) -> Array:
    flat = values.reshape(len(values), int(np.prod(values.shape[1:], dtype=int)))
    sums = np.stack([np.bincount(code, column, many) for column in flat.T], axis=-1)
    return np.asarray(sums.reshape(many, *values.shape[1:]), dtype=float)
