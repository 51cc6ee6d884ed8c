"""Drives of a study, read piece by piece on as many threads as a step has; which are used; golfers' typical drives.

No statistic needs to know of pieces or threads: it hands `Drives` a function of a frame.
"""

import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial, reduce
from typing import Literal, NamedTuple, TypeVar, cast

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.statistics.arrays import Array
from pipeline.statistics.sound_center import sound_centers
from pipeline.threads import in_order

Made = TypeVar("Made")
Change = Callable[[pl.DataFrame], pl.DataFrame]

KEYS = ["golfer", "quarter"]  # of a golfer's quarter

FIT_COLUMNS = (
    "golfer",
    "quarter",
    "device",
    "ball",
    "club_speed_mph",
    "ball_speed_mph",
    "launch_deg",
    "spin_rpm",
    "carry_standard_yd",
    "flown_yd",
    "spin_measured",
    "curve_yd",
)

# A study is fitted on ball speed when at least this many golfers and drives have it; else on club speed.
MIN_BALL_SPEED_GOLFERS = 8
MIN_BALL_SPEED_DRIVES = 200

# So many drives are read from their file once and kept, not read a dozen times: half a gigabyte at most.
MOST_KEPT = 2_000_000

# A golfer's ball speed, or curve, counts as known when at least this share of the drives has a reading.
MIN_KNOWN_SHARE = 0.5

# A golfer's spin counts as known from this many measured drives on, or where all are. A drive's spin varies by some 8 %
# within a golfer, so the median of five is known to about 120 rpm: a third of the 350 rpm by which golfers differ.
MIN_MEASURED = 5

# Where spin is guessed, by the device's own word (null: the device doesn't say, and measures as far as is known).
MEASURED = pl.col("spin_measured").fill_null(True)

Speed = Literal["ball", "club"]


class Piece(NamedTuple):
    """Some drives and their golfers' numbers over all pieces, in the golfers' order, shape (n,)."""

    drives: pl.DataFrame
    golfer: npt.NDArray[np.int64]

    def chosen(self, among: pl.Expr | None) -> "Piece":
        """Keep the drives for which an expression is true; all if there is none."""
        return self if among is None else self.marked(self.drives.select(among.fill_null(False)).to_series().to_numpy())

    def marked(self, marks: npt.NDArray[np.bool_]) -> "Piece":
        """Keep the drives that are marked; golfers keep their numbers."""
        return Piece(self.drives.filter(pl.Series(marks)), self.golfer[marks])


@dataclass(frozen=True)
class Drives:
    """Drives of a study, read piece by piece as often as needed, so that nothing has to hold them all.

    Attributes
    ----------
    frames : callable
        Begins a reading: an iterator of frames. All drives of a golfer stand in one frame, and golfers follow each
        other in their order from frame to frame: that of the type of the column `golfer` (see `keyless_order`).
    changes : tuple of callable
        What every frame goes through as it is read; see `mapped`.
    firsts : mapping of str to int or None
        Of a part of a study's golfers, their numbers among all: that of the first golfer of each piece, by name.
    """

    frames: Callable[[], Iterator[pl.DataFrame]]
    changes: tuple[Change, ...] = ()
    firsts: Mapping[str, int] | None = None

    def read(self) -> Iterator[pl.DataFrame]:
        """Begin a reading."""
        return (reduce(lambda frame, change: change(frame), self.changes, one) for one in self.frames())

    @property
    def golfers(self) -> pl.Enum:
        """Type of the column `golfer` of drives from a file; tables joined with them take it, and so their order."""
        return cast(pl.Enum, next(self.read()).schema["golfer"])

    @classmethod
    def of(cls, drives: "pl.DataFrame | Drives") -> "Drives":
        """Take a whole frame, in whatever order, as one piece."""
        return drives if isinstance(drives, Drives) else cls(lambda: iter((drives,)))

    def mapped(self, change: Change) -> "Drives":
        """Change every frame as it is read; a golfer's drives stay in one."""
        return replace(self, changes=(*self.changes, change))

    def usable(self, speed: str) -> "Drives":
        """Keep the drives that a fit over a speed can use."""
        return self.mapped(partial(only_usable, speed=speed))

    def of_every(self, step: int) -> "Drives":
        """Keep the drives of every so many-th golfer; golfers stand in the order of a digest, and so at random."""
        if step == 1:
            return self
        return Drives(lambda: (one.drives.filter(pl.Series(one.golfer % step == 0)) for one in self.pieces()))

    def held(self) -> "Drives":
        """Read the drives once, and keep them in memory."""
        frames = tuple(self.read())
        return Drives(lambda: iter(frames))

    def kept(self, most: int) -> "Drives":
        """Read at most so many drives once, and keep them in memory; read more of them anew each time."""
        frames, count = [], 0
        for frame in self.read():
            count += frame.height
            if count > most:
                return self
            frames.append(frame.rechunk())
        return Drives(lambda: iter(frames))

    def with_once(self, made: Callable[[pl.DataFrame], pl.DataFrame]) -> "Drives":
        """Give each frame columns that are dear to make: made at once, a few frames at a time, and kept in memory.

        `made` gives the columns alone, a row for each drive; they take the places of any that have their names.
        """
        columns = tuple(self.each(made))

        def read() -> Iterator[pl.DataFrame]:
            for frame, more in zip(self.read(), columns, strict=True):
                yield frame.with_columns(more.get_columns())

        return Drives(read)

    def each(self, made: Callable[[pl.DataFrame], Made]) -> Iterator[Made]:
        """Apply a function to every frame, a few at a time, and give the results in the frames' order."""
        return in_order(made, self.read())

    def each_piece(self, made: "Callable[[Piece], Made]") -> Iterator[Made]:
        """Do the same with the golfers' numbers beside each frame; frames without drives are left out."""
        return in_order(made, self.pieces())

    def pieces(self) -> Iterator[Piece]:
        """Read the drives; pieces without any are left out."""
        first = 0
        for frame in self.read():
            if frame.height:
                codes = golfer_codes(frame)
                first = first if self.firsts is None else self.firsts[frame.item(0, "golfer")]
                yield Piece(frame, codes + first)
                first += int(codes.max()) + 1

    def gathered(self, summed: Callable[[pl.DataFrame], pl.DataFrame]) -> pl.DataFrame:
        """Apply a function to every frame and put the results under each other."""
        return pl.concat(list(self.each(summed)))


