"""Steps forked from a process that has loaded what they import (an edge module).

A step's own work is often less than its start: Python, the libraries and our modules take it half a second, and those
of pictures or statistics as much again. So a run on this machine starts one process, while Snakemake is still reading
the workflow, that loads what the run's steps import, in the order of the workflow, and forks itself for each step that
is handed over (`pipeline.handover`), and for the process that helps one (`pipeline.threads`). A step has its own
environment and streams there, as it would have by itself, and everything else as it was when the run began. Where that
process can't be, or is no more, steps start by themselves.
"""

import atexit
import gc
import importlib
import json
import os
import re
import secrets
import select
import signal
import socket
import struct
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import NoReturn

from pipeline.ending import WITHOUT_THREADS, memory_is_limited
from pipeline.handover import ADDRESS, SECOND, STATUS, STREAMS, TAKEN, is_own
from pipeline.lean import left_out, start_quickly
from pipeline.run_step import main, module_of
from pipeline.threads import serve

# Libraries are safe to fork while none of their threads is at work (`WITHOUT_THREADS`).
# A thread of polars that there is even so, by its name on Linux: it waits to clear away files that no step makes.
IDLE = "polars-ooc-clea"

# What steps import only where they use it.
LATER = (
    "pyarrow.parquet",
    "scipy.interpolate",
    "scipy.ndimage",
    "scipy.optimize",
    "scipy.special",
    "scipy.stats",
    "statsmodels.regression.linear_model",
    "statsmodels.regression.mixed_linear_model",
    "statsmodels.regression.quantile_regression",
    "statsmodels.stats.multitest",
    "statsmodels.stats.proportion",
    "statsmodels.tools.sm_exceptions",
)

# What is loaded before it is known which steps are due: all studies' first steps, with what most of the others import.
FIRST = ("collect_logs", "load_shots", "compare_devices", "build_bands")
# Arguments of Snakemake, by which nothing is run; a hint alone.
LOOK = re.compile(
    "-[a-zA-Z]*n[a-zA-Z]*|--dry-?run|--(dag|d3dag|rulegraph|filegraph|report|lint|list.*|.*summary|touch)"
)

PATIENCE_S = 10.0  # with a step that doesn't say all that it wants


def start(steps: Sequence[str]) -> subprocess.Popen[bytes] | None:
    """Start the process that the steps of this one's run are forked from; it ends with this one.

    Parameters
    ----------
    steps : sequence of str
        Names of steps to load first. `load` names more.

    Returns
    -------
    Popen or None
        None where steps start by themselves.
    """
    os.environ.pop(ADDRESS, None)  # of a run that this one is a job of
    # Elsewhere libraries aren't safe to fork; and under a limit each step would pay for the libraries of all.
    if sys.platform != "linux" or memory_is_limited():
        return None
    name = f"yardband-{os.getpid()}-{secrets.token_hex(16)}"
    try:
        with socket.socket(socket.AF_UNIX) as listening:
            listening.bind(f"\0{name}")  # no file, so that nothing is left of a run that is killed
            listening.listen()
            process = subprocess.Popen(
                [sys.executable, "-m", __name__, str(listening.fileno()), *map(module_of, steps)],
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                env=os.environ | WITHOUT_THREADS,
                pass_fds=[listening.fileno()],
            )
    except OSError:
        return None
    os.environ[ADDRESS] = name
    atexit.register(stop, process)
    return process


def only_looks(arguments: Sequence[str]) -> bool:
    """Tell whether arguments of Snakemake seem to ask for a look at the workflow, not for a run."""
    return any(LOOK.fullmatch(one) for one in arguments)


def load(process: subprocess.Popen[bytes] | None, steps: Sequence[str]) -> None:
    """Have the process that `start` gave load steps, and what they import where they use it.

    Parameters
    ----------
    process : Popen or None
    steps : sequence of str
        Names of the run's steps, those first that run first.
    """
    if process is None:
        return
    assert process.stdin is not None
    with suppress(OSError):  # steps start by themselves if it is no more
        process.stdin.write(" ".join([*map(module_of, steps), *LATER]).encode() + b"\n")
        process.stdin.flush()


def stop(process: subprocess.Popen[bytes] | None) -> None:
    """End the process that `start` gave, at once if it is in the middle of an import."""
    os.environ.pop(ADDRESS, None)
    if process is None or process.poll() is not None:
        return
    assert process.stdin is not None
    process.stdin.close()
    process.kill()
    process.wait()


@dataclass(frozen=True)
class _Asked:
    """A step that is asked for, with whom to tell how it ended."""

    arguments: list[str]
    environment: dict[str, str]
    streams: list[int]

    def begin(self) -> None:
        """Give this process what the step would have had if it had been started by itself."""
        for number, stream in zip(STREAMS, self.streams, strict=True):
            os.dup2(stream, number)
        self.close()
        os.environ.clear()
        os.environ.update(self.environment)
        tempfile.tempdir = None  # the environment may name another
        with suppress(OSError):
            Path("/proc/self/comm").write_text(self.arguments[0])  # as it is listed among processes

    def close(self) -> None:
        """Close what came over."""
        for stream in self.streams:
            os.close(stream)


