"""Opening workbooks and parquet files, which a process of their own reads (an edge module).

Whatever a damaged file does to the libraries that read it (a panic, an abort, memory or time without end), it does to
that process: `pipeline.collect.reader`. The log is refused with a sentence, and the next one gets a new process. One
process reads all logs of a job; jobs whose logs are all text start none.
"""

import atexit
import io
import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Mapping
from concurrent.futures import Future, wait
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import polars as pl
import psutil

from pipeline.collect.opened_log import LogRefusedError, OpenLog, ReadBatches
from pipeline.collect.workbook import MOST_UNZIPPED_BYTES
from pipeline.configuration.layouts import Layout
from pipeline.ending import TRACEBACK_SWITCH
from pipeline.errors import UserError
from pipeline.tables.logs import OPTIONAL_TEXTS

_psutil: Any = psutil  # which declares no types

# Memory beyond what the process takes for itself. A sound workbook of 200,000 rows and 10 columns takes 1.1 GB of
# address space, 0.2 GB of it really; measured on the tests' machine.
_MEMORY_BYTES = 1_500_000_000
_CELL_BYTES = 200  # of a workbook: as the library holds it, as text, and as a copy of that
_FILE_TIMES = 16  # of a parquet file's size: what is unpacked at a time

# The slowest sound files were read at 20 MB/s; a busy machine may be ten times slower.
_SECONDS, _BYTES_PER_SECOND = 60.0, 1_000_000
_START_SECONDS = 120.0
_LOOK_EVERY_SECONDS = 0.1

_TEXTS = (
    "golfer",
    *OPTIONAL_TEXTS,
    "tool",
    "set_no",
    "cell",
)  # `cell` is what `OpenLog.distinct` calls a column of names

_NOT_STARTED = (
    "The process that reads workbooks and parquet files can't be started here; see that memory and processes aren't "
    "limited too tightly, or save those logs as csv."
)


_Answer = tuple[dict[str, Any], bytes]  # what the process says, and a table's bytes


class Limits(NamedTuple):
    """What an answer may take."""

    memory_bytes: int
    seconds: float


@dataclass(frozen=True)
class _Words:
    """How a file's kind is named in refusals."""

    damaged: str
    again: str


_PARQUET = _Words(
    "it is damaged, cut short, encrypted or not a parquet file; export it again", "export it again, or as csv"
)
_XLSX = _Words(
    "it is damaged, protected or not an xlsx workbook; save it again without a password", "save it again, or as csv"
)


def open_parquet(path: Path, batch_rows: int) -> OpenLog:
    """Open a parquet file; raises LogRefusedError as its batches do."""
    limits = _limits_of(path)
    about, _ = _ask({"do": "open_parquet", "path": _absolute(path)}, limits, _PARQUET)
    headers: list[str] = about["headers"]

    def batches(positions: Mapping[str, int]) -> Iterator[pl.DataFrame]:
        for name, column in positions.items():
            unfit = about["unfit"][column]
            if unfit is not None and "zone" in unfit:
                raise LogRefusedError(f"its column of {name} holds {unfit}; export it in UTC")
            if unfit is None and about["times"][column] and name in _TEXTS:
                unfit = "dates"  # as text those of no calendar end the program
            if unfit is not None and name in _TEXTS:
                raise LogRefusedError(f"its column of {name} holds {unfit}; export it as text")
        yield from _batches(
            {"xlsx": False, "sheet": None, "path": _absolute(path)}, positions, batch_rows, limits, _PARQUET
        )

    return OpenLog(headers, False, batches)


def sheets_of(path: Path) -> list[str]:
    """List the sheets of a workbook; raises LogRefusedError."""
    look = {"do": "look", "most_unzipped_bytes": MOST_UNZIPPED_BYTES, "path": _absolute(path), "sheet": None}
    _ask(look, _limits_of(path), _XLSX)
    said, _ = _ask({"do": "sheets", "path": _absolute(path)}, _limits_of(path), _XLSX)
    names: list[str] = said["sheets"]
    return names


