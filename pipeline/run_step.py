"""Run one step in this process: its name, and JSON objects of keywords of its `run`.

Only the module of that step is imported, so that a step starts quickly. The workflow's rules have the same names.
"""

import importlib
import io
import json
import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager, redirect_stderr, redirect_stdout, suppress
from functools import cache
from pathlib import Path
from typing import Any, TextIO

from pipeline.ending import DONE, ONE_THREAD, Outcome, outliving, told
from pipeline.errors import UserError
from pipeline.handover import LOG
from pipeline.lean import left_out, start_quickly

# Results are for the academy's own eyes, whatever others use the machine: files get 0600 and folders 0700. What may be
# published, benchmarks/, is handed on as a copy.
OWNER_ALONE = 0o077


@cache
def module_of(step: str) -> str:
    """Find the module of a step, which is named after it; the folders of `pipeline` are searched.

    Raises
    ------
    UserError
        If there is none.
    """
    package = Path(__file__).parent
    found = list(package.rglob(f"{step}.py")) if step.isidentifier() else []
    if len(found) != 1:
        raise UserError(f"{step}: isn't a step; call a step as its rule in the Snakefile does.")
    return ".".join(("pipeline", *found[0].relative_to(package).with_suffix("").parts))


class _Both(io.TextIOBase):
    """A stream whose text also goes to a log; a log that can't be written stops nothing."""

    def __init__(self, shown: TextIO, log: TextIO) -> None:
        self.shown, self.log = shown, log

    def write(self, text: str) -> int:
        with suppress(OSError):
            self.log.write(text)
        return self.shown.write(text)

    def flush(self) -> None:
        self.shown.flush()


@contextmanager
def logged(path: str) -> Iterator[Outcome]:
    """Write what a block prints to a log too, with a last line if it ended well; without a path there is no log."""
    outcome = Outcome()
    with ExitStack() as stack:
        log = None
        with suppress(OSError):
            log = stack.enter_context(Path(path).open("w", encoding="utf-8", buffering=1)) if path else None
        if log is not None:
            stack.enter_context(redirect_stdout(_Both(sys.stdout, log)))
            stack.enter_context(redirect_stderr(_Both(sys.stderr, log)))
        yield outcome
        if log is not None and outcome.status == 0:
            with suppress(OSError):
                log.write(f"{DONE}\n")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the step named by the arguments (those of the command line if None); give the exit status."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    start_quickly()
    os.umask(OWNER_ALONE)  # as the Snakefile does, for a step that is run by itself
    with logged(os.environ.get(LOG, "")) as done:
        status = outliving(lambda: _run(given), _place(given))
        done.status = status
    return status


def _place(given: list[str]) -> str:
    return f"in the step {given[0]}" if given else "in no step"


def _run(given: list[str]) -> int:
    with told(_place(given)) as outcome:
        if len(given) < 2:
            raise UserError("usage: python -m pipeline.step NAME JSON..., where NAME is a rule of the workflow.")
        name, *texts = given
        module = module_of(name)
        keywords: dict[str, Any] = {}
        for text in texts:
            try:
                part = json.loads(text)
            except json.JSONDecodeError:
                raise UserError(f"{name}: the settings can't be read as JSON; give objects of keywords.") from None
            if not isinstance(part, dict):
                raise UserError(f"{name}: the settings aren't JSON objects; give objects of keywords.")
            keywords |= part
        os.environ.update(dict.fromkeys(ONE_THREAD, "1"))
        with left_out():
            importlib.import_module(module).run(**keywords)
    return outcome.status
