"""Trends over club speed: quantile lines over golfers, straight unless the data clearly show a bend (numpy and scipy).

A trend may take one bend: a natural cubic spline with three knots. How much of it the data ask for is kept only as far
as it predicts golfers better than a straight line does, by a penalty as Akaike's.
"""

from dataclasses import dataclass
from functools import cached_property, partial
from typing import Any

import numpy as np
import numpy.typing as npt

from pipeline.statistics.arrays import Array
from pipeline.statistics.quantile import Points
from pipeline.threads import apart

# Places of three knots as quantiles: Harrell, Regression Modeling Strategies (2015), table 2.3.
KNOT_QUANTILES = (0.10, 0.50, 0.90)
# A bend of z standard errors is kept by the share 1 - 2 / z^2. Below z^2 = 2 it would predict new golfers worse than no
# bend: that is Akaike's criterion for one more term, IEEE Trans. Autom. Control 19 (1974) 716, doi
# 10.1109/TAC.1974.1100705. The share is the garrote of Breiman, Technometrics 37 (1995) 373, doi
# 10.1080/00401706.1995.10484371. (Both from memory.) With 1 in place of 2, efficient carry's error from a straight
# trend of 70 golfers grows by 0.05 yd, and that from a clearly bent one falls by 0.01 yd, of 0.7 yd (150 draws each).
PENALTY = 2.0
# Least spread of the bends of draws, as a share of their own. Of straight and slightly bent trends the penalty leaves
# errors of a bend with a tenth to six tenths of its variance (150 draws each of 70 golfers); this is a quarter.
# Sensitivity: with 0 the standard error of efficient carry is 1.3 yd, with 1 it is 1.5 yd, over 21 bands of 8 worlds.
LEAST_SPREAD = 0.5
# Of the range of speeds: knots nearer than this are one, and a bow whose rest beside a line is smaller is none, as
# where all golfers have one of two speeds. Rounding stays a million times below. Speeds spread evenly or as the normal
# distribution stand 80 times above.
LEAST_APART = 1e-3


@dataclass(frozen=True)
class Line:
    """A line in club speed, straight or with one bend.

    It is `at_centre + slope * (club speed - centre_mph) + bend * bow(club speed)`; see `bow`. Below the first knot it
    is straight with this slope, beyond the last one straight again.

    Attributes
    ----------
    centre_mph, at_centre, slope : float
    bend : float
        0 for a straight line.
    knots_mph : tuple of float
        Three, rising; none where a bend can't be told at all.
    """

    centre_mph: float
    at_centre: float
    slope: float
    bend: float = 0.0
    knots_mph: tuple[float, ...] = ()

    def __call__(self, club_speed_mph: npt.ArrayLike) -> Array:
        """Evaluate at club speeds, mph."""
        speed = np.asarray(club_speed_mph, dtype=float)
        straight = self.at_centre + self.slope * (speed - self.centre_mph)
        return straight if self.bend == 0 else straight + self.bend * bow(speed, self.knots_mph)

    def of_draws(self, terms: Array, club_speed_mph: npt.ArrayLike) -> Array:
        """Evaluate lines that differ from this one in their terms alone, at a club speed or a speed for each.

        Parameters
        ----------
        terms : ndarray, shape (..., 3)
            at_centre, slope and bend of each line.
        club_speed_mph : array_like
            Broadcasts against (...).

        Returns
        -------
        ndarray
            In the broadcast shape.
        """
        speed = np.asarray(club_speed_mph, dtype=float)
        straight = terms[..., 0] + terms[..., 1] * (speed - self.centre_mph)
        return np.asarray(straight + terms[..., 2] * bow(speed, self.knots_mph) if self.knots_mph else straight)

    def to_steps(self, from_mph: Array, to_mph: float) -> Array:
        """Give what slope and bend are times where such a line goes from club speeds to another one, shape (2, n)."""
        steps = to_mph - from_mph
        bows = bow(to_mph, self.knots_mph) - bow(from_mph, self.knots_mph) if self.knots_mph else 0 * steps
        return np.stack([steps, bows])


