"""Efficient carry at every club speed as arrays, for a file from which the next run takes what still holds."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from pipeline.benchmark.efficient import Efficient, Reachable
from pipeline.benchmark.window import Window
from pipeline.statistics.arrays import Array

SCALARS = (
    "speed_mph", "carry_yd", "lo90_yd", "hi90_yd", "std_error_yd", "launch_deg", "spin_rpm", "golfers", "total_yd",
    "total_launch_deg", "total_spin_rpm", "freedom",
)  # fmt: skip
WINDOWS = ("window", "total_window")
EDGES = ("launch_lo_deg", "launch_hi_deg", "spin_lo_rpm", "spin_hi_rpm")


def efficient_to_arrays(efficient: Mapping[float, Efficient]) -> dict[str, Array]:
    """Give what `find_efficient` found as arrays, a row per club speed; nothing where there is none.

    Raises
    ------
    ValueError
        If one lacks its reachable deliveries: somebody made it by hand.
    """
    found = [efficient[speed] for speed in efficient]
    known = [one.reachable for one in found if one.reachable is not None]
    if len(known) < len(found):
        raise ValueError("figures made by hand have no reachable deliveries")
    if not found:
        return {}
    arrays = {name: np.array([getattr(one, name) for one in found], dtype=float) for name in SCALARS}
    for name in WINDOWS:
        windows = [getattr(one, name) for one in found]
        arrays[name] = np.array([[np.nan if w is None else getattr(w, edge) for edge in EDGES] for w in windows])
    arrays["errors_yd"] = np.stack([one.errors_yd for one in found])
    arrays |= {"reach_launch_deg": known[0].launch_deg, "reach_spin_rpm": known[0].spin_rpm}
    return arrays | {f"reach_{name}": np.stack([getattr(one, name) for one in known]) for name in ("mask", "doubt_yd")}


def efficient_from_arrays(arrays: Mapping[str, Any]) -> dict[float, Efficient]:
    """Rebuild what `efficient_to_arrays` gave, by club speed.

    Raises
    ------
    KeyError
        If an array lacks.
    """
    grid = arrays["reach_launch_deg"], arrays["reach_spin_rpm"]
    found = {}
    for row, speed in enumerate(arrays["speed_mph"].tolist()):
        parts: dict[str, Any] = {name: float(arrays[name][row]) for name in SCALARS}
        parts |= {name: _window(arrays[name][row]) for name in WINDOWS}
        reachable = Reachable(*grid, arrays["reach_mask"][row], arrays["reach_doubt_yd"][row])
        found[speed] = Efficient(**parts, errors_yd=arrays["errors_yd"][row], reachable=reachable)
    return found


def _window(edges: Array) -> Window | None:
    return None if np.isnan(edges).any() else Window(*edges.tolist())
