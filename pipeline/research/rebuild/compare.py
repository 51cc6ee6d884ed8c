"""What differs between the figures of two runs: tables cell by cell, arrays, and the numbers of texts."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.statistics.arrays import Figures, Values

SHOWN = 3  # numbers of a text that are quoted where it begins to differ


@dataclass(frozen=True)
class Difference:
    """What differs in one part of a file.

    Attributes
    ----------
    what : str
        In words, such as "column lost_yd: 3 of 210 cells differ".
    largest : float or None
        Largest difference of two numbers, in their own unit; None where something else than numbers differs.
    """

    what: str
    largest: float | None = None


@dataclass(frozen=True)
class Allowed:
    """How far two numbers may lie apart and still be the same.

    Attributes
    ----------
    relative : float
    absolute : callable
        Of the name of a column, array or key; "picture" for the mean difference of pixels.
    renamed : mapping
        Columns or arrays that have another name since; an empty one is gone.
    """

    relative: float
    absolute: Callable[[str], float]
    renamed: Mapping[str, str]


EXACTLY = Allowed(0.0, lambda name: 0.0, {})  # noqa: ARG005


def differences(old: Mapping[str, Figures], new: Mapping[str, Figures], allowed: Allowed = EXACTLY) -> list[Difference]:
    """List what differs between two files' figures; what only `new` has doesn't count.

    Parameters
    ----------
    old, new : mapping
        From `pipeline.edge.result_files.figures_of`.
    allowed : Allowed
    """
    found: list[Difference] = []
    for name, figures in old.items():
        short = name.removeprefix("array ")
        there = new.get(f"array {allowed.renamed[short]}" if short in allowed.renamed else name)
        if there is None or type(there) is not type(figures):
            found.append(Difference(f"{name} is missing"))
        elif isinstance(figures, pl.DataFrame) and isinstance(there, pl.DataFrame):
            head = f"{name}: " if name else ""
            found += [Difference(head + one.what, one.largest) for one in _of_tables(figures, there, allowed)]
        elif isinstance(figures, tuple) and isinstance(there, tuple):
            found += _of_texts(figures, there)
        elif isinstance(figures, np.ndarray) and isinstance(there, np.ndarray):
            found += _of_arrays(name, figures, there, allowed)
    return found


def _of_tables(old: pl.DataFrame, new: pl.DataFrame, allowed: Allowed) -> list[Difference]:
    if old.height != new.height:
        return [Difference(f"{old.height} rows, now {new.height}")]
    found: list[Difference] = []
    for name in old.columns:
        wanted = allowed.renamed.get(name, name)
        if not wanted:
            continue
        if wanted not in new.columns:
            found.append(Difference(f"column {wanted} is missing"))
            continue
        apart, largest = _cells(old[name], new[wanted], allowed.relative, allowed.absolute(wanted))
        count = int(np.count_nonzero(apart))
        if count:
            found.append(Difference(f"column {wanted}: {count} of {old.height} cells differ", largest))
    return found


def _cells(
    old: pl.Series, new: pl.Series, relative: float, absolute: float
) -> tuple[npt.NDArray[np.bool_], float | None]:
    """Mark the cells that differ, and give the largest difference of those that are numbers."""
    if old.dtype.is_nested():
        pairs = zip(old.to_list(), new.to_list(), strict=True)
        return np.array([one != other for one, other in pairs], dtype=bool), None
    texts = [one.cast(pl.String) for one in (old, new)]
    before, after = (one.cast(pl.Float64, strict=False).to_numpy() for one in texts)
    with np.errstate(invalid="ignore"):
        close = np.isclose(before, after, rtol=relative, atol=absolute)
        gaps = np.abs(after - before)
    apart = ~(texts[0].eq_missing(texts[1]).to_numpy() | close)
    known = gaps[apart & np.isfinite(gaps)]
    return apart, float(known.max()) if len(known) else None


def _of_arrays(name: str, old: Values, new: Values, allowed: Allowed) -> list[Difference]:
    short = name.split(" ", 1)[-1]
    if old.shape != new.shape:
        return [Difference(f"{name}: {old.size} figures, now {new.size}")]
    if old.dtype.kind not in "fiub":
        return [] if np.array_equal(old, new) else [Difference(f"{name} differs")]
    before, after = old.astype(float), new.astype(float)
    if name == "picture":
        mean = float(np.abs(before - after).mean())
        return [Difference("the picture differs")] if mean > allowed.absolute(short) else []
    close = np.isclose(before, after, rtol=allowed.relative, atol=allowed.absolute(short), equal_nan=True)
    if close.all():
        return []
    gaps = np.abs(after - before)[~close]
    largest = float(gaps[np.isfinite(gaps)].max(initial=0.0))
    return [Difference(f"{name}: {int(np.count_nonzero(~close))} of {old.size} figures differ", largest)]


def _of_texts(old: tuple[str, ...], new: tuple[str, ...]) -> list[Difference]:
    if old == new:
        return []
    shorter = min(len(old), len(new))
    place = next((i for i in range(shorter) if old[i] != new[i]), shorter)
    before, after = (" ".join(one[place : place + SHOWN]) or "nothing" for one in (old, new))
    return [Difference(f"number {place + 1} of {len(old)}: {before}, now {after}")]
