"""The efficient window: the largest axis-parallel launch and spin box inside a region of a grid (numpy alone)."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pipeline.statistics.arrays import Array

# Windows begin and end on half degrees: as fine as people act on, so that a window has one text everywhere.
LAUNCH_EDGE_DEG = 0.5

_ROUNDING = 1e-9


@dataclass(frozen=True)
class Window:
    """A launch range and a spin range."""

    launch_lo_deg: float
    launch_hi_deg: float
    spin_lo_rpm: float
    spin_hi_rpm: float


def largest_window(inside: npt.NDArray[np.bool_], launch_grid: Array, spin_grid: Array) -> Window | None:
    """Find the box of largest area (deg times rpm) on half degrees of launch all of whose grid points are inside.

    Parameters
    ----------
    inside : ndarray of bool, shape (m, n)
        Rows are launch angles, columns spins.
    launch_grid, spin_grid : ndarray, shapes (m,) and (n,)
        Evenly spaced, rising.

    Returns
    -------
    Window or None
        None where no box has an area. Among boxes of one area the first in launch, then in spin.
    """
    m, n = inside.shape
    above = np.vstack([np.zeros((1, n), dtype=np.int64), np.cumsum(inside, axis=0)])
    on_edge = np.abs(launch_grid / LAUNCH_EDGE_DEG - np.round(launch_grid / LAUNCH_EDGE_DEG)) < _ROUNDING
    pairs = np.stack(np.triu_indices(m, k=1))
    lo, hi = pairs[:, on_edge[pairs].all(axis=0)]
    if len(lo) == 0:
        return None
    # full[k, j]: column j is inside in all rows from lo[k] to hi[k].
    full = (above[hi + 1] - above[lo]) == (hi - lo + 1)[:, None]
    run = np.zeros(full.shape, dtype=np.int64)
    run[:, 0] = full[:, 0]
    for j in range(1, n):
        run[:, j] = (run[:, j - 1] + 1) * full[:, j]
    area = (hi - lo)[:, None] * (run - 1)
    best = int(np.argmax(area))
    if area.flat[best] <= 0:
        return None
    k, j = divmod(best, n)
    first = j - run[k, j] + 1
    return Window(float(launch_grid[lo[k]]), float(launch_grid[hi[k]]), float(spin_grid[first]), float(spin_grid[j]))
