"""Candidates that a researcher writes: terms of any smooth form, kept by their values on a grid.

A term is a function of speed, launch and spin. It is worked out at the points of a grid once; from then on it is the
natural cubic spline through these values. The fit takes the splines as its columns, so that the fit, grids, refits,
the lookup and the page agree to rounding, and none of them runs what the researcher wrote.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
import numpy.typing as npt

from pipeline.drives import Speed
from pipeline.errors import UserError
from pipeline.fit.natural_splines import GridSplines
from pipeline.fit.surface import Axis, Extent, Inputs
from pipeline.statistics.arrays import Array

# Points along an input, by how many inputs a term varies with. A fit by the splines gives the carry that one by the
# terms themselves gives: within 0.02 yd for usual terms of one or two inputs; with terms of all three within 0.1 yd for
# 999 drives of 1000, and 0.01 yd root mean square (tests say so).
POINTS = {1: 49, 2: 25, 3: 15}
ROOM = 0.1  # of an input's range, added at both ends: natural splines stray most near their ends
LEAST_ROOM = 1e-3  # of the input, where all values are alike
ALIKE = 1e-12  # of a term's largest value: differences of rounding
SAMPLED = 4096  # points that stand for the drives of a fit
ADDS_NOTHING = 1e-8  # of a term's length: what is left of it beside the terms before it
MOST_TERMS = 200
NAME = re.compile(r"[A-Za-z][A-Za-z0-9_-]{0,39}")

# Speed, launch and spin, each of shape (n,), to terms by name, each of shape (n,).
Columns = Callable[[Array, Array, Array], Mapping[str, Array]]


class Written(Protocol):
    """What a researcher wrote: a formula or a file.

    Attributes
    ----------
    name : str
    speed : "ball" or "club"
    origin : str
        What it is, for people: the formula, or the file's path.
    """

    @property
    def name(self) -> str: ...  # noqa: D102
    @property
    def speed(self) -> Speed: ...  # noqa: D102
    @property
    def origin(self) -> str: ...  # noqa: D102

    def columns(self, inputs: Inputs) -> Columns:
        """Give its terms for drives whose inputs are spread so; UserError says what is wrong with them."""


@dataclass(frozen=True)
class Table:
    """Terms that vary with the same inputs, by their values on a grid.

    Attributes
    ----------
    terms : tuple of int
        Their places among the surface's terms.
    values : ndarray, shape (speeds, launches, spins, terms)
        One speed, launch or spin where they don't vary with it.
    """

    terms: tuple[int, ...]
    values: Array


@dataclass(frozen=True)
class TabulatedSurface:
    """Terms kept by their values, with the interface of `Surface`.

    Attributes
    ----------
    name : str
    speed : "ball" or "club"
    labels : tuple of str
        Names of the terms.
    ends : tuple of (float, float)
        First and last point of the grids along speed, launch and spin; the points between are evenly spaced.
    tables : tuple of Table
    origin : str
        See `Written`.
    """

    name: str
    speed: Speed
    labels: tuple[str, ...]
    ends: tuple[tuple[float, float], tuple[float, float], tuple[float, float]]
    tables: tuple[Table, ...]
    origin: str

    @property
    def size(self) -> int:
        """Number of fitted terms."""
        return len(self.labels)

    @property
    def term_axes(self) -> tuple[Axis, Axis, Axis]:
        """The axes of the fitted terms: they take inputs as they are."""
        as_is = Axis(0.0, 1.0)
        return as_is, as_is, as_is

    @cached_property
    def splines(self) -> tuple[GridSplines, ...]:
        """The splines of each table."""
        return tuple(GridSplines(_knots(self.ends, table.values.shape[:3]), table.values) for table in self.tables)

    def base(self, speed: npt.ArrayLike, launch: npt.ArrayLike, spin: npt.ArrayLike) -> Array:  # noqa: ARG002
        """Give the part of carry that isn't fitted: none."""
        return np.zeros(np.shape(speed))

    def design(self, speed: npt.ArrayLike, launch: npt.ArrayLike, spin: npt.ArrayLike) -> Array:
        """Build the design matrix, shape (n, size); see `Surface.design`."""
        x = np.broadcast_arrays(*(np.asarray(part, dtype=float) for part in (speed, launch, spin)))
        out = np.empty((len(x[0]), self.size))
        for table, splines in zip(self.tables, self.splines, strict=True):
            out[:, table.terms] = splines.at((x[0], x[1], x[2]))
        return out

    def base_and_design(self, speed: npt.ArrayLike, launch: npt.ArrayLike, spin: npt.ArrayLike) -> tuple[Array, Array]:
        """Give both at once."""
        return self.base(speed, launch, spin), self.design(speed, launch, spin)

    def carry_by(self, coefficients: Array, speed: npt.ArrayLike, launch: npt.ArrayLike, spin: npt.ArrayLike) -> Array:
        """Give carry by fitted coefficients, yd, shape (n,); see `Surface.carry_by`."""
        return np.asarray(self.design(speed, launch, spin) @ coefficients)

    def on_grid(self, coefficients: Array, speed: npt.ArrayLike, launch: Array, spin: Array) -> Array:
        """Evaluate carry over a launch and spin grid; see `Surface.on_grid`."""
        sums, speeds = np.atleast_2d(coefficients), np.atleast_1d(np.asarray(speed, dtype=float))
        count = max(len(sums), len(speeds))
        sums, speeds = np.broadcast_to(sums, (count, self.size)), np.broadcast_to(speeds, (count,))
        total = np.zeros((count, len(launch), len(spin)))
        for table, splines in zip(self.tables, self.splines, strict=True):
            total += splines.on_grid(sums[:, table.terms], speeds, launch, spin)
        return total if np.ndim(coefficients) > 1 or np.ndim(speed) else total[0]


