"""Candidate (d): calibrated flight at standard conditions plus a low-order correction.

Flight enters as three fixed surfaces: carry with the calibrated multipliers, and how carry changes with a little more
drag or lift. The fit may therefore move both multipliers anew, as it must for golfers held out, and adds a
second-order correction. All three are kept as natural cubic splines through directly flown points, so that grids, the
lookup and the page treat this candidate as they do the others.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from pipeline.fit.natural_splines import MANY, even_coefficients, looked_up
from pipeline.fit.surface import Axis, Extent, Inputs, Surface, contract, quadratic
from pipeline.physics.air import Air
from pipeline.physics.ball import Ball
from pipeline.physics.trajectory import Launch, fly_by_each
from pipeline.statistics.arrays import Array
from pipeline.units import METRES_PER_YARD, MPS_PER_MPH

# Along speed, launch and spin. Where drives are usual the splines are within 0.1 yd of flight (tests say so). Over all
# drives of a study they are some 0.2 yd off (root mean square), at odd ones more than 1 yd: the card says how far.
POINTS = (14, 14, 14)
ROOM = 0.05  # of an input's range, added at both ends
LEAST_LAUNCH_DEG = 0.5  # below this some balls don't rise, and carry has a step that no spline follows
LEAST_SPIN_RPM = 300.0
STEP = 0.02  # of a multiplier, for the slopes
MULTIPLIERS = ("drag_multiplier", "lift_multiplier")  # their terms' names


@dataclass(frozen=True)
class FlightSurface:
    """Flight plus a correction, with the interface of `Surface`.

    Attributes
    ----------
    axes : tuple of Axis
        Of the flight splines.
    carry, drag, lift : ndarray, shape (size, size, size)
        Spline coefficients of carry, yd, and of its slopes with the two multipliers.
    correction : Surface
    """

    axes: tuple[Axis, Axis, Axis]
    carry: Array
    drag: Array
    lift: Array
    correction: Surface
    name: Literal["flight"] = "flight"
    speed: Literal["ball"] = "ball"

    @property
    def size(self) -> int:
        """Number of fitted terms."""
        return 2 + self.correction.size

    @property
    def labels(self) -> tuple[str, ...]:
        """Names of the terms."""
        return (*MULTIPLIERS, *self.correction.labels)

    @property
    def term_axes(self) -> tuple[Axis, Axis, Axis]:
        """The axes of the correction's terms."""
        return self.correction.axes

    def _bases(self, speed: npt.ArrayLike, launch: npt.ArrayLike, spin: npt.ArrayLike) -> list[Array]:
        return [axis.basis(x) for axis, x in zip(self.axes, (speed, launch, spin), strict=True)]

    @cached_property
    def _local(self) -> Any:
        """The same splines in pieces, which many points are looked up in faster: each piece has 64 coefficients."""
        from scipy.interpolate import NdBSpline, make_interp_spline  # type: ignore[attr-defined, unused-ignore]

        values = np.stack([self.carry, self.drag, self.lift], axis=-1)
        knots = []
        for index, axis in enumerate(self.axes):
            z = np.array(axis.knots)
            at_knots = np.tensordot(axis.basis(axis.centre + axis.scale * z), values, axes=(1, index))
            spline = make_interp_spline(z, at_knots, k=3, bc_type="natural")
            values = np.moveaxis(spline.c, 0, index)
            knots.append(spline.t)
        return NdBSpline(tuple(knots), values, 3)

    @cached_property
    def _at_knots(self) -> Array:
        """Carry and its slopes at the knots, yd, shape (knots, knots, knots, 3)."""
        values = np.stack([self.carry, self.drag, self.lift], axis=-1)
        for index, axis in enumerate(self.axes):
            basis = axis.basis(axis.centre + axis.scale * np.array(axis.knots))
            values = np.moveaxis(np.tensordot(basis, values, axes=(1, index)), 0, index)
        return values

    def _flown(self, speed: npt.ArrayLike, launch: npt.ArrayLike, spin: npt.ArrayLike) -> Array:
        """Give carry and its slopes with drag and lift, yd, shape (3, n)."""
        x = [np.asarray(part, dtype=float) for part in (speed, launch, spin)]
        if x[0].ndim != 1 or len(x[0]) < MANY:
            return self._by_bases(*x)
        z = np.column_stack([(part - axis.centre) / axis.scale for axis, part in zip(self.axes, x, strict=True)])
        ends = np.array([(axis.knots[0], axis.knots[-1]) for axis in self.axes])
        return looked_up(self._local, z, ends, lambda rows: self._by_bases(*(part[rows] for part in x)))

    def _by_bases(self, speed: Array, launch: Array, spin: Array) -> Array:
        bases = self._bases(speed, launch, spin)
        return np.stack([contract(tensor, *bases) for tensor in (self.carry, self.drag, self.lift)])

    def carry_by(self, coefficients: Array, speed: npt.ArrayLike, launch: npt.ArrayLike, spin: npt.ArrayLike) -> Array:
        """Give carry by fitted coefficients, yd, shape (n,); see `Surface.carry_by`.

        Of many points only the sum is looked up, of one spline for each input's even knots: it takes half as long as
        `base_and_design`, which it is within rounding.
        """
        x = [np.asarray(part, dtype=float) for part in (speed, launch, spin)]
        parts = np.array([1.0, *coefficients[:2]])
        corrected = self.correction.design(*x) @ coefficients[2:]
        if x[0].ndim != 1 or len(x[0]) < MANY:
            return np.asarray(np.tensordot(parts, self._by_bases(*x), axes=1) + corrected)
        from scipy import ndimage

        # Coefficient k + 1 belongs to knot k.
        spans = [(axis.centre + axis.scale * axis.knots[0], axis.scale * np.ptp(axis.knots)) for axis in self.axes]
        at = np.stack(
            [
                1 + (part - first) * ((len(axis.knots) - 1) / span)
                for part, (first, span), axis in zip(x, spans, self.axes, strict=True)
            ]
        )
        value: Any = ndimage.map_coordinates  # type: ignore[attr-defined]  # scipy declares no types here
        flown = value(even_coefficients(self._at_knots @ parts), at, order=3, prefilter=False)
        last = np.array([[len(axis.knots)] for axis in self.axes])
        outside = np.flatnonzero(np.any((at < 1) | (at > last), axis=0))
        if len(outside):  # there the splines go on as straight lines
            flown[outside] = np.tensordot(parts, self._by_bases(*(part[outside] for part in x)), axes=1)
        return np.asarray(flown + corrected)

    def base(self, speed: npt.ArrayLike, launch: npt.ArrayLike, spin: npt.ArrayLike) -> Array:
        """Give carry as calibrated, yd, shape (n,)."""
        carry: Array = self._flown(speed, launch, spin)[0]
        return carry

    def design(self, speed: npt.ArrayLike, launch: npt.ArrayLike, spin: npt.ArrayLike) -> Array:
        """Build the design matrix, shape (n, size)."""
        return self.base_and_design(speed, launch, spin)[1]

    def base_and_design(self, speed: npt.ArrayLike, launch: npt.ArrayLike, spin: npt.ArrayLike) -> tuple[Array, Array]:
        """Give both at once, for half the work."""
        carry, *slopes = self._flown(speed, launch, spin)
        return carry, np.column_stack([*slopes, self.correction.design(speed, launch, spin)])

    def on_grid(self, coefficients: Array, speed: npt.ArrayLike, launch: Array, spin: Array) -> Array:
        """Evaluate carry over a launch and spin grid; see `Surface.on_grid`."""
        s, l, p = self._bases(np.asarray(speed), launch, spin)
        tensors = np.stack([self.carry, self.drag, self.lift], axis=1)
        at_speed = (s @ tensors.reshape(len(tensors), -1)).reshape(*s.shape[:-1], *tensors.shape[1:])
        # The three are added up before they are spread over the grid, which has many more points than splines.
        carry, drag, lift = (at_speed[..., k, :, :] for k in range(3))
        flown = carry + coefficients[..., 0, None, None] * drag + coefficients[..., 1, None, None] * lift
        corrected = l @ flown @ p.T
        corrected += self.correction.on_grid(coefficients[..., 2:], speed, launch, spin)
        return np.asarray(corrected)