def bow(club_speed_mph: npt.ArrayLike, knots_mph: tuple[float, ...]) -> Array:
    """Evaluate the bent part of a natural cubic spline with three knots, in mph.

    Zero below the first knot, straight beyond the last one, where its slope is 3 times the share of the knots' span
    that lies below the middle one. Source: Hastie, Tibshirani and Friedman, The Elements of Statistical Learning, 2nd
    ed. (2009), equations 5.4 and 5.5, here divided by the knots' squared span.
    """
    speed = np.asarray(club_speed_mph, dtype=float)
    first, middle, last = knots_mph

    def cube(knot: float) -> Array:
        beyond = np.maximum(speed - knot, 0)
        return np.asarray(beyond * beyond * beyond)

    share = (last - first) / (last - middle)
    bent = cube(first) - cube(middle) * share + cube(last) * (share - 1)
    return np.asarray(bent / (last - first) ** 2)


@dataclass(frozen=True)
class Trend:
    """Golfers' values over their club speeds, made ready for quantile lines of any draw of them.

    Attributes
    ----------
    speed_mph, values : ndarray, shape (n,)
    quantile : float
    knots_mph : tuple of float
        None where there are too few golfers or speeds for a bend.
    centre_mph : float
        About which the terms of lines are.
    """

    speed_mph: Array
    values: Array
    quantile: float
    knots_mph: tuple[float, ...]
    centre_mph: float

    @classmethod
    def of(cls, speed_mph: Array, values: Array, quantile: float) -> "Trend":
        """Choose the knots."""
        centre = float(np.mean(speed_mph)) if len(values) else 0.0
        enough = len(values) > 0 and _near_quantile(len(values), quantile) < min(quantile, 1 - quantile)
        if not enough or np.ptp(values) == 0:
            return cls(speed_mph, values, quantile, (), centre)
        knots = tuple(float(k) for k in np.quantile(speed_mph, KNOT_QUANTILES))
        span = float(np.ptp(speed_mph))
        bent = cls(speed_mph, values, quantile, knots, centre)
        apart = min(np.diff(knots)) > LEAST_APART * span and float(np.std(bent._bow[2])) > LEAST_APART * span
        return bent if apart else cls(speed_mph, values, quantile, (), centre)

    @classmethod
    def like(cls, line: Line, speed_mph: Array, values: Array, quantile: float) -> "Trend":
        """Take center and knots from a line that was fitted to about the same golfers."""
        return cls(speed_mph, values, quantile, line.knots_mph, line.centre_mph)

    @cached_property
    def _bow(self) -> tuple[float, float, Array]:
        """Give value at the center and slope of the bow's own straight part, and what is left of it at the golfers."""
        bent = bow(self.speed_mph, self.knots_mph)
        step = self.speed_mph - np.mean(self.speed_mph)
        slope = float(step @ bent / (step @ step))
        at = float(np.mean(bent)) + slope * (self.centre_mph - float(np.mean(self.speed_mph)))
        return at, slope, bent - at - slope * (self.speed_mph - self.centre_mph)

    def line(self) -> Line:
        """Fit the quantile by a line with as much bend as the golfers clearly show."""
        everybody = np.ones(len(self.values))
        if not self.knots_mph:
            return Line(*Points.of(self.speed_mph, self.values, self.quantile).line(everybody))
        bend = self._kept_share * self._whole[2]
        if bend == 0:
            straight = Points.of(self.speed_mph, self.values, self.quantile).line(everybody)
            return Line(*straight, 0.0, self.knots_mph)
        at_bow, slope_bow, left = self._bow
        at, slope, _ = self._terms(Points.of(self.speed_mph, self.values - bend * left, self.quantile), everybody)
        return Line(self.centre_mph, at - bend * at_bow, slope - bend * slope_bow, bend, self.knots_mph)

    @cached_property
    def _points(self) -> Points:
        return Points.of(self.speed_mph, self.values, self.quantile, self._bow[2] if self.knots_mph else None)

    @cached_property
    def _whole(self) -> tuple[float, float, float]:
        """Give the line with the whole bend: value at the center, slope, and what the bow's rest is times."""
        return self._terms(self._points, np.ones(len(self.values)))

    def _terms(self, points: Points, weights: Array) -> tuple[float, float, float]:
        at, slope, bend = points.terms(weights)
        return at + slope * (self.centre_mph - points.centre), slope, bend

    def _terms_of_draw(self, points: Points, counts: npt.NDArray[np.integer[Any]]) -> tuple[float, float, float]:
        return self._terms(points, counts.astype(float))

    @cached_property
    def _kept_share(self) -> float:
        """Give how much of the bend is kept; see `PENALTY`."""
        at, slope, bend = self._whole
        left = self._bow[2]
        above = self.values - at - slope * (self.speed_mph - self.centre_mph) - bend * left
        error = _sparsity(above, self.quantile) * np.sqrt(self.quantile * (1 - self.quantile) / float(left @ left))
        if bend == 0:
            return 0.0
        return max(1.0 - PENALTY * (float(error) / bend) ** 2, 0.0)

    def of_draws(self, line: Line, counts: npt.NDArray[np.integer[Any]]) -> Array:
        """Fit the line on each of many draws of the golfers.

        Parameters
        ----------
        line : Line
            From `line`, or the one given to `like`.
        counts : ndarray of int, shape (draws, n)
            How often each draw holds each golfer; any type of integer.

        Returns
        -------
        ndarray, shape (draws, 3)
            Terms of each draw's line as in `Line.of_draws`; NaN for a draw that holds nobody.

        Notes
        -----
        Lines lie about the one that is kept. Their bends spread as those of the draws do, times the share that is kept,
        but no less than `LEAST_SPREAD`: where no bend shows, there may still be some.
        """
        found = np.full((len(counts), 3), np.nan)
        if not np.any(counts):
            return found
        held = np.any(counts, axis=1)
        found[held] = apart(partial(self._terms_of_draw, self._points.about_their_line()), list(counts[held]))
        if not self.knots_mph:
            return found
        at_bow, slope_bow, _ = self._bow
        kept = np.array([line.at_centre + line.bend * at_bow, line.slope + line.bend * slope_bow, line.bend])
        found -= self._whole
        found[:, 2] *= max(self._kept_share, LEAST_SPREAD)
        found += kept
        found[:, 0] -= found[:, 2] * at_bow
        found[:, 1] -= found[:, 2] * slope_bow
        return found


def quantile_line(speed: Array, values: Array, quantile: float) -> Line:
    """Fit a quantile of values on club speed, mph, by a straight line; arrays of shape (n,)."""
    return Line(*Points.of(speed, values, quantile).line(np.ones(len(speed))))


def _near_quantile(n: int, quantile: float) -> float:
    """Give how far about a quantile residuals tell their density there, as a share of them.

    Hall and Sheather, J. R. Stat. Soc. B 50 (1988) 381; Koenker, Quantile Regression (2005), section 4.10.1.
    """
    from scipy.special import ndtri

    z = float(ndtri(quantile))
    height = np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)
    return float(n ** (-1 / 3) * ndtri(0.975) ** (2 / 3) * (1.5 * height**2 / (2 * z**2 + 1)) ** (1 / 3))


def _sparsity(above: Array, quantile: float) -> float:
    """Give one over the density of residuals at their quantile, by the difference of two quantiles about it.

    Siddiqui, J. Res. Natl. Bur. Stand. B 64 (1960) 145; see `_near_quantile`.
    """
    near = _near_quantile(len(above), quantile)
    lo, hi = np.quantile(above, [quantile - near, quantile + near])
    return float(hi - lo) / (2 * near)
