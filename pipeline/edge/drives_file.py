"""Reading drives.parquet piece by piece (an edge module)."""

from collections.abc import Iterator, Sequence
from pathlib import Path

import polars as pl

from pipeline.drives import FIT_COLUMNS, Drives

PIECE_ROWS = 131_072  # drives in memory at a time, but for a golfer with more, and in a row group of drives.parquet


def open_drives(path: Path, columns: Sequence[str] = FIT_COLUMNS) -> Drives:
    """Open drives.parquet, to be read piece by piece: golfers' drives whole, by golfer, source and row.

    Parameters
    ----------
    path : Path
        As `standardise_shots` writes it.
    columns : sequence of str
        Names of columns of `pipeline.tables.logs.DriveTable`, golfer among them.
    """

    def read() -> Iterator[pl.DataFrame]:
        stored = pl.scan_parquet(path).select(columns)
        count = int(stored.select(pl.len()).collect().item())
        held = stored.head(0).collect()
        for first in range(0, count, PIECE_ROWS):
            # A slice reads the row groups that it lies in and no others: memory doesn't grow with the file.
            held = pl.concat([held, stored.slice(first, PIECE_ROWS).collect()], rechunk=True)
            # The last golfer's drives may go on in the next slice.
            begun = held.get_column("golfer") == held.item(-1, "golfer")
            if not begun.all():
                yield held.filter(~begun)
                held = held.filter(begun)
        yield held

    return Drives(read)
