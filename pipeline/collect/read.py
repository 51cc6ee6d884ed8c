"""Reading foreign log files of every kind into frames of equal size (an edge module).

A row is what stands under the header; the first has the number 1. Lines and spreadsheet rows with nothing in any
cell are no rows, but they keep their number, so that a row number leads to the same place in the file.
"""

import hashlib
import io
import tempfile
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple, cast

import fastexcel
import numpy as np
import polars as pl
import pyarrow
import pyarrow.parquet

from pipeline.collect.lines import SPARE_CELLS, Lines, examine
from pipeline.collect.opened_log import LogRefusedError, OpenLog, ReadBatches
from pipeline.collect.plain_text import plain_text
from pipeline.configuration.layouts import Layout
from pipeline.errors import UserError

# Rows that are in memory at a time, and in a row group of the cleaned log.
BATCH_ROWS = 100_000

_BLOCK_BYTES = 1 << 20
# A workbook of the most rows that a sheet has stays far below this; a zip of nothings can claim any size.
_MOST_UNZIPPED_BYTES = 1 << 30

_arrow: Any = pyarrow  # which declares no types

# Everything that the readers raise on damaged input. Their own texts may hold row content and are never shown.
_READ_ERRORS: tuple[type[BaseException], ...] = (
    pl.exceptions.PolarsError,
    pl.exceptions.PanicException,
    fastexcel.FastExcelError,
    OSError,
    EOFError,
    ValueError,
    zlib.error,
    _arrow.ArrowException,
)


_BOOK_ERRORS: tuple[type[BaseException], ...] = (*_READ_ERRORS, zipfile.BadZipFile, NotImplementedError, RuntimeError)


