"""What all fits to the same drives share: golfers, their folds, devices and balls, and how the inputs are spread."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.configuration.study import Model
from pipeline.drives import Drives, straightened, typical_drives
from pipeline.fit.surface import Extent
from pipeline.fit.usual_delivery import UsualDelivery, fit_usual_delivery
from pipeline.flight.offsets import Offsets, count_levels, offsets_from
from pipeline.flight.regressors import Regressors, values_of
from pipeline.statistics.arrays import Array
from pipeline.threads import apart

_MISSING = Drives([].__iter__)

REGRESSOR_GOLFERS = 6  # as any fit needs; fewer would say more of themselves than of the column

_FOLDS = Model().folds  # of a study that says nothing


INPUTS = ("club_speed_mph", "ball_speed_mph", "launch_deg", "spin_rpm")


class Surveyed(NamedTuple):
    """What a survey takes of a piece of the drives, so that it reads them once; see `Survey.pooled`."""

    typical: pl.DataFrame
    levels: pl.DataFrame
    flown: pl.DataFrame
    inputs: list[Array]
    means: pl.DataFrame

    @classmethod
    def of(cls, frame: pl.DataFrame, among: pl.Expr | None, regressors: Sequence[str]) -> "Surveyed":
        """Take it from straightened drives."""
        return cls(
            typical_drives(frame, ["golfer"]),
            count_levels(entering(frame, among), "golfer", "quarter"),
            _flown(frame),
            _inputs(frame),
            _means(entering(frame, among), regressors),
        )

    def typed(self, golfer: pl.DataType) -> "Surveyed":
        """Give the column `golfer` of all tables a type."""
        told = pl.col("golfer").cast(golfer)
        typical, levels, means = (table.with_columns(told) for table in (self.typical, self.levels, self.means))
        return self._replace(typical=typical, levels=levels, means=means)


@dataclass(frozen=True)
class Survey:
    """What all fits to the same drives share.

    Attributes
    ----------
    drives : Drives
        Those of the fits, `straightened`; see also `with_flown_scaled`.
    typical : DataFrame
        One row per golfer, from `typical_drives` of these drives.
    fold : ndarray of int, shape (golfers,)
        Golfers in the order of `typical`.
    among : Expr or None
        Which drives may enter a fit; None for all. The others are only predicted.
    levels : DataFrame
        Drives that may enter a fit, by quarter, fold, device and ball.
    extents : dict
        For each speed that the drives have: the spread of speed, launch and spin.
    strike : float
        Of the usual deliveries; see `UsualDelivery`.
    regressors : Regressors
        What else carry may depend on, with centers and no coefficients.
    left_by_any_fold : int
        How many golfers with drives that enter a fit are outside any fold, at the least.
    flown_scale : float
        By which the drives' `flown_yd` is scaled.
    """

    drives: Drives
    typical: pl.DataFrame
    fold: npt.NDArray[np.int64]
    among: pl.Expr | None
    levels: pl.DataFrame
    extents: dict[str, tuple[Extent, Extent, Extent]]
    strike: float = UsualDelivery.strike
    regressors: Regressors = field(default_factory=Regressors)
    left_by_any_fold: int = 0
    flown_scale: float = 1.0

    @classmethod
    def of(
        cls,
        drives: pl.DataFrame | Drives,
        seed: int = 0,
        folds: pl.DataFrame | None = None,
        among: pl.Expr | None = None,
        number: int = _FOLDS,
        strike: float = UsualDelivery.strike,
        regressors: Sequence[str] = (),
    ) -> "Survey":
        """Read the drives; `seed` shares golfers out over a `number` of folds, unless `folds` (golfer, fold) does.

        `regressors` names columns of the drives; one that they lack counts as not known.
        """
        straight = Drives.of(drives).mapped(straightened)
        parts = list(straight.each(partial(Surveyed.of, among=among, regressors=regressors)))
        return cls.pooled(parts, seed, folds, among, number, strike, regressors).over(straight)

    @classmethod
    def pooled(
        cls,
        parts: Iterable[Surveyed],
        seed: int = 0,
        folds: pl.DataFrame | None = None,
        among: pl.Expr | None = None,
        number: int = _FOLDS,
        strike: float = UsualDelivery.strike,
        regressors: Sequence[str] = (),
    ) -> "Survey":
        """Put together what was taken of the pieces, which is read again and again; the drives are missing yet."""
        typical = pl.concat(part.typical for part in parts).sort("golfer")
        if folds is None:
            folds = typical.select("golfer", pl.Series("fold", share_out(typical.height, seed, number)))
        fold = typical.join(folds, on="golfer", how="left", maintain_order="left").get_column("fold").to_numpy()
        counts, entered = [], []
        for part in parts:
            here = part.levels.join(folds, on="golfer")
            counts.append(here.group_by("quarter", "fold", "device", "ball").agg(pl.col("drives").sum()))
            entered.append(here.select("golfer", "fold").unique().get_column("fold").value_counts())
        levels = pl.concat(counts).group_by("quarter", "fold", "device", "ball").agg(pl.col("drives").sum())
        left = _left_by_any_fold(pl.concat(entered))
        extents = _extents(lambda: (part.inputs for part in parts))
        flown, means = (pl.concat(tables) for tables in zip(*((part.flown, part.means) for part in parts), strict=True))
        scale = _flown_scale(flown)
        known = _centered(means, regressors)
        return cls(_MISSING, typical, fold, among, levels, extents, strike, known, left, scale)

    def over(self, straight: Drives) -> "Survey":
        """Give the survey its drives: those that it was taken of, straightened."""
        return replace(self, drives=straight.mapped(partial(with_flown_times, scale=self.flown_scale)))

    @property
    def fold_of_golfers(self) -> pl.DataFrame:
        """Give the fold of each golfer: golfer, fold."""
        return self.typical.select("golfer", pl.Series("fold", self.fold))

    @property
    def quarters(self) -> list[str]:
        """The quarters of the drives, in order."""
        return self.levels.get_column("quarter").unique().sort().to_list()

    @property
    def folds(self) -> int:
        """Number of folds."""
        return int(self.fold.max()) + 1

    @property
    def shots(self) -> int:
        """Number of drives."""
        return int(self.levels.get_column("drives").sum())

    def offsets(self, without: int | None = None) -> Offsets:
        """Choose the device and ball terms, of all drives or of those outside a fold."""
        return offsets_from(self.levels if without is None else self.levels.filter(pl.col("fold") != without))

    def trends(self) -> list[UsualDelivery]:
        """Fit the trends without each fold: they are the same for all candidates."""
        rest = [self.typical.filter(pl.Series(self.fold != k)) for k in range(self.folds)]
        return apart(partial(fit_usual_delivery, strike=self.strike), rest)


def with_flown_scaled(drives: Drives) -> Drives:
    """Scale `flown_yd` so that it sums to carry on the commonest device and ball, of which the others have shares.

    Where flight could not be calibrated it may be off by some hundredths, and a share would be too.
    """
    return drives.mapped(partial(with_flown_times, scale=_flown_scale(drives.gathered(_flown))))


def _flown(frame: pl.DataFrame) -> pl.DataFrame:
    """Sum carry and flight of drives up, by device and ball."""
    both = pl.col("carry_standard_yd", "flown_yd").sum()
    return frame.group_by("device", "ball").agg(pl.len().cast(pl.Int64), both)


def _flown_scale(sums: pl.DataFrame) -> float:
    """Give the scale of flight by the sums of the drives' pieces, from `_flown`."""
    pair = ["device", "ball"]
    summed = sums.group_by(pair).sum().sort("len", *pair, descending=[True, False, False])
    carry, flown = summed.select("carry_standard_yd", "flown_yd").row(0) if summed.height else (0.0, 0.0)
    return float(carry / flown) if flown else 1.0


