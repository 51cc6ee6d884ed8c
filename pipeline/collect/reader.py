"""The process that reads workbooks and parquet files: `python -m pipeline.collect.reader` (an edge module).

The libraries that read them are made for sound files. On a damaged one they may ask for hundreds of gigabytes, panic or
end their process, so they run in this one, within limits of memory and time; `pipeline.collect.foreign` asks it. A
question is a line of JSON on standard input. An answer is a line of JSON on standard output; where it says so, bytes of
an Arrow stream follow. Nothing is kept between two questions but what saves reading a file twice.
"""

import io
import json
import os
import signal
import sys
import traceback
from collections.abc import Iterator
from pathlib import Path
from typing import Any, BinaryIO, cast

import fastexcel
import polars as pl
import pyarrow
import pyarrow.compute
import pyarrow.parquet

from pipeline.collect.cells import header_cells, picked
from pipeline.collect.lines import LONGEST_LINE_BYTES
from pipeline.collect.opened_log import LogRefusedError
from pipeline.collect.workbook import look_through
from pipeline.ending import TRACEBACK_SWITCH

_arrow: Any = pyarrow  # which declares no types

Answer = tuple[dict[str, Any], bytes]

READY = {"ready": True}
NO_MEMORY = "memory"
DAMAGED = "damaged"

# A row takes a byte of its file at least, since no golfer drives twice in a second; a short file may say less of each.
_LEAST_BYTES = 1 / 8
_FEW_ROWS = 1_000_000


class Reader:
    """Answers questions about files, one after the other."""

    def __init__(self) -> None:
        self._sheet: tuple[Any, pl.DataFrame] | None = None
        self._sheets: list[str] = []
        self._batches: tuple[Any, Iterator[pl.DataFrame]] | None = None

    def answer(self, question: dict[str, Any]) -> Answer:
        """Answer one question; raises whatever the libraries raise."""
        path = Path(question["path"])
        match question["do"]:
            case "look":
                return self._look(path, question["most_unzipped_bytes"], question["sheet"]), b""
            case "open_xlsx":
                sheet = self._sheet_of(path, question["skip_rows"], question["sheet"])
                return {"headers": header_cells(sheet), "sheets": len(self._sheets)}, b""
            case "sheets":
                return {"sheets": fastexcel.read_excel(path.read_bytes()).sheet_names}, b""
            case "open_parquet":
                return _parquet_about(path), b""
            case "rows":
                return self._rows(path, question)
        raise ValueError(question["do"])

    def _look(self, path: Path, most_unzipped_bytes: int, sheet: str | None) -> dict[str, Any]:
        with path.open("rb") as file:
            return look_through(file, most_unzipped_bytes, sheet)._asdict()

    def _sheet_of(self, path: Path, skip_rows: int, named: str | None) -> pl.DataFrame:
        """Read the first sheet of a workbook, or the named one, as text, or take it from the last question."""
        mark = (*_mark(path), skip_rows, named)
        if self._sheet is None or self._sheet[0] != mark:
            self._sheet = None  # before the next one comes, or memory would have to hold both
            content = path.read_bytes()
            self._sheets = fastexcel.read_excel(content).sheet_names
            if named is not None and named not in self._sheets:
                raise LogRefusedError(f"it has no sheet {named!r}; correct the layout's 'sheet'")
            self._sheet = mark, _read_sheet(content, skip_rows, 0 if named is None else self._sheets.index(named))
        return self._sheet[1]

    def _rows(self, path: Path, question: dict[str, Any]) -> Answer:
        """Give the next batch of some columns; the first is asked for with the number 0."""
        number = question["number"]
        wanted = (*_mark(path), *(str(question[name]) for name in ("positions", "batch_rows", "xlsx", "sheet")))
        going, self._batches = self._batches, None  # what fails is begun again
        if going is not None and going[0] == (wanted, number):
            found = going[1]
        else:
            if question["xlsx"]:
                sheet = self._sheet_of(path, question["skip_rows"], question["sheet"])
                found = _sheet_batches(sheet, question)
            else:
                found = _parquet_batches(path, question["positions"], question["batch_rows"])
            for _ in range(number):
                next(found)
        batch = next(found, None)
        if batch is None:
            return {"end": True}, b""
        _check_lengths(batch)
        self._batches = ((wanted, number + 1), found)
        stream = io.BytesIO()
        batch.write_ipc_stream(stream)
        return {"end": False}, stream.getvalue()


