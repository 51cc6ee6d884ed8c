"""Surfaces of carry over speed, launch and spin, as sums of products of one basis per axis (numpy alone).

Every candidate is a tensor: carry = sum of coefficient[a, b, c] * S_a(speed) * L_b(launch) * P_c(spin), with
S_0 = L_0 = P_0 = 1. So one representation serves the fit, grids, replicates, the lookup and the page.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.drives import Speed
from pipeline.statistics.arrays import Array
from pipeline.statistics.quantiles import Quantiles
from pipeline.statistics.sums import Sum

CHUNK = 16384  # points at a time, so that memory doesn't grow with them

# Places of four knots as quantiles: Harrell, Regression Modeling Strategies (2015), table 2.3.
KNOT_QUANTILES = (0.05, 0.35, 0.65, 0.95)
_USUAL_QUANTILES = (0.01, 0.5, 0.99)


@dataclass(frozen=True)
class Extent:
    """How one input is spread over the drives of a fit: all that the form of a surface takes from them.

    Attributes
    ----------
    mean, sd : float
        In the input's own unit; `sd` is 1 where all values are alike.
    least, most : float
    usual : tuple of float
        The 1st, 50th and 99th percentile.
    knots : tuple of float
        Quantiles `KNOT_QUANTILES` of the centred and scaled input.
    """

    mean: float
    sd: float
    least: float
    most: float
    usual: tuple[float, ...]
    knots: tuple[float, ...]

    @classmethod
    def of(cls, x: "Array | Extent") -> "Extent":
        """Take the extent of values, shape (n,)."""
        return x if isinstance(x, Extent) else cls.of_pieces(lambda: iter(([x],)))[0]

    @classmethod
    def of_pieces(cls, read: Callable[[], Iterable[Sequence[Array]]]) -> "list[Extent]":
        """Take the extents of several columns, which come in pieces and are read twice; NaN where a value is NaN."""
        columns: list[_Column] = []
        for piece in read():
            columns = columns or [_Column() for _ in piece]
            for column, x in zip(columns, piece, strict=True):
                column.look(x)
        for piece in read():
            for column, x in zip(columns, piece, strict=True):
                column.gather(x)
        return [cls(*column.extent()) for column in columns]


class _Column:
    """What an extent takes of a column that comes in pieces: shown to `look` and then to `gather`."""

    def __init__(self) -> None:
        self.count, self.sum, self.squares, self.least, self.most = 0, Sum(), Sum(), np.inf, -np.inf
        self.quantiles = Quantiles((*KNOT_QUANTILES, *_USUAL_QUANTILES))

    @property
    def mean(self) -> float:
        return self.sum.total / self.count

    def look(self, x: Array) -> None:
        self.count += len(x)
        self.sum.add(x)
        self.least, self.most = float(np.min(x, initial=self.least)), float(np.max(x, initial=self.most))
        self.quantiles.look(x)

    def gather(self, x: Array) -> None:
        if not np.isnan(self.mean):
            self.squares.add((x - self.mean) ** 2)
            self.quantiles.gather(x)

    def extent(self) -> tuple[float, float, float, float, tuple[float, ...], tuple[float, ...]]:
        if np.isnan(self.mean):
            return np.nan, np.nan, np.nan, np.nan, (), ()
        sd = float(np.sqrt(self.squares.total / self.count)) or 1.0
        found, split = self.quantiles.of_all, len(KNOT_QUANTILES)
        usual, knots = found.values()[split:], found.scaled(self.mean, sd).values()[:split]
        return self.mean, sd, self.least, self.most, tuple(map(float, usual)), tuple(map(float, knots))


# One for each of speed, launch and spin: values, shape (n,), or what is known of their spread.
Inputs = Sequence[Array | Extent]


@dataclass(frozen=True)
class Axis:
    """The basis along one input: 1, z and then either z^2 or natural cubic spline terms.

    `z` is the input, centred and scaled. `knots` are in z; without knots `degree` says how far powers go.
    """

    centre: float
    scale: float
    degree: int = 1
    knots: tuple[float, ...] = ()

    @property
    def size(self) -> int:
        """Number of basis functions, the constant included."""
        return len(self.knots) if self.knots else self.degree + 1

    def basis(self, x: npt.ArrayLike) -> Array:
        """Evaluate the basis.

        Parameters
        ----------
        x : array_like, shape (n,)
            Values in the input's own unit.

        Returns
        -------
        ndarray, shape (n, size)
            Beyond the outer knots a spline goes on as a straight line.

        References
        ----------
        Natural cubic spline basis: Hastie, Tibshirani and Friedman, The Elements of Statistical Learning,
        2nd ed. (2009), equations 5.4 and 5.5, here divided by the knots' squared span to keep its size near 1.
        """
        z = (np.asarray(x, dtype=float) - self.centre) / self.scale
        if not self.knots:
            return np.stack([z**power for power in range(self.degree + 1)], axis=-1)
        first, *inner, last_but_one, last = self.knots
        span = (last - first) ** 2

        def cube(knot: float) -> Array:
            beyond = np.maximum(z - knot, 0)
            return np.asarray(beyond * beyond * beyond)  # many times faster than a power

        beyond_last = cube(last)

        def truncated(knot: float) -> Array:
            return (cube(knot) - beyond_last) / ((last - knot) * span)

        tail = truncated(last_but_one)
        columns = [np.ones_like(z), z] + [truncated(knot) - tail for knot in (first, *inner)]
        return np.stack(columns, axis=-1)


@dataclass(frozen=True)
class Surface:
    """One candidate's form: which speed it takes, the three axes and the products that enter."""

    name: str
    speed: Speed
    axes: tuple[Axis, Axis, Axis]
    terms: tuple[tuple[int, int, int], ...]

    @property
    def size(self) -> int:
        """Number of fitted terms."""
        return len(self.terms)

    @property
    def labels(self) -> tuple[str, ...]:
        """Names of the terms, such as `speed*launch_2`."""
        return tuple(_label(term, self.speed) for term in self.terms)

    @property
    def term_axes(self) -> tuple[Axis, Axis, Axis]:
        """The axes of the fitted terms."""
        return self.axes

    def base(self, speed: npt.ArrayLike, launch: npt.ArrayLike, spin: npt.ArrayLike) -> Array:  # noqa: ARG002
        """Give the part of carry that isn't fitted: nil here, flight in `FlightSurface`."""
        return np.zeros(np.shape(speed))

    def design(self, speed: npt.ArrayLike, launch: npt.ArrayLike, spin: npt.ArrayLike) -> Array:
        """Build the design matrix.

        Parameters
        ----------
        speed, launch, spin : array_like, shape (n,)
            Ball or club speed in mph, launch in deg, backspin in rpm.

        Returns
        -------
        ndarray, shape (n, number of terms)
        """
        s, l, p = (axis.basis(x) for axis, x in zip(self.axes, (speed, launch, spin), strict=True))
        return np.stack([s[..., a] * l[..., b] * p[..., c] for a, b, c in self.terms], axis=-1)

    def base_and_design(self, speed: npt.ArrayLike, launch: npt.ArrayLike, spin: npt.ArrayLike) -> tuple[Array, Array]:
        """Give both at once."""
        return self.base(speed, launch, spin), self.design(speed, launch, spin)

    def carry_by(self, coefficients: Array, speed: npt.ArrayLike, launch: npt.ArrayLike, spin: npt.ArrayLike) -> Array:
        """Give carry by fitted coefficients, shape (terms,), yd, shape (n,)."""
        return np.asarray(self.design(speed, launch, spin) @ coefficients)

    def tensor(self, coefficients: Array) -> Array:
        """Spread coefficients of shape (..., terms) over a tensor of shape (..., size, size, size)."""
        sizes = tuple(axis.size for axis in self.axes)
        tensor = np.zeros((*coefficients.shape[:-1], *sizes))
        for index, (a, b, c) in enumerate(self.terms):
            tensor[..., a, b, c] = coefficients[..., index]
        return tensor

    def on_grid(self, coefficients: Array, speed: npt.ArrayLike, launch: Array, spin: Array) -> Array:
        """Evaluate carry over a launch and spin grid at one speed, or for many replicates at once.

        Parameters
        ----------
        coefficients : ndarray, shape (terms,) or (replicates, terms)
        speed : float or array_like, shape (replicates,)
            Speed in mph; one for each replicate.
        launch, spin : ndarray, shapes (m,) and (n,)
            The grid's axes, deg and rpm.

        Returns
        -------
        ndarray, shape (m, n) or (replicates, m, n)
            Carry, yd.
        """
        s = self.axes[0].basis(np.asarray(speed))
        at_speed = np.einsum("...a,...abc->...bc", s, self.tensor(coefficients))
        along_launch = np.einsum("mb,...bc->...mc", self.axes[1].basis(launch), at_speed)
        return np.asarray(along_launch @ self.axes[2].basis(spin).T)