def with_flown_times(drives: pl.DataFrame, scale: float) -> pl.DataFrame:
    """Scale the flight of drives."""
    return drives.with_columns(pl.col("flown_yd") * scale)


def entering(frame: pl.DataFrame, among: pl.Expr | None) -> pl.DataFrame:
    """Keep the drives that may enter a fit."""
    return frame if among is None else frame.filter(among.fill_null(False))


def _left_by_any_fold(golfers: pl.DataFrame) -> int:
    by_fold = golfers.group_by("fold").agg(pl.col("count").sum())
    return int(by_fold.select(pl.col("count").sum() - pl.col("count").max().fill_null(0)).item())


def share_out(golfers: int, seed: int, number: int = _FOLDS) -> npt.NDArray[np.int64]:
    """Share golfers out over a number of folds at random, as evenly as can be: the fold of each, shape (golfers,)."""
    folds = min(number, golfers)
    order = np.random.default_rng([seed, 0]).permutation(golfers)
    return np.asarray((np.arange(golfers) % folds)[np.argsort(order)], dtype=np.int64)


def _means(frame: pl.DataFrame, names: Sequence[str]) -> pl.DataFrame:
    """Give each golfer's mean of regressors; no row without any."""
    if not names:
        return frame.select("golfer").clear()
    values = {name: values_of(frame, name) for name in names}
    return frame.select("golfer").with_columns(**values).fill_nan(None).group_by("golfer").agg(pl.all().mean())


def centered(drives: Drives, names: Sequence[str]) -> Regressors:
    """Give regressors their centers: of each column the mean of golfers' means.

    A column without values of `REGRESSOR_GOLFERS` golfers is no regressor.
    """
    return _centered(drives.gathered(partial(_means, names=names)), names)


def _centered(means: pl.DataFrame, names: Sequence[str]) -> Regressors:
    found = means.sort("golfer")
    known = [name for name in names if found.get_column(name).count() >= REGRESSOR_GOLFERS]
    return Regressors(tuple(known), np.array([found.get_column(name).mean() for name in known]))


def extents_of(drives: Drives) -> dict[str, tuple[Extent, Extent, Extent]]:
    """Give how speed, launch and spin are spread, for each speed that all drives have."""
    return _extents(lambda: (_inputs(frame) for frame in drives.read()))


def _inputs(frame: pl.DataFrame) -> list[Array]:
    return [frame.get_column(name).cast(pl.Float64).to_numpy() for name in INPUTS]


def _extents(read: Callable[[], Iterable[Sequence[Array]]]) -> dict[str, tuple[Extent, Extent, Extent]]:
    club, ball, launch, spin = Extent.of_pieces(read)
    found = {"club": (club, launch, spin)}
    return found if np.isnan(ball.mean) else found | {"ball": (ball, launch, spin)}
