"""What `yardband run` says: the line of progress, the results, and why a run failed."""

import shlex
from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.ending import BAD_INPUT, MEMORY_RAN_OUT, OWN_FAULT
from pipeline.running.snakemake_lines import FailedStep, RunSoFar
from pipeline.texts.catalogue import told

STEPS_TOLD = 3  # of those that failed
SECONDS_TO_120 = 120  # from here on time is told in minutes
RESULTS = ("golfers assessed", "Progress: ")
# Where nobody could be compared with an earlier quarter, or by results by hand alone.
ELSE = ("Speed practice: ", "Goals: ", "By hand: ")
REFUSED = "  refused: "


def progress_line(step: str, share: float, left_s: float | None) -> str:
    """Give the line of progress; `left_s` as `snakemake_lines.left_s` gives it."""
    shown = step or told("run", "starting")
    return told("run", "progress", share=f"{min(99, int(100 * share)):d}", left=_left(left_s), step=shown)


def _left(seconds: float | None) -> str:
    if seconds is None:
        return told("run", "left_unknown")
    if seconds < SECONDS_TO_120:
        return told("run", "left_seconds", count=f"{max(1, 5 * round(seconds / 5)):d}")
    return told("run", "left_minutes", count=f"{round(seconds / 60):d}")


def took(steps: int, seconds: float) -> str:
    """Say how many steps were done in which time."""
    minutes, rest = divmod(round(seconds), 60)
    return told("run", "took", steps=str(steps), time=f"{minutes} min {rest} s" if minutes else f"{rest} s")


@dataclass(frozen=True)
class Made:
    """Where a run's results are: the summary and the academy's page, and how the study is named to open it."""

    summary: str
    page: str
    study: Sequence[str]


def result_lines(summary: str, made: Made) -> list[str]:
    """Choose three lines of a run's results from its summary.

    Parameters
    ----------
    summary : str
        The text of summary.txt.
    made : Made

    Returns
    -------
    list of str
        Golfers assessed and flagged; progress, or else practice or goals; what to open.
    """
    lines = summary.splitlines()
    chosen = [line for words in RESULTS for line in lines if words in line]
    chosen += [line for words in ELSE for line in lines if line.startswith(words)]
    named = shlex.join(made.study)
    return [*chosen[:2], told("run", "where", page=made.page, study=named, summary=made.summary)]


def refused_lines(summary: str) -> list[str]:
    """Give what a summary says of refused logs, a line each."""
    return [line.strip() for line in summary.splitlines() if line.startswith(REFUSED)]


def failure_lines(run: RunSoFar, said: Sequence[Sequence[str]], run_log: str, status: int) -> tuple[int, list[str]]:
    """Say why a run failed, and in which log to look.

    Parameters
    ----------
    run : RunSoFar
    said : sequence of sequences of str
        What each step of `run.failed` said at its end, lines of one or more sentences.
    run_log : str
        The log of the whole run.
    status : int
        With which Snakemake ended.

    Returns
    -------
    tuple of int and list of str
        The exit status, and the lines.
    """
    if run.refusal:
        return BAD_INPUT, run.refusal
    if run.failed:
        lines = []
        for step, sentences in list(zip(run.failed, said, strict=True))[:STEPS_TOLD]:
            lines += [*_step_lines(step, sentences, run), told("run", "see", log=step.log or run_log)]
        # The machine's lack is as bad input: a mend outside Yardband makes the same line work.
        mendable = any(step.status == BAD_INPUT or _is_memory(step, run) for step in run.failed)
        return (BAD_INPUT if mendable else OWN_FAULT), list(dict.fromkeys(lines))
    if run.memory_ran_out:
        return BAD_INPUT, [told("run", "memory", trouble=MEMORY_RAN_OUT), told("run", "see", log=run_log)]
    return OWN_FAULT, [told("run", "unknown", status=str(status)), told("run", "see", log=run_log)]


# Shells tell a signal by 128 and its number.
_SIGNALS = {137: "SIGKILL", 134: "SIGABRT", 139: "SIGSEGV", 143: "SIGTERM"}


def _signal(step: FailedStep) -> str:
    return step.signal or _SIGNALS.get(step.status, "")


def _is_memory(step: FailedStep, run: RunSoFar) -> bool:
    return _signal(step) == "SIGKILL" or (bool(_signal(step)) and run.memory_ran_out)


def _step_lines(step: FailedStep, sentences: Sequence[str], run: RunSoFar) -> list[str]:
    signal = _signal(step)
    if sentences:
        return list(sentences)
    if signal in ("SIGKILL", "SIGTERM"):
        trouble = told("run", "killed_mend", trouble=MEMORY_RAN_OUT)
        return [told("run", "step_killed", step=step.rule, signal=signal, trouble=trouble)]
    if _is_memory(step, run):
        return [told("run", "step_memory", step=step.rule, trouble=MEMORY_RAN_OUT)]
    if signal:
        return [told("run", "step_crashed", step=step.rule, signal=signal)]
    return [told("run", "step_silent", step=step.rule, status=str(step.status))]
