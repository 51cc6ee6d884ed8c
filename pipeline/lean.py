"""A quick start: what libraries do and import while they are imported, and nothing here needs, is left out."""

import atexit
import gc
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager

# dataframely takes SQLAlchemy along for schemas in databases, of which there are none: a third of its import.
UNUSED = ("sqlalchemy",)

# Objects made before garbage is looked for. A start makes a hundred thousand that stay, among which Python would look a
# hundred times, each time at more of them.
OBJECTS = 50_000


def start_quickly() -> None:
    """Set up a process of ours before libraries are imported."""
    gc.set_threshold(OBJECTS, 20, 100)
    # At its end Python would look through all that is left, in vain.
    atexit.register(gc.freeze)
    # pydantic would read what every installed package says of itself, to find plugins for itself.
    os.environ["PYDANTIC_DISABLE_PLUGINS"] = "__all__"


@contextmanager
def uncollected() -> Iterator[None]:
    """Let Python not look for garbage in a block that makes many plain values, none of which holds itself."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


@contextmanager
def left_out(packages: tuple[str, ...] = UNUSED) -> Iterator[None]:
    """Let imports in a block take packages for ones that aren't installed; those imported before stay.

    Parameters
    ----------
    packages : tuple of str
        Each must be optional to whoever imports it.
    """
    absent = [name for name in packages if name not in sys.modules]
    sys.modules.update(dict.fromkeys(absent))  # type: ignore[arg-type] # None there is Python's sign for "none such"
    try:
        yield
    finally:
        for name in absent:
            sys.modules.pop(name, None)
