"""Writing files whole or not at all, and one run at a time on a study (an edge module)."""

import json
import os
import shutil
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from itertools import chain, islice
from pathlib import Path
from typing import Any

import polars as pl
import polars.selectors as cs

from pipeline.edge.locks import is_locked, take_lock
from pipeline.ending import writing_trouble
from pipeline.errors import UserError

# A text that begins so can be a formula to a spreadsheet: an equals, plus, minus or at sign, plain or full-width, a tab
# or a line break (OWASP, "CSV Injection").
FORMULA = "^[=+@\\-\t\r\n\uff1d\uff0b\uff0d\uff20]"


PART = ".part-"  # how the names of unfinished files and folders begin

NOT_WRITTEN = "can't be written; check its disk and folder, then start again."

LEAST_ROOM_BYTES = 200_000  # Snakemake's own records of a run; what the results take shows as they are written


@contextmanager
def whole(path: Path) -> Iterator[Path]:
    """Give a temporary path beside `path`; rename it to `path` if the block ends without an error.

    Parameters
    ----------
    path : Path
        The file to be made. Its folder is made too.

    Yields
    ------
    Path
        The temporary path, with the same suffix, to write to.

    Raises
    ------
    UserError
        If there is no room left, or the folder can't be written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=PART, suffix=path.suffix, dir=path.parent)
    except OSError as error:
        raise _told(path, error) from error
    os.close(handle)
    part = Path(name)
    try:
        yield part
        part.chmod(0o666 & ~_umask())
        _to_disk(part)
        part.replace(path)
    except UserError:
        raise
    except Exception as error:
        if writing_trouble(error) is None:
            raise
        raise _told(path, error) from error
    finally:
        # A database that fails leaves its log of changes beside it, named after it.
        for left in (part, *part.parent.glob(f"{part.name}.*")):
            left.unlink(missing_ok=True)


@contextmanager
def whole_folder(path: Path) -> Iterator[Path]:
    """Give a temporary folder beside `path`; put it in place of `path` if the block ends without an error."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = Path(tempfile.mkdtemp(prefix=PART, dir=path.parent))
    try:
        yield part
        if path.exists():
            shutil.rmtree(path)
        path.mkdir()  # with the usual permissions, which a temporary folder has not
        part.chmod(path.stat().st_mode)
        path.rmdir()
        part.replace(path)
    finally:
        shutil.rmtree(part, ignore_errors=True)


def _to_disk(part: Path) -> None:
    # Before the new name: else a power cut could leave the name with nothing behind it.
    with part.open("r+b") as file:  # Windows syncs no file that is open for reading alone
        os.fsync(file.fileno())


def _told(path: Path, error: Exception) -> UserError:
    return UserError(f"{path}: {writing_trouble(error) or NOT_WRITTEN}")


def check_room(folder: Path) -> None:
    """Make sure that a folder, or the one in which it would be made, can be written and has some room.

    Raises
    ------
    UserError
        If it can't or hasn't.
    """
    there = next(place for place in (folder, *folder.absolute().parents) if place.exists())
    if not os.access(there, os.W_OK | os.X_OK):
        raise UserError(f"{folder}: can't be written; make {there} writable and start again.")
    if shutil.disk_usage(there).free < LEAST_ROOM_BYTES:
        raise UserError(f"{folder}: there is no room left to write on its disk; make room and start again.")


def check_alone(results: Path) -> None:
    """Make sure that no folder beside a study's results has the same name but for capitals.

    Some disks take both for one folder, and one study would write over the other.

    Raises
    ------
    UserError
        If there is one.
    """
    for other in sorted(results.parent.iterdir()) if results.parent.is_dir() else ():
        if other.name != results.name and other.name.lower() == results.name.lower():
            raise UserError(
                f"{results}: {other} differs from it by capitals alone, and some disks take both for one folder; "
                f"give the study another name, or remove {other}."
            )


def start_run(results: Path, lock: Path) -> None:
    """Take a study for this process until it ends, however it ends, and clear away what a killed run left half-made.

    Parameters
    ----------
    results : Path
        The study's results. Files and folders in it whose names begin with `PART` are removed.
    lock : Path
        A file to lock, made if need be.

    Raises
    ------
    UserError
        If another run holds the lock, or a folder can't be written.
    """
    try:
        lock.parent.mkdir(parents=True, exist_ok=True)
        # Never closed: the system lets go of the lock when the process ends, even when it is killed.
        handle = os.open(lock, os.O_RDWR | os.O_CREAT, 0o666)
        if not take_lock(handle):
            os.close(handle)
            raise UserError(
                f"{results}: another run is at work on this study; wait until it has ended, then start again."
            )
        if results.is_dir():
            results.chmod(0o700)  # an earlier version left it open
        for left in sorted(results.rglob(f"{PART}*")):
            shutil.rmtree(left) if left.is_dir() else left.unlink(missing_ok=True)
    except OSError as error:
        raise _told(results, error) from error


