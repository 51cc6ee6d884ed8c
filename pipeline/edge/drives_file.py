"""Reading drives.parquet piece by piece (an edge module)."""

from collections.abc import Iterator, Sequence
from functools import cache
from pathlib import Path

import polars as pl

from pipeline.drives import FIT_COLUMNS, Drives
from pipeline.errors import UserError

DRIVE = ("source", "row")

PIECE_ROWS = 131_072  # drives in memory at a time, but for a golfer with more, and in a row group of drives.parquet


def open_drives(path: Path, columns: Sequence[str] = FIT_COLUMNS, beside: Path | None = None) -> Drives:
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
    """
    stored = pl.scan_parquet(path)
    regressors = None if beside is None else pl.scan_parquet(beside)

    @cache
    def count() -> int:
        return int(stored.select(pl.len()).collect().item())

    def slices(*names: str) -> Iterator[pl.DataFrame]:
        yield stored.select(names).head(0).collect()
        for first in range(0, count(), PIECE_ROWS):
            # A slice reads the row groups that it lies in and no others: memory doesn't grow with the file.
            yield stored.select(names).slice(first, PIECE_ROWS).collect()

    def joined() -> Iterator[pl.DataFrame]:
        if regressors is None:
            yield from slices(*columns)
            return
        first = 0
        for piece in slices(*dict.fromkeys([*columns, *DRIVE])):
            there = regressors.slice(first, piece.height).collect()
            if not there.select(DRIVE).equals(piece.select(DRIVE)):
                raise UserError(f"{beside}: holds regressors of other drives; delete it and run the workflow again.")
            first += piece.height
            yield piece.select(columns).hstack(there.drop({*DRIVE, *columns}, strict=False))

    @cache
    def in_file_order(name: str) -> pl.Enum:
        found = pl.concat(piece.to_series().unique(maintain_order=True) for piece in slices(name))
        return pl.Enum(found.drop_nulls().unique(maintain_order=True))

    def read() -> Iterator[pl.DataFrame]:
        casts = [pl.col(name).cast(in_file_order(name)) for name in ("golfer", "group") if name in columns]
        pieces = (piece.with_columns(casts) for piece in joined())
        held = next(pieces)
        for piece in pieces:
            held = pl.concat([held, piece], rechunk=True)
            # The last golfer's drives may go on in the next slice.
            begun = held.get_column("golfer") == held.item(-1, "golfer")
            if not begun.all():
                yield held.filter(~begun)
                held = held.filter(begun)
        yield held

    @cache
    def kept() -> tuple[pl.DataFrame, ...]:
        return tuple(read())

    # A reading has a slice in memory anyway.
    return Drives(lambda: iter(kept()) if count() <= PIECE_ROWS else read())
