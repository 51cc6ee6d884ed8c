"""Reading drives.parquet piece by piece (an edge module)."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, cast

import polars as pl

from pipeline.fit.drives import FIT_COLUMNS, DrivePieces

PIECE_ROWS = 131_072  # drives in memory at a time, but for a golfer with more, and in a row group of drives.parquet


def open_drives(path: Path, columns: Sequence[str] = FIT_COLUMNS) -> DrivePieces:
    """Open drives.parquet, to be read piece by piece: golfers' drives whole, by golfer, source and row.

    Parameters
    ----------
    path : Path
        As `standardise_shots` writes it; carry_yd is at standard conditions.
    columns : sequence of str
        Names of columns of `pipeline.tables.Drives`, golfer among them.
    """

    def read() -> Iterator[pl.DataFrame]:
        import pyarrow.parquet

        held: pl.DataFrame | None = None
        open_file: Any = pyarrow.parquet.ParquetFile  # pyarrow declares no types
        with open_file(path) as file:
            for batch in file.iter_batches(batch_size=PIECE_ROWS, columns=list(columns), use_threads=False):
                rows = cast(pl.DataFrame, pl.from_arrow(batch)).select(columns)
                held = rows if held is None else pl.concat([held, rows], rechunk=True)
                # The last golfer's drives may go on in the next batch.
                begun = held.get_column("golfer") == held.item(-1, "golfer")
                if not begun.all():
                    yield held.filter(~begun)
                    held = held.filter(begun)
            if held is None:
                held = cast(pl.DataFrame, pl.from_arrow(file.schema_arrow.empty_table())).select(columns)
        yield held

    return DrivePieces(read)