def contract(tensor: Array, speed: Array, launch: Array, spin: Array) -> Array:
    """Sum a tensor over the bases of three axes, point by point.

    Parameters
    ----------
    tensor : ndarray, shape (a, b, c)
    speed, launch, spin : ndarray, shapes (n, a), (n, b) and (n, c)

    Returns
    -------
    ndarray, shape (n,)
    """
    out = np.empty(len(speed))
    flat = tensor.reshape(tensor.shape[0], -1)
    for first in range(0, len(speed), CHUNK):
        rows = slice(first, first + CHUNK)
        at_speed = (speed[rows] @ flat).reshape(-1, *tensor.shape[1:])
        out[rows] = np.einsum("nbc,nb,nc->n", at_speed, launch[rows], spin[rows], optimize=True)
    return out


def _label(term: tuple[int, int, int], speed: str) -> str:
    names = (f"{speed}_speed", "launch", "spin")
    parts = [name if power == 1 else f"{name}_{power}" for name, power in zip(names, term, strict=True) if power]
    return "*".join(parts) or "intercept"


def line(inputs: Inputs, speed: Speed) -> Surface:
    """Make candidate (a): a straight line in each input."""
    s, l, p = (Axis(x.mean, x.sd) for x in map(Extent.of, inputs))
    return Surface("line", speed, (s, l, p), ((0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)))


def quadratic(inputs: Inputs, speed: Speed) -> Surface:
    """Make candidate (b): a second-order response surface."""
    s, l, p = (Axis(x.mean, x.sd, degree=2) for x in map(Extent.of, inputs))
    terms = [t for t in np.ndindex(3, 3, 3) if sum(t) <= 2]
    return Surface("quadratic", speed, (s, l, p), tuple(sorted(terms, key=lambda t: (sum(t), t[::-1]))))


def splines(inputs: Inputs, speed: Speed) -> Surface:
    """Make candidate (c): natural cubic splines along each input with all interactions of two of them.

    Three inputs together interact through their straight parts alone.
    """
    s, l, p = (_spline_axis(x) for x in map(Extent.of, inputs))
    terms = [t for t in np.ndindex(4, 4, 4) if np.count_nonzero(t) <= 2]
    terms.append((1, 1, 1))
    return Surface("splines", speed, (s, l, p), tuple(sorted(terms, key=lambda t: (np.count_nonzero(t), t[::-1]))))


def _spline_axis(x: Extent) -> Axis:
    if np.any(np.diff(x.knots) < 1e-3):
        return Axis(x.mean, x.sd, degree=3)
    return Axis(x.mean, x.sd, knots=x.knots)
