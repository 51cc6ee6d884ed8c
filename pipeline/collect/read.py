"""Reading foreign log files of every kind into frames of equal size (an edge module).

A row is what stands under the header; the first has the number 1. Lines and spreadsheet rows with nothing in any
cell are no rows, but they keep their number, so that a row number leads to the same place in the file.
"""

import gzip
import hashlib
import tempfile
import zlib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np
import polars as pl

from pipeline.collect.cells import NO_HEADER, header_cells, picked
from pipeline.collect.foreign import open_parquet, open_xlsx
from pipeline.collect.joins import with_joins
from pipeline.collect.lines import SPARE_CELLS, Lines, examine
from pipeline.collect.opened_log import LogRefusedError, OpenLog
from pipeline.collect.plain_text import plain_text
from pipeline.collect.without_flight import headers_are_by_hand, layout_is_by_hand
from pipeline.configuration.layouts import Layout, LogFile
from pipeline.ending import memory_trouble
from pipeline.errors import UserError

# Rows that are in memory at a time, and in a row group of the cleaned log.
BATCH_ROWS = 100_000
_FEW_ROWS = 100  # that are looked at one by one

_HEADER_BYTES = 1 << 16  # in which a header stands

MOST_COLUMNS = 1000  # of a text log; thousands take minutes to read, and a shot log has a few dozen

# Everything that polars raises on damaged text. Its own texts may hold row content and are never shown.
_READ_ERRORS: tuple[type[BaseException], ...] = (
    pl.exceptions.PolarsError,
    pl.exceptions.PanicException,
    OSError,
    EOFError,
    ValueError,
    zlib.error,
)


def sha256_of(path: Path) -> str | None:
    """Give the SHA-256 of a file as hex digits; None if it can't be read, or is a pipe or a device."""
    try:
        if not path.is_file():
            return None
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
    # A pipe would keep whoever opens it waiting, and a device may never end.
    if path.exists() and not path.is_file():
        raise LogRefusedError("it is a folder, a pipe or a device; put a plain file there")
    try:
        with path.open("rb") as file:
            empty = not file.read(1)
    except OSError as error:
        raise LogRefusedError(f"the file can't be read ({error.strerror}); correct its permissions") from None
    if empty:
        raise LogRefusedError("the file is empty; export it again")
    name = path.name.lower()
    if name.endswith(".parquet"):
        opened = _evened(open_parquet(path, BATCH_ROWS))
        yield with_joins(opened, layout.join)
    elif name.endswith(".xlsx"):
        opened = _evened(open_xlsx(path, layout, BATCH_ROWS))
        yield with_joins(opened, layout.join)
    else:
        with tempfile.TemporaryDirectory(prefix="yardband-") as folder:
            yield with_joins(_open_csv(plain_text(path, layout.encoding, Path(folder)), layout), layout.join)


def marked_by_hand(folder: Path, logs: Sequence[LogFile]) -> list[LogFile]:
    """Mark the logs of a study of results by hand: none of its entries has launch or spin.

    An entry's layout tells, or without one the headers of its first log that can be opened.

    Parameters
    ----------
    folder : Path
        The study's folder.
    logs : sequence of LogFile
        All of its shot logs.
    """
    entries: dict[str, list[LogFile]] = {}
    for log in logs:
        entries.setdefault(log.entry.model_dump_json(), []).append(log)
    if not logs or not all(_is_by_hand(folder, members) for members in entries.values()):
        return list(logs)
    return [log.model_copy(update={"by_hand": True}) for log in logs]


def _is_by_hand(folder: Path, logs: Sequence[LogFile]) -> bool:
    if logs[0].entry.layout is not None:
        return layout_is_by_hand(logs[0].layout)
    for log in logs:
        path = folder / log.source
        if b"launch_deg" in _beginning(path):
            return False  # without opening it, which reads the whole of a text log
        try:
            with open_log(path, log.layout) as opened:
                return headers_are_by_hand(opened.headers)
        except LogRefusedError:
            continue
    return False


