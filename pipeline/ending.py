"""How a run ends for its user: one plain sentence on standard error and an exit status, never a traceback."""

import errno
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from pipeline.errors import UserError

DONE = "Done."  # a step's last line in its log

BAD_INPUT = 2
OWN_FAULT = 1
TRACEBACK_SWITCH = "YARDBAND_TRACEBACK"

_FULL = (errno.ENOSPC, errno.EDQUOT)
_SHUT = (errno.EROFS, errno.EACCES, errno.EPERM)


@dataclass
class Outcome:
    """How a block of `told` ended."""

    status: int = 0


@contextmanager
def told(place: str) -> Iterator[Outcome]:
    """Tell what goes wrong in a block on standard error, and note the exit status.

    A UserError is bad input (status 2), and so is a disk that is full or can't be written. Any other error is a fault
    of Yardband (status 1); its text isn't shown, for libraries put the content of rows into theirs, unless the
    environment variable YARDBAND_TRACEBACK is set.

    Parameters
    ----------
    place : str
        Where the block runs, such as "in the step load_shots".
    """
    outcome = Outcome()
    try:
        yield outcome
    except UserError as error:
        outcome.status = BAD_INPUT
        print(error, file=sys.stderr)
    except Exception as error:
        if os.environ.get(TRACEBACK_SWITCH):
            raise
        trouble = writing_trouble(error)
        if trouble is not None:
            outcome.status = BAD_INPUT
            print(f"{place[:1].upper()}{place[1:]}: {trouble}", file=sys.stderr)
            return
        outcome.status = OWN_FAULT
        print(
            f"Yardband met a fault of its own {place} ({type(error).__name__}); report it to its developers. With "
            f"{TRACEBACK_SWITCH}=1 it shows where.",
            file=sys.stderr,
        )


def writing_trouble(error: BaseException) -> str | None:
    """Say in plain words what keeps files from being written, and the mend; None if `error` isn't of that kind.

    Libraries put the system's words into errors of their own, so those count too.
    """
    seen: set[int] = set()
    one: BaseException | None = error
    while one is not None and id(one) not in seen:
        seen.add(id(one))
        if _is(one, _FULL):
            return (
                "there is no room left to write, on its disk or in the temporary folder; make room and start again: "
                "the run goes on where it stopped."
            )
        if _is(one, _SHUT):
            return "a file or folder can't be opened or written; see who may read and write it, then start again."
        one = one.__cause__ or one.__context__
    return None


def _is(error: BaseException, codes: tuple[int, ...]) -> bool:
    return getattr(error, "errno", None) in codes or any(os.strerror(code) in str(error) for code in codes)