def _check_lengths(batch: pl.DataFrame) -> None:
    """Refuse what no text log may hold either: a cell so long that looking for names in it takes minutes."""
    longest = [column.str.len_bytes().max() for column in batch.get_columns() if column.dtype == pl.String]
    if any(isinstance(length, int) and length > LONGEST_LINE_BYTES for length in longest):
        raise LogRefusedError(
            f"it has a cell of more than {LONGEST_LINE_BYTES:,} bytes, which no shot log has; export it again"
        )


def _mark(path: Path) -> tuple[str, int, int, int]:
    about = path.stat()
    return str(path), about.st_ino, about.st_size, about.st_mtime_ns


# --- workbooks


def _read_sheet(content: bytes, skip_rows: int, place: int) -> pl.DataFrame:
    # Without a header every cell comes as text: one way for all columns, and the header keeps its spelling.
    sheet = pl.read_excel(
        io.BytesIO(content),
        sheet_id=place + 1,
        has_header=False,
        infer_schema_length=None,
        drop_empty_rows=False,
        drop_empty_cols=False,
        raise_if_empty=False,
    )
    sheet = sheet.cast(pl.String).slice(skip_rows)
    return sheet.rename({name: f"c{i}" for i, name in enumerate(sheet.columns)})


def _sheet_batches(sheet: pl.DataFrame, question: dict[str, Any]) -> Iterator[pl.DataFrame]:
    numbered, skipped = sheet.with_row_index("row"), question["skip_after_header"]
    rows = picked(numbered, sheet.width, question["positions"], delimiter=None, skipped=skipped)
    yield from rows.iter_slices(question["batch_rows"])


# --- parquet


def _parquet_about(path: Path) -> dict[str, Any]:
    with _arrow.parquet.ParquetFile(path) as file:
        rows, schema = int(file.metadata.num_rows), file.schema_arrow
    if rows > _FEW_ROWS + path.stat().st_size / _LEAST_BYTES:
        raise LogRefusedError(f"it claims {rows:,} rows, more than a file of its size holds; export it again")
    kinds = schema.types
    return {
        "headers": list(schema.names),
        "unfit": [_unfit(kind) for kind in kinds],
        "times": [_arrow.types.is_temporal(kind) for kind in kinds],
    }


def _unfit(kind: Any) -> str | None:
    """Say what a column of a type holds that is neither text, number, time nor flag; None if it's one of those."""
    types = _arrow.types
    if isinstance(kind, _arrow.BaseExtensionType):
        return _unfit(kind.storage_type)
    if types.is_dictionary(kind):
        return _unfit(kind.value_type)
    if types.is_timestamp(kind):
        return None if kind.tz is None or _knows_zone(kind.tz) else "times of a zone that isn't known here"
    if types.is_duration(kind):
        return "spans of time"
    if types.is_time(kind):
        return "times without a day"
    if types.is_fixed_size_binary(kind):
        return "bytes"
    return "lists or groups of values" if types.is_nested(kind) else None


def _knows_zone(zone: str) -> bool:
    """Tell whether times of a zone can be used: pyarrow reads some that polars doesn't know."""
    try:
        times = cast(pl.Series, pl.from_arrow(_arrow.array([0], _arrow.timestamp("us", zone))))
        return times.dt.convert_time_zone("UTC").dt.date().len() == 1
    except BaseException:  # noqa: BLE001 - a library's panic is no Exception
        return False


def _parquet_batches(path: Path, positions: dict[str, int], batch_rows: int) -> Iterator[pl.DataFrame]:
    """Give `row`, `ragged` and the wanted columns, in plain types; a cell of a type that is none of them is bytes."""
    places = sorted(positions.items(), key=lambda item: item[1])  # the order in which they come
    first = 1
    with _arrow.parquet.ParquetFile(path, page_checksum_verification=True) as file:
        names = [file.schema_arrow.names[place] for _, place in places]
        for batch in file.iter_batches(batch_size=batch_rows, columns=names, use_threads=False):
            batch.validate(full=True)
            # A damaged file may lack some.
            if batch.schema.names != names:
                raise ValueError
            plain = [_plain(column) for column in batch.columns]
            # Names of our own: damaged ones would make polars panic.
            numbered = _arrow.RecordBatch.from_arrays(plain, names=[f"c{i}" for i in range(len(plain))])
            frame = cast(pl.DataFrame, pl.from_arrow(numbered))
            rows = pl.int_range(first, first + frame.height, dtype=pl.Int64, eager=True).alias("row")
            first += frame.height
            named = [pl.col(f"c{i}").alias(name) for i, (name, _) in enumerate(places)]
            yield frame.select(rows, pl.lit(False).alias("ragged"), *named)