def tabulate(written: Written, inputs: Inputs) -> tuple[TabulatedSurface, list[str]]:
    """Work out a candidate's terms on grids over the drives' inputs.

    Parameters
    ----------
    written : Written
    inputs : sequence of Extent
        Of speed, launch and spin. All that the surface takes from the drives.

    Returns
    -------
    TabulatedSurface, list of str
        The surface, and the terms that it is without, since those before them give the same: beside the constant,
        such as the last of a whole spline basis.

    Raises
    ------
    UserError
        From `written.columns` and the terms themselves, or if there are no terms or too many.
    """
    speed, launch, spin = (Extent.of(x) for x in inputs)
    ends = (ends_of(speed), ends_of(launch), ends_of(spin))
    columns = written.columns((speed, launch, spin))
    coarse = _on(columns, _knots(ends, (POINTS[3],) * 3))
    if not coarse:
        raise UserError(f"The candidate {written.name} ({written.origin}) has no terms; give it at least one.")
    if len(coarse) > MOST_TERMS:
        raise UserError(
            f"The candidate {written.name} ({written.origin}) has {len(coarse)} terms; {MOST_TERMS} are the most."
        )
    varying = {name: _varies(values) for name, values in coarse.items()}
    labels, tables = tuple(coarse), []
    for kind in sorted(set(varying.values())):
        names = [name for name in labels if varying[name] == kind]
        shape = tuple(POINTS[sum(kind)] if varies else 1 for varies in kind)
        found = coarse if all(kind) else _on(columns, _knots(ends, shape))
        tables.append(Table(tuple(map(labels.index, names)), np.stack([found[name] for name in names], axis=-1)))
    whole = TabulatedSurface(written.name, written.speed, labels, ends, tuple(tables), written.origin)
    surface = _without_dependent(whole, sample_of((speed, launch, spin)))
    return surface, [name for name in labels if name not in surface.labels]