def take_whole_seconds(results: Path) -> None:
    """Take fractions of seconds off the times of results.

    A bucket keeps whole seconds. So what is made there of a file that stays here, in the same second, would look older
    than that, and be made again.
    """
    for path in results.rglob("*"):
        if path.is_file():
            os.utime(path, (int(path.stat().st_mtime),) * 2)


def check_idle(results: Path, lock: Path) -> None:
    """Make sure that no run is at work on a study.

    Parameters
    ----------
    results : Path
        The study's results, for an error.
    lock : Path
        The file that `start_run` locks; it may not be there yet.

    Raises
    ------
    UserError
        If a run holds the lock.
    """
    if not lock.is_file():
        return
    with lock.open("rb") as file:
        if is_locked(file.fileno()):
            raise UserError(f"{results}: a run is at work on this study; wait until it has ended, then try again.")


def lock_of(study: str) -> Path:
    """Give the file that a run on a study locks, below the working folder."""
    return Path(f".snakemake/yardband/{study}.lock")


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def read_bytes(path: str | Path) -> bytes:
    """Read a file that the workflow makes.

    Raises
    ------
    UserError
        If it is missing.
    """
    try:
        return Path(path).read_bytes()
    except FileNotFoundError:
        raise UserError(f"{path}: the file is missing; run the workflow again, it makes it.") from None


def write_text(path: Path, text: str) -> None:
    """Write UTF-8 text with Unix line ends, whole or not at all."""
    write_texts(path, (text,))


def write_texts(path: Path, texts: Iterable[str]) -> None:
    """Write several texts as one, as they are made; see `write_text`."""
    with whole(path) as part, part.open("w", encoding="utf-8", newline="\n") as file:
        file.writelines(texts)


def write_bytes(path: Path, content: bytes) -> None:
    """Write bytes, whole or not at all."""
    with whole(path) as part:
        part.write_bytes(content)


def write_json(path: Path, value: Any) -> None:
    """Write JSON with sorted keys and full floats, whole or not at all."""
    write_text(path, json.dumps(value, indent=1, sort_keys=True, allow_nan=False) + "\n")


def write_csv(path: Path, table: pl.DataFrame) -> None:
    """Write a table as CSV with full floats, whole or not at all; no text of it is a formula to a spreadsheet."""
    write_csv_of(path, (table,))


def write_csv_of(path: Path, tables: Iterable[pl.DataFrame]) -> None:
    """Write several tables of the same columns as one, without holding more than one of them; see `write_csv`."""
    with whole(path) as part, part.open("wb") as file:
        for place, table in enumerate(tables):
            safe = table.with_columns(harmless(name) for name in cs.expand_selector(table, cs.string()))
            safe.write_csv(file, include_header=place == 0)


def harmless(name: str) -> pl.Expr:
    """Put an apostrophe before the texts of a column that a spreadsheet would take for formulas."""
    texts = pl.col(name)
    return pl.when(texts.str.contains(FORMULA)).then(pl.format("'{}", texts)).otherwise(texts).alias(name)


def write_parquet(path: Path, table: pl.DataFrame) -> None:
    """Write a table as parquet, whole or not at all."""
    with whole(path) as part:
        table.write_parquet(part, statistics=True)


def write_parquet_of(path: Path, tables: Iterable[pl.DataFrame]) -> None:
    """Write several tables of the same columns as one, a few at a time; see `write_parquet`, which writes up to two."""
    left = iter(tables)
    first = list(islice(left, 3))
    if len(first) < 3:
        write_parquet(path, pl.concat(first))
        return
    import pyarrow.parquet  # a quarter of a second that small studies need not pay

    arrow: Any = pyarrow  # which declares no types
    schema = first[0].to_arrow(compat_level=pl.CompatLevel.oldest()).schema
    with whole(path) as part, arrow.parquet.ParquetWriter(part, schema, compression="zstd") as file:
        for table in chain(first, left):
            file.write_table(table.to_arrow(compat_level=pl.CompatLevel.oldest()))


def path_of_result(path: str, out: str) -> str:
    """Give the path of a result as a run on one machine has it.

    Where results are kept in a bucket, steps get copies in a folder of Snakemake's, which ends as the own one does.

    Parameters
    ----------
    path : str
        As a step gets it.
    out : str
        The folder of the run's results.
    """
    _, found, rest = path.rpartition(f"{out}/")
    return f"{found}{rest}"
