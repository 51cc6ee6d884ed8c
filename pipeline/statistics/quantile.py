"""Exact quantile regression of a line, straight or with one bend, over few or very many points (numpy and scipy).

What is certain is left out. Portnoy and Koenker, Stat. Sci. 12 (1997) 279, doi 10.1214/ss/1030037960 (doi from
memory): points far above or below a preliminary line keep their sides, so that the sum over each side stands for its
points; linear programming solves the few in between.
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
    design : ndarray, shape (terms, n)
        1, where points lie, centred and scaled, and what else the line has.
    above : ndarray, shape (n,)
        How far above the preliminary line.
    distance : ndarray, shape (n,)
        How far from it, in its standard errors, up to a factor.
    line : ndarray, shape (terms,)
        The preliminary line: its value at x = 0, its slope and so on.
    near : ndarray of int
        The nearest points, which are not certain to keep their side.
    sums : ndarray, shape (2 (terms + 1), n)
        For the points beyond: design and above, if they lie above the line and then if below; zero for the others.
    """

    design: Array
    above: Array
    distance: Array
    line: Array
    near: npt.NDArray[np.intp]
    sums: Array

    @classmethod
    def of(cls, design: Array, y: Array, line: Array, rests_on: int) -> "Around":
        """Tell the points near a preliminary line, which rests on so many of them, from those beyond."""
        above = y - line @ design
        distance = np.abs(above) / np.sqrt(np.sum(design**2, axis=0))
        near = _nearest(distance, int(np.ceil(REACH * len(y) / np.sqrt(rests_on))))
        return cls(design, above, distance, line, near, _sums(design, above, near))

    def fit(self, quantile: float, weights: Array) -> Array:
        """Fit a quantile by the line of least loss.

        Parameters
        ----------
        quantile : float
        weights : ndarray, shape (n,)
            How often each point counts.

        Returns
        -------
        ndarray, shape (terms,)
            The line's value at x = 0, its slope and so on. Where many lines fit equally well, one of them.

        Notes
        -----
        Loss is convex and scales with its argument, so the loss of a sum is never above the sum of losses: what is
        minimised bounds the whole loss from below. Where both agree at the line found, it is the best for all points.
        """
        near, sums = self.near, self.sums
        while True:
            drawn = near[weights[near] > 0]
            total = (sums @ weights).reshape(2, -1).T
            total = total[:, total[0] > 0]
            weight = np.concatenate([weights[drawn], total[0]])
            design = np.hstack([self.design[:, drawn], total[:-1] / total[0]])
            above = np.concatenate([self.above[drawn], total[-1] / total[0]])
            found = solve(design, above, quantile, weight)
            if len(near) == len(self.above):
                break
            least = loss(above - found @ design, quantile, weight)
            whole = loss(self.above - found @ self.design, quantile, weights)
            if whole - least <= GAP * whole + GAP_EACH * float(weights.sum()):
                break
            near = _nearest(self.distance, 2 * len(near))
            sums = _sums(self.design, self.above, near)
        return np.asarray(self.line + found)


def around_subsample(design: Array, y: Array, quantile: float) -> Around:
    """Tell points near from those beyond by the line of a part of them, itself found so."""
    if len(y) <= FEW:
        return Around.of(design, y, np.zeros(len(design)), 1)
    part = slice(None, None, SUBSAMPLE)
    line = around_subsample(design[:, part], y[part], quantile).fit(quantile, np.ones(len(y[part])))
    return Around.of(design, y, line, len(y[part]))


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
    bend : float
        Standard deviation of the curve, by which it is scaled; 0 without one.
    """

    x: Array
    y: Array
    quantile: float
    centre: float
    spread: float
    middle: float
    size: float
    around: Around | None
    bend: float = 0.0

    @classmethod
    def of(cls, x: Array, y: Array, quantile: float, curve: Array | None = None) -> "Points":
        """Make points ready; arrays of shape (n,).

        `curve` is what a line with a bend has beside its value and slope. It should be about zero and hardly go with x.
        """
        centre, spread, middle, size = (float(f(a)) for a in (x, y) for f in (np.mean, np.std))
        around, bend = None, 0.0
        if spread > 0 and size >= NO_SPREAD:
            design = np.stack([np.ones_like(x), (x - centre) / spread])
            bend = 0.0 if curve is None else float(np.std(curve))
            design = design if curve is None or bend == 0 else np.vstack([design, curve / bend])
            around = around_subsample(design, (y - middle) / size, quantile)
        return cls(x, y, quantile, centre, spread, middle, size, around, bend)

    def about_their_line(self) -> "Points":
        """Order the points about the line of them all, near which those of draws lie: it only saves time."""
        if self.around is None:
            return self
        around, n = self.around, len(self.x)
        y = around.above + around.line @ around.design
        return replace(self, around=Around.of(around.design, y, around.fit(self.quantile, np.ones(n)), n))

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
        at, slope, _ = self.terms(weights)
        return centre, at + slope * (centre - self.centre), slope

    def terms(self, weights: Array) -> tuple[float, float, float]:
        """Fit the quantile by a line about the mean of x over all points.

        Parameters
        ----------
        weights : ndarray, shape (n,)
            How often each point counts, at least one of them once.

        Returns
        -------
        tuple of float
            Value at the mean, slope, and how much of the curve; as in `line` for points of one x or one y.
        """
        if self.around is None or np.ptp(self.x[weights > 0]) == 0:
            return float(np.quantile(np.repeat(self.y, weights.astype(np.int64)), self.quantile)), 0.0, 0.0
        at, slope, *curve = self.size * self.around.fit(self.quantile, weights)
        return float(self.middle + at), float(slope / self.spread), float(curve[0] / self.bend) if curve else 0.0


def loss(above: Array, quantile: float, weights: Array) -> float:
    """Sum the check loss of a quantile regression (Koenker and Bassett, Econometrica 46 (1978) 33)."""
    return float(weights @ (quantile * above - np.minimum(above, 0)))


def solve(design: Array, y: Array, quantile: float, weights: Array) -> Array:
    """Fit a quantile by linear programming over all points (scipy's HiGHS).

    Parameters
    ----------
    design : ndarray, shape (terms, n)
    y, weights : ndarray, shape (n,)
    quantile : float

    Returns
    -------
    ndarray, shape (terms,)

    Raises
    ------
    ArithmeticError
        Where the program can't be solved, which would be a fault: it is feasible and bounded.

    References
    ----------
    The dual program: Koenker, Quantile Regression (2005), section 6.2. Its multipliers are the line.
    """
    from scipy.optimize import linprog  # type: ignore[attr-defined]

    bounds = np.column_stack([np.zeros_like(weights), weights])
    options = {"presolve": False, "dual_feasibility_tolerance": 1e-10, "primal_feasibility_tolerance": 1e-10}
    balance = (1 - quantile) * (design @ weights)
    found = linprog(-y, A_eq=design, b_eq=balance, bounds=bounds, method="highs-ds", options=options)
    if found.status != 0:
        raise ArithmeticError(f"the quantile regression was not solved: {found.message}")
    return np.asarray(-found.eqlin.marginals)


def _nearest(distance: Array, count: int) -> npt.NDArray[np.intp]:
    if count >= len(distance):
        return np.arange(len(distance))
    return np.sort(np.argpartition(distance, count)[:count])


def _sums(design: Array, above: Array, near: npt.NDArray[np.intp]) -> Array:
    beyond = np.ones(len(above), dtype=bool)
    beyond[near] = False
    sides = (beyond & (above >= 0), beyond & (above < 0))
    return np.vstack([part * side for side in sides for part in (design, above)])
