"""`yardband run STUDY`: Snakemake started on a study, its lines told in one, and an end in a sentence (an edge module).

Snakemake gets what `snakemake --cores N --config study=STUDY` gives it, in the same working folder, so that either
line goes on where the other stopped.
"""

import contextlib
import csv
import importlib.util
import json
import os
import queue
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType
from typing import IO, Any, TextIO

from pipeline.edge.files import check_idle, lock_of, read_bytes
from pipeline.edge.run_logs import RUN_LOG
from pipeline.ending import DONE
from pipeline.errors import UserError
from pipeline.run_step import OWNER_ALONE
from pipeline.running.run_words import Made, failure_lines, progress_line, refused_lines, result_lines, took
from pipeline.running.snakemake_lines import RunSoFar, left_s, rule_of, share_done
from pipeline.running.start import read_start
from pipeline.texts.catalogue import told

CODE = Path(__file__).parents[2]
SNAKEFILE = CODE / "Snakefile"
SYSTEM = os.name

TICK_S = 0.5  # how often the time left is told anew
LINE_EVERY_S, LINE_EVERY_SHARE = 30.0, 0.1  # where lines can't be rewritten, one is told after either
PATIENCE_S = 30.0  # for a run that was interrupted to end by itself
INTERRUPTS = ("SIGINT", "SIGTERM", "SIGHUP")


def run_study(study: Path, cores: int | None, choices: Mapping[str, str], out: TextIO, err: TextIO) -> int:
    """Run a study's workflow.

    Parameters
    ----------
    study : Path
        The study folder, or the `study.yaml` in it.
    cores : int or None
        All that this process may use if None.
    choices : mapping
        What else --config may name: model or trial.
    out, err : text streams
        Results go to the first; progress, and why a run failed, to the second.

    Returns
    -------
    int
        0, 2 for bad input or a lack of memory, 1 for any other failure, 130 after Ctrl+C.

    Raises
    ------
    UserError
        If the study can't be run, or a run is at work on it.
    """
    _check_machine()
    os.umask(OWNER_ALONE)
    config = {"study": str(study), **choices}
    start = read_start(config)
    check_idle(Path(start.home), lock_of(start.study.study))
    logs = Path(start.logs_of)
    page = f"{start.out}/report/academy.html"
    command = [sys.executable, "-m", "snakemake", "-s", str(SNAKEFILE), "--cores", str(cores or own_cores())]
    # As JSON, which is YAML too: a folder named 2026 stays a text.
    command += ["--config", *(f"{key}={json.dumps(value)}" for key, value in config.items())]
    ended = follow(command, logs / RUN_LOG, seconds_of(logs), err)
    if ended.status:
        _print(err, ended.lines)
        return ended.status
    summary = read_bytes(f"{start.out}/summary.txt").decode("utf-8")
    results = [] if start.own else ["--results", start.out]
    _print(err, [*ended.lines, *refused_lines(summary)])
    print(*result_lines(summary, Made(f"{start.out}/summary.txt", page, [str(study), *results])), sep="\n", file=out)
    out.flush()
    return 0


def _check_machine() -> None:
    if SYSTEM != "posix":
        raise UserError(told("run", "windows"))
    if not SNAKEFILE.is_file():
        raise UserError(told("run", "no_clone", snakefile=str(SNAKEFILE)))
    if importlib.util.find_spec("snakemake") is None:
        raise UserError(told("run", "no_snakemake"))


