"""A fitted model as a researcher asks it: drives in, expected carry with an interval of any level out."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from pipeline.benchmark.frontier import Frontier
from pipeline.errors import UserError
from pipeline.fit.model import CarryModel, Delivery, known_key
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import LEVEL

READINGS = ("ball_speed_mph", "launch_deg", "spin_rpm")
OUTSIDE = "outside the drives of the study: golfers of about that club speed don't strike such drives"
NO_LEVEL = "no interval: at another level than 0.9 there is one where everything or club speed alone is known"


@dataclass(frozen=True)
class StudyModel:
    """A model of carry over speed, launch and spin, and what its intervals come from.

    Attributes
    ----------
    id : str
        As in `Study.kept`; a fit that isn't kept has one too.
    fitted : CarryModel
        The model itself, for its surface, coefficients and shares.
    frontier : Frontier
        Of the study: it knows which drives golfers of a club speed strike.
    held_out : callable or None
        Reads the predictions on golfers held out; None for a kept model, which has none.
    """

    id: str
    fitted: CarryModel
    frontier: Frontier
    held_out: Callable[[], pl.DataFrame] | None = None

    def predict(self, drives: pl.DataFrame | Mapping[str, Any], level: float = LEVEL) -> pl.DataFrame:
        """Predict the carry of drives at standard conditions, on the reference device and ball.

        Parameters
        ----------
        drives : DataFrame or mapping
            club_speed_mph and, as far as they are known, ball_speed_mph, launch_deg and spin_rpm. A column that is
            lacking, or a null, is set to what is usual at the club speed. A mapping gives columns by name.
        level : float
            Of the interval, between 0 and 1.

        Returns
        -------
        DataFrame
            The drives with

            - expected_yd, and lo_yd and hi_yd: where one drive of a golfer who wasn't in the fit lands at that level;
            - known: the readings that were used beside club speed, such as `launch+spin`, or `nothing`;
            - supported: whether golfers of that club speed strike such drives; where they don't, the figures
              extrapolate;
            - note: why an interval is lacking or a drive isn't supported.

        Raises
        ------
        UserError
            If club speed is lacking or the level isn't between 0 and 1.

        Notes
        -----
        Edges are quantiles of measured over predicted carry on golfers held out. At the level 0.9 they are the
        model's own, for whatever is known. At another level they are taken from held_out.parquet, which has
        predictions from everything and from club speed alone; between the two there is no interval.
        """
        if not 0 < level < 1:
            raise UserError(f"level={level:g}: must be between 0 and 1, such as 0.9.")
        frame = _with_readings(drives if isinstance(drives, pl.DataFrame) else pl.DataFrame(drives, strict=False))
        asked = Delivery.of(frame)
        filled = self.fitted.with_usual(asked)
        expected = self.fitted.expected(filled)
        known = [frame.get_column(name).is_not_null().to_numpy() for name in READINGS]
        known[0] = known[0] & self.fitted.by_ball_speed
        keys = [(bool(ball), bool(launch), bool(spin)) for ball, launch, spin in zip(*known, strict=True)]
        edges = {key: self._edges(*key, level) for key in set(keys)}
        lo, hi = np.array([edges[key] for key in keys]).reshape(-1, 2).T
        supported = self.frontier.holds(filled)
        return frame.with_columns(
            pl.Series("expected_yd", expected),
            pl.Series("lo_yd", expected * (1 + lo)).fill_nan(None),
            pl.Series("hi_yd", expected * (1 + hi)).fill_nan(None),
            pl.Series("known", [known_key(*key) for key in keys], dtype=pl.String),
            pl.Series("supported", supported),
            pl.Series("note", _notes(supported, lo), dtype=pl.String),
        )

    def _edges(self, ball_speed: bool, launch: bool, spin: bool, level: float) -> tuple[float, float]:
        """Give the edges of the interval as shares of expected carry; NaN where it isn't known at that level."""
        if level == LEVEL:
            return self.fitted.interval[known_key(ball_speed, launch, spin)]
        everything = launch and spin and (ball_speed or not self.fitted.by_ball_speed)
        nothing = not (ball_speed or launch or spin)
        if self.held_out is None or not (everything or nothing):
            return np.nan, np.nan
        held = self.held_out()
        predicted = held.get_column("predicted_yd" if everything else "predicted_by_club_speed_yd").to_numpy()
        departure = held.get_column("measured_yd").to_numpy() / np.maximum(predicted, 1.0) - 1.0
        lo, hi = np.quantile(departure, [(1 - level) / 2, (1 + level) / 2])
        return float(lo), float(hi)


def _with_readings(drives: pl.DataFrame) -> pl.DataFrame:
    """Add the columns of readings that are lacking, as unknown; NaN is unknown too."""
    if "club_speed_mph" not in drives.columns:
        raise UserError("club_speed_mph: the drives lack this column; without club speed nothing can be predicted.")
    names = ("club_speed_mph", *READINGS)
    lacking = [pl.lit(None, pl.Float64).alias(name) for name in READINGS if name not in drives.columns]
    found = drives.with_columns(lacking).with_columns(pl.col(names).cast(pl.Float64).fill_nan(None))
    if found.get_column("club_speed_mph").null_count():
        raise UserError("club_speed_mph: some drives have none; without club speed nothing can be predicted.")
    return found


def _notes(supported: npt.NDArray[np.bool_], edge: Array) -> list[str | None]:
    told = ((not held and OUTSIDE, np.isnan(lo) and NO_LEVEL) for held, lo in zip(supported, edge, strict=True))
    return ["; ".join(part for part in parts if part) or None for parts in told]
