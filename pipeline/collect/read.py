"""Reading foreign log files of every kind into frames of equal size (an edge module).

A row is what stands under the header; the first has the number 1. Lines and spreadsheet rows with nothing in any
cell are no rows, but they keep their number, so that a row number leads to the same place in the file.
"""

import codecs
import gzip
import hashlib
import io
import shutil
import tempfile
import zlib
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, cast

import fastexcel
import polars as pl

from pipeline.study import Layout

# Rows that are in memory at a time, and in a row group of the cleaned log.
BATCH_ROWS = 100_000

_BLOCK_BYTES = 1 << 20
# Cells that a row may have beyond the header and still be noticed as ragged; beyond them polars drops the rest.
_SPARE_CELLS = 8

# Everything that the readers raise on damaged input. Their own texts may hold row content and are never shown.
_READ_ERRORS = (
    pl.exceptions.PolarsError,
    pl.exceptions.PanicException,
    fastexcel.FastExcelError,
    OSError,
    EOFError,
    ValueError,
    zlib.error,
)


class LogRefusedError(Exception):
    """A log that can't be used; the text says why in plain words, without any of its content."""


@dataclass(frozen=True)
class OpenLog:
    """A log whose header has been read."""

    headers: list[str]
    typed_as_text: bool
    _batches: Callable[[Mapping[str, int]], Iterator[pl.DataFrame]]

    def batches(self, positions: Mapping[str, int]) -> Iterator[pl.DataFrame]:
        """Read the rows.

        Parameters
        ----------
        positions : mapping of str to int
            The columns wanted: name to give, position in the log. No other is handed out.

        Yields
        ------
        pl.DataFrame
            `row` (Int64), `ragged` (Boolean) and the wanted columns, `BATCH_ROWS` rows each but the last.

        Raises
        ------
        LogRefusedError
            If the file turns out to be damaged.
        """
        return _evened(self._batches(positions))


def sha256_of(path: Path) -> str:
    """Give the SHA-256 of a file as hex digits; 64 zeros if it can't be read."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return "0" * 64


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
        raise LogRefusedError(f"the file can't be read ({error.strerror}); mend its permissions") from None
    if empty:
        raise LogRefusedError("the file is empty; export it again")
    name = path.name.lower()
    if name.endswith(".parquet"):
        yield _open_parquet(path)
    elif name.endswith(".xlsx"):
        yield _open_xlsx(path, layout)
    else:
        with tempfile.TemporaryDirectory(prefix="yardband-") as folder:
            yield _open_csv(_plain_text(path, layout.encoding, Path(folder)), layout)


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
    """Cut batches to equal size, so that what is written doesn't depend on how the reader's threads ran."""
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


# --- parquet


def _open_parquet(path: Path) -> OpenLog:
    reason = "it is damaged, cut short or no parquet file; export it again"

    def batches(positions: Mapping[str, int]) -> Iterator[pl.DataFrame]:
        wanted = [pl.col(headers[place]).alias(name) for name, place in positions.items()]
        rows = scan.select(wanted).with_row_index("row", 1)
        rows = rows.with_columns(pl.col("row").cast(pl.Int64), pl.lit(False).alias("ragged"))
        return _guarded(iter(_collected(rows)), reason)

    try:
        scan = pl.scan_parquet(path, glob=False, hive_partitioning=False)
        headers = scan.collect_schema().names()
    except _READ_ERRORS:
        raise LogRefusedError(reason) from None
    return OpenLog(headers, False, batches)


# --- xlsx


def _open_xlsx(path: Path, layout: Layout) -> OpenLog:
    try:
        # Without a header every cell comes as text: one way for all columns, and the header keeps its spelling.
        with path.open("rb") as file:
            sheet = pl.read_excel(
                io.BytesIO(file.read()),
                sheet_id=1,
                has_header=False,
                infer_schema_length=None,
                drop_empty_rows=False,
                drop_empty_cols=False,
                raise_if_empty=False,
            )
    except _READ_ERRORS:
        raise LogRefusedError(
            "it is damaged, protected or no xlsx workbook; save it again without a password"
        ) from None
    sheet = sheet.cast(pl.String).slice(layout.skip_rows)
    headers = _header_cells(sheet)
    numbered = sheet.with_row_index("row").rename({name: f"c{i}" for i, name in enumerate(sheet.columns)})

    def batches(positions: Mapping[str, int]) -> Iterator[pl.DataFrame]:
        yield _picked(numbered, len(headers), positions, delimiter=None)

    return OpenLog(headers, True, batches)


# --- csv


def _plain_text(path: Path, encoding: str, folder: Path) -> Path:
    """Give a path of the log as plain UTF-8 text with Unix or Windows line ends; a decoded copy where it isn't."""
    try:
        if not path.name.lower().endswith(".gz"):
            if _is_plain(path, encoding):
                return path
            with path.open("rb") as file:
                return _decoded(file, encoding, folder / "log.csv")
        with gzip.open(path) as unzipped:
            return _decoded(cast(BinaryIO, unzipped), encoding, folder / "log.csv")
    except UnicodeError:
        raise LogRefusedError(
            f"its text isn't {encoding}; set the layout's encoding, such as latin-1 or utf-16"
        ) from None
    except (EOFError, zlib.error, gzip.BadGzipFile):
        raise LogRefusedError("it is cut short, damaged or no gzip file; copy it again") from None
    except OSError as error:
        raise LogRefusedError(f"the file can't be read ({error.strerror})") from None