def open_xlsx(path: Path, layout: Layout, batch_rows: int) -> OpenLog:
    """Open the first sheet of a workbook, or the one that the layout names; raises LogRefusedError as its batches do.

    Parameters
    ----------
    path : Path
    layout : Layout
        Its `sheet`, `skip_rows` and `skip_after_header`.
    batch_rows : int
    """
    place: dict[str, Any] = {"path": _absolute(path), "sheet": layout.sheet, "skip_rows": layout.skip_rows}
    place["skip_after_header"] = layout.skip_after_header
    look = {"do": "look", "most_unzipped_bytes": MOST_UNZIPPED_BYTES, **place}
    looked, _ = _ask(look, _limits_of(path), _XLSX)
    limits = Limits(
        _MEMORY_BYTES + looked["cells"] * _CELL_BYTES + path.stat().st_size,
        _SECONDS + looked["unzipped_bytes"] / _BYTES_PER_SECOND,
    )
    opened, _ = _ask({"do": "open_xlsx", **place}, limits, _XLSX)
    notes = ["it holds formulas, whose results as last saved were taken"] if looked["formulas"] else []
    if opened["sheets"] > 1 and layout.sheet is None:
        notes.append(f"of its {opened['sheets']} sheets the first was read")
    batches = _bound_batches({"xlsx": True, **place}, batch_rows, limits, _XLSX)
    return OpenLog(opened["headers"], True, batches, tuple(notes))


def _bound_batches(place: dict[str, Any], batch_rows: int, limits: Limits, words: _Words) -> ReadBatches:
    return lambda positions: _batches(place, positions, batch_rows, limits, words)


def _batches(
    place: dict[str, Any], positions: Mapping[str, int], batch_rows: int, limits: Limits, words: _Words
) -> Iterator[pl.DataFrame]:
    number = 0
    while True:
        question = {"do": "rows", "positions": dict(positions), "batch_rows": batch_rows, "number": number, **place}
        said, content = _ask(question, limits, words)
        if said["end"]:
            return
        yield pl.read_ipc_stream(io.BytesIO(content))
        number += 1


def _absolute(path: Path) -> str:
    return str(path.absolute())


def _limits_of(path: Path) -> Limits:
    size = path.stat().st_size
    return Limits(_MEMORY_BYTES + _FILE_TIMES * size, _SECONDS + size / _BYTES_PER_SECOND)


def _ask(question: dict[str, Any], limits: Limits, words: _Words) -> tuple[dict[str, Any], bytes]:
    """Ask the process; raise LogRefusedError where it refuses the file, ends at it or takes too much."""
    said, content = _PROCESS.ask(question, limits)
    if "refused" in said:
        raise LogRefusedError(said["refused"])
    match said.get("fault"):
        case None:
            return said, content
        case "damaged":
            raise LogRefusedError(words.damaged)
        case "memory":
            raise LogRefusedError(f"reading it takes more memory than a file like it should; {words.again}")
        case "time":
            raise LogRefusedError(f"reading it takes longer than {limits.seconds:.0f} s; {words.again}")
    raise LogRefusedError(
        "whatever reads it breaks off: it is damaged, or takes more memory than a file like it should; " + words.again
    )


class _Process:
    """The process that reads, started when it is first asked and again after it ended."""

    def __init__(self) -> None:
        self._running: subprocess.Popen[bytes] | None = None
        self._own_bytes = 0

    def ask(self, question: dict[str, Any], limits: Limits) -> tuple[dict[str, Any], bytes]:
        """Ask a question and wait for the answer; one that doesn't come is a fault."""
        process = self._started()
        whole = {**question, "memory_bytes": limits.memory_bytes, "cpu_s": int(limits.seconds) + 1}
        try:
            found, why = _watched(
                process, json.dumps(whole).encode() + b"\n", limits.seconds, self._own_bytes + limits.memory_bytes
            )
        except BaseException:  # an interrupted exchange would leave half an answer for the next question
            self.end()
            raise
        if found is None:
            self.end()
            return {"fault": why or _why_ended(process)}, b""
        return found

    def _started(self) -> subprocess.Popen[bytes]:
        if self._running is not None and self._running.poll() is None:
            return self._running
        self.end()
        try:
            process = self._running = _start()
        except OSError:
            raise UserError(_NOT_STARTED) from None
        try:
            ready, _ = _watched(process, b"", _START_SECONDS, None)
        except BaseException:
            self.end()
            raise
        if ready is None:
            self.end()
            raise UserError(_NOT_STARTED)
        self._own_bytes = _taken_bytes(process.pid)
        return process

    def end(self) -> None:
        """End the process."""
        process, self._running = self._running, None
        if process is None:
            return
        process.kill()
        for pipe in (process.stdin, process.stdout):
            if pipe is not None:
                with suppress(OSError):  # a question that was never taken
                    pipe.close()
        process.wait()


