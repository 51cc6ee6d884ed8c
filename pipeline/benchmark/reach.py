"""The reachable deliveries: which launch and spin golfers of about a club speed really produce, at every grid speed.

The efficient figures of any air, wind and turf come from the same deliveries, so they are kept with the frontier.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from pipeline.statistics.arrays import Array, Flags

NODE_EVERY = 4  # grid steps between the nodes at which a shortfall's doubt is kept: it bends little over a degree
DOUBT_DECIMALS = 2  # yd; a window's promise is in whole yards

_ROUNDING = 1e-9


@dataclass(frozen=True)
class Reach:
    """The reachable deliveries of n club speeds, on one grid of launch and spin.

    Attributes
    ----------
    launch_deg, spin_rpm : ndarray, shapes (m,) and (k,)
        Evenly spaced, rising, `NODE_EVERY` times some number of steps long.
    runs : ndarray, shape (r, 4)
        Which grid points are reachable: place of the club speed, place of the launch, first and last place of the spin.
    doubt_yd : ndarray, shape (n, nodes of launch, nodes of spin)
        How much farther a delivery may fall short of efficient carry than expected, one-sided, by `WINDOW_Z`.
    """

    launch_deg: Array
    spin_rpm: Array
    runs: Array
    doubt_yd: Array

    def __post_init__(self) -> None:
        # A list in JSON that is empty doesn't say of how many columns it has none.
        object.__setattr__(self, "runs", self.runs.reshape(-1, 4))
        if self.doubt_yd.size == 0:
            object.__setattr__(self, "doubt_yd", self.doubt_yd.reshape(len(self.doubt_yd), 0, 0))

    @classmethod
    def of(cls, launch_deg: Array, spin_rpm: Array, masks: list[Flags], doubt_yd: list[Array]) -> "Reach":
        """Gather maps over one whole grid, and cut the grid down to what somebody reaches.

        Parameters
        ----------
        launch_deg, spin_rpm : ndarray, shapes (m,) and (k,)
        masks : list of ndarray of bool, shape (m, k)
            The reachable grid points, one for each club speed.
        doubt_yd : list of ndarray, shape (nodes of launch, nodes of spin)
        """
        if not masks:
            return NOWHERE
        marks = np.stack(masks)
        rows, columns = (_held(np.asarray(marks.any(axis=axes))) for axes in ((0, 2), (0, 1)))
        marks = marks[:, rows, columns]
        doubt = np.stack(doubt_yd)[:, _nodes_of(rows), _nodes_of(columns)]
        return cls(launch_deg[rows], spin_rpm[columns], _runs_of(marks), doubt)

    @cached_property
    def masks(self) -> Flags:
        """The reachable grid points, shape (n, m, k)."""
        marks = np.zeros((len(self.doubt_yd), len(self.launch_deg), len(self.spin_rpm)), dtype=bool)
        for speed, launch, first, last in self.runs.astype(int):
            marks[speed, launch, first : last + 1] = True
        return marks

    @cached_property
    def cells(self) -> Flags:
        """The cells between four reachable grid points, shape (n, m - 1, k - 1)."""
        marks = self.masks
        return np.asarray(marks[:, :-1, :-1] & marks[:, 1:, :-1] & marks[:, :-1, 1:] & marks[:, 1:, 1:])

    def doubt_at(self, place: int) -> Array:
        """Give the doubt of one club speed's deliveries on the grid, yd, shape (m, k); straight between nodes."""
        return between_nodes(self.doubt_yd[place], (len(self.launch_deg), len(self.spin_rpm)))

    def holds(self, place: npt.NDArray[np.int64], launch_deg: Array, spin_rpm: Array) -> Flags:
        """Say whether deliveries are reachable at grid speeds; all of one shape.

        A delivery is reachable inside a cell whose four corners are, its edge included: so no delivery between grid
        points carries farther than the corners, but for the bend of carry within a cell.
        """
        found = np.zeros(place.shape, dtype=bool)
        if self.cells.size == 0:
            return found
        rows, columns = (
            _cells_about(grid, values) for grid, values in ((self.launch_deg, launch_deg), (self.spin_rpm, spin_rpm))
        )
        for row in rows:
            for column in columns:
                inside = (row >= 0) & (column >= 0)
                found |= inside & self.cells[place, np.where(inside, row, 0), np.where(inside, column, 0)]
        return found


NOWHERE = Reach(np.zeros(0), np.zeros(0), np.zeros((0, 4)), np.zeros((0, 0, 0)))


def between_nodes(values: Array, shape: tuple[int, ...]) -> Array:
    """Spread values at nodes over a grid of a shape, by straight lines in both directions."""
    return np.asarray(_to_grid(shape[0]) @ values @ _to_grid(shape[1]).T)


def _nodes_of(part: slice) -> slice:
    return slice(part.start // NODE_EVERY, (part.stop - 1) // NODE_EVERY + 1)


def _held(marks: Flags) -> slice:
    """Give the part of an axis that holds all marks, begun and ended at a node."""
    held = np.flatnonzero(marks)
    first = held[0] // NODE_EVERY * NODE_EVERY
    last = -(-held[-1] // NODE_EVERY) * NODE_EVERY
    return slice(int(first), int(max(last, first + NODE_EVERY)) + 1)


def _runs_of(masks: Flags) -> Array:
    """List the runs of marks along the last axis: places along the first two, first and last along the third."""
    edges = np.diff(np.pad(masks.astype(np.int8), ((0, 0), (0, 0), (1, 1))), axis=2)
    speed, launch, first = np.nonzero(edges == 1)
    last = np.nonzero(edges == -1)[2] - 1
    return np.column_stack([speed, launch, first, last]).astype(float)


def _to_grid(count: int) -> Array:
    """Give the weights of the nodes at each grid point, shape (count, nodes)."""
    place = np.arange(count) / NODE_EVERY
    nodes = np.arange((count - 1) // NODE_EVERY + 1)
    return np.asarray(np.maximum(1 - np.abs(place[:, None] - nodes), 0.0))


def _cells_about(grid: Array, values: Array) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Give the two cells that a value may be in: one for each side of a grid line; -1 is none."""
    place = (values - grid[0]) / (grid[1] - grid[0])
    found = []
    for side in (_ROUNDING, -_ROUNDING):
        cell = np.floor(np.nan_to_num(place, nan=-1.0) + side).clip(-1, len(grid) - 1).astype(np.int64)
        found.append(np.where(cell > len(grid) - 2, -1, cell))
    return found[0], found[1]