def sha256_of(path: Path) -> str | None:
    """Give the SHA-256 of a file as hex digits; None if it can't be read."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return None


class Fingerprint(NamedTuple):
    """What tells one state of a file from another."""

    inode: int
    size: int
    mtime_ns: int
    sha256: str | None


def fingerprint(path: Path) -> Fingerprint | None:
    """Take a file's fingerprint; None if it can't be read."""
    try:
        about = path.stat()
    except OSError:
        return None
    return Fingerprint(about.st_ino, about.st_size, about.st_mtime_ns, sha256_of(path))


@contextmanager
def open_unchanged(path: Path, layout: Layout) -> Iterator[OpenLog]:
    """Open a log as `open_log` does, with its digest, and make sure that it stays as it is meanwhile.

    Raises
    ------
    LogRefusedError
        If it can't be used.
    UserError
        If the file changed: no state of it was read whole, so the run stops and reads it again next time.
    """
    before = fingerprint(path)
    try:
        with open_log(path, layout) as opened:
            yield replace(opened, sha256=before.sha256 if before else None)
    finally:
        if fingerprint(path) != before:
            raise UserError(f"{path}: it changed while it was read; run again when it is complete.")


@contextmanager
def open_log(path: Path, layout: Layout) -> Iterator[OpenLog]:
    """Open a log: csv, csv.gz, parquet or xlsx, by its suffix.

    Text that isn't plain UTF-8 is decoded into a temporary file in a private folder, which is gone at the end of the
    block. Memory doesn't grow with the rows, except for xlsx, whose format ends at a million.

    Parameters
    ----------
    path : Path
        The log.
    layout : Layout
        How it is written. Parquet has no use for delimiter, encoding and skip_rows, xlsx for the first two.

    Yields
    ------
    OpenLog
        Its headers and a way to read its rows.

    Raises
    ------
    LogRefusedError
        If it can't be used.
    """
    try:
        with path.open("rb") as file:
            empty = not file.read(1)
    except OSError as error:
        raise LogRefusedError(f"the file can't be read ({error.strerror}); correct its permissions") from None
    if empty:
        raise LogRefusedError("the file is empty; export it again")
    name = path.name.lower()
    if name.endswith(".parquet"):
        yield _open_parquet(path)
    elif name.endswith(".xlsx"):
        yield _open_xlsx(path, layout)
    else:
        with tempfile.TemporaryDirectory(prefix="yardband-") as folder:
            yield _open_csv(plain_text(path, layout.encoding, Path(folder)), layout)


def _guarded(batches: Iterator[pl.DataFrame], reason: str) -> Iterator[pl.DataFrame]:
    """Hand batches on; turn what the reader raises, and nothing of what the user of a batch does, into a refusal."""
    while True:
        try:
            batch = next(batches, None)
        except _READ_ERRORS:
            raise LogRefusedError(reason) from None
        if batch is None:
            return
        yield batch


def _evened(batches: Iterator[pl.DataFrame]) -> Iterator[pl.DataFrame]:
    """Cut batches to `BATCH_ROWS` rows, so that what is written doesn't depend on how the reader's threads ran."""
    held: list[pl.DataFrame] = []
    count = 0
    for batch in batches:
        held.append(batch)
        count += batch.height
        while count >= BATCH_ROWS:
            whole = pl.concat(held)
            yield whole.head(BATCH_ROWS)
            held, count = [whole.slice(BATCH_ROWS)], count - BATCH_ROWS
    if count:
        yield pl.concat(held)


def _evenly(batches: ReadBatches) -> ReadBatches:
    return lambda positions: _evened(batches(positions))


# --- parquet


def _open_parquet(path: Path) -> OpenLog:
    # pyarrow, since polars can abort the whole process on damaged files.
    reason = "it is damaged, cut short or not a parquet file; export it again"
    try:
        with _arrow.parquet.ParquetFile(path) as file:
            headers: list[str] = list(file.schema_arrow.names)
    except _READ_ERRORS:
        raise LogRefusedError(reason) from None

    def batches(positions: Mapping[str, int]) -> Iterator[pl.DataFrame]:
        places = sorted(positions.items(), key=lambda item: item[1])  # the order in which they come
        first = 1
        for batch in _guarded(_arrow_batches(path, [headers[place] for _, place in places]), reason):
            named = [pl.col(f"c{i}").alias(name) for i, (name, _) in enumerate(places)]
            rows = pl.int_range(first, first + batch.height, dtype=pl.Int64, eager=True).alias("row")
            first += batch.height
            yield batch.select(rows, pl.lit(False).alias("ragged"), *named)

    return OpenLog(headers, False, _evenly(batches))


def _arrow_batches(path: Path, columns: list[str]) -> Iterator[pl.DataFrame]:
    with _arrow.parquet.ParquetFile(path, page_checksum_verification=True) as file:
        for batch in file.iter_batches(batch_size=BATCH_ROWS, columns=columns, use_threads=False):
            batch.validate(full=True)
            # Damaged names of columns would make polars panic, and a damaged file may lack some.
            if batch.schema.names != columns:
                raise ValueError
            plain = _arrow.RecordBatch.from_arrays(batch.columns, names=[f"c{i}" for i in range(len(columns))])
            yield cast(pl.DataFrame, pl.from_arrow(plain))


# --- xlsx


def _open_xlsx(path: Path, layout: Layout) -> OpenLog:
    notes = []
    try:
        content = path.read_bytes()
        if _holds_formulas(content):
            notes.append("it holds formulas, whose results as last saved were taken")
        # Without a header every cell comes as text: one way for all columns, and the header keeps its spelling.
        sheets = len(fastexcel.read_excel(content).sheet_names)
        sheet = pl.read_excel(
            io.BytesIO(content),
            sheet_id=1,
            has_header=False,
            infer_schema_length=None,
            drop_empty_rows=False,
            drop_empty_cols=False,
            raise_if_empty=False,
        )
    except _BOOK_ERRORS:
        raise LogRefusedError(
            "it is damaged, protected or not an xlsx workbook; save it again without a password"
        ) from None
    if sheets > 1:
        notes.append(f"of its {sheets} sheets the first was read")
    sheet = sheet.cast(pl.String).slice(layout.skip_rows)
    headers = _header_cells(sheet)
    numbered = sheet.with_row_index("row").rename({name: f"c{i}" for i, name in enumerate(sheet.columns)})

    def batches(positions: Mapping[str, int]) -> Iterator[pl.DataFrame]:
        yield _picked(numbered, len(headers), positions, delimiter=None)

    return OpenLog(headers, True, _evenly(batches), tuple(notes))


def _holds_formulas(workbook: bytes) -> bool:
    """Look for formulas; a workbook that unpacks to more than memory is made for is refused before it is unpacked."""
    with zipfile.ZipFile(io.BytesIO(workbook)) as archive:
        parts = archive.infolist()
        if sum(part.file_size for part in parts) > _MOST_UNZIPPED_BYTES:
            raise LogRefusedError("its workbook unpacks to more than 1 GB, which no log needs; save it as csv")
        for part in parts:
            if not part.filename.startswith("xl/worksheets/"):
                continue
            before = b""
            with archive.open(part) as file:
                while block := file.read(_BLOCK_BYTES):
                    seam = before + block
                    if b"<f>" in seam or b"<f " in seam:
                        return True
                    before = block[-2:]
    return False


# --- csv


def _open_csv(path: Path, layout: Layout) -> OpenLog:
    quotes = "a quotation mark is opened and never closed, or stands inside a cell; correct the quotation marks"
    no_header = "it has no header; export it again or correct the layout's skip_rows"
    try:
        with path.open("rb") as file:
            lines = examine(file, layout.delimiter, layout.skip_rows)
        first = _scan_csv(path, layout, schema=None).head(1).collect()
    except pl.exceptions.NoDataError:
        raise LogRefusedError(no_header) from None
    except _READ_ERRORS:
        raise LogRefusedError(quotes) from None
    headers = _header_cells(first)
    if len(headers) != lines.width:
        raise LogRefusedError(quotes)
    names = [f"c{i}" for i in range(len(headers))] + [f"spare{i}" for i in range(SPARE_CELLS)]

    def batches(positions: Mapping[str, int]) -> Iterator[pl.DataFrame]:
        rows = _scan_csv(path, layout, schema=dict.fromkeys(names, pl.String)).with_row_index("row")
        seen = 0
        for batch in _guarded(iter(_collected(rows)), quotes):
            seen += batch.height
            if _has_other_header(batch, headers):
                raise LogRefusedError(
                    "a second header inside it names its columns in another order; split the log there"
                )
            delimiter = layout.delimiter if lines.quoted else None
            yield _picked(batch, len(headers), positions, delimiter, _irregular(batch["row"], lines))
        # The reader and the count of lines must agree on what a row is, or row numbers would lead astray.
        if not lines.last_row < seen <= lines.rows:
            raise LogRefusedError(quotes)

    def quickly(place: int) -> Iterator[pl.DataFrame]:
        rows = _scan_csv(path, layout, schema=dict.fromkeys(names, pl.String))
        try:
            cells = rows.select(cell=pl.col(f"c{place}")).slice(1).unique().collect(engine="streaming")
        except _READ_ERRORS:
            raise LogRefusedError(quotes) from None
        yield cells

    notes = () if lines.ends_whole else ("its last line has no line end; if it was cut short, so is its last number",)
    return OpenLog(headers, False, _evenly(batches), notes, quickly)


def _has_other_header(rows: pl.DataFrame, headers: list[str]) -> bool:
    """Look for a row of the header's cells in another order, as logs have that were joined from two exports."""
    cells = [f"c{i}" for i in range(len(headers))]
    # Most rows differ from a header in their first cell, so the others are looked at in a second go.
    likely = rows.filter(rows["c0"].is_in(headers))
    if not likely.height:
        return False
    likely = likely.filter(pl.all_horizontal(pl.col(cells).is_in(headers)))
    found = likely.select(pl.concat_list(cells).alias("row")).unique()["row"].to_list()
    return any(row != headers and sorted(row) == sorted(headers) for row in found)


