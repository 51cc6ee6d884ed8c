"""What the better golfers of a club speed carry, where no launch and no spin say more (numpy and polars alone).

Efficient carry can't be known of results by hand: it is taken over deliveries. What carry alone can give is a high
quantile of golfers' own mean carries as a smooth curve over club speed. It is lower than efficient carry, since the
better golfers' means have their mishits in them; docs/statistics.md has by how much.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.benchmark.support import effective_number, kernel_weights
from pipeline.statistics.arrays import Array
from pipeline.statistics.intervals import t_reach
from pipeline.statistics.quantile import Points

# Share of golfers who stay below it. Lower ones are farther from efficient carry: in the proving ground's worlds 0.75
# lies about 3 yd lower than 0.9. Higher ones rest on next to nobody: 0.95 of 40 golfers on two.
QUANTILE = 0.9
# With 15 golfers 90 % intervals of yards lost cover the true ones in 95 of 100, with 10 in 79 (docs/statistics.md).
LEAST_GOLFERS = 15
# From so many golfers on the curve may bend: with fewer a straight line is nearer, as carry over speed hardly bends.
BEND_FROM = 80
REPLICATES = 200
# What a curve learns from the golfers: as many degrees of freedom are taken from the interval.
LEARNT = 3


@dataclass(frozen=True)
class SpeedCurve:
    """A quantile of golfers' carries over their club speeds.

    Attributes
    ----------
    center_mph, spread_mph, skew : float
        Of golfers' speeds; the curve is made of 1, the scaled speed z and z^2 - 1 - skew z.
    terms : ndarray, shape (3,)
    """

    center_mph: float
    spread_mph: float
    skew: float
    terms: Array

    @classmethod
    def fit(cls, speed_mph: Array, carry_yd: Array, quantile: float) -> "SpeedCurve":
        """Fit it to golfers, arrays of shape (golfers,)."""
        return cls.replicated(speed_mph, carry_yd, quantile, np.ones((1, len(speed_mph))))[0]

    @classmethod
    def replicated(cls, speed_mph: Array, carry_yd: Array, quantile: float, counts: Array) -> "list[SpeedCurve]":
        """Fit it to draws of golfers; `counts`, of shape (draws, golfers), says how often each is drawn."""
        center, spread = float(np.mean(speed_mph)), float(np.std(speed_mph)) or 1.0
        z = (speed_mph - center) / spread
        skew = float(np.mean(z**3))
        bends = len(z) >= BEND_FROM
        points = Points.of(speed_mph, carry_yd, quantile, z**2 - 1 - skew * z if bends else None)
        found = []
        for drawn in counts:
            at, slope, bend = points.terms(drawn)
            found.append(cls(center, spread, skew, np.array([at, slope * spread, bend])))
        return found

    def at(self, speed_mph: Array) -> Array:
        """Give carry at club speeds, yd."""
        z = (np.asarray(speed_mph, float) - self.center_mph) / self.spread_mph
        return np.asarray(self.terms[0] + self.terms[1] * z + self.terms[2] * (z**2 - 1 - self.skew * z))


@dataclass(frozen=True)
class Reference:
    """Mean carry of the better golfers by club speed, with how well it is known.

    Attributes
    ----------
    curve : SpeedCurve
    replicates : list of SpeedCurve
        Of resampled golfers.
    golfers_mph : ndarray, shape (golfers,)
    half_width_mph : float
        Of bands: golfers so far from a speed tell of it.
    min_golfers : int
        Fewest golfers about a speed.
    """

    curve: SpeedCurve
    replicates: list[SpeedCurve]
    golfers_mph: Array
    half_width_mph: float
    min_golfers: int

    def reaches(self, speed_mph: Array) -> Array:
        """Say at which club speeds there are golfers enough, as the benchmarks of a full study do."""
        near = np.array([self.weights(float(v)).sum() for v in speed_mph])
        lo, hi = self.golfers_mph.min() - 1, self.golfers_mph.max() + 1
        return np.asarray((near >= self.min_golfers) & (speed_mph >= lo) & (speed_mph <= hi))

    def weights(self, speed_mph: float) -> Array:
        """Weigh golfers by the nearness of their speed."""
        return kernel_weights(self.golfers_mph, speed_mph, self.half_width_mph)

    def at(self, speed_mph: Array) -> Array:
        """Give the carry at club speeds, yd; NaN beyond golfers."""
        return np.where(self.reaches(speed_mph), self.curve.at(speed_mph), np.nan)

    def of_drives(self, speed_mph: Array) -> Array:
        """Give it at drives' speeds, yd, flat beyond the golfers' own speeds: that only widens intervals."""
        return self.curve.at(np.clip(speed_mph, self.golfers_mph.min(), self.golfers_mph.max()))

    def variance(self, speed_mph: Array) -> tuple[Array, Array]:
        """Give the variance of the carry at club speeds by resampled golfers, yd^2, and its degrees of freedom."""
        drawn = np.stack([one.at(speed_mph) for one in self.replicates])
        wider = len(self.golfers_mph) / self.freedom
        off = drawn - self.curve.at(speed_mph)
        return wider * np.mean(off**2, axis=0), np.full(len(speed_mph), self.freedom)

    @property
    def freedom(self) -> float:
        """Degrees of freedom of its interval."""
        return max(len(self.golfers_mph) - LEARNT, 2.0)

    def table(self) -> pl.DataFrame:
        """Give it at each whole mph that golfers reach, with the columns of `References`."""
        every = np.arange(np.floor(self.golfers_mph.min()), np.ceil(self.golfers_mph.max()) + 1)
        speed = every[self.reaches(every)]
        variance, freedom = self.variance(speed)
        carry, reach = self.curve.at(speed), t_reach(freedom) * np.sqrt(variance)
        return pl.DataFrame(
            {
                "club_speed_mph": speed,
                "reference_yd": carry,
                "reference_lo90_yd": carry - reach,
                "reference_hi90_yd": carry + reach,
                "golfers": [float(self.weights(float(v)).sum()) for v in speed],
            }
        )

    def worth(self, speed_mph: float) -> float:
        """Give as how many golfers those about a speed count."""
        return effective_number(self.weights(speed_mph))


def reference_of(
    golfers: pl.DataFrame, half_width_mph: float, min_golfers: int, min_shots: int, seed: int
) -> Reference | None:
    """Fit the reference.

    Parameters
    ----------
    golfers : DataFrame
        Of all quarters together: golfer, shots, mean club_speed_mph, mean carry_yd; in an order that
        names don't decide.
    half_width_mph : float
    min_golfers : int
    min_shots : int
        Fewest drives of a golfer who counts.
    seed : int
        Of the draws of golfers.

    Returns
    -------
    Reference or None
        None where fewer than `LEAST_GOLFERS` have drives enough.

    Notes
    -----
    Golfers are resampled whole, with all of their days and drives, so that the luck of these is in the interval too.
    """
    known = golfers.filter(pl.col("shots") >= min_shots)
    if known.height < LEAST_GOLFERS:
        return None
    speed, carry = (known.get_column(name).cast(pl.Float64).to_numpy() for name in ("club_speed_mph", "carry_yd"))
    counts = np.random.default_rng(seed).multinomial(known.height, np.full(known.height, 1 / known.height), REPLICATES)
    curve = SpeedCurve.fit(speed, carry, QUANTILE)
    replicates = SpeedCurve.replicated(speed, carry, QUANTILE, counts.astype(float))
    return Reference(curve, replicates, speed, half_width_mph, min_golfers)
