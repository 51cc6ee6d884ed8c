"""Natural cubic splines through values on a grid of speed, launch and spin: for one point, for many, and for grids."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from pipeline.fit.surface import contract
from pipeline.statistics.arrays import Array

MANY = 2000  # points from which it pays to look up the splines in pieces


def looked_up(pieces: Any, x: Array, ends: Array, beyond: Callable[[npt.NDArray[np.intp]], Array]) -> Array:
    """Look many points up in splines kept in pieces.

    Parameters
    ----------
    pieces : scipy's NdBSpline
        Of several functions of d inputs.
    x : ndarray, shape (n, d)
    ends : ndarray, shape (d, 2)
        The outer knots.
    beyond : callable
        Gives the functions, shape (functions, m), of the points beyond the outer knots, whose rows it takes: there the
        splines go on as straight lines, which the pieces don't.

    Returns
    -------
    ndarray, shape (functions, n)
    """
    out: Array = np.ascontiguousarray(pieces(x).T)
    outside = np.flatnonzero(np.any((x < ends[:, 0]) | (x > ends[:, 1]), axis=1))
    if len(outside):
        out[:, outside] = beyond(outside)
    return out


def even_coefficients(values: Array) -> Array:
    """Give the coefficients of the natural splines through values on a grid whose knots lie evenly along each axis.

    Parameters
    ----------
    values : ndarray, shape (n, m, ...)
        At least three along each axis.

    Returns
    -------
    ndarray, shape (n + 2, m + 2, ...)
        Of B-splines; coefficient k + 1 belongs to knot k, since one more stands at each end.
    """
    for axis, count in enumerate(values.shape):
        values = np.moveaxis(np.tensordot(_from_values(count), values, axes=(1, axis)), 0, axis)
    return np.ascontiguousarray(values)


@cache
def _from_values(count: int) -> Array:
    """Give what each of so many values along an axis weighs in each coefficient, shape (count + 2, count)."""
    system = (np.eye(count + 2, k=-1) + 4 * np.eye(count + 2) + np.eye(count + 2, k=1)) / 6
    system[[0, -1]] = 0.0
    system[0, :3] = system[-1, -3:] = 1, -2, 1  # no curvature at the ends
    return np.asarray(np.linalg.inv(system)[:, 1:-1])


@dataclass(frozen=True)
class GridSplines:
    """Functions of speed, launch and spin as the splines through their values on one grid.

    Attributes
    ----------
    knots : tuple of ndarray
        The grid along speed, launch and spin; a single knot where the functions don't vary.
    values : ndarray, shape (speeds, launches, spins, functions)
    """

    knots: tuple[Array, Array, Array]
    values: Array

    @cached_property
    def _varying(self) -> list[int]:
        return [axis for axis, knots in enumerate(self.knots) if len(knots) > 1]

    @cached_property
    def _cardinal(self) -> dict[int, Any]:
        """For each input, the splines that are 1 at one knot and 0 at all others."""
        from scipy.interpolate import CubicSpline

        return {k: CubicSpline(self.knots[k], np.eye(len(self.knots[k])), bc_type="natural") for k in self._varying}

    @cached_property
    def _pieces(self) -> Any:
        from scipy.interpolate import NdBSpline, make_interp_spline  # type: ignore[attr-defined, unused-ignore]

        values, found = np.squeeze(self.values, axis=tuple({0, 1, 2} - set(self._varying))), []
        for index, axis in enumerate(self._varying):
            spline = make_interp_spline(self.knots[axis], np.moveaxis(values, index, 0), k=3, bc_type="natural")
            values = np.moveaxis(spline.c, 0, index)
            found.append(spline.t)
        return NdBSpline(tuple(found), np.ascontiguousarray(values), 3)

    def weights(self, axis: int, x: npt.ArrayLike) -> Array:
        """Give what the value at each knot of an input weighs in the spline at x, shape (n, knots).

        Beyond the outer knots the spline goes on as a straight line.
        """
        at = np.atleast_1d(np.asarray(x, dtype=float))
        if axis not in self._varying:
            return np.ones((len(at), 1))
        knots, spline = self.knots[axis], self._cardinal[axis]
        inside = np.clip(at, knots[0], knots[-1])
        return np.asarray(spline(inside) + (at - inside)[:, None] * spline(inside, 1))

    def at(self, x: tuple[Array, Array, Array]) -> Array:
        """Give the functions at points, shape (n, functions)."""
        if not self._varying:
            return np.broadcast_to(self.values[0, 0, 0], (len(x[0]), self.values.shape[-1]))
        if len(x[0]) < MANY:
            return self._by_weights(x)
        varying = np.column_stack([x[axis] for axis in self._varying])
        ends = np.array([(self.knots[axis][0], self.knots[axis][-1]) for axis in self._varying])
        speed, launch, spin = x
        return looked_up(
            self._pieces, varying, ends, lambda rows: self._by_weights((speed[rows], launch[rows], spin[rows])).T
        ).T

    def _by_weights(self, x: tuple[Array, Array, Array]) -> Array:
        weights = [self.weights(axis, part) for axis, part in enumerate(x)]
        return np.stack([contract(each, *weights) for each in np.moveaxis(self.values, -1, 0)], axis=-1)

    def on_grid(self, coefficients: Array, speed: Array, launch: Array, spin: Array) -> Array:
        """Give a sum of the functions over a launch and spin grid, at one speed for each sum.

        Parameters
        ----------
        coefficients : ndarray, shape (sums, functions)
        speed : ndarray, shape (sums,)
        launch, spin : ndarray, shapes (m,) and (n,)

        Returns
        -------
        ndarray, shape (sums, m, n)
        """
        summed = np.tensordot(coefficients, self.values, axes=(1, 3))
        at_speed = np.einsum("ra,rabc->rbc", self.weights(0, speed), summed)
        return np.asarray(self.weights(1, launch) @ at_speed @ self.weights(2, spin).T)