def _irregular(rows: pl.Series, lines: Lines) -> pl.Series:
    """Mark the rows of a batch that have too few cells or far too many."""
    ends = np.searchsorted(lines.irregular, [rows[0], rows[-1] + 1]) if len(rows) else (0, 0)
    return pl.Series(np.isin(rows.to_numpy(), lines.irregular[slice(*ends)], assume_unique=True))


def _scan_csv(path: Path, layout: Layout, schema: dict[str, type[pl.String]] | None) -> pl.LazyFrame:
    """Scan every line, the header's too, as text; short rows get nulls and long ones fill the spare columns."""
    return pl.scan_csv(
        path,
        has_header=False,
        separator=layout.delimiter,
        skip_lines=layout.skip_rows,
        schema=schema,
        infer_schema=False,
        truncate_ragged_lines=True,
        missing_columns="insert" if schema else None,
        extra_columns="ignore" if schema else None,
        glob=False,
    )


# --- common to all


def _collected(rows: pl.LazyFrame) -> Iterator[pl.DataFrame]:
    return iter(rows.collect_batches(chunk_size=BATCH_ROWS, maintain_order=True, lazy=True, engine="streaming"))


def _header_cells(rows: pl.DataFrame) -> list[str]:
    if not rows.height or all(cell is None for cell in rows.row(0)):
        raise LogRefusedError("it has no header; export it again or correct the layout's skip_rows")
    return ["" if cell is None else str(cell) for cell in rows.row(0)]


def _picked(
    rows: pl.DataFrame,
    width: int,
    positions: Mapping[str, int],
    delimiter: str | None,
    irregular: pl.Series | None = None,
) -> pl.DataFrame:
    """Leave out the header and empty rows, mark ragged ones, and keep only the wanted columns."""
    cells = [name for name in rows.columns if name != "row"]
    spare = cells[width:]
    ragged = pl.any_horizontal(pl.col(spare).is_not_null()) if spare else pl.lit(False)
    rows = rows.with_columns(ragged=ragged if irregular is None else ragged | irregular)
    rows = rows.filter(pl.col("row") > 0, ~pl.all_horizontal(pl.col(cells).is_null()))
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