def speed_of_study(drives: pl.DataFrame | Drives) -> Speed:
    """Say whether carry is fitted on ball speed or, where too few drives have it, on club speed."""
    known = pl.col("ball_speed_mph").is_not_null()
    found = Drives.of(drives).gathered(
        lambda f: f.filter(known).select(pl.col("golfer").n_unique(), pl.len()).cast(pl.Int64)
    )
    golfers, count = found.sum().row(0)
    return "ball" if golfers >= MIN_BALL_SPEED_GOLFERS and count >= MIN_BALL_SPEED_DRIVES else "club"


def usable(drives: pl.DataFrame, speed: str) -> npt.NDArray[np.bool_]:
    """Mark the drives that a fit can use: spin really measured and, for ball speed, ball speed known."""
    measured = MEASURED
    known = pl.col("ball_speed_mph").is_not_null() if speed == "ball" else pl.lit(True)
    return drives.select((measured & known).alias("usable")).get_column("usable").to_numpy()


def only_usable(drives: pl.DataFrame, speed: str) -> pl.DataFrame:
    """Keep the drives that a fit can use."""
    return drives.filter(pl.Series(usable(drives, speed)))


def straightened(drives: pl.DataFrame) -> pl.DataFrame:
    """Give drives the carry of straight ones, which the carry model is of: `curve_yd` added, and left out then.

    A drive whose curve isn't known keeps its carry; so do drives that have been straightened.
    """
    if "curve_yd" not in drives.columns:
        return drives
    straight = pl.col("carry_standard_yd") + pl.col("curve_yd").cast(pl.Float64).fill_null(0.0)
    return drives.with_columns(straight).drop("curve_yd")


def inputs(drives: pl.DataFrame, speed: str) -> tuple[Array, Array, Array]:
    """Give speed (mph), launch (deg) and spin (rpm), each of shape (n,)."""
    names = (f"{speed}_speed_mph", "launch_deg", "spin_rpm")
    s, l, p = (drives.get_column(name).to_numpy().astype(float) for name in names)
    return s, l, p


def keyless_order(pieces: Iterable[pl.DataFrame]) -> pl.Series:
    """Put golfers in an order that has nothing to do with the key: by a digest of each one's first row.

    Folds, resamples and the order of sums follow the golfers' order, so that another key gives the same figures. New
    rows don't move a golfer, unless they are earlier. As a digest, the order looks random: it shows neither the order
    of the logs, which may go by name, nor who came first.

    Parameters
    ----------
    pieces : iterable of DataFrame
        golfer, then a day and readings that aren't null. Golfers whose first rows are the same stay in their order.

    Returns
    -------
    Series of str
        The pseudonyms, each once.
    """
    row = (
        pl.concat_str(pl.exclude("golfer"), separator="|", ignore_nulls=True).min().alias("first")
    )  # the day comes first
    none = pl.DataFrame(schema={"golfer": pl.String, "first": pl.String})
    each = (piece.group_by("golfer", maintain_order=True).agg(row) for piece in pieces)
    firsts = [none, *map(with_own_texts, each)]
    found = pl.concat(firsts).group_by("golfer", maintain_order=True).agg(pl.col("first").min())
    digests = [hashlib.sha256(text.encode()).hexdigest() for text in found.get_column("first")]
    return found.sort(pl.Series(digests, dtype=pl.String), maintain_order=True).get_column("golfer")