class _Forking:
    """The process that forks, from a socket where steps are asked for."""

    def __init__(self, listening: socket.socket) -> None:
        self.listening = listening
        self.at_work: dict[int, tuple[int, socket.socket]] = {}
        """By a descriptor of the step's process: its number, and who waits for its end."""
        self.left: list[str] = []
        """Modules to be loaded, the next first."""
        self.heard = b""
        """The begun line of more of them."""
        self.on_interrupt = signal.signal(signal.SIGINT, signal.SIG_IGN)  # a run's steps end by it, and then the run

    def next_step(self, modules: Sequence[str]) -> _Asked:
        """Load modules, and answer those who ask; this comes back in the processes of steps alone."""
        self.left = list(modules)
        while True:
            if self.left:
                with suppress(Exception), left_out():  # whoever needs it will say what is wrong
                    importlib.import_module(self.left.pop(0))
            if asked := self._answered(0 if self.left else None):
                return asked

    def _answered(self, patience_s: float | None) -> _Asked | None:
        """Wait for something to happen; give a step in the process forked for it."""
        waiting = {client: step for step, (_, client) in self.at_work.items()}
        ready, _, _ = select.select([self.listening, sys.stdin, *self.at_work, *waiting], [], [], patience_s)
        if sys.stdin in ready:
            self._hear()
        for step in self.at_work.keys() & set(ready):
            self._tell(step)
        for client in waiting.keys() & set(ready):
            if waiting[client] in self.at_work:  # who waited is gone
                os.kill(self.at_work[waiting[client]][0], signal.SIGTERM)
        return self._forked() if self.listening in ready else None

    def _hear(self) -> None:
        """Take the names of more modules to load; their stream ends with the run."""
        read = os.read(sys.stdin.fileno(), 65536)
        if not read:
            os._exit(0)
        *lines, self.heard = (self.heard + read).split(b"\n")
        self.left += [name for line in lines for name in line.decode().split()]

    def _tell(self, step: int) -> None:
        """Tell who waits that a step has ended, and how."""
        process, client = self.at_work.pop(step)
        _, status = os.waitpid(process, 0)
        os.close(step)
        with suppress(OSError), client:
            client.sendall(STATUS.pack(status))

    def _forked(self) -> _Asked | None:
        client, _ = self.listening.accept()
        client.settimeout(PATIENCE_S)
        asked = _read(client)
        if asked is None or threads_at_work():
            client.close()  # who asked runs the step
            return None
        gc.freeze()  # what is there stays; looking for garbage in it would copy it
        try:
            process = os.fork()
        except OSError:
            client.close()
            return None
        if process == 0:
            self._leave(client)
            return asked
        asked.close()
        self.at_work[os.pidfd_open(process)] = process, client
        with suppress(OSError):
            client.sendall(TAKEN)
        return None

    def _leave(self, client: socket.socket) -> None:
        """Keep nothing of the process that forks."""
        for one in (self.listening, client, *(other for _, other in self.at_work.values())):
            one.close()
        for step in self.at_work:
            os.close(step)
        signal.signal(signal.SIGINT, self.on_interrupt)


def threads_at_work() -> bool:
    """Tell whether a library has started a thread that may be in the middle of something."""
    own = str(os.getpid())
    names = [(task / "comm").read_text().strip() for task in Path("/proc/self/task").iterdir() if task.name != own]
    return any(name != IDLE for name in names)


def _read(client: socket.socket) -> _Asked | None:
    """Read what is asked for; None if it isn't all there, or another user asks."""
    if not is_own(client):
        return None
    streams: list[int] = []
    try:
        length, streams, _, _ = socket.recv_fds(client, STATUS.size, len(STREAMS))
        (size,) = STATUS.unpack(length)
        with client.makefile("rb") as coming:
            request = json.loads(coming.read(size))
        return _Asked(request["arguments"], request["environment"], streams)
    except (OSError, ValueError, KeyError, struct.error):
        for stream in streams:
            os.close(stream)
        return None


def _serve(number: str, *modules: str) -> NoReturn:
    start_quickly()
    os.close(os.pidfd_open(os.getpid()))  # an old system has no such thing, and this process no use
    with socket.socket(fileno=int(number)) as listening:
        asked = _Forking(listening).next_step(modules)
    asked.begin()
    status = _help() if asked.arguments == [SECOND] else main(asked.arguments)
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError):
            stream.flush()
    os._exit(status)  # taking apart what all steps share would take longer than many a step


def _help() -> int:
    with left_out():
        serve(Connection(STREAMS[0]))
    return 0


if __name__ == "__main__":
    _serve(*sys.argv[1:])
