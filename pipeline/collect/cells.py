"""A log's cells, all text, before their columns are understood: header, empty rows, ragged ones (pure)."""

from collections.abc import Mapping

import polars as pl

from pipeline.collect.opened_log import LogRefusedError

NO_HEADER = "it has no header; export it again or correct the layout's skip_rows"


def header_cells(rows: pl.DataFrame) -> list[str]:
    """Give the cells of the first row; raise LogRefusedError if there is nothing in any."""
    if not rows.height or all(cell is None or not str(cell).strip() for cell in rows.row(0)):
        raise LogRefusedError(NO_HEADER)
    return ["" if cell is None else str(cell) for cell in rows.row(0)]


def picked(
    rows: pl.DataFrame,
    width: int,
    positions: Mapping[str, int],
    delimiter: str | None,
    irregular: pl.Series | None = None,
    skipped: int = 0,
) -> pl.DataFrame:
    """Leave out the header, what is skipped after it and empty rows, mark ragged ones, keep only the wanted columns.

    Parameters
    ----------
    rows : DataFrame
        `row`, its number from 0, and the cells as text; those past `width` are spare.
    width : int
        Cells of the header.
    positions : mapping of str to int
        The columns wanted: the name to give, the position in the log.
    delimiter : str or None
        What separates cells, if any cell is quoted.
    irregular : Series or None
        Marks rows that are ragged whatever their cells.
    skipped : int
        Rows after the header that are left out, such as one of units.
    """
    cells = [name for name in rows.columns if name != "row"]
    spare = cells[width:]
    ragged = pl.any_horizontal(pl.col(spare).is_not_null()) if spare else pl.lit(False)
    rows = rows.with_columns(ragged=ragged if irregular is None else ragged | irregular)
    rows = rows.filter(pl.col("row") > skipped, ~pl.all_horizontal(pl.col(cells).is_null()))
    if delimiter is not None:
        lines_in_cell = pl.col(cells).str.contains("\n", literal=True)
        delimiters = pl.col(cells).str.count_matches(delimiter, literal=True)
        # A stray quotation mark makes one cell of whole rows; their number is lost, so the log can't be counted.
        # Where it opens and closes in the same column a cell holds a whole row's delimiters, else the row is ragged.
        joined = pl.any_horizontal(lines_in_cell & ((delimiters >= width - 1) | pl.col("ragged")))
        if rows.select(joined.any()).item():
            raise LogRefusedError("a stray quotation mark joins several rows into one cell; correct the quotes")
    wanted = [pl.col(f"c{place}").alias(name) for name, place in positions.items()]
    return rows.select(pl.col("row").cast(pl.Int64), "ragged", *wanted)