def _start() -> subprocess.Popen[bytes]:
    root = str(Path(__file__).parents[2])
    paths = [root, *filter(None, [os.environ.get("PYTHONPATH")])]
    # One thread and few arenas, so that the address space that it takes says what memory it takes.
    small = {"POLARS_MAX_THREADS": "1", "OMP_NUM_THREADS": "1", "MALLOC_ARENA_MAX": "2"}
    small |= {"ARROW_DEFAULT_MEMORY_POOL": "system", "OPENBLAS_NUM_THREADS": "1"}
    return subprocess.Popen(
        [sys.executable, "-P", "-m", "pipeline.collect.reader"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        # Panics print a traceback there, which may hold the content of rows.
        stderr=None if os.environ.get(TRACEBACK_SWITCH) else subprocess.DEVNULL,
        env={**os.environ, **small, "PYTHONPATH": os.pathsep.join(paths)},
    )


def _watched(
    process: subprocess.Popen[bytes], question: bytes, seconds: float, most_bytes: int | None
) -> tuple[_Answer | None, str | None]:
    """Send a question and wait for the answer; end a process that takes longer or more memory than it may, and say why.

    Another thread reads. This one would not wake from a read when it is interrupted: libraries' handlers of signals
    let reads go on, so that an interrupt would count only once the process had answered.
    """
    answer: Future[_Answer | None] = Future()
    threading.Thread(target=_answer, args=(answer, process, question), daemon=True).start()
    ends = time.monotonic() + seconds
    why = None
    while not wait([answer], timeout=_LOOK_EVERY_SECONDS).done:
        if time.monotonic() > ends:
            why = "time"
        elif most_bytes is not None and _taken_bytes(process.pid) > most_bytes:
            why = "memory"
        if why is not None:
            process.kill()
            break
    return answer.result(), why


def _answer(answer: Future[_Answer | None], process: subprocess.Popen[bytes], question: bytes) -> None:
    """Give the answer, or the fault that came in its place, to who waits for it."""
    try:
        answer.set_result(_exchange(process, question))
    except BaseException as fault:  # noqa: BLE001 - raised again where the answer is asked for
        answer.set_exception(fault)


def _exchange(process: subprocess.Popen[bytes], question: bytes) -> _Answer | None:
    """Send a question and read the answer; None if the process ended."""
    assert process.stdin is not None
    assert process.stdout is not None
    try:
        process.stdin.write(question)
        process.stdin.flush()
        line = process.stdout.readline()
        if not line.endswith(b"\n"):
            return None
        said = json.loads(line)
        content = process.stdout.read(said["size"])
    except OSError:
        return None
    return (said, content) if len(content) == said["size"] else None


def _why_ended(process: subprocess.Popen[bytes]) -> str:
    """Say why a process ended by itself."""
    if process.returncode is not None and -process.returncode == _CPU_SIGNAL:
        return "time"
    return "crash"


_CPU_SIGNAL = 24  # SIGXCPU on Linux and macOS; Windows has no such limit


def _taken_bytes(pid: int) -> int:
    """Give the memory that a process has now; 0 if it ended."""
    try:
        return int(_psutil.Process(pid).memory_info().rss)
    except _psutil.Error:
        return 0


_PROCESS = _Process()
atexit.register(_PROCESS.end)