def sample_of(inputs: Sequence[Extent]) -> tuple[Array, Array, Array]:
    """Make points that are spread as the drives' inputs are, each input by itself: three arrays, shape (SAMPLED,).

    Notes
    -----
    An input's quantile function goes through the quantiles of its `Extent` (least, 1, 5, 35, 50, 65, 95 and 99 in 100,
    most), monotone and smooth between them. The points' shares are Halton's sequence in three dimensions.
    """
    from scipy.interpolate import PchipInterpolator
    from scipy.stats import qmc

    shares = qmc.Halton(3, scramble=False).random(SAMPLED + 1)[1:]
    at = np.array([0.0, 0.01, 0.05, 0.35, 0.5, 0.65, 0.95, 0.99, 1.0])
    found = []
    for x, share in zip(inputs, shares.T, strict=True):
        lo, middle, hi = x.usual
        k5, k35, k65, k95 = (x.mean + x.sd * knot for knot in x.knots)
        values = np.maximum.accumulate([x.least, lo, k5, k35, middle, k65, k95, hi, x.most])
        found.append(np.asarray(PchipInterpolator(at, values)(share)))
    return found[0], found[1], found[2]


def name_fault(name: str, taken: Sequence[str]) -> str | None:
    """Say what is wrong with a candidate's name, or None: it stands in tables, files and on the command line."""
    if not NAME.fullmatch(name):
        return "can't be a candidate's; use up to 40 letters, digits, - and _, with a letter first"
    return "is another candidate's; choose one of its own" if name in taken else None


def not_finite(term: str, speed: Speed, inputs: Sequence[Extent]) -> str:
    """Say that a term isn't finite, and where it must be."""
    named = zip((f"{speed} speed", "launch", "spin"), ("mph", "deg", "rpm"), map(ends_of, inputs), strict=True)
    ranges = ", ".join(f"{name} {lo:.4g} to {hi:.4g} {unit}" for name, unit, (lo, hi) in named)
    return f"{term} must be a finite number everywhere at {ranges}, and isn't"


def ends_of(x: Extent) -> tuple[float, float]:
    """Give the ends of the grid along an input: a value that is positive for all drives stays so."""
    room = max(ROOM * (x.most - x.least), LEAST_ROOM * max(abs(x.most), 1.0))
    return max(x.least - room, x.least / 2) if x.least > 0 else x.least - room, x.most + room


def _knots(ends: Sequence[tuple[float, float]], shape: Sequence[int]) -> tuple[Array, Array, Array]:
    """Give the points along each input; a single one is the middle."""
    places = [
        np.linspace(lo, hi, count) if count > 1 else np.array([(lo + hi) / 2])
        for (lo, hi), count in zip(ends, shape, strict=True)
    ]
    return places[0], places[1], places[2]


def _on(columns: Columns, knots: tuple[Array, Array, Array]) -> dict[str, Array]:
    speed, launch, spin = (part.ravel() for part in np.meshgrid(*knots, indexing="ij"))
    shape = tuple(len(part) for part in knots)
    return {name: values.reshape(shape) for name, values in columns(speed, launch, spin).items()}


def _varies(values: Array) -> tuple[bool, bool, bool]:
    least = ALIKE * float(np.max(np.abs(values)))
    s, l, p = (bool(np.max(np.ptp(values, axis=axis)) > least) for axis in range(3))
    return s, l, p


def _without_dependent(surface: TabulatedSurface, sample: tuple[Array, Array, Array]) -> TabulatedSurface:
    """Leave out each term that is a sum of multiples of the terms before it."""
    X = surface.design(*sample)
    directions: list[Array] = []
    kept: list[int] = []
    for place, column in enumerate(X.T):
        length = float(np.linalg.norm(column))
        left = column / length if length > 0 else column
        for _ in range(2):  # once more, since the first time leaves rounding
            for direction in directions:
                left = left - (direction @ left) * direction
        rest = float(np.linalg.norm(left))
        if rest > ADDS_NOTHING:
            directions.append(left / rest)
            kept.append(place)
    tables = []
    for table in surface.tables:
        here = [k for k, place in enumerate(table.terms) if place in kept]
        if here:
            places = tuple(kept.index(table.terms[k]) for k in here)
            tables.append(Table(places, np.ascontiguousarray(table.values[..., here])))
    labels = tuple(surface.labels[place] for place in kept)
    return TabulatedSurface(surface.name, surface.speed, labels, surface.ends, tuple(tables), surface.origin)
