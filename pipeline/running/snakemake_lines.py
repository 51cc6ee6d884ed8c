"""What Snakemake's lines say of a run: how far it is, which steps failed, and why it didn't start.

Snakemake writes for people, so this reads no more than it needs, and takes a line that it doesn't know for a step's.
"""

import re
from collections import Counter
from dataclasses import dataclass, field

from pipeline.ending import speaks_of_memory

_JOB = re.compile(r"Job (\d+): (.+)")
_FINISHED = re.compile(r"Finished jobid: (\d+) \(Rule: (\w+)\)")
_DONE = re.compile(r"(\d+) of (\d+) steps \(\d+(?:\.\d+)?%\) done")
_COUNT = re.compile(r"(\w+) +(\d+)")
_FAILED = re.compile(r"Error in (?:rule|checkpoint) (\w+):")
_LOG = re.compile(r"    log: (.+?)(?: \(check log file\(s\) for error details\))?")
_STATUS = re.compile(r".*' returned non-zero exit status (\d+)\.")
_SIGNAL = re.compile(r".*' died with <Signals\.(\w+): \d+>\.")
_REFUSED = re.compile(r'WorkflowError in file ".*", line \d+:')
_NOTHING = "Nothing to be done"
_ALL = "all"  # the rule that only names what is wanted


@dataclass
class FailedStep:
    """A step that failed: its rule, the log it wrote, and how its process ended."""

    rule: str
    log: str = ""
    status: int = 1
    signal: str = ""


@dataclass
class RunSoFar:
    """What is known of a run from the lines that were taken."""

    total: int = 0
    done: int = 0
    planned: Counter[str] = field(default_factory=Counter)
    """Jobs of each rule."""
    finished: Counter[str] = field(default_factory=Counter)
    """Jobs of each rule that ended well."""
    at_work: dict[int, str] = field(default_factory=dict)
    """What each job that is at work does, in its rule's words, the newest last."""
    failed: list[FailedStep] = field(default_factory=list)
    refusal: list[str] = field(default_factory=list)
    """Why the study can't be run, lines of one or more sentences; empty if it can."""
    nothing_to_do: bool = False
    memory_ran_out: bool = False
    step: str = ""
    """What is at work, in words: the newest of several, the last one in between, and empty before the first."""
    _within: str = ""
    _ended: FailedStep = field(default_factory=lambda: FailedStep(""))

    def take(self, line: str) -> None:
        """Take the next line, without its end."""
        self.memory_ran_out = self.memory_ran_out or speaks_of_memory(line)
        if self._within and self._goes_on(line):
            return
        self._within = ""
        if line == "Job stats:" and not self.planned:
            self._within = "counts"
        elif _REFUSED.fullmatch(line):
            self._within = "refusal"
        elif found := _JOB.fullmatch(line):
            self.at_work[int(found[1])] = self.step = found[2]
        elif found := _FINISHED.fullmatch(line):
            self.at_work.pop(int(found[1]), None)
            self.finished[found[2]] += 1
            self.step = next(reversed(self.at_work.values()), self.step)
        elif found := _DONE.fullmatch(line):
            self.done, self.total = int(found[1]), int(found[2])
        elif line.startswith(_NOTHING):
            self.nothing_to_do = True
        else:
            self._take_failure(line)

    def _take_failure(self, line: str) -> None:
        # How a process ended stands before the name of its rule.
        if found := _STATUS.fullmatch(line):
            self._ended = FailedStep("", status=int(found[1]))
        elif found := _SIGNAL.fullmatch(line):
            self._ended = FailedStep("", signal=found[1])
        elif found := _FAILED.fullmatch(line):
            self.failed.append(FailedStep(found[1], status=self._ended.status, signal=self._ended.signal))
            self._ended, self._within = FailedStep(""), "failure"

    def _goes_on(self, line: str) -> bool:
        """Take a line of the block that was begun; False if it is none of it."""
        if self._within == "refusal":
            if line.startswith("  File "):
                return False
            self.refusal.append(line)
            return True
        if self._within == "failure":
            if found := _LOG.fullmatch(line):
                self.failed[-1].log = found[1]
            return line.startswith("    ")
        if found := _COUNT.fullmatch(line):
            if found[1] == "total":
                self.total = int(found[2])
            elif found[1] != _ALL:
                self.planned[found[1]] = int(found[2])
        return bool(line)


def rule_of(name: str) -> str:
    """Give the rule whose time a file below a study's logs holds: the file's name, or that of the first folder.

    A rule with many jobs writes into a folder named after it.
    """
    return name.split("/")[0].removesuffix(".tsv")


def share_done(run: RunSoFar, seconds: dict[str, float]) -> float:
    """Give the share of a run's work that is done, from 0 to 1.

    Parameters
    ----------
    run : RunSoFar
    seconds : dict
        How long a job of a rule took last time. Without any, every job counts the same.
    """
    usual = sum(seconds.values()) / len(seconds) if seconds else 1.0
    jobs = run.planned | run.finished
    work = {rule: count * seconds.get(rule, usual) for rule, count in jobs.items()}
    # What a checkpoint added after the table was printed.
    added = max(0, run.total - 1 - jobs.total()) * usual
    total = sum(work.values()) + added
    return sum(run.finished[rule] * seconds.get(rule, usual) for rule in run.finished) / total if total else 0.0


LEAST_SHARE = 0.05  # below it, how fast a run gets on can't be told yet


def left_s(share: float, elapsed_s: float) -> float | None:
    """Give the time that a run still takes if it gets on as so far, s; None while that can't be told."""
    return None if share < LEAST_SHARE else elapsed_s * (1 - share) / share
