"""Exact quantile regression of a line over few or very many points, by leaving out what is certain (numpy and scipy).

Portnoy and Koenker, Stat. Sci. 12 (1997) 279, doi 10.1214/ss/1030037960 (doi from memory): points far above or below a
preliminary line keep their sides, so that the sum over each side stands for its points; linear programming solves the
few in between.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from pipeline.statistics.arrays import Array

# About 3.75 standard errors to either side of a line that rests on all n points hold this many times the root of n of
# them: 2 * 3.75 * sqrt(q (1 - q)) * sum of the roots of their leverages, whatever their density.
REACH = 5.0
SUBSAMPLE = 8  # a preliminary line rests on every 8th point
FEW = 1000  # so few points are solved as they are
# Most that the whole loss may exceed the loss that was minimised: as a share, and for a point in standard deviations.
GAP, GAP_EACH = 1e-11, 1e-15
NO_SPREAD = 1e-9  # values with a smaller standard deviation are all the same


@dataclass(frozen=True)
class Around:
    """Points about a preliminary line.

    Attributes
    ----------
    x, above : ndarray, shape (n,)
        Where points lie, centred and scaled, and how far above the preliminary line.
    distance : ndarray, shape (n,)
        How far from it, in its standard errors, up to a factor.
    line : tuple of float
        The preliminary line: its value at x = 0 and its slope.
    near : ndarray of int
        The nearest points, which are not certain to keep their side.
    sums : ndarray, shape (6, n)
        For the points beyond: 1, x and above, if they lie above the line and then if below; nil for the others.
    """

    x: Array
    above: Array
    distance: Array
    line: tuple[float, float]
    near: npt.NDArray[np.intp]
    sums: Array

    @classmethod
    def of(cls, x: Array, y: Array, line: tuple[float, float], rests_on: int) -> "Around":
        """Tell the points near a preliminary line, which rests on so many of them, from those beyond."""
        above = y - line[0] - line[1] * x
        distance = np.abs(above) / np.sqrt(1 + x**2)
        near = _nearest(distance, int(np.ceil(REACH * len(x) / np.sqrt(rests_on))))
        return cls(x, above, distance, line, near, _sums(x, above, near))

    def fit(self, quantile: float, weights: Array) -> tuple[float, float]:
        """Fit a quantile by the line of least loss.

        Parameters
        ----------
        quantile : float
        weights : ndarray, shape (n,)
            How often each point counts.

        Returns
        -------
        tuple of float
            The line's value at x = 0 and its slope. Where many lines fit equally well, one of them.

        Notes
        -----
        Loss is convex and scales with its argument, so the loss of a sum is never above the sum of losses: what is
        minimised bounds the whole loss from below. Where both agree at the line found, it is the best for all points.
        """
        near, sums = self.near, self.sums
        while True:
            drawn = near[weights[near] > 0]
            total = (sums @ weights).reshape(2, 3)
            total = total[total[:, 0] > 0]
            weight = np.concatenate([weights[drawn], total[:, 0]])
            x = np.concatenate([self.x[drawn], total[:, 1] / total[:, 0]])
            above = np.concatenate([self.above[drawn], total[:, 2] / total[:, 0]])
            at, slope = solve(x, above, quantile, weight)
            if len(near) == len(self.x):
                break
            least = loss(above - at - slope * x, quantile, weight)
            whole = loss(self.above - at - slope * self.x, quantile, weights)
            if whole - least <= GAP * whole + GAP_EACH * float(weights.sum()):
                break
            near = _nearest(self.distance, 2 * len(near))
            sums = _sums(self.x, self.above, near)
        return self.line[0] + at, self.line[1] + slope


def around_subsample(x: Array, y: Array, quantile: float) -> Around:
    """Tell points near from those beyond by the line of a part of them, itself found so; arrays of shape (n,)."""
    if len(x) <= FEW:
        return Around.of(x, y, (0.0, 0.0), 1)
    part = slice(None, None, SUBSAMPLE)
    line = around_subsample(x[part], y[part], quantile).fit(quantile, np.ones(len(x[part])))
    return Around.of(x, y, line, len(x[part]))


@dataclass(frozen=True)
class Points:
    """Points made ready for quantile lines: centred, scaled and ordered about a preliminary line.

    Attributes
    ----------
    x, y : ndarray, shape (n,)
        As given.
    quantile : float
    centre, spread, middle, size : float
        Means and standard deviations of x and of y, by which they are centred and scaled.
    around : Around or None
        None where all points have one x or one y.
    """

    x: Array
    y: Array
    quantile: float
    centre: float
    spread: float
    middle: float
    size: float
    around: Around | None

    @classmethod
    def of(cls, x: Array, y: Array, quantile: float) -> "Points":
        """Make points ready; arrays of shape (n,)."""
        centre, spread, middle, size = (float(f(a)) for a in (x, y) for f in (np.mean, np.std))
        many = spread > 0 and size >= NO_SPREAD
        around = around_subsample((x - centre) / spread, (y - middle) / size, quantile) if many else None
        return cls(x, y, quantile, centre, spread, middle, size, around)

    def about_their_line(self) -> "Points":
        """Order the points about the line of them all, near which those of draws lie: it only saves time."""
        if self.around is None:
            return self
        around, n = self.around, len(self.x)
        y = around.above + around.line[0] + around.line[1] * around.x
        return replace(self, around=Around.of(around.x, y, around.fit(self.quantile, np.ones(n)), n))

    def line(self, weights: Array) -> tuple[float, float, float]:
        """Fit the quantile by a line.

        Parameters
        ----------
        weights : ndarray, shape (n,)
            How often each point counts, at least one of them once.

        Returns
        -------
        tuple of float
            The weighted mean of x, the line's value there, and its slope. Where the points have one x or one y, it is
            level at their quantile.
        """
        centre = float(weights @ self.x / weights.sum())
        if self.around is None or np.ptp(self.x[weights > 0]) == 0:
            return centre, float(np.quantile(np.repeat(self.y, weights.astype(np.int64)), self.quantile)), 0.0
        at, slope = self.around.fit(self.quantile, weights)
        slope *= self.size / self.spread
        return centre, self.middle + at * self.size + slope * (centre - self.centre), slope


def loss(above: Array, quantile: float, weights: Array) -> float:
    """Sum the check loss of a quantile regression (Koenker and Bassett, Econometrica 46 (1978) 33)."""
    return float(weights @ (quantile * above - np.minimum(above, 0)))


def solve(x: Array, y: Array, quantile: float, weights: Array) -> tuple[float, float]:
    """Fit a quantile by linear programming over all points (scipy's HiGHS).

    Parameters
    ----------
    x, y, weights : ndarray, shape (n,)
    quantile : float

    Returns
    -------
    tuple of float
        Value at x = 0, slope.

    Raises
    ------
    ArithmeticError
        Where the program can't be solved, which would be a fault: it is feasible and bounded.

    References
    ----------
    The dual program: Koenker, Quantile Regression (2005), section 6.2. Its multipliers are the line.
    """
    from scipy.optimize import linprog  # type: ignore[attr-defined]

    design = np.vstack([np.ones_like(x), x])
    bounds = np.column_stack([np.zeros_like(weights), weights])
    options = {"presolve": False, "dual_feasibility_tolerance": 1e-10, "primal_feasibility_tolerance": 1e-10}
    balance = (1 - quantile) * (design @ weights)
    found = linprog(-y, A_eq=design, b_eq=balance, bounds=bounds, method="highs-ds", options=options)
    if found.status != 0:
        raise ArithmeticError(f"the quantile regression was not solved: {found.message}")
    at, slope = -found.eqlin.marginals
    return float(at), float(slope)


def _nearest(distance: Array, count: int) -> npt.NDArray[np.intp]:
    if count >= len(distance):
        return np.arange(len(distance))
    return np.sort(np.argpartition(distance, count)[:count])


def _sums(x: Array, above: Array, near: npt.NDArray[np.intp]) -> Array:
    beyond = np.ones(len(x), dtype=bool)
    beyond[near] = False
    sides = (beyond & (above >= 0), beyond & (above < 0))
    return np.stack([column * side for side in sides for column in (np.ones_like(x), x, above)])
