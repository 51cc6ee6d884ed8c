"""What a command and everything it starts cost: wall time, processor time, memory. Linux alone, by /proc."""

import os
import re
import subprocess
import threading
import time
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from pipeline.handover import SECOND

ROOT = Path(__file__).parents[2]
EVERY_S = 0.2  # between two looks; a process's last figures may be that old
TICK_S = 1 / os.sysconf("SC_CLK_TCK")
PAGE_MB = os.sysconf("SC_PAGE_SIZE") / 1e6
STEP = "pipeline.step"
FORKED = "pipeline.running.forked_steps"  # steps forked from it are listed by the first 15 characters of theirs
FORKING = "forked_steps"


@dataclass
class Seen:
    """A process as it was last seen; `peak_mb` is its own largest resident memory.

    A step that is forked has two: it, and the small one that asked for it and waits.
    """

    name: str
    begun_s: float
    ended_s: float
    forked: bool = False
    cpu_s: float = 0.0
    peak_mb: float = 0.0


@dataclass
class Used:
    """What a command used.

    Attributes
    ----------
    status : int
        Exit status.
    wall_s, cpu_s : float
        Of the command with all its descendants.
    peak_mb : float
        Largest sum of resident memory over the processes that lived at one time; what they share counts for each.
    largest_mb : float
        Largest resident memory of any single process.
    processes : list of Seen
        Steps by their names, others by their program's.
    output : str
        What was printed.
    """

    status: int = 0
    wall_s: float = 0.0
    cpu_s: float = 0.0
    peak_mb: float = 0.0
    largest_mb: float = 0.0
    processes: list[Seen] = field(default_factory=list)
    output: str = ""

    def of(self, step: str) -> list[Seen]:
        """Give the processes of a step."""
        return [one for one in self.processes if one.name == step]


def run_measured(command: Sequence[str], folder: Path, more: Mapping[str, str] | None = None) -> Used:
    """Run a command in a folder and measure it with all that it starts.

    Raises
    ------
    RuntimeError
        If the command fails; the end of what it printed is told.
    """
    begin = time.monotonic()
    with (folder / ".printed").open("w+", encoding="utf-8") as printed:
        child = subprocess.Popen(
            command, cwd=folder, env={**os.environ, **(more or {})}, stdout=printed, stderr=printed
        )
        watch = _Watch(child.pid)
        watch.start()
        _, status, spent = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)  # Popen must not wait for it again
        wall = time.monotonic() - begin
        watch.end()
        printed.seek(0)
        output = printed.read()
    if child.returncode:
        raise RuntimeError(f"{command[0]} ended with status {child.returncode}:\n{output[-2000:]}")
    # Not spent.ru_maxrss: it begins with the memory of this very process, from which the command was started.
    largest = max((one.peak_mb for one in watch.seen.values()), default=0.0)
    cpu = spent.ru_utime + spent.ru_stime
    return Used(0, wall, cpu, max(watch.peak_mb, largest), largest, list(watch.seen.values()), output)


class _Watch(threading.Thread):
    """Looks at a process and its descendants until told to end."""

    def __init__(self, root: int) -> None:
        super().__init__(daemon=True)
        self.root, self.seen, self.peak_mb = root, dict[tuple[int, str, str], Seen](), 0.0
        self._done = threading.Event()

    def run(self) -> None:
        while not self._done.wait(EVERY_S):
            self.peak_mb = max(self.peak_mb, sum(map(self._look, descendants(self.root))))

    def end(self) -> None:
        self._done.set()
        self.join()

    def _look(self, pid: int) -> float:
        """Note a process; give its resident memory now, MB, nil if it has just ended."""
        folder = Path(f"/proc/{pid}")
        try:
            before, _, after = (folder / "stat").read_text().rpartition(")")
            fields = after.split()
            words = (folder / "cmdline").read_bytes().decode(errors="replace").split("\0")
            peak = (folder / "status").read_text().partition("VmHWM:")[2].split()
        except (FileNotFoundError, ProcessLookupError):
            return 0.0
        if not peak:  # it has ended and waits to be asked for
            return 0.0
        # A pid may come again, with another start; a shell that becomes its command keeps both, but not its name.
        name = name_of(words, listed=before.partition("(")[2])
        one = self.seen.setdefault((pid, fields[19], name), Seen(name, time.monotonic(), 0.0, FORKED in words))
        one.ended_s = time.monotonic()
        one.cpu_s = (int(fields[11]) + int(fields[12])) * TICK_S
        one.peak_mb = max(one.peak_mb, int(peak[0]) / 1000 * 1.024)
        return int(fields[21]) * PAGE_MB


def name_of(words: Sequence[str], listed: str = "") -> str:
    """Name a process by its command line, and by how it is listed: the step's name, or the program's."""
    if STEP in words[:-1]:
        return words[words.index(STEP) + 1]
    if FORKED in words:
        return next((one for one in (*rules(), SECOND) if one.startswith(listed)), FORKING)
    programs = [Path(word).name for word in words if word]
    if "snakemake" in programs[:3]:
        return "snakemake"
    return programs[0] if programs else ""


@cache
def rules() -> list[str]:
    """List the workflow's rules, whose names steps have."""
    texts = (path.read_text(encoding="utf-8") for path in sorted(ROOT.glob("pipeline/*/rules.smk")))
    return [name for text in texts for name in re.findall(r"^ *(?:rule|checkpoint) (\w+):$", text, re.MULTILINE)]


def descendants(root: int) -> list[int]:
    """List a process and all that it has started, and they, as far as they live."""
    found, queue = [], [root]
    while queue:
        pid = queue.pop()
        found.append(pid)
        # It, or one of its threads, may end at any moment.
        with suppress(FileNotFoundError, ProcessLookupError):
            for task in sorted(Path(f"/proc/{pid}/task").iterdir()):
                queue += map(int, (task / "children").read_text().split())
    return found