def with_own_texts(few: pl.DataFrame) -> pl.DataFrame:
    """Copy the texts of a few rows: else they keep all the memory of the piece that they were taken from.

    A text longer than a few letters stays where it was read, and what DuckDB hands over is freed as a whole.
    """
    return few.with_columns(pl.Series(one.name, one.to_list(), pl.String) for one in few if one.dtype == pl.String)


def golfer_codes(drives: pl.DataFrame) -> npt.NDArray[np.int64]:
    """Give each drive its golfer's number, golfers in the order of the column's type, shape (n,)."""
    golfer = drives.get_column("golfer")
    # Drives that stand by golfer, as they do when they come from a file, need no sorting.
    runs = golfer.rle_id()
    if golfer.is_empty() or golfer.gather(runs.arg_unique()).is_sorted():
        return runs.to_numpy().astype(np.int64)
    return golfer.rank("dense").to_numpy().astype(np.int64) - 1


def typical_of_all(drives: pl.DataFrame | Drives, keys: list[str]) -> pl.DataFrame:
    """Work out typical drives piece by piece; see `typical_drives`."""
    return Drives.of(drives).gathered(lambda frame: typical_drives(frame, keys)).sort(keys)


def typical_drives(drives: pl.DataFrame, keys: list[str]) -> pl.DataFrame:
    """Work out each golfer's typical drive: mean club speed, the center of speed ratios, medians of launch and spin.

    A mishit now and then does not belong to a typical drive. It always lowers the ratio, so that a median won't do
    there (`sound_centers`).

    Parameters
    ----------
    drives : DataFrame
        Needs `keys` and the columns of `FIT_COLUMNS`.
    keys : list of str
        ["golfer"] or ["golfer", "quarter"].

    Returns
    -------
    DataFrame
        One row per key, sorted: keys, shots, club_speed_mph, speed_ratio (null where ball speed is known for
        less than half the drives), speed_ratio_var (over shots, the squared error of speed_ratio), launch_deg, spin_rpm
        (of measured spins; null where there are too few).
    """
    ratio = pl.col("ball_speed_mph") / pl.col("club_speed_mph")
    known = pl.col("ball_speed_mph").is_not_null().mean() >= MIN_KNOWN_SHARE
    return (
        drives.group_by(keys)
        .agg(
            pl.len().cast(pl.Int64).alias("shots"),
            pl.col("club_speed_mph").mean(),
            known.alias("known"),
            pl.col("launch_deg").median(),
            _typical_spin().alias("spin_rpm"),
        )
        .sort(keys)
        .join(_strikes(drives.select(*keys, ratio.alias("ratio")), keys), on=keys, how="left", maintain_order="left")
        .with_columns(pl.when("known").then(pl.col(name)).alias(name) for name in STRIKE)
        .select(*keys, "shots", "club_speed_mph", *STRIKE, "launch_deg", "spin_rpm")
    )


STRIKE = ("speed_ratio", "speed_ratio_var")


def _strikes(ratios: pl.DataFrame, keys: list[str]) -> pl.DataFrame:
    """Give the center of each golfer's sound strikes, and what its error comes from: keys and `STRIKE`."""
    # Sorted golfer by golfer: all together it takes twice as long.
    ranked = ratios.drop_nulls("ratio").group_by(keys).agg(pl.col("ratio").sort()).sort(keys)
    ends = ranked.get_column("ratio").list.len().cast(pl.Int64).to_numpy().cumsum()
    starts = np.concatenate([np.zeros(1, dtype=np.int64), ends])[:-1]
    center, variance = sound_centers(ranked.get_column("ratio").explode().to_numpy(), starts)
    of_golfers = (pl.Series("speed_ratio", center), pl.Series("speed_ratio_var", variance).fill_nan(None))
    return ranked.select(*keys, *of_golfers)


def _typical_spin() -> pl.Expr:
    """Give the median of a golfer's measured spins; null where too few are measured: a guess says nothing of spin."""
    enough = MEASURED.all() | (MEASURED.sum() >= MIN_MEASURED)
    return pl.when(enough).then(pl.col("spin_rpm").cast(pl.Float64).filter(MEASURED).median())


def with_spin_unguessed(drives: pl.DataFrame) -> pl.DataFrame:
    """Put the golfer's typical spin of the quarter in place of guessed ones, or null where that isn't known."""
    spin = pl.col("spin_rpm").cast(pl.Float64)
    return drives.with_columns(pl.when(MEASURED).then(spin).otherwise(_typical_spin().over(KEYS)).alias("spin_rpm"))
