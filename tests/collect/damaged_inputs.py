"""A generator of damaged studies, of kinds that the other tests of damage don't draw; each the same for its number.

`draw(kind, number, folder)` writes a study with a sound log and one thing wrong. `try_one` checks it as a person does.
"""

import os
import random
import re
import signal
import sys
import tempfile
from collections.abc import Callable
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

from click.testing import CliRunner
from damaged_logs import Damage, parquet_log, text_log, workbook
from damaged_settings import file_name, key, layout, study, study_at

from pipeline.cli import cli

MOST_SECONDS = 300  # of one check, on a machine that does other things too; usual ones take a tenth of a second


class Late(BaseException):
    """A check takes too long; no Exception, which the program would tell in a sentence of its own."""


class Outcome(NamedTuple):
    """What a check came to."""

    status: int
    told: str
    problems: str
    screen: str
    """What went past Python to standard error."""


# --- checking


@contextmanager
def in_time(seconds: int):
    """Raise Late in a block that takes longer."""

    def late(*_):
        raise Late

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def check(folder: Path) -> Outcome:
    """Check a study as `yardband check` does, in this process, and keep what libraries print."""
    sys.stderr.flush()
    kept = os.dup(2)
    with tempfile.TemporaryFile() as screen:
        os.dup2(screen.fileno(), 2)
        try:
            with in_time(MOST_SECONDS):
                done = CliRunner().invoke(cli, ["check", str(folder)])
        finally:
            os.dup2(kept, 2)
            os.close(kept)
        screen.seek(0)
        printed = screen.read().decode("utf-8", "replace")
    return Outcome(done.exit_code, done.stdout, done.stderr, printed)


def faults(found: Outcome, damage: Damage) -> list[str]:
    """Say what is wrong with how a check ended; nothing if it ended as it should."""
    wrong = []
    if found.status not in (0, 2):
        wrong.append(f"status {found.status}")
    if "fault of its own" in found.problems or "Traceback" in found.problems + found.screen or "panick" in found.screen:
        wrong.append("a traceback, a panic or a fault of its own")
    if (found.status == 2) != bool(found.problems.strip()):
        wrong.append("a status that doesn't fit what was told")
    wrong += [f"no sentence: {line}" for line in found.problems.splitlines() if not re.search(r"[.?]$|STUDY$", line)]
    wrong += [f"a long sentence: {line[:80]}" for line in found.problems.splitlines() if len(line) > 1500]
    if "Oak" in found.told + found.problems + found.screen:
        wrong.append("a golfer's name")
    for rows, accepted, rejected in re.findall(r"(\d+) rows read, (\d+) accepted, (\d+) rejected", found.told):
        if int(rows) != int(accepted) + int(rejected):
            wrong.append("rows that don't add up")
    if damage.neighbour and "logs/a.csv: 2 rows read, 2 accepted, 0 rejected" not in found.told:
        wrong.append("the sound log isn't read")
    return wrong


def try_one(kind: str, number: int, folder: Path) -> tuple[Damage, Outcome]:
    """Draw a damaged study and check it; AssertionError says what is wrong with how that ended."""
    damage = draw(kind, number, folder)
    try:
        found = check(folder)
    except Late:
        raise AssertionError((kind, number, damage.what, "hangs")) from None
    wrong = faults(found, damage)
    assert not wrong, (kind, number, damage.what, wrong, found.problems[-600:])
    return damage, found


def draw(kind: str, number: int, folder: Path) -> Damage:
    """Write the study of a kind and number into an empty folder."""
    return KINDS[kind](study_at(folder), random.Random(f"{kind} {number}"))


KINDS: dict[str, Callable[[Path, random.Random], Damage]] = {
    "text logs": text_log,
    "workbooks": workbook,
    "parquet files": parquet_log,
    "layouts": layout,
    "studies": study,
    "keys": key,
    "names of files": file_name,
}
SHARES = {
    "text logs": 90,
    "workbooks": 110,
    "parquet files": 100,
    "layouts": 70,
    "studies": 60,
    "keys": 30,
    "names of files": 40,
}