def _beginning(path: Path) -> bytes:
    """Give the first bytes of a text log; none of another, or of one that can't be read."""
    name = path.name.lower()
    if name.endswith((".parquet", ".xlsx")) or not path.is_file():
        return b""
    try:
        with gzip.open(path) if name.endswith(".gz") else path.open("rb") as file:
            return file.read(_HEADER_BYTES)
    except (OSError, EOFError, zlib.error):
        return b""


def _refusal(reason: str, error: BaseException) -> LogRefusedError:
    """Give the refusal of a log whose reader raised an error, unless that was for lack of memory: the log is sound."""
    if memory_trouble(error) is not None:
        raise MemoryError from None
    return LogRefusedError(reason)


def _guarded(batches: Iterator[pl.DataFrame], reason: str) -> Iterator[pl.DataFrame]:
    """Hand batches on; turn what the reader raises, and nothing of what the user of a batch does, into a refusal."""
    while True:
        try:
            batch = next(batches, None)
        except _READ_ERRORS as error:
            raise _refusal(reason, error) from None
        if batch is None:
            return
        yield batch


def _even(batches: Iterator[pl.DataFrame]) -> Iterator[pl.DataFrame]:
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


def _evened(opened: OpenLog) -> OpenLog:
    return replace(opened, batches=lambda positions: _even(opened.batches(positions)))


# --- csv


def _open_csv(path: Path, layout: Layout) -> OpenLog:
    quotes = "a quotation mark is opened and never closed, or stands inside a cell; correct the quotation marks"
    try:
        with path.open("rb") as file:
            lines = examine(file, layout.delimiter, layout.skip_rows)
        first = _scan_csv(path, layout, schema=None).head(1).collect()
    except pl.exceptions.NoDataError:
        raise LogRefusedError(NO_HEADER) from None
    except _READ_ERRORS as error:
        raise _refusal(quotes, error) from None
    headers = header_cells(first)
    if len(headers) > MOST_COLUMNS:
        raise LogRefusedError(
            f"it has {len(headers):,} columns, more than any shot log; leave those out that say nothing"
        )
    if headers[0].startswith("\ufeff"):
        raise LogRefusedError("it begins with two byte-order marks; save it again as UTF-8, with one or none")
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
            irregular = _irregular(batch["row"], lines) if len(lines.irregular) else None
            yield picked(batch, len(headers), positions, delimiter, irregular, layout.skip_after_header)
        # The reader and the count of lines must agree on what a row is, or row numbers would lead astray.
        if not lines.last_row < seen <= lines.rows:
            raise LogRefusedError(quotes)

    def quickly(place: int) -> Iterator[pl.DataFrame]:
        rows = _scan_csv(path, layout, schema=dict.fromkeys(names, pl.String))
        under = rows.select(cell=pl.col(f"c{place}")).slice(1 + layout.skip_after_header)
        try:
            cells = under.unique().collect(engine="streaming")
        except _READ_ERRORS as error:
            raise _refusal(quotes, error) from None
        yield cells

    notes: tuple[str, ...] = ()
    if lines.ends_in_nul:
        notes = ("it ends in NUL bytes, as a file does whose writing broke off, so rows may be lost",)
    elif not lines.ends_whole:
        notes = ("its last line has no line end; if it was cut short, so is its last number",)
    return _evened(OpenLog(headers, False, batches, notes, quickly))


def _has_other_header(rows: pl.DataFrame, headers: list[str]) -> bool:
    """Look for a row of the header's cells in another order, as logs have that were joined from two exports."""
    cells = [f"c{i}" for i in range(len(headers))]
    # Most rows differ from a header in their first cell, so the others are looked at in a second go.
    likely = rows.filter(rows["c0"].is_in(headers))
    if likely.height > _FEW_ROWS:
        likely = likely.filter(pl.all_horizontal(pl.col(cells).is_in(headers)))
    found = set(likely.select(cells).iter_rows())
    return any(row != tuple(headers) and None not in row and sorted(row) == sorted(headers) for row in found)


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
