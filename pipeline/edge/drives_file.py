"""Reading drives.parquet piece by piece (an edge module)."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import polars as pl

from pipeline.drives import FIT_COLUMNS, Drives
from pipeline.errors import UserError

DRIVE = ("source", "row")

PIECE_ROWS = 131_072  # drives in memory at a time, but for a golfer with more, and in a row group of drives.parquet


@dataclass(frozen=True)
class Part:
    """One of the parts that a study's golfers are cut into, each for a job: part `number`, from 1 on, of `of`.

    Cut between the pieces of the whole, so that all parts' pieces together are the same as those of the whole.
    """

    number: int = 1
    of: int = 1

    @classmethod
    def named(cls, name: str) -> "Part":
        """Take it from a name such as 1-of-2."""
        number, of = name.split("-of-")
        return cls(int(number), int(of))

    def rows(self, golfers: pl.LazyFrame, count: int) -> tuple[int, int]:
        """Give the part's first row and the one after its last.

        Parameters
        ----------
        golfers : LazyFrame
            The column golfer of all drives.
        count : int
            Of all drives.
        """
        return self._edge(self.number - 1, golfers, count), self._edge(self.number, golfers, count)

    def _edge(self, number: int, golfers: pl.LazyFrame, count: int) -> int:
        """Give the first row after so many parts: of the golfer whose drives are the last of a slice."""
        slices = -(-count // PIECE_ROWS)
        begun = number * slices // self.of * PIECE_ROWS - 1
        if number == self.of or begun < 0:
            return count if number == self.of else 0
        golfer = golfers.slice(begun, 1).collect().item()
        while begun > 0:
            rows = min(PIECE_ROWS, begun)
            others = (golfers.slice(begun - rows, rows).collect().to_series() != golfer).arg_true()
            if len(others):
                return begun - rows + int(others[-1]) + 1
            begun -= rows
        return 0


def open_drives(
    path: Path, columns: Sequence[str] = FIT_COLUMNS, beside: Path | None = None, part: Part | None = None
) -> Drives:
    """Open drives.parquet, to be read piece by piece: golfers' drives whole, by golfer, source and row.

    Drives of one slice of the file, as most studies' are, stay in memory once they are read.

    `golfer` and `group` have a type whose order is that of the file, which doesn't depend on the key: whatever sorts
    by them does so too.

    Parameters
    ----------
    path : Path
        As `standardise_shots` writes it.
    columns : sequence of str
        Names of columns of `pipeline.tables.logs.DriveTable`, golfer among them.
    beside : Path, optional
        regressors.parquet of the same drives, as `gather_regressors` writes it; its columns follow.
    part : Part, optional
        The golfers to read; all unless given. A part may be without any.
    """
    stored = pl.scan_parquet(path)
    regressors = None if beside is None else pl.scan_parquet(beside)

    @cache
    def count() -> int:
        return int(stored.select(pl.len()).collect().item())

    @cache
    def rows() -> tuple[int, int]:
        """Give a part's first row, and the one after its last."""
        return (0, count()) if part is None else part.rows(stored.select("golfer"), count())

    def slices(*names: str, first: int, end: int) -> Iterator[pl.DataFrame]:
        yield stored.select(names).head(0).collect()
        while first < end:
            # A slice reads the row groups that it lies in and no others: memory doesn't grow with the file. Slices of a
            # part end where those of the whole do.
            edge = min(end, first - first % PIECE_ROWS + PIECE_ROWS)
            yield stored.select(names).slice(first, edge - first).collect()
            first = edge

    def whole_slices(*names: str) -> Iterator[pl.DataFrame]:
        first, end = rows()
        # The slice in which the part ends is read to its own end: a part's last piece is cut off as one of the whole.
        yield from slices(*names, first=first, end=min(-(-end // PIECE_ROWS) * PIECE_ROWS, count()))

    def joined() -> Iterator[pl.DataFrame]:
        if regressors is None:
            yield from whole_slices(*columns)
            return
        first = rows()[0]
        for piece in whole_slices(*dict.fromkeys([*columns, *DRIVE])):
            there = regressors.slice(first, piece.height).collect()
            if not there.select(DRIVE).equals(piece.select(DRIVE)):
                raise UserError(f"{beside}: holds regressors of other drives; delete it and run the workflow again.")
            first += piece.height
            yield piece.select(columns).hstack(there.drop({*DRIVE, *columns}, strict=False))

    @cache
    def in_file_order(name: str) -> pl.Enum:
        # Groups are those of the whole study: the same type in every part.
        first, end = rows() if name == "golfer" else (0, count())
        found = pl.concat(piece.to_series().unique(maintain_order=True) for piece in slices(name, first=first, end=end))
        return pl.Enum(found.drop_nulls().unique(maintain_order=True))

    def read() -> Iterator[pl.DataFrame]:
        casts = [pl.col(name).cast(in_file_order(name)) for name in ("golfer", "group") if name in columns]
        pieces = joined()
        held = next(pieces)
        none = held.with_columns(casts)
        left = rows()[1] - rows()[0]
        for piece in pieces:
            held = pl.concat([held, piece], rechunk=True)
            # The last golfer's drives may go on in the next slice.
            begun = held.get_column("golfer") == held.item(-1, "golfer")
            if not begun.all():
                done = held.filter(~begun)
                left -= done.height
                yield done.with_columns(casts)
                held = held.filter(begun)
        if left:
            yield held.with_columns(casts)  # only the study's last golfer is left: other parts end with a slice's piece
        elif rows()[0] == rows()[1]:
            yield none

    @cache
    def kept() -> tuple[pl.DataFrame, ...]:
        return tuple(read())

    # A reading has a slice in memory anyway.
    return Drives(lambda: iter(kept()) if count() <= PIECE_ROWS else read())