def _is_plain(path: Path, encoding: str) -> bool:
    """Check a file's encoding, piece by piece; false means that polars needs a copy to read it."""
    if codecs.lookup(encoding).name not in ("utf-8", "utf-8-sig", "ascii"):
        return False
    decoder = codecs.getincrementaldecoder(encoding)()
    line_end = False
    with path.open("rb") as file:
        while block := file.read(_BLOCK_BYTES):
            decoder.decode(block)
            line_end = line_end or b"\n" in block
        decoder.decode(b"", final=True)
    # Without a line feed the lines end the old way, by a carriage return, which polars doesn't see.
    return line_end


def _decoded(binary: BinaryIO, encoding: str, copy: Path) -> Path:
    # newline=None turns every kind of line end into the Unix one.
    with io.TextIOWrapper(binary, encoding=encoding, newline=None) as text, copy.open("w", encoding="utf-8") as plain:
        shutil.copyfileobj(text, plain, _BLOCK_BYTES)
    return copy


def _open_csv(path: Path, layout: Layout) -> OpenLog:
    quotes = "a quotation mark is opened and never closed, or stands inside a cell; mend the quotation marks"
    try:
        first = _scan_csv(path, layout, schema=None).head(1).collect()
    except pl.exceptions.NoDataError:
        raise LogRefusedError("it has no header; export it again or correct the layout's skip_rows") from None
    except _READ_ERRORS:
        raise LogRefusedError(quotes) from None
    headers = _header_cells(first)
    names = [f"c{i}" for i in range(len(headers))] + [f"spare{i}" for i in range(_SPARE_CELLS)]

    def batches(positions: Mapping[str, int]) -> Iterator[pl.DataFrame]:
        rows = _scan_csv(path, layout, schema=dict.fromkeys(names, pl.String)).with_row_index("row")
        for batch in _guarded(iter(_collected(rows)), quotes):
            yield _picked(batch, len(headers), positions, layout.delimiter)

    return OpenLog(headers, False, batches)


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


def _picked(rows: pl.DataFrame, width: int, positions: Mapping[str, int], delimiter: str | None) -> pl.DataFrame:
    """Leave out the header and empty rows, notice ragged ones, and keep only the wanted columns."""
    cells = [name for name in rows.columns if name != "row"]
    spare = cells[width:]
    rows = rows.filter(pl.col("row") > 0, ~pl.all_horizontal(pl.col(cells).is_null()))
    if delimiter is not None:
        lines_in_cell = pl.col(cells).str.contains("\n", literal=True)
        delimiters = pl.col(cells).str.count_matches(delimiter, literal=True)
        # A stray quotation mark makes one cell of whole rows; their number is lost, so the log can't be counted.
        if rows.select(pl.any_horizontal(lines_in_cell & (delimiters >= width - 1)).any()).item():
            raise LogRefusedError("a stray quotation mark joins several rows into one cell; mend the quotation marks")
    ragged = pl.any_horizontal(pl.col(spare).is_not_null()) if spare else pl.lit(False)
    wanted = [pl.col(f"c{place}").alias(name) for name, place in positions.items()]
    return rows.select(pl.col("row").cast(pl.Int64), ragged.alias("ragged"), *wanted)