@dataclass(frozen=True)
class FlightMaker:
    """Makes a flight surface for the drives of a fit.

    Attributes
    ----------
    ball : Ball
        As calibrated.
    air : Air
        The study's standard air.
    axes, carry, drag, lift
        As in `FlightSurface`; flown once, over the inputs of all drives.
    """

    axes: tuple[Axis, Axis, Axis]
    carry: Array
    drag: Array
    lift: Array

    @classmethod
    def of(cls, ball: Ball, air: Air, inputs: Inputs) -> "FlightMaker":
        """Fly the points over the range of the inputs: ball speed, mph, launch, deg, and spin, rpm."""
        least = (1.0, LEAST_LAUNCH_DEG, LEAST_SPIN_RPM)
        places = [_points(Extent.of(x), n, lo) for x, n, lo in zip(inputs, POINTS, least, strict=True)]
        axes = [Axis(float(x.mean()), float(x.std()), knots=tuple((x - x.mean()) / x.std())) for x in places]
        speed, launch, spin = (part.ravel() for part in np.meshgrid(*places, indexing="ij"))
        shots = Launch.straight(speed * MPS_PER_MPH, launch, spin)

        more, less = 1 + STEP, 1 - STEP
        several = ((1.0, 1.0), (more, 1.0), (less, 1.0), (1.0, more), (1.0, less))
        balls = [ball.scaled(ball.drag * drag, ball.lift * lift) for drag, lift in several]
        flown, *moved = (
            (flight.carry_m / METRES_PER_YARD).reshape(POINTS) for flight in fly_by_each(shots, balls, air)
        )
        slopes = [(moved[place] - moved[place + 1]) / (2 * STEP) for place in (0, 2)]

        s, l, p = axes
        carry, drag, lift = (_through(values, axes, places) for values in (flown, *slopes))
        return cls((s, l, p), carry, drag, lift)

    def __call__(self, inputs: Inputs) -> FlightSurface:
        """Make the surface whose correction is centred and scaled for the given inputs."""
        return FlightSurface(self.axes, self.carry, self.drag, self.lift, quadratic(inputs, "ball"))


def _points(x: Extent, count: int, least: float) -> Array:
    room = ROOM * (x.most - x.least)
    return np.linspace(max(x.least - room, least), x.most + room, count)


def _through(values: Array, axes: Sequence[Axis], places: Sequence[Array]) -> Array:
    """Give the coefficients of the natural cubic spline through values at the axes' knots."""
    for index, (axis, place) in enumerate(zip(axes, places, strict=True)):
        moved = np.moveaxis(values, index, 0)
        solved: Array = np.linalg.solve(axis.basis(place), moved.reshape(len(place), -1)).astype(np.float64)
        values = np.moveaxis(solved.reshape(moved.shape), 0, index)
    return values
