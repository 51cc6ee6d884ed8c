"""Regressors: further columns of the drives that carry may depend on, each by a share of carry per unit of the column.

They enter a fit as devices' and balls' shares do (`pipeline.flight.offsets`): carry is the surface's times 1 plus the
shares, one of which is b (x - c). Golfers count alike in the center c, however many drives they have.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import polars as pl

from pipeline.statistics.arrays import Array

LABEL = "regressor:"  # before a regressor's name, among the terms of a fit


def _none() -> Array:
    return np.zeros(0)


@dataclass(frozen=True)
class Regressors:
    """The regressors of a model.

    Attributes
    ----------
    names : tuple of str
        Of columns of the drives.
    centers : ndarray, shape (regressors,)
        Of each the mean of golfers' means, in its own unit. Carry is expected at the centers unless a drive's own
        values are given.
    coefficients : ndarray, shape (regressors,)
        Share of carry that a unit of the column adds. Empty before a fit.
    std_errors : ndarray, shape (regressors,)
        Clustered by golfer. Empty before they are worked out.
    """

    names: tuple[str, ...] = ()
    centers: Array = field(default_factory=_none)
    coefficients: Array = field(default_factory=_none)
    std_errors: Array = field(default_factory=_none)

    @property
    def labels(self) -> tuple[str, ...]:
        """Names of the terms, such as `regressor:attack_deg`."""
        return tuple(f"{LABEL}{name}" for name in self.names)

    def design(self, drives: pl.DataFrame) -> Array:
        """Give each regressor less its center, shape (n, regressors); 0 where it isn't known or the column lacks."""
        columns = [values_of(drives, name) - center for name, center in zip(self.names, self.centers, strict=True)]
        return np.nan_to_num(np.stack(columns, axis=-1)) if columns else np.zeros((drives.height, 0))

    def terms(self, drives: pl.DataFrame) -> Array:
        """Build the columns of a fit, shape (n, regressors), as `Offsets.terms` does."""
        return np.asarray(self.design(drives) * drives.get_column("flown_yd").to_numpy()[:, None])

    def added_share(self, drives: pl.DataFrame) -> Array:
        """Give what the regressors of drives add to carry, as a share of it, shape (n,)."""
        return np.asarray(self.design(drives) @ self.coefficients)

    def only(self, names: Sequence[str]) -> "Regressors":
        """Keep some of the regressors, in their own order."""
        kept = [place for place, name in enumerate(self.names) if name in names]
        parts = (self.centers, self.coefficients, self.std_errors)
        return Regressors(tuple(self.names[k] for k in kept), *(part[kept] if len(part) else part for part in parts))

    def fitted(self, coefficients: Array) -> "Regressors":
        """Give the same with coefficients."""
        return replace(self, coefficients=coefficients)


def values_of(drives: pl.DataFrame, name: str) -> Array:
    """Give a column of drives as numbers, shape (n,); NaN where a value isn't known, or if there is no such column."""
    if name not in drives.columns:
        return np.full(drives.height, np.nan)
    return drives.get_column(name).cast(pl.Float64).to_numpy()