def _plain(column: Any) -> Any:
    """Turn a column into one of a type that every later step knows."""
    types = _arrow.types
    if isinstance(column.type, _arrow.BaseExtensionType):
        return _plain(column.storage)
    kind = column.type
    if types.is_dictionary(kind):
        return _plain(column.dictionary_decode())
    if _unfit(kind) is not None:
        mark = _arrow.scalar(b"\xff", _arrow.binary())  # no text and no number, but something
        return _arrow.compute.if_else(column.is_valid(), mark, _arrow.scalar(None, _arrow.binary()))
    if types.is_null(kind):
        return column.cast(_arrow.string())
    if types.is_binary(kind) or types.is_large_binary(kind) or types.is_binary_view(kind):
        return _text_of(column)
    if types.is_decimal(kind):
        return column.cast(_arrow.float64())
    if types.is_float16(kind):
        return column.cast(_arrow.float32())
    if types.is_timestamp(kind) and kind.unit == "s":
        return column.cast(_arrow.timestamp("ms", kind.tz))
    return column


def _text_of(column: Any) -> Any:
    """Read bytes as UTF-8, as which some exports write their texts without saying so."""
    try:
        return column.cast(_arrow.large_string())
    except _arrow.ArrowInvalid:
        raise LogRefusedError("a column holds bytes that aren't UTF-8 text; export it again as text") from None


# --- limits and the exchange


def limit(memory_bytes: int, cpu_s: int) -> None:
    """Limit what this process may take from here on; a system without such limits has the watch of whoever asks."""
    try:
        import resource
    except ImportError:  # Windows
        return
    usage = resource.getrusage(resource.RUSAGE_SELF)
    _lower(resource, resource.RLIMIT_CPU, int(usage.ru_utime + usage.ru_stime) + cpu_s)
    taken = _address_space_bytes()
    if taken is not None:
        _lower(resource, resource.RLIMIT_AS, taken + memory_bytes)


def _lower(resource: Any, which: int, wanted: int) -> None:
    hard = resource.getrlimit(which)[1]
    soft = wanted if hard == resource.RLIM_INFINITY else min(wanted, hard)
    resource.setrlimit(which, (soft, hard))


def _address_space_bytes() -> int | None:
    """Give the address space taken, which `RLIMIT_AS` counts; None where the system doesn't say."""
    try:
        pages = Path("/proc/self/statm").read_text(encoding="ascii").split()[0]
    except OSError:
        return None
    return int(pages) * os.sysconf("SC_PAGE_SIZE")


def _answered(reader: Reader, question: dict[str, Any]) -> Answer:
    """Answer a question; what goes wrong is an answer too."""
    try:
        limit(question["memory_bytes"], question["cpu_s"])
        return reader.answer(question)
    except LogRefusedError as refusal:
        return {"refused": str(refusal)}, b""
    except (MemoryError, _arrow.ArrowMemoryError):
        return {"fault": NO_MEMORY}, b""
    except BaseException:  # noqa: BLE001 - a library's panic is no Exception
        # Their own texts may hold row content and are never shown.
        if os.environ.get(TRACEBACK_SWITCH):
            traceback.print_exc()
        return {"fault": DAMAGED}, b""


def serve(questions: BinaryIO, answers: BinaryIO) -> None:
    """Answer questions until there are no more."""
    reader = Reader()

    def send(said: dict[str, Any], content: bytes) -> None:
        answers.write(json.dumps({**said, "size": len(content)}).encode() + b"\n" + content)
        answers.flush()

    send(READY, b"")
    while line := questions.readline():
        send(*_answered(reader, json.loads(line)))


def main() -> None:
    """Serve on standard input and output, and keep what libraries print out of the answers."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for whoever asks, who then ends this process
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    try:
        serve(sys.stdin.buffer, answers)
    except BrokenPipeError:  # nobody waits for the answer
        os._exit(0)


if __name__ == "__main__":
    main()
