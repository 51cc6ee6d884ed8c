"""Device and ball terms: constant differences of carry against the device and ball of most drives."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.flight.ball import Array

UNSTATED = "unstated"
MIN_SHOTS = 30  # below this a level's offset would be noise: its drives count as the reference's


@dataclass(frozen=True)
class Offsets:
    """The levels that have a term of their own.

    Attributes
    ----------
    reference : dict of str to str
        For `device` and `ball`: the level of most drives, whose offset is nil.
    levels : tuple of (str, str)
        (column, level) of each term, in order.
    """

    reference: dict[str, str]
    levels: tuple[tuple[str, str], ...]

    @property
    def labels(self) -> tuple[str, ...]:
        """Names of the terms, such as `device:unit-B`."""
        return tuple(f"{column}:{level}" for column, level in self.levels)

    def design(self, drives: pl.DataFrame) -> Array:
        """Build indicator columns, shape (n, terms), from the columns `device` and `ball`."""
        columns = [
            drives.get_column(column).fill_null(UNSTATED).eq(level).to_numpy().astype(float)
            for column, level in self.levels
        ]
        return np.stack(columns, axis=-1) if columns else np.zeros((drives.height, 0))

    def to_dict(self) -> dict[str, Any]:
        """Give plain values for JSON."""
        return {"reference": self.reference, "levels": [list(level) for level in self.levels]}

    @classmethod
    def from_dict(cls, raw: dict[str, Any]) -> "Offsets":
        """Rebuild what `to_dict` gave."""
        return cls(raw["reference"], tuple((str(c), str(v)) for c, v in raw["levels"]))


def find_offsets(drives: pl.DataFrame, among: npt.NDArray[np.bool_] | None = None) -> Offsets:
    """Choose reference levels and the levels that get a term.

    Parameters
    ----------
    drives : DataFrame
        Needs the columns `device` and `ball`.
    among : ndarray of bool, optional
        The drives that count, such as those of the golfers in the fit.

    Returns
    -------
    Offsets
        Levels with fewer than `MIN_SHOTS` drives get no term; nor does a level that can't be told apart from
        the terms before it (a ball that is only hit at one device).
    """
    rows = drives if among is None else drives.filter(pl.Series(among))
    reference: dict[str, str] = {}
    levels: list[tuple[str, str]] = []
    columns: list[Array] = [np.ones(rows.height)]
    for column in ("device", "ball"):
        counts = _counts(rows.get_column(column).fill_null(UNSTATED))
        if not counts:
            continue
        reference[column] = counts[0][0]
        for level, count in counts[1:]:
            indicator = rows.get_column(column).fill_null(UNSTATED).eq(level).to_numpy().astype(float)
            apart = np.linalg.matrix_rank(np.stack([*columns, indicator], axis=-1)) > len(columns)
            if count >= MIN_SHOTS and apart:
                levels.append((column, level))
                columns.append(indicator)
    return Offsets(reference, tuple(levels))


def _counts(values: pl.Series) -> Sequence[tuple[str, int]]:
    """Levels with their counts, most frequent first, ties in the order of their names."""
    counted = values.value_counts().sort(["count", values.name], descending=[True, False])
    return list(zip(counted.get_column(values.name).to_list(), counted.get_column("count").to_list(), strict=True))