def own_cores() -> int:
    """Count the cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def seconds_of(logs: Path) -> dict[str, float]:
    """Read how long a job of each rule took last time, from the times that Snakemake wrote beside the logs."""
    found: dict[str, list[float]] = {}
    for path in sorted(logs.rglob("*.tsv")):
        with contextlib.suppress(OSError, ValueError, KeyError, StopIteration), path.open(encoding="utf-8") as file:
            time_s = float(next(csv.DictReader(file, delimiter="\t"))["s"])
            found.setdefault(rule_of(path.relative_to(logs).as_posix()), []).append(time_s)
    return {rule: sum(times) / len(times) for rule, times in found.items()}


@dataclass(frozen=True)
class Ended:
    """How a run ended: the exit status, and what there is to say."""

    status: int
    lines: Sequence[str]


@dataclass
class _Heard:
    """What was heard of a run: the state, and the lines of its standard error, where sentences are told."""

    run: RunSoFar = field(default_factory=RunSoFar)
    told: set[str] = field(default_factory=set)
    stopped: int = 0
    """The signal that stopped it, or 0."""


def follow(command: Sequence[str], log: Path, seconds: dict[str, float], err: TextIO) -> Ended:
    """Start a run, keep its lines in a log, show how far it is, and say how it ended.

    Parameters
    ----------
    command : sequence of str
    log : Path
        Made anew, readable by its owner alone.
    seconds : dict
        From `seconds_of`.
    err : text stream
        Where progress is shown.
    """
    log.parent.mkdir(parents=True, exist_ok=True)
    log.unlink(missing_ok=True)  # an older one may have another mode
    heard, shown = _Heard(), _Progress(err, seconds)
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(filter(None, (str(CODE), os.environ.get("PYTHONPATH"))))}
    with (
        open(log, "w", encoding="utf-8", opener=_owner_alone) as kept,
        _interrupts(heard),
        # A process group of its own, to which an interrupt is passed on once: all steps are in it.
        subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            encoding="utf-8",
            errors="replace",
            env=environment,
            process_group=0,
        ) as process,
    ):
        try:
            _listen(process, heard, shown, kept)
            status = process.wait()
        finally:
            _kill(process, "SIGKILL")  # after an error of our own; nobody else is left of a run that ended
            shown.clear()
    run = heard.run
    if heard.stopped:
        return Ended(128 + heard.stopped, [told("run", "stopped")])
    if status:
        said = [_said(step.log, heard.told) for step in run.failed]
        return Ended(*failure_lines(run, said, str(log), status))
    return Ended(0, [told("run", "nothing") if run.nothing_to_do else took(run.total, shown.elapsed_s())])


def _owner_alone(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)


@contextlib.contextmanager
def _interrupts(heard: _Heard) -> Iterator[None]:
    """Note interrupts instead of ending by them, but those that are ignored, as under nohup."""

    def note(number: int, frame: FrameType | None) -> None:  # noqa: ARG001 - the system's arguments
        heard.stopped = number

    numbers = [getattr(signal, name) for name in INTERRUPTS if hasattr(signal, name)]
    before = {number: signal.getsignal(number) for number in numbers}
    try:
        for number in numbers:
            if before[number] != signal.SIG_IGN:
                signal.signal(number, note)
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _listen(process: subprocess.Popen[str], heard: _Heard, shown: "_Progress", kept: TextIO) -> None:
    """Take the lines of a run until it ends, and pass an interrupt on."""
    lines: queue.Queue[tuple[bool, str | None]] = queue.Queue()
    assert process.stdout is not None
    assert process.stderr is not None
    readers = [
        threading.Thread(target=_read, args=(stream, is_error, lines), daemon=True)
        for stream, is_error in ((process.stdout, False), (process.stderr, True))
    ]
    for reader in readers:
        reader.start()
    open_streams, passed_on, patient_until = len(readers), False, 0.0
    while open_streams:
        if heard.stopped and not passed_on:
            passed_on, patient_until = True, time.monotonic() + PATIENCE_S
            shown.say(told("run", "stopping"))
            _kill(process, "SIGINT")
        if passed_on and time.monotonic() > patient_until:
            _kill(process, "SIGKILL")
        try:
            is_error, line = lines.get(timeout=TICK_S)
        except queue.Empty:
            shown.show(heard.run)
            continue
        if line is None:
            open_streams -= 1
            continue
        with contextlib.suppress(OSError):  # a full disk stops the run itself, which says so
            kept.write(line if line.endswith("\n") else f"{line}\n")
            kept.flush()
        line = line.rstrip("\r\n")
        if is_error:
            heard.told.add(line)
            heard.run.take(line)
            if not passed_on:
                shown.show(heard.run)


def _read(stream: IO[str], is_error: bool, lines: "queue.Queue[tuple[bool, str | None]]") -> None:
    with contextlib.suppress(OSError, ValueError):
        for line in stream:
            lines.put((is_error, line))
    lines.put((is_error, None))


def _kill(process: subprocess.Popen[str], name: str) -> None:
    with contextlib.suppress(OSError):
        os.killpg(process.pid, getattr(signal, name))


def _said(log: str, told_lines: set[str]) -> list[str]:
    """Give the sentences at the end of a step's log; what it printed on standard output is no part of them."""
    try:
        lines = Path(log).read_text(encoding="utf-8", errors="replace").splitlines() if log else []
    except OSError:
        return []
    sentences: list[str] = []
    for line in reversed(lines):
        if line not in told_lines or line == DONE:
            break
        sentences.insert(0, line)
    return sentences


class _Progress:
    """One line that is rewritten in place on a terminal; elsewhere a line now and then."""

    def __init__(self, err: TextIO, seconds: dict[str, float]) -> None:
        self.err, self.seconds = err, seconds
        self.in_place = err.isatty() and os.environ.get("TERM") != "dumb"
        self.begun = time.monotonic()
        self.first_job: float | None = None
        self.width = 0
        self.last: tuple[float, float] | None = None  # when a line was told, and of which share

    def elapsed_s(self) -> float:
        return time.monotonic() - self.begun

    def show(self, run: RunSoFar) -> None:
        """Show how far a run is."""
        now = time.monotonic()
        if run.step and self.first_job is None:
            self.first_job = now
        share = share_done(run, self.seconds)
        line = progress_line(run.step, share, left_s(share, now - (self.first_job or now)))
        if self.in_place:
            self._put(line)
        elif self.last is None or now - self.last[0] >= LINE_EVERY_S or share - self.last[1] >= LINE_EVERY_SHARE:
            self.last = (now, share)
            self.say(line)

    def _put(self, line: str) -> None:
        line = line[: shutil.get_terminal_size().columns - 1]
        self._write(f"\r{line.ljust(self.width)}")
        self.width = len(line)

    def say(self, line: str) -> None:
        """Say a line that stays, or that the next one replaces on a terminal."""
        if self.in_place:
            self._put(line)
        else:
            self._write(f"{line}\n")

    def clear(self) -> None:
        """Take the line away."""
        if self.in_place and self.width:
            self._write(f"\r{' ' * self.width}\r")
            self.width = 0

    def _write(self, text: str) -> None:
        with contextlib.suppress(OSError, ValueError):  # nobody has to look on
            self.err.write(text)
            self.err.flush()


def _print(err: TextIO, lines: Sequence[Any]) -> None:
    with contextlib.suppress(OSError):
        print(*lines, sep="\n", file=err, flush=True)
