"""How a run ends for its user: one plain sentence on standard error and an exit status, never a traceback."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from pipeline.errors import UserError

BAD_INPUT = 2
OWN_FAULT = 1
TRACEBACK_SWITCH = "YARDBAND_TRACEBACK"


@dataclass
class Outcome:
    """How a block of `told` ended."""

    status: int = 0


@contextmanager
def told(place: str) -> Iterator[Outcome]:
    """Tell what goes wrong in a block on standard error, and note the exit status.

    A UserError is bad input (status 2). Any other error is a fault of Yardband (status 1); its text isn't shown, for
    libraries put the content of rows into theirs, unless the environment variable YARDBAND_TRACEBACK is set.

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
        outcome.status = OWN_FAULT
        print(
            f"Yardband met a fault of its own {place} ({type(error).__name__}); report it to its developers. With "
            f"{TRACEBACK_SWITCH}=1 it shows where.",
            file=sys.stderr,
        )
